"""Writes the cells of a scenario anew: as the files of a folder, or as one workbook to fill in."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.cells import SETTINGS_FILE, Row
from guardopt.files.folder_writing import refuse_if_taken
from guardopt.files.sources import Sheets, is_workbook_name
from guardopt.files.spreadsheet_safety import safe
from guardopt.files.tables import NOTE_COLUMN, Table
from guardopt.files.whole_file import refuse_taken_file
from guardopt.files.workbooks.reading import SETTINGS_SHEET
from guardopt.files.workbooks.writing import Column, Sheet, need_writer, workbook_bytes
from guardopt.loading.columns import TABLE_MODELS
from guardopt.loading.meaning.row_checking import choices_of, is_chance, is_money, is_number
from guardopt.model.chance_words import CHANCE_WORDS
from guardopt.number_faults import PLAIN_NUMBER
from guardopt.writing.column_notes import COLUMN_NOTES, FALL_NOTES, GROUP_NOTE, NOTE, SETTING_NOTES, WORD_NOTE, Note

_TEXT_SETTINGS = ("title", "currency")
_MONEY_FORMAT = "#,##0.00"

TO_FILL: Mapping[str, tuple[str, ...]] = {"parts": ("price",), "falls": ("per_year",)}
"""The columns that whoever starts from someone else's bike puts their own numbers into first."""

TO_FILL_NEXT: Mapping[str, tuple[str, ...]] = {"guards": ("price", "owned", "renew_price"), "offers": ("price",)}
"""Those that follow when it is known what guards cost."""

TO_FILL_IF_GIVEN = ("renew_price",)
"""Those of them in which a blank cell may stay: it has a default that follows the other numbers."""

SETTINGS_TO_FILL = ("title", "bike.value", "bike.salvage", "owner.years", "owner.budget", "labour.repair_rate")
"""The settings likewise."""

IF_INSURED = ("insurance.excess", "insurance.premium_rise")
"""Those that only who is insured for damage to their own bike fills in; left blank they mean no insurance."""

_REFERENCES = {
    ("hits", "part"): "parts",
    ("knock_on", "part"): "parts",
    ("knock_on", "takes"): "parts",
    ("covers", "guard"): "guards",
    ("covers", "part"): "parts",
    ("covers", "fall"): "falls",
}
"""Columns whose cells name rows of another sheet."""


def cells_to_fill(table: Table, columns: Sequence[str]) -> list[tuple[int, str]]:
    """The cells of some columns that hold numbers of someone else's bike, by row and column."""
    return [
        (number, column)
        for number, row in enumerate(table.rows)
        for column in columns
        if row.text(column) or column not in TO_FILL_IF_GIVEN
    ]


Beside = Mapping[str, tuple[Sequence[str], Sequence[Sequence[str]]]]
"""Further tables: by name, their columns and rows."""


def check_target(target: Path, where: str) -> None:
    """Refuse a place that a scenario cannot be written to: it is a new or empty folder, or a new workbook.

    Raises
    ------
    InputError
        Something is there already, or workbooks of that kind are not written.
    """
    if target.suffix.lower() == ".xlsx":
        refuse_taken_file(target, where)
        need_writer(where)
    elif is_workbook_name(target) or target.suffix.lower() in (".xls", ".xlsm"):
        raise InputError([Problem(where, "workbooks are written as .xlsx, expected such a name or a new folder")])
    else:
        refuse_if_taken(target, where)


def folder_contents(sheets: Sheets, beside: Beside | None = None) -> dict[str, bytes]:
    """The files of a folder with these cells; each table as found, columns that are blank throughout left out."""
    contents = {SETTINGS_FILE: _settings_text(sheets.settings or {}).encode()}
    for name, table in sheets.tables.items():
        if table is not None:
            filled = [column for column in table.columns if any(row.text(column) for row in table.rows)]
            named = filled or table.columns
            contents[f"{name}.csv"] = _csv_bytes(named, _texts(table, named))
    for name, (columns, rows) in (beside or {}).items():
        contents[f"{name}.csv"] = _csv_bytes(columns, rows)
    return contents


