"""Reading a log of real falls: which bikes were watched when, and what each fall did.

A log is checked as completely as a scenario: what is wrong in either file is reported all at once, with file, line and
column. A fall that could not have happened on this bike is refused, since it would teach something wrong.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from guardopt.errors import InputError
from guardopt.files.cell_types import Day, Id, References, Text
from guardopt.files.cells import Findings, Row
from guardopt.files.sources import source_of
from guardopt.files.tables import Table
from guardopt.files.telling import in_reading_order
from guardopt.learning.fall_log import Log, LoggedFall, Watched, givers
from guardopt.loading.meaning.row_checking import Entry, RowModel, check_columns, read_entries, validate
from guardopt.loading.sides import Placed, Roster
from guardopt.model.pieces import Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.spelling import advice, listed, shown

WATCHED, LOG = "watched", "log"


class WatchedRow(RowModel):
    """A row of ``watched.csv``; its columns ``from`` and ``to`` are called otherwise, since one is a word of Python."""

    bike: Text
    first: Day
    last: Day


class LogRow(RowModel):
    """A row of ``log.csv``."""

    date: Day
    bike: Text
    fall: Id
    side: Annotated[Literal["left", "right", "both"], Field(description="left, right or both")]
    fitted: References = ()
    struck: References = ()
    scuffed: References = ()
    broken: References = ()


SIDES = {
    "left": frozenset({Side.LEFT}),
    "right": frozenset({Side.RIGHT}),
    "both": frozenset({Side.LEFT, Side.RIGHT}),
}
"""The sides struck, by what stands in the column ``side``."""


def read_log(folder: str | os.PathLike[str], scenario: Scenario) -> Log:
    """Read and check a log of real falls.

    Parameters
    ----------
    folder
        Where ``log.csv`` and ``watched.csv`` are, or the workbook with these sheets.
    scenario
        The bike that fell; its kinds of fall, parts and guards are those that the log may name.

    Raises
    ------
    InputError
        Something is wrong; every problem found is listed.
    """
    source = source_of(Path(folder), "the folder or workbook of a log")
    findings = Findings(is_workbook=source.is_workbook)
    # A log may be empty: nothing seen in a year is news as well.
    watched_table = source.table(WATCHED, findings, may_be_empty=True)
    log_table = source.table(LOG, findings, may_be_empty=True)
    watched = _watched(watched_table, findings)
    checker = _FallChecker(scenario, None if watched_table is None else watched, findings)
    entries = read_entries(log_table, LogRow, findings)
    falls = [fall for entry in entries if (fall := checker.checked(entry)) is not None]
    if findings.problems:
        raise InputError(in_reading_order(findings.problems, (WATCHED, LOG)))
    return Log(
        tuple(one for one, _ in watched), tuple(falls), tuple(in_reading_order(findings.warnings, (WATCHED, LOG)))
    )


def _watched(table: Table | None, findings: Findings) -> list[tuple[Watched, Row]]:
    if table is None:
        return []
    columns = {"bike": "bike", "first": "from", "last": "to"}
    absent = check_columns(table, columns.values(), columns.values(), findings)
    reported = {name for name, column in columns.items() if column in absent}
    found: list[tuple[Watched, Row]] = []
    for row in table.rows:
        cells = {name: row.cells[column] for name, column in columns.items() if column in row.cells}
        renamed = Row(row.place, row.prefix, cells, row.is_whole)
        values = validate(renamed, WatchedRow, findings, reported) if row.is_whole else None
        if values is None:
            continue
        if values.last < values.first:
            message = f"found {values.last}, expected a day not before {values.first}, the first one watched"
            findings.error(row.where("to"), message)
            continue
        one = Watched(values.bike, values.first, values.last)
        for other, where in found:
            if one.bike == other.bike and one.first <= other.last and other.first <= one.last:
                message = f"{one.bike} is watched twice from {max(one.first, other.first)} on, first in {where.place}"
                findings.error(row.place, message)
                break
        found.append((one, row))
    return found


class _FallChecker:
    """Checks one row of the log after the other against the scenario and the times watched."""

    def __init__(self, scenario: Scenario, watched: Sequence[tuple[Watched, Row]] | None, findings: Findings) -> None:
        self._scenario = scenario
        self._watched = None if watched is None else [one for one, _ in watched]
        self._findings = findings
        self._falls = [fall.id for fall in scenario.falls]
        self._parts = {part.id: part for part in scenario.parts}
        self._part_roster = _roster("part", scenario.parts)
        self._guard_roster = _roster("guard", scenario.guards)
        self._seen: dict[LoggedFall, Row] = {}

    def checked(self, entry: Entry[LogRow]) -> LoggedFall | None:
        """The fall of a row, or None and problems noted; one that is there twice is a warning."""
        values, row = entry.values, entry.row
        before = len(self._findings.problems)
        if values.fall not in self._falls:
            hint = advice(values.fall, self._falls)
            message = f"found {shown(values.fall)}, expected a fall of {self._findings.table('falls')}{hint}"
            self._findings.error(row.where("fall"), message)
        self._check_day(values, row)
        fitted = self._named(self._guard_roster, "fitted", values.fitted, row)
        for clash in self._scenario.clashes(fitted):
            self._findings.error(row.where("fitted"), clash)
        struck, scuffed, broken = (
            self._named(self._part_roster, column, getattr(values, column), row)
            for column in ("struck", "scuffed", "broken")
        )
        if len(self._findings.problems) > before:
            return None
        fall = LoggedFall(values.date, values.bike, values.fall, SIDES[values.side], fitted, struck, scuffed, broken)
        self._check_sides(fall, row)
        self._check_harm(fall, row)
        if fall in self._seen:
            message = f"is the same as {self._seen[fall].place}; if it is one fall, take one of them out"
            self._findings.warn(row.place, message)
        self._seen.setdefault(fall, row)
        return fall

    def _check_day(self, values: LogRow, row: Row) -> None:
        if self._watched is None:
            return
        times = [one for one in self._watched if one.bike == values.bike]
        if not times:
            hint = advice(values.bike, {one.bike for one in self._watched})
            message = f"found {shown(values.bike)}, expected a bike of {self._findings.table(WATCHED)}{hint}"
            self._findings.error(row.where("bike"), message)
        elif not any(one.first <= values.date <= one.last for one in times):
            spans = listed([f"{one.first} to {one.last}" for one in times])
            message = f"found {values.date}, when {values.bike} was not watched; expected a day in {spans}"
            self._findings.error(row.where("date"), message)

    def _named(self, roster: Roster, column: str, names: Sequence[str], row: Row) -> frozenset[str]:
        """Ids of a list, sides spelled out; a side that is named twice is reported."""
        found: list[str] = []
        for name in names:
            for one in roster.resolve(name, row.where(column), self._findings):
                if one.id in found:
                    self._findings.error(row.where(column), f"{one.id} is named twice")
                found.append(one.id)
        return frozenset(found)

    def _check_sides(self, fall: LoggedFall, row: Row) -> None:
        side = "left" if Side.LEFT in fall.sides else "right"
        for column in ("struck", "scuffed", "broken"):
            for name in self._ordered(getattr(fall, column)):
                if not fall.exposes(self._parts[name]):
                    stem = name.partition(".")[0]
                    hint = (
                        f"; {stem} means both sides, write {stem}.{side}" if self._is_loose(stem, column, row) else ""
                    )
                    message = f"found {name} in a fall on the {side}, expected parts that this side exposes{hint}"
                    self._findings.error(row.where(column), message)

    def _is_loose(self, stem: str, column: str, row: Row) -> bool:
        return stem in row.text(column).split() and len(self._part_roster.rows[stem]) > 1

    def _check_harm(self, fall: LoggedFall, row: Row) -> None:
        for name in self._ordered(fall.scuffed & fall.broken):
            self._findings.error(row.where("broken"), f"found {name}, which is among the scuffed as well")
        for column in ("scuffed", "broken"):
            for name in self._ordered(getattr(fall, column) - fall.struck):
                if not givers(self._scenario, fall, name):
                    message = f"found {name}, which is not among the struck, and no broken part takes it along"
                    self._findings.error(row.where(column), message)
        for name in self._ordered(fall.spared):
            if not fall.serving(self._scenario, name):
                message = (
                    f"found {name}, which was not harmed though no guard fitted covers it in this fall; expected it "
                    "among the scuffed or the broken, or not among the struck"
                )
                self._findings.error(row.where("struck"), message)

    def _ordered(self, names: frozenset[str]) -> list[str]:
        return [name for name in self._parts if name in names]


def _roster(noun: str, things: Iterable[Part | Guard]) -> Roster:
    rows: dict[str, tuple[Placed, ...]] = {}
    for one in things:
        rows[one.row] = (*rows.get(one.row, ()), Placed(one.id, one.row, one.side))
    return Roster(noun, rows, is_complete=True)
