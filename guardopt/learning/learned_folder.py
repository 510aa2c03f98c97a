"""Writing a scenario with what a log taught: a new folder whose files are those of the old one, cell by cell.

Only cells with learned numbers differ. Separators, quotation marks, line ends, the order of columns and all comments
stay. Where either of the two is a workbook, its cells are written anew. Beside the files of the scenario stands
``learned.csv``, or a sheet of that name: on how many falls each number rests by now. No other command reads it; a later
`learn` does, so that what is known grows from log to log.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from guardopt.errors import GuardoptError, InputError, Parameter, Place, Problem
from guardopt.files.cell_editing import CsvText
from guardopt.files.cell_types import Amount, Positive, Text
from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.folder_writing import write_folder
from guardopt.files.limits import read_whole
from guardopt.files.sources import Sheets, is_workbook_name, read_sheets, source_of, text_of
from guardopt.files.tables import READING_ORDER, Table
from guardopt.files.whole_file import write_file
from guardopt.learning.conjugate import Belief
from guardopt.learning.learn import Learned
from guardopt.loading.columns import CoverRow, GuardRow, PartRow
from guardopt.loading.guard_checking import covers_of
from guardopt.loading.load import load
from guardopt.loading.meaning.row_checking import RowModel, read_entries
from guardopt.loading.sides import Roster
from guardopt.model.chance_words import CHANCE_WORDS
from guardopt.model.numbers import Kind, numbers_of, value_of
from guardopt.model.scenario import Scenario
from guardopt.writing.scenario_writing import folder_contents, scenario_workbook

LEARNED = "learned"

BELIEF_COLUMNS = ("number", "count", "out_of")

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
    findings = Findings()
    table = source_of(folder).table(LEARNED, findings, is_optional=True, may_be_empty=True)
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
        raise InputError([Problem(Parameter("change"), message)])


def _shape(scenario: Scenario) -> object:
    return (
        [(part.id, part.side) for part in scenario.parts],
        [(guard.id, guard.side) for guard in scenario.guards],
        [fall.id for fall in scenario.falls],
        [(cover.guards, cover.part, cover.fall) for cover in scenario.covers],
    )


def write_learned(
    folder: Path,
    learned: Learned,
    earlier: Mapping[str, Belief],
    into: Path,
    last_look: Callable[[], None] = lambda: None,
) -> None:
    """Write a scenario, with its numbers as learned, all of it or nothing.

    Parameters
    ----------
    folder
        The scenario as it was, a folder or a workbook; it stays so.
    learned
        What its numbers are now.
    earlier
        On what numbers rested before; those without news rest on it still.
    into
        A new or empty folder, or a new workbook if its name ends so.
    last_look
        Called when all is written, before it takes its place; raises if it must not.

    Raises
    ------
    InputError
        What is to be written is there already or cannot be written.
    GuardoptError
        The scenario that was written is not the one that was learned; nothing is left of it.
    """
    where = Parameter(f"into {into}")
    beliefs = {LEARNED: (BELIEF_COLUMNS, _belief_rows(learned, earlier))}

    def check(draft: Path) -> None:
        last_look()
        _check_written(draft, learned.scenario)

    if is_workbook_name(into):
        content = scenario_workbook(_edited_sheets(folder, learned.scenario), where, beside=beliefs)
        write_file(content, into, where, check)
    elif source_of(folder).is_workbook:
        write_folder(folder_contents(_edited_sheets(folder, learned.scenario), beliefs), into, where, check)
    else:
        contents = _edited_files(folder, learned.scenario)
        contents[f"{LEARNED}.csv"] = _lines(BELIEF_COLUMNS, *beliefs[LEARNED][1]).encode()
        write_folder(contents, into, where, check)


def _lines(*rows: Sequence[str]) -> str:
    return "".join(f"{','.join(row)}\n" for row in rows)


def _edited_files(folder: Path, after: Scenario) -> dict[str, bytes]:
    """Every file of a scenario's folder as it is to be written; only cells with learned numbers differ."""
    contents = {name: read_whole(folder / name) for name in READING_ORDER if (folder / name).exists()}
    texts: dict[str, CsvText] = {}
    for name, row, column, value in _edits(folder, after):
        file = f"{name}.csv"
        text = texts.setdefault(file, CsvText(text_of(contents[file])))
        has_commas = any(cell.has_decimal_commas for cell in row.cells.values())
        text.set(row.place.line or 1, column, written(value).replace(".", ",") if has_commas else written(value))
    for file, text in texts.items():
        mark = b"\xef\xbb\xbf" if contents[file].startswith(b"\xef\xbb\xbf") else b""
        contents[file] = mark + text.text().encode()
    return contents


