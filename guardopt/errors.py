"""What can go wrong, as exceptions that carry text fit for a person.

Only the command line turns them into exit codes (`exit_code`); everything else raises or passes them on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands in the input.

    Attributes
    ----------
    source
        The file or the sheet: ``"parts.csv"``, ``"parts"``.
    line
        The line of a text file, or the row of a sheet, counted from 1; None if it is about the whole of it.
    item
        What is meant in that line, in words: ``"column price"``, ``"[owner] years"``; blank if it is the whole line.
    counted
        What lines are called here: ``"line"`` or ``"row"``.
    letters
        The letters of the column in a sheet; blank if it has none.

    Examples
    --------
    >>> str(Place("parts.csv", 4, "column price")), str(Place("parts", 4, "column price", "row", "C"))
    ('parts.csv, line 4, column price', 'parts!C4')
    """

    source: str
    line: int | None = None
    item: str = ""
    counted: str = "line"
    letters: str = ""

    def __str__(self) -> str:
        if self.letters and self.line is not None:
            return f"{self.source}!{self.letters}{self.line}"
        line = "" if self.line is None else f"{self.counted} {self.line}"
        return ", ".join(piece for piece in (self.source, line, self.item) if piece)


class Parameter(str):
    """The name of something that was asked, as Python spells it; only the command line knows its own spelling."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Missing:
    """A row that is named and not there, where that is the cause of a problem.

    Attributes
    ----------
    table, name
        The table and the id.
    hint
        What else to say about that id.
    is_deleted
        Whether the row was most likely there once and was deleted alone.
    """

    table: str
    name: str
    hint: str = ""
    is_deleted: bool = False


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input, or odd about it: where it is, what was found and what was expected.

    Attributes
    ----------
    where
        The place, or the parameter that was asked for, such as ``Parameter("budget")``.
    message
        What was found, what was expected and, where there is one, the nearest known spelling.
    kind
        What the mistake is, so that the same one in many cells is told once; blank if the message says it all.
    missing
        The row that is not there, if that is the cause.
    """

    where: Place | str
    message: str
    kind: str = field(default="", compare=False)
    missing: Missing | None = field(default=None, compare=False)

    def __str__(self) -> str:
        return f"{self.where}: {self.message}"


class GuardoptError(Exception):
    """Base of every error this package raises on purpose."""

    exit_code = 2


class InputError(GuardoptError):
    """The input is wrong; every problem found in it is listed, not only the first.

    Attributes
    ----------
    problems
        All problems, in the order in which a reader of the files meets them.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def missing_packages(where: str, packages: str, extra: str) -> InputError:
    """The error for packages that are not installed because they come with an extra, with the line that adds it."""
    advice = f"in the folder of guardopt run: .venv/bin/pip install '.[{extra}]'"
    return InputError([Problem(where, f"needs {packages}; {advice}")])


class NoKitError(GuardoptError):
    """No kit satisfies the budget, the weight limit and what is forced in or out."""

    exit_code = 1


class SolverError(GuardoptError):
    """The solver failed, or its answer did not survive being recomputed."""

    exit_code = 1


class OutOfTimeError(GuardoptError):
    """The time allowed was too short for any answer."""

    exit_code = 1
