"""What every question checks of its options: each mistake is named, and all of them at once."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import TypeVar

from guardopt.errors import InputError, Parameter, Problem
from guardopt.model.aims import AIMS, Aim, aim_named
from guardopt.model.pieces import in_cents
from guardopt.model.scenario import Scenario

Found = TypeVar("Found")

MOST_WEIGHT = 1e6


def wrong_aim(aim: str, where: str = Parameter("aim")) -> list[Problem]:
    """What is wrong with the name of an aim."""
    return [] if str(aim) in AIMS else [Problem(where, f"found {str(aim)!r}, expected one of {', '.join(AIMS)}")]


def adding_aim(aim: str) -> Aim:
    """The aim of a question that adds costs up, over riders or months, and so cannot look at the worst falls alone.

    Raises
    ------
    InputError
        It is another, or none that adds up.
    """
    adding = [name for name, one in AIMS.items() if one.adds_up]
    if str(aim) not in adding:
        raise InputError([Problem(Parameter("aim"), f"found {str(aim)!r}, expected one of {', '.join(adding)}")])
    return aim_named(aim)


def wrong_budget(budget: float | None, where: str = Parameter("budget")) -> list[Problem]:
    """What is wrong with a budget; None is that of the scenario."""
    if budget is None or budget >= 0.0:
        return []
    return [Problem(where, f"found {budget:g}, expected an amount of at least 0")]


def wrong_gap(gap: float) -> list[Problem]:
    """What is wrong with a relative gap."""
    if 0.0 <= gap < 1.0:
        return []
    return [Problem(Parameter("gap"), f"found {gap:g}, expected a share of at least 0 and below 1")]


def wrong_time_limit(seconds: float | None, where: str = Parameter("time_limit")) -> list[Problem]:
    """What is wrong with a time limit; None is no limit."""
    if seconds is None or seconds > 0.0:
        return []
    return [Problem(where, f"found {seconds:g}, expected seconds above 0")]


def wrong_effort(nodes: int, where: str = Parameter("effort")) -> list[Problem]:
    """What is wrong with a number of nodes."""
    return [] if nodes >= 1 else [Problem(where, f"found {nodes}, expected at least 1")]


def wrong_weight(falls: float) -> list[Problem]:
    """What is wrong with the number of falls that a guessed chance is worth."""
    if 0.0 < falls <= MOST_WEIGHT:
        return []
    return [
        Problem(
            Parameter("weight"), f"found {falls:g}, expected a number of falls above 0 and at most {MOST_WEIGHT:,.0f}"
        )
    ]


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
