"""Reading a scenario folder: the one way in."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from guardopt.cells import Findings
from guardopt.changes import apply_changes, parse_change
from guardopt.checking import build
from guardopt.errors import InputError, Problem
from guardopt.scenario import Scenario
from guardopt.spelling import escaped
from guardopt.tables import Sheets, in_reading_order, read_sheets

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
    >>> import tempfile, guardopt
    >>> from guardopt.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"falls.low_side.per_year": 0.8})
    >>> [(fall.id, fall.per_year) for fall in scenario.falls]
    [('tip_over', 0.5), ('low_side', 0.8), ('head_on', 0.01)]
    >>> guardopt.load(folder.name, {"falls.lowside.per_year": -1, "scenario.owner.years": 0})
    Traceback (most recent call last):
    guardopt.errors.InputError: ...
    >>> folder.cleanup()
    """
    path = Path(folder)
    if not path.is_dir():
        message = "is a file, expected a folder" if path.exists() else "no such folder"
        raise InputError([Problem(escaped(str(path)), message)])
    findings = Findings()
    sheets = read_sheets(path, findings)
    return SourceCells(sheets, tuple(findings.warnings)).read_with(changes or {}, tuple(findings.problems))


@dataclass(frozen=True)
class SourceCells:
    """The cells of a folder, what-ifs applied, as a scenario keeps them to be changed again.

    Attributes
    ----------
    warnings
        What was odd about the files themselves.
    """

    sheets: Sheets
    warnings: tuple[Problem, ...]

    def read_with(self, changes: Mapping[str, object], problems: tuple[Problem, ...] = ()) -> Scenario:
        """The scenario with some cells set to other values, all of it checked anew.

        Parameters
        ----------
        changes
            ``FILE.ID.COLUMN`` to the value to put there.
        problems
            What was wrong with the files, to be told together with all that is wrong in them.

        Raises
        ------
        InputError
            Something is wrong; every problem found is listed.
        """
        findings = Findings([*problems], [*self.warnings])
        sheets = apply_changes(self.sheets, changes, findings)
        scenario = build(sheets, findings)
        if scenario is None:
            raise InputError(in_reading_order(findings.problems))
        warnings = tuple(in_reading_order(findings.warnings))
        return replace(scenario, warnings=warnings, source=SourceCells(sheets, self.warnings))
