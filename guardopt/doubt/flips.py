"""Where the best kit changes if one guess alone is wrong."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Floats
from guardopt.deadline import Deadline
from guardopt.doubt.best_kits import Question, best_kit
from guardopt.doubt.doubtful_numbers import Doubtful, scenario_with
from guardopt.doubt.draw_pricing import KitPricer
from guardopt.model.aims import GAP
from guardopt.model.numbers import Kind
from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario

POINTS = 6
"""Values looked at on each side of a guess before the change is closed in on."""

HALVINGS = 14
ROUNDS = 3
"""How often the planner is asked for a kit that changes the answer nearer to the guess."""

MOST_CORRELATION = 0.99
RARE = 0.999
"""Amounts and rates are looked at up to this quantile, and to three times the guess."""


@dataclass(frozen=True, slots=True)
class Flip:
    """The value of a number at which another kit becomes the best, and that kit."""

    value: float
    kit: Kit


class FlipFinder:
    """Looks for the values of one number, all others as guessed, from which on another kit is better.

    Parameters
    ----------
    pricer, question, scenario
        As for `best_kit`; the scenario has its numbers as guessed.
    kits
        Kits that may be better; the planner is asked for others.
    deadline
        When to stop.
    """

    def __init__(
        self, pricer: KitPricer, question: Question, scenario: Scenario, kits: Sequence[Kit], deadline: Deadline
    ) -> None:
        self._pricer, self._question, self._scenario, self._deadline = pricer, question, scenario, deadline
        self._kits = [question.kit, *(kit for kit in kits if kit != question.kit)]

    def below(self, number: Doubtful) -> Flip | None:
        """The nearest value below the guess; None if the kit stays the best down to 0."""
        return self._towards(number, 0.0)

    def above(self, number: Doubtful) -> Flip | None:
        """The nearest value above the guess; None if the kit stays the best as far as is looked."""
        return self._towards(number, _highest(number))

    def _towards(self, number: Doubtful, end: float) -> Flip | None:
        def lead(value: float, kits: Sequence[Kit]) -> Floats:
            """By how much each of these kits is better than the chosen one at a value."""
            scenario = scenario_with(self._scenario, [number], np.array([value]))
            measured = self._pricer.measures(scenario, [self._question.kit, *kits])
            slack = max(HALF_A_CENT, GAP * abs(measured[0]))
            ahead: Floats = measured[0] - measured[1:] - slack
            return ahead

        found: Flip | None = None
        for _ in range(ROUNDS):
            others = self._kits[1:]
            found = _nearest(lead, others, number.guess, end) if others else None
            # A kit that nobody thought of may be better earlier: the planner knows.
            further = self._best_at(number, end if found is None else found.value)
            if further is None or further in self._kits:
                return found
            self._kits.append(further)
        return found

    def _best_at(self, number: Doubtful, value: float) -> Kit | None:
        scenario = scenario_with(self._scenario, [number], np.array([value]))
        strata = self._pricer.strata(scenario)
        return best_kit(self._pricer, self._question, scenario, self._kits[:1], strata, self._deadline)


def _highest(number: Doubtful) -> float:
    if number.number.kind is Kind.CORRELATION:
        return max(MOST_CORRELATION, number.guess)
    if number.number.kind.is_chance:
        return 1.0
    return max(3.0 * number.guess, float(number.belief.quantile(np.array([RARE]))[0]))


def _nearest(
    lead: Callable[[float, Sequence[Kit]], Floats], kits: Sequence[Kit], guess: float, end: float
) -> Flip | None:
    """The value nearest to the guess at which some kit leads, between points looked at on the way to the end."""
    inside = guess
    for step in range(1, POINTS + 1):
        outside = guess + (end - guess) * (step / POINTS) ** 1.5
        ahead = lead(outside, kits)
        leaders = [kit for kit, by in zip(kits, ahead, strict=True) if by > 0.0]
        if leaders:
            break
        inside = outside
    else:
        return None
    first = max(zip(ahead.tolist(), range(len(kits)), strict=True))[1]
    leader = kits[first]
    for _ in range(HALVINGS):
        middle = (inside + outside) / 2.0
        by = lead(middle, leaders)
        if by.max() > 0.0:
            outside, leader = middle, leaders[int(by.argmax())]
            leaders = [kit for kit, one in zip(leaders, by, strict=True) if one > 0.0]
        else:
            inside = middle
    return Flip(outside, leader)