def _csv_bytes(columns: Iterable[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([map(safe, row) for row in ([*columns], *rows)])
    return text.getvalue().encode()


def _texts(table: Table, columns: Sequence[str]) -> list[list[str]]:
    return [[row.text(column) for column in columns] for row in table.rows]


def _settings_text(settings: Mapping[str, Row]) -> str:
    blocks = []
    for name, row in settings.items():
        lines = [f"{_key(key)} = {_toml_value(key, row.text(key))}" for key in row.cells if row.text(key)]
        if lines:
            blocks.append("\n".join([*([f"[{name}]"] if name else []), *lines, ""]))
    return "\n".join(blocks)


def _key(key: str) -> str:
    is_bare = key.replace("_", "").replace("-", "").isalnum() and key.isascii()
    return key if is_bare else _quoted(key)


def _toml_value(key: str, text: str) -> str:
    is_number = key not in _TEXT_SETTINGS and PLAIN_NUMBER.fullmatch(text) and not text.startswith(("+", "."))
    return text if is_number and not text.endswith(".") and not _has_leading_zero(text) else _quoted(text)


def _has_leading_zero(text: str) -> bool:
    digits = text.lstrip("-")
    return len(digits) > 1 and digits[0] == "0" and digits[1].isdigit()


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def scenario_workbook(
    sheets: Sheets, where: str, *, beside: Beside | None = None, start: Sequence[str] = (), is_starter: bool = False
) -> bytes:
    """A workbook with these cells.

    Parameters
    ----------
    sheets
        The scenario.
    where
        How the workbook was asked for, to be quoted.
    beside
        Further tables, each on a sheet.
    start
        Lines of a first sheet that says what to do.
    is_starter
        Whether to mark the cells to fill in first.
    """
    pages = [_settings_sheet(sheets.settings or {}, is_starter=is_starter)]
    pages += [_table_sheet(name, table, sheets, is_starter) for name, table in sheets.tables.items() if table]
    for name, (columns, rows) in (beside or {}).items():
        pages.append(Sheet(name, tuple(Column(column) for column in columns), rows))
    return workbook_bytes(pages, start, where)


def _settings_sheet(settings: Mapping[str, Row], *, is_starter: bool) -> Sheet:
    rows: list[list[str]] = []
    marked: set[tuple[int, int]] = set()
    names = [*SETTING_NOTES, *(name for name in settings if name not in SETTING_NOTES)]
    for name in names:
        notes = SETTING_NOTES.get(name, {})
        row = settings.get(name)
        found = {} if row is None else row.cells
        for key in [*notes, *(key for key in found if key not in notes)]:
            address = f"{name}.{key}" if name else key
            note = notes.get(key, WORD_NOTE if name == "words" else GROUP_NOTE)
            default = f" Blank means: {note.default}." if note.default else ""
            if is_starter and address in (*SETTINGS_TO_FILL, *IF_INSURED):
                marked.add((len(rows), 1))
            rows.append([address, "" if row is None else row.text(key), note.unit, f"{note.meaning}.{default}"])
    columns = (
        Column("key", "The name of the setting, after the table it belongs to", is_text=True),
        Column("value", "What to fill in; a blank cell stands for the default"),
        Column("unit", is_text=True),
        Column("meaning", is_text=True, is_wide=True),
        Column(NOTE_COLUMN, NOTE.comment(), is_text=True),
    )
    return Sheet(SETTINGS_SHEET, columns, rows, frozenset(marked))


def _table_sheet(name: str, table: Table, sheets: Sheets, is_starter: bool) -> Sheet:
    # Columns that are blank so far are there as well, to be filled in.
    known = [*COLUMN_NOTES.get(name, {}), *_falls_of(name, sheets)]
    names = [*known, *(one for one in table.columns if one not in (*known, NOTE_COLUMN)), NOTE_COLUMN]
    columns = tuple(_column(name, one, sheets) for one in names)
    asked = {**TO_FILL, **TO_FILL_NEXT}.get(name, ()) if is_starter else ()
    marked = frozenset((row, names.index(column)) for row, column in cells_to_fill(table, asked))
    return Sheet(name, columns, _texts(table, names), marked)


def _falls_of(name: str, sheets: Sheets) -> list[str]:
    falls = sheets.tables.get("falls")
    if name not in FALL_NOTES or falls is None:
        return []
    return [row.text("fall") for row in falls.rows]


def _column(table: str, name: str, sheets: Sheets) -> Column:
    note = COLUMN_NOTES.get(table, {}).get(name) or (NOTE if name == NOTE_COLUMN else FALL_NOTES.get(table, Note("")))
    model = TABLE_MODELS.get(table)
    has_model = model is not None and name in model.model_fields
    is_text = not is_number(model, name) if model and has_model else name in (*COLUMN_NOTES.get(table, {}), NOTE_COLUMN)
    choices = choices_of(model, name) if model and has_model else ()
    if (model and has_model and is_chance(model, name)) or (table == "hits" and not is_text):
        offered: tuple[str, ...] | str = tuple(CHANCE_WORDS)
    else:
        offered = choices or _rows_of(_REFERENCES.get((table, name)), sheets)
    return Column(
        name,
        note.comment() if note.meaning else "",
        is_text=is_text,
        choices=offered,
        is_closed=bool(choices),
        number_format=_MONEY_FORMAT if model and has_model and is_money(model, name) else "General",
    )


def _rows_of(table: str | None, sheets: Sheets) -> str:
    """The address of the first column of a sheet, with room for more rows."""
    found = sheets.tables.get(table) if table else None
    return "" if found is None else f"={table}!$A$2:$A${len(found.rows) + 30}"
