"""Writes tables as an ``.xlsx`` workbook that people fill in: headings explained, drop-down lists, frozen headings."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from guardopt.errors import missing_packages
from guardopt.number_faults import PLAIN_NUMBER

ROOM = 100
"""Rows below the last one for which drop-down lists and formats are laid out."""

CREATED = datetime(2000, 1, 1)
"""When every workbook says it was made and last saved, until a spreadsheet saves it."""

_NARROWEST, _WIDEST = 9, 44
_HEADING = {"bold": True, "bg_color": "#E7EBF0", "bottom": 1, "valign": "top"}
_TO_FILL = "#FFF6D6"
_TEXT, _PLAIN = "@", "General"


@dataclass(frozen=True, slots=True)
class Column:
    """How one column of a sheet is laid out.

    Attributes
    ----------
    comment
        What the heading says when it is pointed at.
    is_text
        Whether its cells are text even where they look like numbers.
    choices
        What its drop-down list offers, or an address such as ``parts!$A$2:$A$99`` after an equals sign.
    is_closed
        Whether nothing but the choices may be typed.
    number_format
        How a spreadsheet shows its numbers.
    is_wide
        Whether it is as wide as its text, which is whole sentences.
    """

    name: str
    comment: str = ""
    is_text: bool = False
    choices: tuple[str, ...] | str = ()
    is_closed: bool = False
    number_format: str = _PLAIN
    is_wide: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its columns, and the cells of its rows as text; `to_fill` marks single cells, by row and column."""

    name: str
    columns: tuple[Column, ...]
    rows: Sequence[Sequence[str]]
    to_fill: frozenset[tuple[int, int]] = frozenset()


def need_writer(where: str) -> Any:
    """The package that writes workbooks.

    Raises
    ------
    InputError
        It is not installed.
    """
    try:
        import xlsxwriter
    except ImportError as error:
        raise missing_packages(where, "XlsxWriter", "workbook") from error
    return xlsxwriter


def workbook_bytes(sheets: Sequence[Sheet], start: Sequence[str], where: str, title: str = "") -> bytes:
    """A workbook with a first sheet of plain lines, ``start``, and then these sheets.

    Numbers are written as numbers only if they read back the same; text is never taken for a formula or a link.

    Parameters
    ----------
    sheets
        What to write.
    start
        The lines of the first sheet; the first of them is its heading.
    where
        How the workbook was asked for, to be quoted.
    title
        What the workbook says it is, where it has no first sheet of lines.
    """
    target = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = need_writer(where).Workbook(target, options)
    # The same scenario makes the same file, whenever it is written.
    book.set_properties({"title": start[0] if start else title, "created": CREATED})
    if start:
        _write_start(book, start)
    for sheet in sheets:
        _write_sheet(book, sheet)
    book.close()
    return target.getvalue()


def _write_start(book: Any, lines: Sequence[str]) -> None:
    page = book.add_worksheet("start")
    page.set_column(0, 0, 100, book.add_format({"text_wrap": True, "valign": "top"}))
    page.hide_gridlines(2)
    title = book.add_format({"bold": True, "font_size": 14})
    for row, line in enumerate(lines):
        page.write_string(row, 0, line, *([title] if row == 0 else []))


def _write_sheet(book: Any, sheet: Sheet) -> None:
    page = book.add_worksheet(sheet.name)
    page.freeze_panes(1, 1)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    heading = book.add_format(_HEADING)
    last = len(sheet.rows) + ROOM
    for number, column in enumerate(sheet.columns):
        shown = _TEXT if column.is_text else column.number_format
        plain = book.add_format({"num_format": shown})
        marked = book.add_format({"num_format": shown, "bg_color": _TO_FILL})
        texts = [row[number] if number < len(row) else "" for row in sheet.rows]
        longest = max(map(len, [column.name, *texts])) + 2
        width = longest if column.is_wide else max(_NARROWEST, min(_WIDEST, longest))
        page.set_column(number, number, width, plain)
        page.write_string(0, number, column.name, heading)
        if column.comment:
            # About as many lines as the comment needs at the width of a comment.
            lines = 2 + len(column.comment) // 28
            page.write_comment(0, number, column.comment, {"height": 18 * lines, "width": 220, "author": "guardopt"})
        if column.choices:
            source = column.choices if isinstance(column.choices, str) else list(column.choices)
            rule = {"validate": "list", "source": source, "ignore_blank": True, "show_error": column.is_closed}
            page.data_validation(1, number, last, number, rule)
        for row, text in enumerate(texts, start=1):
            look = marked if (row - 1, number) in sheet.to_fill else plain
            _write_cell(page, row, number, text, is_text=column.is_text, look=look)


def _write_cell(page: Any, row: int, column: int, text: str, *, is_text: bool, look: Any) -> None:
    value = None if is_text else _number(text)
    if value is not None:
        page.write_number(row, column, value, look)
    elif text:
        page.write_string(row, column, text, look)
    else:
        page.write_blank(row, column, None, look)


def _number(text: str) -> float | None:
    """The number a text stands for, if a spreadsheet's binary numbers keep it to the last decimal."""
    if not PLAIN_NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if Decimal(repr(value)) == Decimal(text) else None
