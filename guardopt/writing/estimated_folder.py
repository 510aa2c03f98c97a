"""Writing a scenario with the chances that its points tell: a new folder whose other cells are those of the old one.

Rows about parts, guards or kinds of fall that were not measured are kept. Two sides with one number share a row.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from guardopt.errors import GuardoptError, InputError, Parameter, Place, Problem
from guardopt.files.cell_editing import separator_of
from guardopt.files.cells import SETTINGS_FILE, Findings, Row
from guardopt.files.folder_writing import write_folder
from guardopt.files.limits import read_whole
from guardopt.files.sources import Folder, Sheets, is_workbook_name, read_sheets, source_of, text_of
from guardopt.files.tables import READING_ORDER
from guardopt.files.whole_file import write_file
from guardopt.loading.columns import CoverRow, GuardRow, PartRow
from guardopt.loading.guard_checking import covers_of
from guardopt.loading.load import SourceCells, load
from guardopt.loading.meaning.row_checking import read_entries
from guardopt.loading.sides import Placed, Roster, common_side, matched, meeting
from guardopt.model.chance_words import CHANCE_WORDS
from guardopt.model.pieces import Cover, Guard, Part
from guardopt.model.scenario import Scenario
from guardopt.shape.estimating import JointRow, MeasuredChances
from guardopt.writing.scenario_writing import folder_contents, scenario_workbook

DECIMALS = 4
"""Of an estimated chance: simulated ones are not known any better."""

EXPOSES = "exposes.csv"


@dataclass(frozen=True, slots=True)
class _Written:
    """A row about a guard or a group of them, as its cells are to be written."""

    guard: str
    part: str
    fall: str
    chance: str


def write_estimated(
    folder: Path,
    scenario: Scenario,
    measured: MeasuredChances,
    into: Path,
    last_look: Callable[[], None] = lambda: None,
) -> None:
    """Write a scenario with estimated chances into a new or empty folder, all of it or nothing.

    Parameters
    ----------
    folder
        The scenario as it was; it stays so.
    scenario
        The same, with what-ifs; the cells they changed are written as well.
    measured
        What its points tell.
    into
        The new folder, or a new workbook if its name ends so.
    last_look
        Called when all is written, before it takes its place; raises if it must not.

    Raises
    ------
    InputError
        The new folder has something in it or cannot be written, or a what-if changed ``scenario.toml``.
    GuardoptError
        What was written does not read as it was estimated; nothing is left of it.
    """
    contents = estimated_contents(folder, scenario, measured)
    where = Parameter(f"into {into}")

    def check(draft: Path) -> None:
        last_look()
        _check_written(draft, scenario, measured)

    if is_workbook_name(into):
        write_file(_as_workbook(contents, where), into, where, check)
    else:
        write_folder(contents, into, where, check)


def _as_workbook(contents: Mapping[str, bytes], where: str) -> bytes:
    """The files of a folder as one workbook."""
    with TemporaryDirectory() as folder:
        for name, content in contents.items():
            (Path(folder) / name).write_bytes(content)
        source = Folder(Path(folder))
        exposes = source.table(EXPOSES.removesuffix(".csv"), Findings(), is_optional=True)
        beside = {} if exposes is None else {EXPOSES.removesuffix(".csv"): (exposes.columns, exposes.texts())}
        return scenario_workbook(read_sheets(source, Findings()), where, beside=beside)


def estimated_contents(folder: Path, scenario: Scenario, measured: MeasuredChances) -> dict[str, bytes]:
    """Every file of the new scenario by name."""
    source = source_of(folder)
    before = read_sheets(source, Findings())
    sheets = scenario.source.sheets if isinstance(scenario.source, SourceCells) else before
    _refuse_other_settings(before, sheets)
    if source.is_workbook:
        contents = folder_contents(before)
    else:
        contents = {name: read_whole(folder / name) for name in READING_ORDER if (folder / name).exists()}
    for name, table in sheets.tables.items():
        if table is not None and table != before.tables[name]:
            rows = ([row.text(column) for column in table.columns] for row in table.rows)
            contents[f"{name}.csv"] = _table_text(contents[f"{name}.csv"], table.columns, rows)
    contents["hits.csv"] = _hits_text(contents["hits.csv"], sheets, scenario, measured)
    contents["covers.csv"] = _covers_text(contents["covers.csv"], sheets, scenario, measured)
    exposes = list(_merged(measured.exposes, scenario))
    if exposes:
        old = read_whole(folder / EXPOSES) if (folder / EXPOSES).exists() else b""
        columns = ("guard", "part", "chance", "fall")
        contents[EXPOSES] = _table_text(old, columns, ([one.guard, one.part, one.chance, one.fall] for one in exposes))
    return contents


def _refuse_other_settings(before: Sheets, after: Sheets) -> None:
    """What-ifs of settings would have to be put into a text with comments; the sample alone leaves no trace."""

    def cells(sheets: Sheets) -> dict[tuple[str, str], str]:
        sections = (sheets.settings or {}).items()
        return {(name, key): row.text(key) for name, row in sections if name != "sampling" for key in row.cells}

    if cells(before) != cells(after):
        message = f"changes {SETTINGS_FILE}, which the new folder takes over as it is; change the file instead"
        raise InputError([Problem(Parameter("change"), message)])


def _table_text(old: bytes, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """A table with the byte-order mark, separator and line ends of the one that it replaces."""
    text = text_of(old)
    buffer = io.StringIO(newline="")
    line_end = "\r\n" if "\r\n" in text else "\n"
    writer = csv.writer(buffer, delimiter=separator_of(text), lineterminator=line_end)
    writer.writerow(columns)
    writer.writerows(rows)
    mark = b"\xef\xbb\xbf" if old.startswith(b"\xef\xbb\xbf") else b""
    return mark + buffer.getvalue().encode()


def written(chance: float) -> str:
    """An estimated chance as a cell holds it.

    >>> written(0.25), written(1.0), written(0.12345678)
    ('0.25', '1', '0.1235')
    """
    return f"{chance:.{DECIMALS}f}".rstrip("0").rstrip(".")


def _hits_text(old: bytes, sheets: Sheets, scenario: Scenario, measured: MeasuredChances) -> bytes:
    """``hits.csv``: a row is divided where both its sides no longer have the same chances."""
    table = sheets.tables["hits"]
    rows: list[list[str]] = []
    for row in () if table is None else table.rows:
        name = row.text("part")
        parts = [part.id for part in scenario.parts if name in (part.id, part.row)]
        lines = {part: [_hit(row, column, part, measured) for column in row.cells] for part in parts}
        if len({tuple(line[1:]) for line in lines.values()}) == 1:
            lines = {name: next(iter(lines.values()))}
        at = list(row.cells).index("part")
        rows += [[*line[:at], part, *line[at + 1 :]] for part, line in lines.items()]
    return _table_text(old, () if table is None else table.columns, rows)


def _hit(row: Row, column: str, part: str, measured: MeasuredChances) -> str:
    if column == "part":
        return ""
    chance = measured.hits.get((column, part))
    return row.text(column) if chance is None else written(chance)


def _covers_text(old: bytes, sheets: Sheets, scenario: Scenario, measured: MeasuredChances) -> bytes:
    """``covers.csv``: rows about what was not measured as they were, then the estimated ones."""
    table = sheets.tables["covers"]
    columns = [] if table is None else list(table.columns)
    columns += [] if "fall" in columns else ["fall"]
    spelled_out = _spelled_out(sheets, scenario)
    rows: list[list[str]] = []
    for row in () if table is None else table.rows:
        covers = spelled_out.get(row.place, [])
        left = [piece for cover in covers for piece in _left_of(cover, scenario, measured)]
        if covers and left != covers:
            pieces = [JointRow(one.guards, one.part, one.fall or "", one.holds) for one in left]
            rows += [_cover_cells(columns, one) for one in _merged(pieces, scenario, row.text("holds"))]
        else:
            rows.append([row.text(column) for column in columns])
    rows += [_cover_cells(columns, one) for one in _merged(measured.covers, scenario)]
    return _table_text(old, columns, rows)


def _spelled_out(sheets: Sheets, scenario: Scenario) -> dict[Place, list[Cover]]:
    """The covers that each row stands for, by the place of the row."""
    tables, findings = sheets.tables, Findings(words={**CHANCE_WORDS, **scenario.words})
    guards = Roster.of("guard", tables["guards"], read_entries(tables["guards"], GuardRow, findings))
    parts = Roster.of("part", tables["parts"], read_entries(tables["parts"], PartRow, findings))
    entries = read_entries(tables["covers"], CoverRow, findings)
    found: dict[Place, list[Cover]] = {}
    for cover, row in covers_of(entries, guards, parts, [fall.id for fall in scenario.falls], findings).items():
        found.setdefault(row.place, []).append(cover)
    return found


def _left_of(cover: Cover, scenario: Scenario, measured: MeasuredChances) -> list[Cover]:
    """What is left of a cover once the kinds of fall are taken out in which all it is about was measured."""
    if cover.part not in measured.parts or not set(cover.guards) <= set(measured.guards):
        return [cover]
    falls = [fall.id for fall in scenario.falls] if cover.fall is None else [cover.fall]
    left = [fall for fall in falls if fall not in measured.falls]
    if left == falls:
        return [cover]
    return [Cover(cover.guards, cover.part, cover.holds, fall, cover.side) for fall in left]


def _cover_cells(columns: Sequence[str], one: _Written) -> list[str]:
    cells = {"guard": one.guard, "part": one.part, "holds": one.chance, "fall": one.fall}
    return [cells.get(column, "") for column in columns]


def _merged(rows: Iterable[JointRow], scenario: Scenario, as_written: str | None = None) -> Iterator[_Written]:
    """Rows in the words of the file: both sides in one where they agree, all kinds of fall in one where they agree."""
    guard, part = scenario.guard, {one.id: one for one in scenario.parts}
    groups: dict[tuple[str, str], dict[tuple[str, str, str], str]] = {}
    for row in rows:
        names = " + ".join(dict.fromkeys(guard[name].row for name in row.guards))
        cells = groups.setdefault((names, part[row.part].row), {})
        cells[" + ".join(row.guards), row.part, row.fall] = as_written or written(row.chance)
    for (names, part_row), cells in groups.items():
        whole = _all_meant(names.split(" + "), part_row, scenario)
        pieces: dict[tuple[str, str], dict[str, str]] = {}
        for fall in dict.fromkeys(fall for _, _, fall in cells):
            here = {(ids, one): chance for (ids, one, kind), chance in cells.items() if kind == fall}
            if set(here) == whole and len(set(here.values())) == 1:
                here = {(names, part_row): next(iter(here.values()))}
            for key, chance in here.items():
                pieces.setdefault(key, {})[fall] = chance
        for (ids, one), by_fall in pieces.items():
            if set(by_fall) == {fall.id for fall in scenario.falls} and len(set(by_fall.values())) == 1:
                by_fall = {"": next(iter(by_fall.values()))}
            yield from (_Written(ids, one, fall, chance) for fall, chance in by_fall.items())


def _all_meant(guard_rows: Sequence[str], part_row: str, scenario: Scenario) -> set[tuple[str, str]]:
    """What a row would stand for that names guards and a part without their sides."""
    choices = [_placed(scenario.guards, row) for row in guard_rows]
    parts = _placed(scenario.parts, part_row)
    return {
        (" + ".join(one.id for one in picked), part.id)
        for picked in matched(choices)
        for part in meeting(common_side(picked), parts)
    }


def _placed(objects: Sequence[Guard] | Sequence[Part], row: str) -> tuple[Placed, ...]:
    return tuple(Placed(one.id, one.row, one.side) for one in objects if one.row == row)


def _check_written(draft: Path, scenario: Scenario, measured: MeasuredChances) -> None:
    """Read the new folder as any command would, and compare its chances with those estimated."""
    read = load(draft)
    for key, chance in scenario.hits.items():
        if not math.isclose(read.hits[key], measured.hits.get(key, chance), abs_tol=0.51 * 10**-DECIMALS):
            raise GuardoptError(f"the chance of {key[1]} in {key[0]} was written as {read.hits[key]}")
    found = _by_fall(((cover.guards, cover.part, cover.fall, cover.holds) for cover in read.covers), read)
    kept = (piece for cover in scenario.covers for piece in _left_of(cover, scenario, measured))
    wanted = _by_fall(((cover.guards, cover.part, cover.fall, cover.holds) for cover in kept), read)
    wanted.update(_by_fall(((row.guards, row.part, row.fall, row.chance) for row in measured.covers), read))
    if set(found) != set(wanted):
        raise GuardoptError(f"covers.csv was not written as it was estimated: {sorted(set(found) ^ set(wanted))[0]}")
    for row, holds in wanted.items():
        if not math.isclose(found[row], holds, abs_tol=0.51 * 10**-DECIMALS):
            raise GuardoptError(f"what {' + '.join(row[0])} spares of {row[1]} was written as {found[row]}")


def _by_fall(
    rows: Iterable[tuple[tuple[str, ...], str, str | None, float]], scenario: Scenario
) -> dict[tuple[tuple[str, ...], str, str], float]:
    falls = [fall.id for fall in scenario.falls]
    return {
        (tuple(sorted(guards)), part, kind): chance
        for guards, part, fall, chance in rows
        for kind in (falls if fall is None else [fall])
    }
