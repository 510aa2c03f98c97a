"""Parameters by the names that the command line has for them."""

from __future__ import annotations

from guardopt.errors import GuardoptError, InputError, Parameter, Place, Problem


def told(error: GuardoptError) -> list[str]:
    """What went wrong, a line each, with options where Python has parameters."""
    if not isinstance(error, InputError):
        return str(error).splitlines()
    return [line for problem in error.problems for line in _told(problem).splitlines()]


def _told(problem: Problem) -> str:
    """One problem.

    Examples
    --------
    >>> _told(Problem(Parameter("time_limit"), "found 0, expected seconds above 0"))
    '--time-limit: found 0, expected seconds above 0'
    """
    where = problem.where.source if isinstance(problem.where, Place) else problem.where
    if not isinstance(where, Parameter):
        return str(problem)
    name, blank, value = str(problem.where).partition(" ")
    return f"--{name.replace('_', '-')}{blank}{value}: {problem.message}"
