"""What-ifs: single cells of a scenario folder set to other values before the folder is checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from guardopt.cells import Cell, Findings, Row
from guardopt.errors import InputError, Problem
from guardopt.rows import TABLE_MODELS
from guardopt.spelling import advice, escaped, shown, thousands_fault
from guardopt.tables import OPTIONAL_TABLES, Sheets, Table

ID_COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "parts": ("part",),
    "falls": ("fall",),
    "hits": ("part",),
    "knock_on": ("part", "takes"),
    "guards": ("guard",),
    "covers": ("guard", "part", "fall"),
    "offers": ("offer",),
    "riding": ("riding",),
}
"""The columns that tell the rows of a table apart; an address may stop after the first and then means all such rows."""


def parse_change(text: str) -> tuple[str, str]:
    """Divide ``FILE.ID.COLUMN=VALUE`` into the address and the value.

    Raises
    ------
    InputError
        There is no equals sign or nothing before it.

    Examples
    --------
    >>> parse_change("falls.low_side.per_year=0.8")
    ('falls.low_side.per_year', '0.8')
    """
    address, equals, value = text.partition("=")
    if not equals or not address.strip():
        raise InputError([Problem("--set", f"found {shown(text)}, expected FILE.ID.COLUMN=VALUE")])
    return address.strip(), value.strip()


def apply_changes(sheets: Sheets, changes: Mapping[str, object], findings: Findings) -> Sheets:
    """The sheets with every change made; one that fits nowhere is reported."""
    for address, value in changes.items():
        name, *rest = "".join(address.split()).split(".")
        where = f"--set {escaped(address)}"
        cell = Cell(_as_text(value), where)
        if name == "scenario":
            sheets = _with_setting(sheets, rest, cell, findings)
        elif name in ID_COLUMNS:
            sheets = _with_table_cell(sheets, name, rest, cell, findings)
        else:
            findings.error(where, f"unknown file {shown(name)}{advice(name, ['scenario', *ID_COLUMNS])}")
    return sheets


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value).strip()
    # A number was not typed: a further decimal keeps its point from being taken for one that divides thousands.
    return f"{text}0" if isinstance(value, float) and thousands_fault(text) else text


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
            findings.error(cell.where, f"there is no {name}.csv in the folder")
        return sheets
    wanted, column = ".".join(rest[:-1]), rest[-1]
    columns = _columns(sheets, name, table)
    if column not in columns:
        findings.error(cell.where, f"unknown column {shown(column)}{advice(column, columns)}")
        return sheets
    is_meant = [wanted in _addresses(row, id_columns) for row in table.rows]
    if not any(is_meant):
        findings.error(cell.where, _no_such_row(wanted, column, name, table))
        return sheets
    rows = tuple(row.with_cell(column, cell) if meant else row for row, meant in zip(table.rows, is_meant, strict=True))
    all_columns = table.columns if column in table.columns else (*table.columns, column)
    changed = replace(table, rows=rows, columns=all_columns)
    return replace(sheets, tables={**sheets.tables, name: changed})


def _columns(sheets: Sheets, name: str, table: Table) -> list[str]:
    if name in TABLE_MODELS:
        return list(TABLE_MODELS[name].model_fields)
    falls = sheets.tables["falls"]
    kinds = [] if falls is None else [row.text("fall") for row in falls.rows]
    return list(dict.fromkeys([*table.columns, *kinds]))


def _addresses(row: Row, id_columns: tuple[str, ...]) -> list[str]:
    """``slider``, ``slider.lever`` and ``slider.lever.low_side`` for a row of covers."""
    keys = ["".join(row.text(column).split()) for column in id_columns]
    return [".".join(key for key in keys[:length] if key) for length in range(1, len(keys) + 1)]


def _no_such_row(wanted: str, column: str, name: str, table: Table) -> str:
    known = list(dict.fromkeys(address for row in table.rows for address in _addresses(row, ID_COLUMNS[name])))
    stem, _, suffix = wanted.rpartition(".")
    if suffix in ("left", "right") and stem in known:
        return f"one row of {name}.csv stands for every side of {stem}; write {name}.{stem}.{column}"
    return f"no row {shown(wanted)} in {name}.csv{advice(wanted, known)}"
