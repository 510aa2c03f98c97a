"""Reading a scenario, folder or workbook: the one way in."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.cells import Findings
from guardopt.files.sources import Sheets, read_sheets, source_of
from guardopt.files.telling import in_reading_order
from guardopt.loading.changes import apply_changes, parse_change
from guardopt.loading.checking import build
from guardopt.loading.ranges import take_ranges, unread_ranges
from guardopt.model.scenario import Scenario

__all__ = ["load", "parse_change"]


def load(folder: str | os.PathLike[str], changes: Mapping[str, object] | None = None) -> Scenario:
    """Read and check a scenario.

    Parameters
    ----------
    folder
        Where ``scenario.toml`` and the CSV files are; or a workbook, ``.xlsx`` or ``.ods``, with a sheet for each.
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
    >>> from guardopt.writing.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"falls.low_side.per_year": 0.8})
    >>> [(fall.id, fall.per_year) for fall in scenario.falls]
    [('tip_over', 0.5), ('slow_turn', 0.2), ('low_side', 0.8), ('head_on', 0.01)]
    >>> guardopt.load(folder.name, {"falls.lowside.per_year": -1, "scenario.owner.years": 0})
    Traceback (most recent call last):
    guardopt.errors.InputError: ...
    >>> folder.cleanup()
    """
    source = source_of(Path(folder))
    findings = Findings(is_workbook=source.is_workbook)
    sheets = read_sheets(source, findings)
    return SourceCells(sheets, tuple(findings.warnings)).read_with(changes or {}, tuple(findings.problems))


@dataclass(frozen=True)
class SourceCells:
    """The cells of a scenario, what-ifs applied, as a scenario keeps them to be changed again.

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
        findings = Findings([*problems], [*self.warnings], self.sheets.is_workbook)
        sheets = apply_changes(self.sheets, changes, findings)
        likely, ranges = take_ranges(sheets, findings)
        scenario = build(likely, findings)
        if scenario is None:
            raise InputError(in_reading_order(findings.problems))
        scenario = replace(scenario, ranges=ranges)
        for address in unread_ranges(scenario):
            findings.warn(address, "a range has no effect here: nothing is doubted that no fall can cost")
        warnings = tuple(in_reading_order(findings.warnings))
        return replace(scenario, warnings=warnings, source=SourceCells(sheets, self.warnings))
