"""The best kit under other numbers, by the planner that made the plan, on the few falls that every draw meets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from guardopt.deadline import Deadline
from guardopt.doubt.draw_pricing import KitPricer
from guardopt.model.aims import Aim, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.simulation.sampling import Stratum

CLOSE = 1e-3
"""Relative gap at which the best kit under a draw counts as found: far less than what a few hundred draws can tell."""


@dataclass(frozen=True)
class Question:
    """What was asked when the kit was chosen.

    Attributes
    ----------
    aim, limits, tail
        What is to be least, over which kits, and the share of falls that count as the worst.
    kit
        The kit that is best under the guesses.
    gap
        Relative gap within which two kits are equally good.
    """

    aim: Aim
    limits: Limits
    tail: float
    kit: Kit
    gap: float


def best_kit(
    pricer: KitPricer,
    question: Question,
    scenario: Scenario,
    kits: Sequence[Kit],
    strata: Sequence[Stratum],
    deadline: Deadline,
) -> Kit | None:
    """The best kit under other numbers, proven to within `CLOSE`; None if the time or the effort ran out first.

    Parameters
    ----------
    pricer
        Prices the kits to start from.
    question
        What is asked.
    scenario
        The bike with other numbers.
    kits
        Kits that may be good, to start from; all of them allowed.
    strata
        The falls under these numbers.
    deadline
        When to stop.
    """
    if deadline.is_over:
        return None
    measured = pricer.as_met(scenario, kits, strata)
    start = kits[int(measured.argmin())]
    planner = Planner(scenario, strata, tail=question.tail)
    found = planner.search(
        question.aim.measures[0], question.limits, [start], gap=max(question.gap, CLOSE), deadline=deadline
    )
    return None if found.kit is None or not found.is_complete else planner.kit_of(found.kit)
