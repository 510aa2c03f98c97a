"""Writing a scenario with the chances that its points tell: a new folder whose other cells are those of the old one.

Rows about parts, guards or kinds of fall that were not measured are kept. Two sides with one number share a row.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from guardopt.errors import InputError, Parameter, Place, Problem
from guardopt.files.cell_editing import separator_of
from guardopt.files.cells import SETTINGS_FILE, Findings, Row
from guardopt.files.folder_writing import write_folder
from guardopt.files.limits import read_whole
from guardopt.files.sources import Folder, Sheets, is_workbook_name, read_sheets, source_of, text_of
from guardopt.files.tables import READING_ORDER, Table
from guardopt.files.whole_file import write_file
from guardopt.loading.columns import CoverRow, ExposeRow, GuardRow, PartRow
from guardopt.loading.guard_checking import covers_of, exposures_of
from guardopt.loading.load import SourceCells
from guardopt.loading.meaning.row_checking import read_entries
from guardopt.loading.sides import Placed, Roster, common_side, matched, meeting
from guardopt.model.chance_words import CHANCE_WORDS
from guardopt.model.pieces import Cover, Exposure, Guard, Part
from guardopt.model.scenario import Scenario
from guardopt.shape.estimating import JointRow, MeasuredChances
from guardopt.writing.estimated_rows import DECIMALS, chance_of, check_written, left_of
from guardopt.writing.scenario_writing import folder_contents, scenario_workbook

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
        check_written(draft, scenario, measured)

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
    for name, value, found in (("covers", "holds", measured.covers), ("exposes", "chance", measured.exposes)):
        table = sheets.tables[name]
        if table is not None or found:
            spelled_out = _spelled_out(name, sheets, scenario)
            columns, cells = _joint_rows(table, value, spelled_out, found, scenario, measured)
            contents[f"{name}.csv"] = _table_text(contents.get(f"{name}.csv", b""), columns, cells)
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


def _joint_rows(
    table: Table | None,
    value: str,
    spelled_out: Mapping[Place, Sequence[Cover | Exposure]],
    found: Iterable[JointRow],
    scenario: Scenario,
    measured: MeasuredChances,
) -> tuple[list[str], list[list[str]]]:
    """A table about guards, singly or jointly: rows about what was not measured as they were, then estimated ones."""
    columns = ["guard", "part", value, "fall"] if table is None else list(table.columns)
    columns += [] if "fall" in columns else ["fall"]
    rows: list[list[str]] = []
    for row in () if table is None else table.rows:
        stands_for = spelled_out.get(row.place, [])
        left = [piece for one in stands_for for piece in left_of(one, scenario, measured)]
        if stands_for and left != stands_for:
            pieces = [JointRow(one.guards, one.part, one.fall or "", chance_of(one)) for one in left]
            rows += [_joint_cells(columns, value, one) for one in _merged(pieces, scenario, row.text(value))]
        else:
            rows.append([row.text(column) for column in columns])
    rows += [_joint_cells(columns, value, one) for one in _merged(found, scenario)]
    return columns, rows


def _spelled_out(name: str, sheets: Sheets, scenario: Scenario) -> dict[Place, list[Cover | Exposure]]:
    """What each row of ``covers`` or ``exposes`` stands for, by the place of the row."""
    tables, findings = sheets.tables, Findings(words={**CHANCE_WORDS, **scenario.words})
    guards = Roster.of("guard", tables["guards"], read_entries(tables["guards"], GuardRow, findings))
    parts = Roster.of("part", tables["parts"], read_entries(tables["parts"], PartRow, findings))
    falls = [fall.id for fall in scenario.falls]
    met: Mapping[Cover, Row] | Mapping[Exposure, Row]
    if name == "covers":
        met = covers_of(read_entries(tables[name], CoverRow, findings), guards, parts, falls, findings)
    else:
        met = exposures_of(read_entries(tables[name], ExposeRow, findings), guards, parts, falls, findings)
    found: dict[Place, list[Cover | Exposure]] = {}
    for one, row in met.items():
        found.setdefault(row.place, []).append(one)
    return found


def _joint_cells(columns: Sequence[str], value: str, one: _Written) -> list[str]:
    cells = {"guard": one.guard, "part": one.part, value: one.chance, "fall": one.fall}
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
