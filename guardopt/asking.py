"""What every question checks of its options: each mistake is named, and all of them at once."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import TypeVar

from guardopt.aims import Aim
from guardopt.errors import InputError, Problem
from guardopt.pieces import in_cents
from guardopt.scenario import Scenario

Found = TypeVar("Found")


def wrong_aim(aim: str, where: str = "--aim") -> list[Problem]:
    """What is wrong with the name of an aim."""
    return [] if aim in list(Aim) else [Problem(where, f"found {aim!r}, expected one of {', '.join(Aim)}")]


def adding_aim(aim: str) -> Aim:
    """The aim of a question that adds costs up, over riders or months, and so cannot look at the worst falls alone.

    Raises
    ------
    InputError
        It is neither ``bills`` nor ``outlay``.
    """
    if aim not in (Aim.BILLS, Aim.OUTLAY):
        raise InputError([Problem("--aim", f"found {aim!r}, expected one of {Aim.BILLS}, {Aim.OUTLAY}")])
    return Aim(aim)


def wrong_budget(budget: float | None, where: str = "--budget") -> list[Problem]:
    """What is wrong with a budget; None is that of the scenario."""
    if budget is None or budget >= 0.0:
        return []
    return [Problem(where, f"found {budget:g}, expected an amount of at least 0")]


def wrong_gap(gap: float) -> list[Problem]:
    """What is wrong with a relative gap."""
    if 0.0 <= gap < 1.0:
        return []
    return [Problem("--gap", f"found {gap:g}, expected a share of at least 0 and below 1")]


def wrong_time_limit(seconds: float | None, where: str = "--time-limit") -> list[Problem]:
    """What is wrong with a time limit; None is no limit."""
    if seconds is None or seconds > 0.0:
        return []
    return [Problem(where, f"found {seconds:g}, expected seconds above 0")]


def with_problems(problems: Sequence[Problem], look_up: Callable[[], Found]) -> Found:
    """What was looked up.

    Parameters
    ----------
    problems
        What is known to be wrong already.
    look_up
        Looks up what was typed, such as ids; may find that wrong as well.

    Raises
    ------
    InputError
        Something is wrong; everything that is, in one list.
    """
    try:
        found = look_up()
    except InputError as error:
        raise InputError([*problems, *error.problems]) from None
    if problems:
        raise InputError(problems)
    return found


def budget_cents(scenario: Scenario, budget: float | None) -> int | None:
    """A budget in whole cents: that of the scenario for None, None for one without limit."""
    if budget is None:
        return scenario.budget_cents
    return None if math.isinf(budget) else in_cents(Decimal(str(budget)))
