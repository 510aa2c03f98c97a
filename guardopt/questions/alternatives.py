"""The kits that come next after the best one, and whether the luck of the simulation can tell them apart."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from guardopt.arrays import Floats
from guardopt.deadline import NEVER, Deadline
from guardopt.errors import OutOfTimeError
from guardopt.model.aims import GAP, Aim, Best, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.bill import in_order
from guardopt.questions.budgets import Step
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import cost_at_once
from guardopt.simulation.pricing import Prices
from guardopt.simulation.risk import tail_scores
from guardopt.simulation.sampling import Stratum

COUNT = 3
"""How many kits are looked for."""

LUCK = 2.0
"""A difference of fewer standard errors than this may be luck."""


SMALL_STEP = 0.05
"""Up to this share of the budget more money is worth a word, where the next kit saves as much."""


@dataclass(frozen=True)
class NextStep:
    """What a little more than the budget would buy.

    Attributes
    ----------
    budget_cents
        The budget from which it is the best kit.
    more, saves
        What that is beyond the budget, and what falls cost less with it over the years, on the planning sample.
    """

    budget_cents: int
    kit: Kit
    more: float
    saves: float

    def to_json(self, scenario: Scenario) -> dict[str, Any]:
        """The record as ``plan --json`` prints it."""
        return {
            "budget": self.budget_cents / 100,
            "kit": in_order(scenario, self.kit),
            "more": self.more,
            "saves": self.saves,
        }


def next_step(steps: Sequence[Step], budget_cents: int) -> NextStep | None:
    """The next step of a budget curve, where it is a small one and saves as much as it takes; else None."""
    later = next((step for step in steps if step.budget_cents > budget_cents), None)
    own = next((step for step in reversed(steps) if step.budget_cents <= budget_cents), None)
    if own is None or later is None:
        return None
    more, saves = (later.budget_cents - budget_cents) / 100, own.cost_over_years - later.cost_over_years
    if more > SMALL_STEP * budget_cents / 100 or saves < more:
        return None
    return NextStep(later.budget_cents, later.best.kit, more, saves)


@dataclass(frozen=True)
class Alternative:
    """A kit that is nearly as good, or comes next at least.

    Attributes
    ----------
    kit, objective
        The guards on the bike, and what the aim measures of it on the planning sample.
    behind
        How much worse that is than the best kit's.
    behind_fresh, behind_fresh_se
        The same on fresh falls, where both kits meet the same ones, and its standard error; None where a single
        simulated fall tells nothing of it.
    """

    kit: Kit
    objective: float
    behind: float
    behind_fresh: float
    behind_fresh_se: float | None

    @property
    def may_be_luck(self) -> bool:
        """Whether the simulation cannot tell it from the best kit."""
        return self.behind_fresh_se is not None and self.behind_fresh <= LUCK * self.behind_fresh_se

    def to_json(self, scenario: Scenario) -> dict[str, Any]:
        """The record as ``plan --json`` prints it."""
        return {
            "kit": in_order(scenario, self.kit),
            "buy": in_order(scenario, self.kit - scenario.stock),
            "spend": scenario.spend_cents(self.kit) / 100,
            "objective": self.objective,
            "behind": self.behind,
            "behind_fresh": self.behind_fresh,
            "behind_fresh_se": self.behind_fresh_se,
        }


def next_best(
    planner: Planner,
    aim: Aim,
    limits: Limits,
    best: Best,
    *,
    count: int = COUNT,
    gap: float = GAP,
    deadline: Deadline = NEVER,
) -> list[Best]:
    """The kits of the next least objectives, one after the other; fewer where there are no more or no time.

    Parameters
    ----------
    planner
        The planner that found the best kit.
    aim, limits, best
        What was asked and answered.
    count, gap, deadline
        How many kits, how near to the next best each has to be proven, and when to stop.
    """
    found = [best]
    while len(found) <= count:
        others = replace(limits, other_than=frozenset(one.kit for one in found))
        try:
            further = planner.best_or_none(aim, others, gap=gap, deadline=deadline)
        except OutOfTimeError:
            break
        if further is None or not further.proven:
            break
        found.append(further)
    return found[1:]


def on_fresh_falls(
    scenario: Scenario, aim: Aim, prices: Prices, best: int, others: Sequence[Best], first: int, objective: float
) -> tuple[Alternative, ...]:
    """The alternatives with how far behind they are on fresh falls, for aims that add costs up.

    Parameters
    ----------
    prices
        The kits priced on fresh falls.
    best, first
        The place of the best kit among them, and that of the first alternative.
    others, objective
        The alternatives on the planning sample, and the best kit's objective there.
    """

    def beside(kit: Kit) -> float:
        return scenario.dislike(kit) + (scenario.laid_out(kit) if aim.counts_price else 0.0)

    ours, found = prices.bills[best], []
    for number, other in enumerate(others, start=first):
        theirs = prices.bills[number]
        error = prices.saving_standard_error(best, number)
        behind = theirs.cost_over_years - ours.cost_over_years + beside(theirs.kit) - beside(ours.kit)
        se = None if error is None else scenario.annuity * error
        found.append(Alternative(other.kit, other.objective, other.objective - objective, behind, se))
    return tuple(found)


def on_fresh_tails(
    bike: Bike, strata: Iterable[Stratum], tail: float, best: Best, others: Sequence[Best]
) -> tuple[Alternative, ...]:
    """The same for the mean of the worst share `tail` of falls; the sample is gone through once."""
    kits = [best.kit, *(other.kit for other in others)]
    rates = np.array([fall.per_year for fall in bike.scenario.falls])
    mix = rates / rates.sum() if rates.any() else rates
    costs: list[Floats] = []
    shares: list[tuple[float, int]] = []
    for stratum in strata:
        costs.append(np.stack([cost_at_once(bike, stratum, bike.kit_array(kit)) for kit in kits]))
        shares.append((float(mix[stratum.fall]) * stratum.share, stratum.falls))
    weights = np.concatenate([np.full(falls, share / falls) for share, falls in shares])
    scores = np.stack([tail_scores(one, weights, tail) for one in np.concatenate(costs, axis=1)])
    differences = scores[1:] - scores[0]
    parts = np.split(differences, np.cumsum([falls for _, falls in shares])[:-1], axis=1)
    means, variances = np.zeros(len(others)), np.zeros(len(others))
    for (share, falls), part in zip(shares, parts, strict=True):
        means += share * part.mean(axis=1)
        variances += share**2 * part.var(axis=1, ddof=1) / falls if falls > 1 else np.nan
    errors = [None if math.isnan(one) else math.sqrt(one) for one in variances.tolist()]
    return tuple(
        Alternative(other.kit, other.objective, other.objective - best.objective, behind, error)
        for other, behind, error in zip(others, means.tolist(), errors, strict=True)
    )
