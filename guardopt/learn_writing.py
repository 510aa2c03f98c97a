"""Writing a scenario with what a log taught: a new folder whose files are those of the old one, cell by cell.

Only cells with learned numbers differ. Separators, quotation marks, line ends, the order of columns and all comments
stay. Beside the files of the scenario stands ``learned.csv``: on how many falls each number rests by now. No other
command reads it; a later `learn` does, so that what is known grows from log to log.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from pathlib import Path

from guardopt.beliefs import Belief
from guardopt.cell_editing import CsvText
from guardopt.cell_types import Amount, Positive, Text
from guardopt.cells import Findings, Row
from guardopt.errors import GuardoptError, InputError, Problem
from guardopt.folder_writing import write_folder
from guardopt.guard_checking import covers_of
from guardopt.learning import Learned
from guardopt.numbers_learned import Kind, numbers_of, value_of
from guardopt.reading import load
from guardopt.rows import CoverRow, GuardRow, PartRow, RowModel, read_entries
from guardopt.scenario import Scenario
from guardopt.sides import Roster
from guardopt.tables import READING_ORDER, Sheets, parse_table, read_sheets, read_text

LEARNED_FILE = "learned.csv"

FALL_COLUMNS = ("per_year", "left_share", "tumble", "correlation", "watched_years")

Edit = tuple[str, Row, str, float]
"""A file without ``.csv``, a row of it, a column and the number to put there."""


class LearnedRow(RowModel):
    """A row of ``learned.csv``."""

    number: Text
    count: Amount
    out_of: Positive


def read_beliefs(folder: Path) -> dict[str, Belief]:
    """On what the numbers of a scenario rest that an earlier log has taught; nothing if none has.

    Raises
    ------
    InputError
        ``learned.csv`` is there but wrong; every problem found is listed.
    """
    if not (folder / LEARNED_FILE).exists():
        return {}
    findings = Findings()
    text = read_text(folder, LEARNED_FILE, findings)
    table = None if text is None else parse_table(LEARNED_FILE, text, findings, is_required=False)
    beliefs: dict[str, Belief] = {}
    for entry in read_entries(table, LearnedRow, findings):
        values = entry.values
        is_rate = values.number.startswith("falls.") and values.number.endswith(f".{Kind.RATE}")
        if not is_rate and values.count > values.out_of:
            message = f"found {values.count:g}, expected at most out_of, {values.out_of:g}"
            findings.error(entry.row.where("count"), message)
        if values.number in beliefs:
            findings.error(entry.row.where("number"), f"found '{values.number}' again")
        beliefs[values.number] = Belief(values.count, values.out_of, is_rate)
    if findings.problems:
        raise InputError(findings.problems)
    return beliefs


def refuse_other_bike(folder: Path, before: Scenario) -> None:
    """What-ifs may change numbers, but not what there is: the files that are written know nothing of them.

    Raises
    ------
    InputError
        The scenario has other parts, guards, falls or covers than its folder.
    """
    if _shape(load(folder)) != _shape(before):
        message = "changes which parts, guards, falls or covers there are; change the files instead"
        raise InputError([Problem("--set", message)])


def _shape(scenario: Scenario) -> object:
    return (
        [(part.id, part.side) for part in scenario.parts],
        [(guard.id, guard.side) for guard in scenario.guards],
        [fall.id for fall in scenario.falls],
        [(cover.guards, cover.part, cover.fall) for cover in scenario.covers],
    )


def write_learned(folder: Path, learned: Learned, earlier: Mapping[str, Belief], into: Path) -> None:
    """Write the scenario of a folder, with its numbers as learned, into a new or empty folder, all of it or nothing.

    Parameters
    ----------
    folder
        The scenario as it was; it stays so.
    learned
        What its numbers are now.
    earlier
        On what numbers rested before; those without news rest on it still.
    into
        The new folder.

    Raises
    ------
    InputError
        The new folder has something in it or cannot be written.
    GuardoptError
        The scenario that was written is not the one that was learned; nothing is left of it.
    """
    contents = _contents(folder, learned.scenario)
    contents[LEARNED_FILE] = _beliefs_text(learned, earlier).encode()
    write_folder(contents, into, f"--into {into}", lambda draft: _check_written(draft, learned.scenario))


def _contents(folder: Path, after: Scenario) -> dict[str, bytes]:
    """Every file of the scenario as it is to be written."""
    contents = {name: (folder / name).read_bytes() for name in READING_ORDER if (folder / name).exists()}
    texts: dict[str, CsvText] = {}
    for name, row, column, value in _edits(folder, after):
        file = f"{name}.csv"
        text = texts.setdefault(file, CsvText(contents[file].decode("utf-8-sig")))
        text.set(_line(row), column, written(value))
    for file, text in texts.items():
        mark = b"\xef\xbb\xbf" if contents[file].startswith(b"\xef\xbb\xbf") else b""
        contents[file] = mark + text.text().encode()
    return contents


def _line(row: Row) -> int:
    return int(row.place.rpartition(" ")[2])


def written(value: float) -> str:
    """A number as a cell holds it: to seven figures, and to all of them where seven would make it certain.

    >>> written(0.1 + 0.2), written(1 - 1e-9), written(14.25)
    ('0.3', '0.999999999', '14.25')
    """
    short = f"{value:.7g}"
    return repr(value) if float(short) in (0.0, 1.0) and value not in (0.0, 1.0) else short


def _edits(folder: Path, after: Scenario) -> Iterator[Edit]:
    """The cells whose number differs from that of the folder."""
    findings = Findings()
    sheets, before = read_sheets(folder, findings), load(folder)
    yield from _fall_edits(sheets, before, after)
    yield from _part_edits(sheets, before, after)
    yield from _hit_edits(sheets, before, after)
    yield from _cover_edits(sheets, before, after)


def _rows(sheets: Sheets, name: str) -> tuple[Row, ...]:
    table = sheets.tables[name]
    return () if table is None else table.rows


def _fall_edits(sheets: Sheets, before: Scenario, after: Scenario) -> Iterator[Edit]:
    for row, old, new in zip(_rows(sheets, "falls"), before.falls, after.falls, strict=True):
        for column in FALL_COLUMNS:
            if getattr(old, column) != getattr(new, column):
                yield "falls", row, column, getattr(new, column)


def _part_edits(sheets: Sheets, before: Scenario, after: Scenario) -> Iterator[Edit]:
    old, new = ({part.row: part.break_chance for part in one.parts} for one in (before, after))
    for row in _rows(sheets, "parts"):
        name = row.text("part")
        if old[name] != new[name]:
            yield "parts", row, "break_chance", new[name]


def _hit_edits(sheets: Sheets, before: Scenario, after: Scenario) -> Iterator[Edit]:
    for row in _rows(sheets, "hits"):
        name = row.text("part")
        part = next(part.id for part in before.parts if name in (part.id, part.row))
        for fall in before.falls:
            if before.hits[fall.id, part] != after.hits[fall.id, part]:
                yield "hits", row, fall.id, after.hits[fall.id, part]


def _cover_edits(sheets: Sheets, before: Scenario, after: Scenario) -> Iterator[Edit]:
    tables, findings = sheets.tables, Findings()
    guards = Roster.of("guard", tables["guards"], read_entries(tables["guards"], GuardRow, findings))
    parts = Roster.of("part", tables["parts"], read_entries(tables["parts"], PartRow, findings))
    entries = read_entries(tables["covers"], CoverRow, findings)
    rows = covers_of(entries, guards, parts, [fall.id for fall in before.falls], findings).values()
    done: set[str] = set()
    for row, old, new in zip(rows, before.covers, after.covers, strict=True):
        if old.holds != new.holds and row.place not in done:
            done.add(row.place)
            yield "covers", row, "holds", new.holds


def _beliefs_text(learned: Learned, earlier: Mapping[str, Belief]) -> str:
    """``learned.csv``: what is worth more than a guess."""
    kept = [one for one in learned.estimates if one.has_news or one.number.address in earlier]
    rows = [f"{one.number.address},{one.now.count!r},{one.now.out_of!r}" for one in kept]
    return "\n".join(["number,count,out_of", *rows, ""])


def _check_written(draft: Path, after: Scenario) -> None:
    """Read the new folder as any command would, and compare every number."""
    read = load(draft)
    for number in numbers_of(after):
        if not math.isclose(value_of(read, number), value_of(after, number), rel_tol=1e-6, abs_tol=1e-300):
            raise GuardoptError(f"{number.address} was written as {value_of(read, number)!r}, not as it was learned")
    for old, new in zip(read.falls, after.falls, strict=True):
        if not math.isclose(old.watched_years, new.watched_years, rel_tol=1e-6):
            raise GuardoptError(f"watched_years of {old.id} was not written as it was learned")
