"""What-ifs: cells of a scenario folder set to other values, or columns scaled, before the folder is checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from guardopt.errors import InputError, Parameter, Place, Problem
from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.sources import Sheets
from guardopt.files.tables import NOTE_COLUMN, OPTIONAL_TABLES, Table
from guardopt.loading.columns import TABLE_MODELS
from guardopt.loading.meaning.scaling import TIMES, default_of, factor_of, scaled_row
from guardopt.loading.settings import SECTIONS, words_in
from guardopt.number_faults import thousands_fault
from guardopt.spelling import advice, escaped, shown

ID_COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "parts": ("part",),
    "falls": ("fall",),
    "hits": ("part",),
    "knock_on": ("part", "takes"),
    "guards": ("guard",),
    "covers": ("guard", "part", "fall"),
    "exposes": ("guard", "part", "fall"),
    "offers": ("offer",),
    "riding": ("riding",),
    "points": ("id",),
}
"""The columns that tell the rows of a table apart; an address may stop after the first and then means all such rows."""


def parse_change(text: str) -> tuple[str, str]:
    """Divide ``FILE.ID.COLUMN=VALUE`` into the address and the value, and ``FILE.COLUMN*FACTOR`` behind the star.

    Raises
    ------
    InputError
        There is neither an equals sign nor a star, or nothing before it.

    Examples
    --------
    >>> parse_change("falls.low_side.per_year=0.8"), parse_change("covers.holds*0.7")
    (('falls.low_side.per_year', '0.8'), ('covers.holds*', '0.7'))
    """
    sign = "=" if "=" in text else TIMES
    address, found, value = text.partition(sign)
    if not found or not address.strip():
        message = f"found {shown(text)}, expected FILE.ID.COLUMN=VALUE or FILE.COLUMN*FACTOR"
        raise InputError([Problem(Parameter("change"), message)])
    return address.strip() + (TIMES if sign == TIMES else ""), value.strip()


def apply_changes(sheets: Sheets, changes: Mapping[str, object], findings: Findings) -> Sheets:
    """The sheets with every change made, columns scaled last; one that fits nowhere is reported."""
    for address, value in sorted(changes.items(), key=lambda change: change[0].endswith(TIMES)):
        name, *rest = "".join(address.split()).removesuffix(TIMES).split(".")
        where = Place(Parameter(f"change {escaped(address)}"))
        cell = Cell(_as_text(value), where)
        if address.endswith(TIMES):
            # What is wrong about the words is told where the settings are read.
            findings.words = words_in(sheets.settings, Findings())
            sheets = _scaled(sheets, name, rest, cell, findings)
        elif name == "scenario":
            sheets = _with_setting(sheets, rest, cell, findings)
        elif name in ID_COLUMNS:
            sheets = _with_table_cell(sheets, name, rest, cell, findings)
        else:
            setting = ".".join(("scenario", name, *rest))
            meant = (
                f"; did you mean {setting}?" if name and name in SECTIONS else advice(name, ["scenario", *ID_COLUMNS])
            )
            findings.error(where, f"unknown file {shown(name)}{meant}")
    return sheets


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value).strip()
    # A number was not typed: a further decimal keeps its point from being taken for one that divides thousands.
    return f"{text}0" if isinstance(value, float) and thousands_fault(text) else text


def _scaled(sheets: Sheets, name: str, rest: list[str], cell: Cell, findings: Findings) -> Sheets:
    """The sheets with a whole column multiplied by a factor, or its cells in some rows."""
    where = Place(Parameter(f"{cell.where.source}{escaped(str(cell.value))}"))
    factor = factor_of(str(cell.value))
    if factor is None:
        findings.error(where, f"found {shown(cell.value)}, expected a factor of at least 0")
        return sheets
    if name not in ID_COLUMNS or not all(rest) or not rest:
        tables = [one for one, table in sheets.tables.items() if table is not None and one != "riding"]
        findings.error(where, f"expected FILE.COLUMN*FACTOR, where FILE is one of {', '.join(tables)}")
        return sheets
    table = sheets.tables[name]
    if table is None:
        if name in OPTIONAL_TABLES:
            findings.error(where, f"there is no {findings.table(name)}")
        return sheets
    *ids, column = rest
    columns = [one for one in _columns(sheets, name, table) if one not in ID_COLUMNS[name]]
    if column not in columns:
        findings.error(where, f"unknown column {shown(column)}{advice(column, columns)}")
        return sheets
    wanted = ".".join(ids)
    is_meant = [not ids or wanted in _addresses(row, ID_COLUMNS[name]) for row in table.rows]
    if not any(is_meant):
        findings.error(where, _no_such_row(wanted, column, name, table, findings.table(name)))
        return sheets
    default = default_of(name, column)
    rows = tuple(
        scaled_row(row, column, factor, default, where, findings) if meant else row
        for row, meant in zip(table.rows, is_meant, strict=True)
    )
    all_columns = table.columns if column in table.columns else (*table.columns, column)
    return replace(sheets, tables={**sheets.tables, name: replace(table, rows=rows, columns=all_columns)})


def _with_setting(sheets: Sheets, rest: list[str], cell: Cell, findings: Findings) -> Sheets:
    if not 1 <= len(rest) <= 2 or not all(rest):
        findings.error(cell.where, "expected scenario.TABLE.KEY, or scenario.KEY for one above the tables")
        return sheets
    if sheets.settings is None:
        return sheets
    section = rest[0] if len(rest) == 2 else ""
    old = sheets.settings.get(section, Row(cell.where, f"[{section}] ", {}))
    row = old.with_cell(rest[-1], cell)
    settings = {**sheets.settings, section: row}
    # Without an excess, or anything else, there is no insurance: this is how a what-if cancels the policy.
    if section == "insurance" and all(one.value == "" for one in row.cells.values()):
        del settings[section]
    return replace(sheets, settings=settings)


def _with_table_cell(sheets: Sheets, name: str, rest: list[str], cell: Cell, findings: Findings) -> Sheets:
    id_columns = ID_COLUMNS[name]
    if len(rest) < 2 or not all(rest):
        ids = ".".join(column.upper() for column in id_columns)
        findings.error(cell.where, f"expected {name}.{ids}.COLUMN")
        return sheets
    table = sheets.tables[name]
    if table is None:
        if name in OPTIONAL_TABLES:
            there = f"there is no sheet {name}" if findings.is_workbook else f"there is no {name}.csv in the folder"
            findings.error(cell.where, there)
        return sheets
    wanted, column = _one_side(name, table, ".".join(rest[:-1]), rest[-1])
    columns = _columns(sheets, name, table)
    if column not in columns:
        findings.error(cell.where, f"unknown column {shown(column)}{advice(column, columns)}")
        return sheets
    is_meant = [wanted in _addresses(row, id_columns) for row in table.rows]
    if not any(is_meant):
        findings.error(cell.where, _no_such_row(wanted, column, name, table, findings.table(name)))
        return sheets
    rows = tuple(row.with_cell(column, cell) if meant else row for row, meant in zip(table.rows, is_meant, strict=True))
    all_columns = table.columns if column in table.columns else (*table.columns, column)
    changed = replace(table, rows=rows, columns=all_columns)
    return replace(sheets, tables={**sheets.tables, name: changed})


def _one_side(name: str, table: Table, wanted: str, column: str) -> tuple[str, str]:
    """The address of a price for one side only of a guard that is sold singly for both: its column has the side."""
    stem, _, side = wanted.rpartition(".")
    is_both = any("".join(row.text("guard").split()) == stem and row.text("side") == "both" for row in table.rows)
    if name == "guards" and column == "price" and side in ("left", "right") and is_both:
        return stem, f"price_{side}"
    return wanted, column


def _columns(sheets: Sheets, name: str, table: Table) -> list[str]:
    if name in TABLE_MODELS:
        return [*TABLE_MODELS[name].model_fields, NOTE_COLUMN]
    falls = sheets.tables["falls"]
    kinds = [] if falls is None else [row.text("fall") for row in falls.rows]
    return list(dict.fromkeys([*table.columns, *kinds]))


def _addresses(row: Row, id_columns: tuple[str, ...]) -> list[str]:
    """``slider``, ``slider.lever`` and ``slider.lever.low_side`` for a row of covers."""
    keys = ["".join(row.text(column).split()) for column in id_columns]
    return [".".join(key for key in keys[:length] if key) for length in range(1, len(keys) + 1)]


def _no_such_row(wanted: str, column: str, name: str, table: Table, called: str) -> str:
    known = list(dict.fromkeys(address for row in table.rows for address in _addresses(row, ID_COLUMNS[name])))
    stem, _, suffix = wanted.rpartition(".")
    if suffix in ("left", "right") and stem in known:
        return f"one row of {called} stands for every side of {stem}; write {name}.{stem}.{column}"
    return f"no row {shown(wanted)} in {called}{advice(wanted, known)}"
