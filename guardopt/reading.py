"""Reading a scenario folder: the one way in."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from guardopt.changes import apply_changes, parse_change
from guardopt.checking import build
from guardopt.errors import InputError, Problem
from guardopt.scenario import Scenario
from guardopt.spelling import escaped
from guardopt.tables import Findings, in_reading_order, read_sheets

__all__ = ["load", "parse_change"]


def load(folder: str | os.PathLike[str], changes: Mapping[str, object] | None = None) -> Scenario:
    """Read and check a scenario folder.

    Parameters
    ----------
    folder
        Where ``scenario.toml`` and the CSV files are.
    changes
        What-ifs: ``FILE.ID.COLUMN`` to the value to put there, as text or as a number. They are applied to the cells as
        read, before anything is checked. A blank value stands for the default.

    Returns
    -------
    Scenario
        The scenario; what is odd about it is in its ``warnings``.

    Raises
    ------
    InputError
        Something is wrong; every problem found is listed.

    Examples
    --------
    >>> scenario = load("scenarios/tourer", {"falls.low_side.per_year": 0.8})  # doctest: +SKIP
    """
    path = Path(folder)
    if not path.is_dir():
        message = "is a file, expected a folder" if path.exists() else "no such folder"
        raise InputError([Problem(escaped(str(path)), message)])
    findings = Findings()
    sheets = apply_changes(read_sheets(path, findings), changes or {}, findings)
    scenario = build(sheets, findings)
    if scenario is None:
        raise InputError(in_reading_order(findings.problems))
    return replace(scenario, warnings=tuple(in_reading_order(findings.warnings)))
