"""Guesses given as a range, ``0.4 / 0.6 / 0.8``, in the cell of a single number: low, likely and high.

The cells keep the likely value, and everything else reads them as if it stood there alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType

from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.sources import Sheets
from guardopt.files.tables import NOTE_COLUMN, Table
from guardopt.loading.changes import ID_COLUMNS
from guardopt.loading.meaning.scaling import number_in
from guardopt.loading.settings import words_in
from guardopt.model.numbers import Kind, addresses_of, further_numbers_of, numbers_of
from guardopt.model.ranges import Range
from guardopt.model.scenario import Scenario
from guardopt.number_faults import A_DATE, fault_of, number_fault
from guardopt.spelling import shown

CHANCE_COLUMNS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "falls": (Kind.LEFT_SHARE, Kind.TUMBLE, Kind.CORRELATION),
        "parts": (Kind.BREAK,),
        "covers": (Kind.HOLD,),
        "knock_on": ("chance",),
        "exposes": ("chance",),
    }
)
AMOUNT_COLUMNS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"falls": (Kind.RATE,), "parts": (Kind.PRICE, Kind.HOURS, Kind.TOUCH_UP, Kind.DAYS)}
)
"""The columns that take a range, besides those of ``hits.csv`` and the hours of ``[strip_down]``."""


def take_ranges(sheets: Sheets, findings: Findings) -> tuple[Sheets, dict[str, Range]]:
    """The sheets with the likely value in place of each range, and the ranges by address; what is wrong is reported."""
    findings.words = words_in(sheets.settings, Findings())
    ranges: dict[str, Range] = {}
    tables = dict(sheets.tables)
    for name, table in sheets.tables.items():
        chances, amounts = _columns(name, table)
        if table is not None and (chances or amounts):
            rows = tuple(_taken(row, _address(name, row), chances, amounts, ranges, findings) for row in table.rows)
            tables[name] = replace(table, rows=rows)
    settings = sheets.settings
    if settings is not None and "strip_down" in settings:
        row = settings["strip_down"]
        taken = _taken(row, "scenario.strip_down", (), tuple(row.cells), ranges, findings)
        settings = {**settings, "strip_down": taken}
    return replace(sheets, settings=settings, tables=tables), ranges


def unread_ranges(scenario: Scenario) -> Iterator[str]:
    """Addresses of ranges that belong to no number in doubt."""
    numbers = [*numbers_of(scenario), *further_numbers_of(scenario)]
    known = {address for number in numbers for address in addresses_of(scenario, number)}
    return (address for address in scenario.ranges if address not in known)


def _columns(name: str, table: Table | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if name == "hits" and table is not None:
        return tuple(column for column in table.columns if column not in ("part", NOTE_COLUMN)), ()
    return CHANCE_COLUMNS.get(name, ()), AMOUNT_COLUMNS.get(name, ())


def _address(name: str, row: Row) -> str:
    keys = ["".join(row.text(column).split()) for column in ID_COLUMNS[name]]
    return ".".join([name, *(key for key in keys if key)])


def _taken(
    row: Row,
    address: str,
    chances: tuple[str, ...],
    amounts: tuple[str, ...],
    ranges: dict[str, Range],
    findings: Findings,
) -> Row:
    for column in (*chances, *amounts):
        if column in row.cells and row.cells[column].is_refused:
            continue
        words = [word.strip() for word in row.text(column).split("/")]
        if len(words) != len(Range.__slots__) or not all(words) or _is_date(row.text(column), words):
            continue
        cell = row.cells[column]
        row = row.with_cell(column, replace(cell, value=words[1]))
        found = _range_of(words, cell, findings)
        problem = None if found is None else found.problem(is_chance=column in chances)
        if problem is not None:
            findings.error(cell.where, f"found {shown(cell.value)}, {problem}")
        elif found is not None:
            ranges[f"{address}.{column}"] = found
    return row


def _is_date(text: str, words: list[str]) -> bool:
    """Whether three numbers look like a date and do not rise, as those of a range do."""
    fault = fault_of(text.strip())
    return fault is not None and fault.what == A_DATE and not int(words[0]) < int(words[1]) < int(words[2])


def _range_of(words: list[str], cell: Cell, findings: Findings) -> Range | None:
    """The three numbers; what keeps one from being a number is reported, that of the likely one where it is checked."""
    numbers = []
    for word in words:
        try:
            numbers.append(float(number_in(word, cell, findings)))
        except ValueError:
            if word is not words[1]:
                why = number_fault(word) or "expected three numbers: low / likely / high"
                findings.error(cell.where, f"found {shown(word)} in {shown(cell.value)}, {why}")
    return Range(*numbers) if len(numbers) == len(words) else None
