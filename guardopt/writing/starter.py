"""Something to start from: a complete scenario whose numbers are all invented, or a copy of another scenario."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.cells import SETTINGS_FILE, Findings
from guardopt.files.folder_writing import write_folder
from guardopt.files.limits import read_whole
from guardopt.files.sources import Folder, Sheets, Source, read_sheets, source_of
from guardopt.files.tables import READING_ORDER
from guardopt.files.telling import in_reading_order
from guardopt.files.whole_file import write_file
from guardopt.model.chance_words import LADDER
from guardopt.spelling import escaped, listed
from guardopt.writing.scenario_writing import (
    SETTINGS_TO_FILL,
    TO_FILL,
    TO_FILL_IF_GIVEN,
    TO_FILL_NEXT,
    cells_to_fill,
    check_target,
    folder_contents,
    scenario_workbook,
)
from guardopt.writing.starter_kinds import KINDS

STARTERS = Path(__file__).parent.parent / "templates" / "starters"

SMALL = "small"
"""The starter without a kind: few parts, every column explained."""

_LEARNED = "learned"

_START = (
    "",
    "How to fill it in",
    "1. The yellow cells first: what the bike is worth, what its parts cost, how often you expect each kind of fall, "
    "and then what guards cost: their prices, what renewing them costs, and offers for several at once. If you are "
    "insured for damage to your own bike: insurance.excess and insurance.premium_rise among the settings as well; "
    "left blank, they mean that you bear all damage yourself.",
    "2. Point at a heading to read what stands below it, in which unit, and what a blank cell means.",
    "3. Chances may be numbers from 0 to 1 or words. Clearly apart are "
    f"{listed(LADDER, last='and')}; others lie between, some close together: usually is hardly more than often. "
    "Write decimals as your spreadsheet does.",
    "4. The column note is yours; notes on guards and offers are printed in the shopping list, those on parts in "
    "plan --full.",
    "5. Delete rows of parts your bike has not, and of guards that nobody sells you, in their own sheet and wherever "
    "they are named (filter for the name); add rows likewise. Of a guard that you own say what it fetches, sells_for. "
    "Delete offers that nobody makes you. A kind of fall that you never have may stay, with 0 in per_year.",
    "6. Save it, then run guardopt check on this file: it lists everything that is wrong in one go, cell by cell.",
    "",
    "Guards spare the machine, not the rider. Results are estimates and no better than the numbers put in. Repairs of "
    "frame, fork, brakes and steering belong to a qualified mechanic; local rules, the maker's instructions and your "
    "insurer's terms come first.",
)


def numbers_to_fill(target: Path) -> tuple[list[tuple[str, int]], list[tuple[str, int]]]:
    """What whoever starts from a starter puts their own numbers into, each with how many cells that is.

    First what the bike and its falls are, then what guards cost.
    """
    sheets = _read(source_of(target))
    settings = sheets.settings or {}
    keys = [key for key in SETTINGS_TO_FILL if key.rpartition(".")[0] in settings]
    named = f"settings: {', '.join(key.rpartition('.')[2] for key in keys)}"
    return [(named, len(keys)), *_columns_to_fill(sheets, TO_FILL)], _columns_to_fill(sheets, TO_FILL_NEXT)


def _columns_to_fill(sheets: Sheets, asked: Mapping[str, Sequence[str]]) -> list[tuple[str, int]]:
    found = []
    for name, columns in asked.items():
        table = sheets.tables.get(name)
        if table is not None:
            told = [f"{one} where it is given" if one in TO_FILL_IF_GIVEN else one for one in columns]
            found.append((f"{name}: {listed(told, last='and')}", len(cells_to_fill(table, columns))))
    return found


def write_starter(folder: str | os.PathLike[str], like: str | None = None) -> None:
    """Write a starter into a new or empty folder, or as a new workbook, all of it or nothing.

    Parameters
    ----------
    folder
        The folder; a workbook if the name ends in ``.xlsx``.
    like
        One of `KINDS`; the small starter without.

    Raises
    ------
    InputError
        Something is there already, or it cannot be written; or there is no such kind.
    """
    target = Path(folder)
    check_target(target, str(folder))
    if like is not None and like not in KINDS:
        raise InputError([Problem(like, f"no such starter; known: {', '.join(KINDS)}")])
    source = STARTERS / (like or SMALL)
    if target.suffix.lower() == ".xlsx":
        sheets = _read(Folder(source))
        title = "A scenario to fill in; every number in it is invented"
        content = scenario_workbook(sheets, str(folder), start=(title, *_START), is_starter=True)
        write_file(content, target, str(folder))
    else:
        write_folder(_files(source), target, str(folder))


def copy_scenario(source: str | os.PathLike[str], folder: str | os.PathLike[str]) -> list[str]:
    """Copy a scenario into a new or empty folder or a new workbook, all of it or nothing.

    From folder to folder, the files are copied byte by byte and not checked; whatever else lies beside them is left
    where it is. Where one of the two is a workbook, the cells are written anew.

    Returns
    -------
    list[str]
        The names of the files or tables copied.

    Raises
    ------
    InputError
        There is no scenario to copy or something of it cannot be read; or what is to be written is there already or
        cannot be written.
    """
    target = Path(folder)
    check_target(target, str(folder))
    found = source_of(Path(source))
    if target.suffix.lower() != ".xlsx" and not found.is_workbook:
        contents = _files(Path(source))
        write_folder(contents, target, str(folder))
        return list(contents)
    sheets = _read(found)
    beside = _learned(found)
    if target.suffix.lower() == ".xlsx":
        write_file(scenario_workbook(sheets, str(folder), beside=beside), target, str(folder))
    else:
        write_folder(folder_contents(sheets, beside), target, str(folder))
    return ["scenario", *(name for name, table in sheets.tables.items() if table is not None), *beside]


def _files(path: Path) -> dict[str, bytes]:
    """The files of a scenario's folder, byte by byte."""
    name = escaped(str(path))
    if not (path / SETTINGS_FILE).is_file():
        raise InputError([Problem(name, f"has no {SETTINGS_FILE}, expected the folder of a scenario")])
    contents: dict[str, bytes] = {}
    problems: list[Problem] = []
    for file in READING_ORDER:
        try:
            contents[file] = read_whole(path / file)
        except FileNotFoundError:
            continue
        except OSError as error:
            problems.append(Problem(f"{name}, {file}", f"cannot be read: {(error.strerror or str(error)).lower()}"))
    if problems:
        raise InputError(problems)
    return contents


def _read(source: Source) -> Sheets:
    """The cells of a scenario; what keeps them from being divided is an error, what stands in them is not looked at."""
    findings = Findings(is_workbook=source.is_workbook)
    sheets = read_sheets(source, findings)
    if findings.problems:
        raise InputError(in_reading_order(findings.problems))
    return sheets


def _learned(source: Source) -> dict[str, tuple[Sequence[str], Sequence[Sequence[str]]]]:
    """The table that a log left behind, if there is one."""
    table = source.table(_LEARNED, Findings(), is_optional=True, may_be_empty=True)
    if table is None:
        return {}
    return {_LEARNED: (table.columns, [[row.text(column) for column in table.columns] for row in table.rows])}
