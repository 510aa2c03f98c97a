"""Reads what a shop needs from disk: the bikes of a folder, and a digest of all that decides on its quotes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from hashlib import file_digest, sha256
from pathlib import Path
from typing import Any

from guardopt import __version__
from guardopt.cells import SETTINGS_FILE
from guardopt.errors import InputError, Problem
from guardopt.reading import load
from guardopt.scenario import Scenario
from guardopt.shop import ONE_BIKE, Shop, in_bike
from guardopt.spelling import escaped
from guardopt.tables import READING_ORDER


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
        There is no such folder, or no scenario in it. A bike that is wrong is found out when it is asked for.
    """
    if not folder.is_dir():
        message = "is a file, expected a folder" if folder.exists() else "no such folder"
        raise InputError([Problem(escaped(str(folder)), message)])
    names = tuple(sorted(one.name for one in folder.iterdir() if (one / SETTINGS_FILE).is_file()))
    is_scenario = (folder / SETTINGS_FILE).exists() or not names

    @cache
    def bike(name: str) -> Scenario:
        try:
            scenario = load(folder / name, changes)
        except InputError as error:
            raise in_bike(error, name) from None
        for warning in scenario.warnings:
            warn(f"{name}/{warning}" if name else str(warning))
        return scenario

    if is_scenario:
        return Shop((ONE_BIKE,), bike, folder.resolve().name)
    return Shop(names, bike)


def question_of(folder: Path, bikes: Iterable[str], riders: Path, options: Mapping[str, Any]) -> str:
    """A digest of the riders, of every file of these bikes, of options and of this version."""
    whole = sha256(json.dumps([__version__, options], sort_keys=True, default=str).encode())
    for path in [riders, *(folder / bike / file for bike in sorted(bikes) for file in READING_ORDER)]:
        whole.update(f"{path.name}\0".encode())
        if path.is_file():
            with path.open("rb") as content:
                whole.update(file_digest(content, "sha256").digest())
    return whole.hexdigest()
