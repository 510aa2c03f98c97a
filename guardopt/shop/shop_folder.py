"""Reads what a shop needs from disk: the bikes of a folder, and a digest of all that decides on its quotes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from guardopt import __version__
from guardopt.errors import InputError, Problem
from guardopt.files.cells import SETTINGS_FILE, Row
from guardopt.files.sources import is_workbook_name, source_of
from guardopt.files.workbooks.reading import open_workbook
from guardopt.loading.load import SourceCells, load
from guardopt.model.scenario import Scenario
from guardopt.shop.shop import ONE_BIKE, Shop, in_bike
from guardopt.spelling import escaped


def open_shop(folder: Path, changes: Mapping[str, object], warn: Callable[[str], None]) -> Shop:
    """The shop of a folder: one scenario, or a folder with a scenario for each bike in it.

    Parameters
    ----------
    folder
        Where to look.
    changes
        What-ifs, made to every bike.
    warn
        Told what is odd about a bike when it is loaded.

    Raises
    ------
    InputError
        There is no such folder. A bike that is wrong is found out when it is asked for.
    """
    paths = bike_paths(folder, warn)

    @cache
    def bike(name: str) -> Scenario:
        try:
            scenario = load(paths[name], changes)
        except InputError as error:
            raise in_bike(error, name) from None
        for warning in scenario.warnings:
            warn(f"{name}/{warning}" if name else str(warning))
        return scenario

    if set(paths) == {ONE_BIKE}:
        return Shop((ONE_BIKE,), bike, folder.resolve().name if folder.is_dir() else folder.stem)
    return Shop(tuple(sorted(paths)), bike)


def bike_paths(folder: Path, warn: Callable[[str], None] = lambda _: None) -> dict[str, Path]:
    """Where the scenario of each bike is; a scenario by itself is the one bike.

    Parameters
    ----------
    folder
        A scenario, or a folder with a folder or workbook for each bike.
    warn
        Told of workbooks that cannot be read.

    Raises
    ------
    InputError
        There is no such folder, or two scenarios in it have one name.
    """
    source_of(folder, "the folder or workbook of a scenario, or a folder of them")
    if not folder.is_dir() or (folder / SETTINGS_FILE).exists():
        return {ONE_BIKE: folder}
    found: dict[str, Path] = {}
    for path in sorted(folder.iterdir()):
        if path.is_dir() and (path / SETTINGS_FILE).is_file():
            name = path.name
        elif is_workbook_name(path) and not path.name.startswith((".", "~")) and _is_scenario(path, warn):
            name = path.stem
        else:
            continue
        if name in found:
            raise InputError([Problem(escaped(str(path)), f"is the bike {name} again, first in {found[name].name}")])
        found[name] = path
    return found or {ONE_BIKE: folder}


def _is_scenario(path: Path, warn: Callable[[str], None]) -> bool:
    """Whether a workbook has the settings of a scenario, as tables of riders have not."""
    try:
        return open_workbook(path).has_settings
    except InputError as error:
        warn(str(error))
        return False


def question_of(shop: Shop, bikes: Iterable[str], riders: Iterable[bytes], options: Mapping[str, Any]) -> str:
    """A digest of all that decides on quotes, as it was read and not as it may be by now.

    Parameters
    ----------
    shop
        The bikes; those asked about have been loaded.
    bikes
        Their names.
    riders
        The digest of each chunk of riders.
    options
        How they are quoted for.
    """
    told = [__version__, options, {bike: _cells(shop.load(bike)) for bike in sorted(bikes)}]
    whole = sha256(json.dumps(told, sort_keys=True, default=str).encode())
    for digest in riders:
        whole.update(digest)
    return whole.hexdigest()


def _cells(scenario: Scenario) -> object:
    """Every cell that a scenario was read from, its what-ifs made."""
    if not isinstance(scenario.source, SourceCells):
        raise TypeError(f"{scenario.title} was not read from disk")
    sheets = scenario.source.sheets
    tables: dict[str, object] = {
        name: None if table is None else [table.columns, [_texts(row) for row in table.rows]]
        for name, table in sheets.tables.items()
    }
    return tables, {name: _texts(row) for name, row in (sheets.settings or {}).items()}


def _texts(row: Row) -> dict[str, str]:
    return {column: str(cell.value) for column, cell in row.cells.items()}
