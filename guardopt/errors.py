"""What can go wrong, as exceptions that carry text fit for a person.

Only the command line turns them into exit codes (`exit_code`); everything else raises or passes them on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input, or odd about it: where it is, what was found and what was expected.

    Attributes
    ----------
    where
        File, line and column, as far as they are known: ``"parts.csv, line 4, column price"``.
    message
        What was found, what was expected and, where there is one, the nearest known spelling.
    """

    where: str
    message: str

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
