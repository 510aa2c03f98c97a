"""Reads a workbook, ``.xlsx`` or ``.ods``: its sheets become the same located cells as the files of a folder.

Cells become the text that a CSV file would hold, so that nothing later needs to know where they came from. Formulas are
read as their values. What the reading library passes over in silence is told by `workbook_survey`.
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from guardopt.errors import InputError, Place, Problem, missing_packages
from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.limits import columns_fault, read_whole, rows_fault
from guardopt.files.tables import FIRST_ROWS, HEADINGS, TABLES, Table, is_heading, named_columns
from guardopt.files.workbooks.survey import MOST_CELLS, SheetSurvey, survey
from guardopt.files.workbooks.zip_archive import UnfitWorkbookError
from guardopt.number_faults import thousands_fault
from guardopt.spelling import escaped, nearest, printable, shown
from guardopt.spreadsheet_dates import day_number

SETTINGS_SHEET = "scenario"
SETTING_COLUMNS = ("key", "value")

_TIME_OF_ODS = re.compile(r"PT([0-9]{1,7})H([0-9]{1,2})M([0-9]{1,2}(?:\.[0-9]+)?)S")
"""A time of a day or more, which the library leaves as it stands in the file (a duration of ISO 8601)."""

_TOO_LARGE = 200_000_000
"""Bytes of a file that is not even opened."""


def open_workbook(path: Path) -> Workbook:
    """Open a workbook and look through it.

    Raises
    ------
    InputError
        It cannot be read, or the package that reads workbooks is not installed.
    """
    name = escaped(str(path))
    try:
        content = read_whole(path, _TOO_LARGE)
        surveys = survey(content)
    except OSError as error:
        raise InputError([Problem(name, f"cannot be read: {(error.strerror or str(error)).lower()}")]) from error
    except UnfitWorkbookError as error:
        raise InputError([Problem(name, str(error))]) from error
    try:
        import python_calamine
    except ImportError as error:
        raise missing_packages(name, "python-calamine", "workbook") from error
    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(content))
    except python_calamine.CalamineError as error:
        raise InputError([Problem(name, "is damaged; open it in a spreadsheet and save it again")]) from error
    return Workbook(path.name, book, surveys)


@dataclass(frozen=True, slots=True)
class Workbook:
    """An open workbook.

    Attributes
    ----------
    file
        Its name.
    book
        What the reading library made of it.
    surveys
        What else is known of its sheets, by name.
    """

    file: str
    book: Any
    surveys: Mapping[str, SheetSurvey]

    @property
    def is_workbook(self) -> bool:
        """Always."""
        return True

    def table(
        self, name: str, findings: Findings, *, is_optional: bool = False, may_be_empty: bool = False
    ) -> Table | None:
        """See `Source`."""
        sheet = self._find(name, findings, is_optional=is_optional)
        rows = None if sheet is None else self._rows(sheet, name, findings)
        if rows is None:
            return None
        line, heading = next(rows, (0, []))
        header = _without_blank_end(heading)
        whole = Place(name, counted="row")
        if not header:
            if not is_optional:
                such_as = f" such as {HEADINGS[name]}" if name in HEADINGS else ""
                findings.error(whole, f"is empty, expected a row of column names{such_as}{FIRST_ROWS.get(name, '')}")
            return None
        place = replace(whole, line=line)
        if fault := columns_fault(len(header)):
            findings.error(place, fault)
            return None
        if not is_heading(name, header):
            message = f"found {shown(', '.join(header))}, expected a row of column names such as {HEADINGS[name]}"
            findings.error(place, message)
            return None
        columns = named_columns(header, place, findings)
        filled = list(rows)
        if fault := rows_fault(name, len(filled)):
            findings.error(whole, fault)
            return None
        read = tuple(_row(replace(whole, line=line), header, cells, findings) for line, cells in filled)
        if not read and not may_be_empty:
            findings.error(whole, f"has a row of column names but no rows{FIRST_ROWS.get(name, '')}")
            return None
        return Table(place, columns, read)

    def settings(self, findings: Findings) -> Mapping[str, Row] | None:
        """See `Source`."""
        table = self.table(SETTINGS_SHEET, findings)
        if table is None:
            return None
        absent = [column for column in SETTING_COLUMNS if column not in table.columns]
        for column in absent:
            findings.error(
                table.header, f"column {column} is missing; a row is a key such as owner.years, and its value"
            )
        return None if absent else _sections(table, findings)

    @property
    def has_settings(self) -> bool:
        """Whether there is a sheet of settings, as a scenario has."""
        return any(sheet.strip().casefold() == SETTINGS_SHEET for sheet in self.surveys)

    def text_rows(self, name: str, findings: Findings) -> Iterator[tuple[int, list[str]]] | None:
        """The rows of the sheet of this name, or of the only one, by number and as text; None if it is wrong."""
        only = next(iter(self.surveys)) if len(self.surveys) == 1 else None
        sheet = only or self._find(name, findings, is_optional=False)
        return None if sheet is None else self._rows(sheet, only or name, findings)

    def _find(self, name: str, findings: Findings, *, is_optional: bool) -> str | None:
        """The sheet of a table, whatever letters its name is written in."""
        found = [sheet for sheet in self.surveys if sheet.strip().casefold() in (name, f"{name}.csv")]
        if len(found) == 1:
            return found[0]
        if found:
            findings.error(self.file, f"has two sheets for {name}: {' and '.join(map(printable, found))}")
            return None
        known = (SETTINGS_SHEET, *TABLES)
        close = nearest(name, [sheet for sheet in self.surveys if sheet.casefold() not in known])
        if not is_optional:
            hint = f"; {printable(close)} looks like it" if close else ""
            findings.error(self.file, f"no sheet {name}{hint}")
        elif close:
            findings.warn(printable(close), f"is not read; did you mean the sheet {name}?")
        return None

    def _rows(self, sheet: str, name: str, findings: Findings) -> Iterator[tuple[int, list[str]]] | None:
        """The rows of a sheet that are not blank, each with its number, as text; None if some of it is lost."""
        surveyed = self.surveys[sheet]
        if surveyed.is_too_large:
            message = f"spans more than {MOST_CELLS:,} cells; delete what stands far out, or save it as CSV"
            findings.error(Place(name), message)
            return None
        whole = Place(name, counted="row")
        lost = [
            (*place, f"the formula ended in an error, {printable(text)}") for place, text in surveyed.errors.items()
        ]
        lost += [
            (*place, "the formula has no result in the file; open it in a spreadsheet and save it again")
            for place in surveyed.uncomputed
        ]
        lost += [
            (top, left, f"is merged down to {_letters(right)}{bottom + 1}; every cell has to stand for itself")
            for top, left, bottom, right in surveyed.merged
            if top < surveyed.rows and left < surveyed.columns
        ]
        for row, column, message in sorted(lost):
            place = replace(whole, line=row + 1, letters=_letters(column), item=f"column {_letters(column)}")
            findings.error(place, message)
        grid = self.book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
        texts = (
            (line, [_as_text(value, is_ods=surveyed.is_ods) for value in cells])
            for line, cells in enumerate(grid, start=1)
        )
        return None if lost else ((line, cells) for line, cells in texts if any(cells))


def _as_text(value: object, *, is_ods: bool) -> str:
    """What a CSV file would hold for a cell."""
    if isinstance(value, date) and (number := day_number(value, is_ods=is_ods)) is not None:
        value = number
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        text = format(Decimal(repr(value)).normalize(), "f") if value.is_integer() else repr(value)
        # A number is no text in which a point may divide thousands: a further decimal says so.
        return f"{text}0" if thousands_fault(text) else text
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return _clock(value)
    if is_ods and isinstance(value, str) and (match := _TIME_OF_ODS.fullmatch(value)):
        hours, minutes, seconds = match.groups()
        return _clock(timedelta(hours=int(hours), minutes=int(minutes), seconds=float(seconds)))
    # Composed and decomposed accents look the same, so ids typed on different machines have to compare equal.
    return unicodedata.normalize("NFC", str(value)).strip()


def _clock(span: timedelta) -> str:
    """A span of time as a time of day, of a day with as many hours as it takes.

    >>> _clock(timedelta(days=1, hours=9, minutes=36))
    '33:36:00'
    """
    minutes, rest = divmod(span, timedelta(minutes=1))
    seconds = f"{rest.total_seconds():09.6f}".rstrip("0").rstrip(".")
    return f"{minutes // 60:02}:{minutes % 60:02}:{seconds:0>2}"


def _letters(column: int) -> str:
    """The letters of a column counted from 0.

    >>> _letters(0), _letters(25), _letters(26), _letters(16383)
    ('A', 'Z', 'AA', 'XFD')
    """
    letters, number = "", column + 1
    while number:
        number, last = divmod(number - 1, 26)
        letters = chr(ord("A") + last) + letters
    return letters


def _without_blank_end(cells: Sequence[str]) -> list[str]:
    return list(cells[: max((number for number, cell in enumerate(cells, start=1) if cell), default=0)])


def _row(place: Place, header: Sequence[str], cells: Sequence[str], findings: Findings) -> Row:
    stray = next((number for number, cell in enumerate(cells) if cell and number >= len(header)), None)
    if stray is not None:
        where = replace(place, letters=_letters(stray), item=f"column {_letters(stray)}")
        findings.error(where, f"found '{printable(cells[stray])}' in a column without a name")
    located: dict[str, Cell] = {}
    for number, (column, text) in enumerate(zip(header, cells, strict=False)):
        where = replace(place, item=f"column {printable(column)}", letters=_letters(number))
        located.setdefault(column, Cell(text, where))
    return Row(place, "column ", located, stray is None)


def _sections(table: Table, findings: Findings) -> dict[str, Row]:
    """The settings by table, from rows whose key is ``table.key`` or, above the tables, ``key``."""
    whole = Place(table.header.source, counted="row")
    sections: dict[str, Row] = {"": Row(whole, "", {})}
    for row in table.rows:
        key = row.text("key")
        if not key:
            if row.text("value"):
                findings.error(row.where("key"), "nothing found, expected a key such as owner.years")
            continue
        name, _, last = key.rpartition(".")
        section = sections.setdefault(name, Row(row.place, f"{name}." if name else "", {}))
        if last in section.cells:
            findings.error(row.where("key"), f"found '{printable(key)}' again, first in {section.cells[last].where}")
            continue
        cell = row.cells.get("value", Cell("", row.where("value")))
        where = replace(cell.where, item=printable(key))
        sections[name] = section.with_cell(last, replace(cell, where=where))
    # The lines of the insurance are there to be filled in: none filled in is no insurance.
    return {name: row for name, row in sections.items() if not name or any(map(row.text, row.cells))}