def _edited_sheets(folder: Path, after: Scenario) -> Sheets:
    """The cells of a scenario with the learned numbers among them."""
    sheets = read_sheets(source_of(folder), Findings())
    new = {(name, row.place.line, column): value for name, row, column, value in _edits(folder, after)}
    tables: dict[str, Table | None] = {}
    for name, table in sheets.tables.items():
        edited = {column for one, _, column in new if one == name}
        if table is not None and edited:
            rows = []
            for row in table.rows:
                for column in edited:
                    if (name, row.place.line, column) in new:
                        text = written(new[name, row.place.line, column])
                        row = row.with_cell(column, Cell(text, row.where(column)))
                rows.append(row)
            columns = tuple(dict.fromkeys([*table.columns, *sorted(edited)]))
            table = replace(table, columns=columns, rows=tuple(rows))
        tables[name] = table
    return replace(sheets, tables=tables)


def written(value: float) -> str:
    """A number as a cell holds it: to seven figures, and to all of them where seven would make it certain.

    >>> written(0.1 + 0.2), written(1 - 1e-9), written(14.25)
    ('0.3', '0.999999999', '14.25')
    """
    short = f"{value:.7g}"
    return repr(value) if float(short) in (0.0, 1.0) and value not in (0.0, 1.0) else short


def _edits(folder: Path, after: Scenario) -> Iterator[Edit]:
    """The cells whose number differs from that of the folder."""
    sheets, before = read_sheets(source_of(folder), Findings()), load(folder)
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
    tables, findings = sheets.tables, Findings(words={**CHANCE_WORDS, **before.words})
    guards = Roster.of("guard", tables["guards"], read_entries(tables["guards"], GuardRow, findings))
    parts = Roster.of("part", tables["parts"], read_entries(tables["parts"], PartRow, findings))
    entries = read_entries(tables["covers"], CoverRow, findings)
    rows = covers_of(entries, guards, parts, [fall.id for fall in before.falls], findings).values()
    done: set[Place] = set()
    for row, old, new in zip(rows, before.covers, after.covers, strict=True):
        if old.holds != new.holds and row.place not in done:
            done.add(row.place)
            yield "covers", row, "holds", new.holds


def _belief_rows(learned: Learned, earlier: Mapping[str, Belief]) -> list[tuple[str, str, str]]:
    """The rows of ``learned``: what is worth more than a guess."""
    kept = [one for one in learned.estimates if one.has_news or one.number.address in earlier]
    return [(one.number.address, repr(one.now.count), repr(one.now.out_of)) for one in kept]


def _check_written(draft: Path, after: Scenario) -> None:
    """Read the new folder as any command would, and compare every number."""
    read = load(draft)
    for number in numbers_of(after):
        if not math.isclose(value_of(read, number), value_of(after, number), rel_tol=1e-6, abs_tol=1e-300):
            raise GuardoptError(f"{number.address} was written as {value_of(read, number)!r}, not as it was learned")
    for old, new in zip(read.falls, after.falls, strict=True):
        if not math.isclose(old.watched_years, new.watched_years, rel_tol=1e-6):
            raise GuardoptError(f"watched_years of {old.id} was not written as it was learned")
