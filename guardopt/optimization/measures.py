"""What of a kit can be minimised or kept below a value: one object for each, by name.

A measure says how it is made of the columns of the program, what a whole kit measures on the planner's sample, and
what plain pricing makes of the same kit, which shares no code with the cuts. Adding one adds an object here; an aim
that uses it stands in `model.aims`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from guardopt.arrays import Floats
from guardopt.cuts.ties import change_of
from guardopt.model.pieces import Kit
from guardopt.optimization.formulation import measured, spend_cents
from guardopt.simulation.outcomes import cost_at_once
from guardopt.simulation.pricing import price
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.sampling import Stratum

if TYPE_CHECKING:
    from guardopt.optimization.benders import Planner


class Measure(Protocol):
    """One measure.

    Attributes
    ----------
    counts_falls, counts_tail
        Whether it is about what falls cost, and about the mean of the worst: which cuts it needs.
    step
        The least by which two different values differ; 0 if that is not known.
    """

    @property
    def counts_falls(self) -> bool:
        """Whether it needs cuts about the bundles."""

    @property
    def counts_tail(self) -> bool:
        """Whether it needs cuts about the tail mean."""

    @property
    def step(self) -> float:
        """As said above."""

    def linear(self, planner: Planner) -> tuple[Floats, float]:
        """What each column ``(columns,)`` adds to it, and a constant."""

    def value(self, planner: Planner, kit: Kit) -> float:
        """What a kit measures, exact on the planner's sample."""

    def again(self, planner: Planner, sample: Sequence[Stratum], kit: Kit) -> float:
        """The same by plain pricing of the falls one by one."""


@dataclass(frozen=True)
class FallsCost:
    """Cost of falls over the years and dislikes; with the price of guards, less resale, if that counts."""

    counts_price: bool
    counts_falls: bool = True
    counts_tail: bool = False
    step: float = 0.0

    def linear(self, planner: Planner) -> tuple[Floats, float]:
        """θ of every bundle, renewals and dislikes; and prices."""
        columns, scenario, terms = planner.columns, planner.scenario, planner.terms
        if not self.counts_price:
            return measured(columns, terms.guard_cost, bundles=True), terms.fixed_cost
        spend = spend_cents(scenario) / 100
        resale = np.array([scenario.resale_value([guard.id]) for guard in scenario.guards])
        guards, offers = spend[: columns.guards], spend[columns.guards :]
        constant = terms.fixed_cost - scenario.sold_cents(()) / 100
        return measured(columns, terms.guard_cost + guards - resale, bundles=True, offers=offers), constant

    def value(self, planner: Planner, kit: Kit) -> float:
        """ā × yearly cost + dislike (+ spend − resale)."""
        x, terms = planner.bike.kit_array(kit).astype(float), planner.terms
        falls = planner.cuts.falls_cost(x) + float(terms.guard_cost @ x) + terms.fixed_cost
        return falls + (planner.scenario.laid_out(kit) if self.counts_price else 0.0)

    def again(self, planner: Planner, sample: Sequence[Stratum], kit: Kit) -> float:
        """As `simulation.pricing` has it."""
        scenario = planner.scenario
        falls = price(planner.bike, sample, [kit], errors=False).bills[0].cost_over_years + scenario.dislike(kit)
        return falls + (scenario.laid_out(kit) if self.counts_price else 0.0)


@dataclass(frozen=True)
class TailMean:
    """Mean cost of the worst share of falls, over the mix of all kinds."""

    counts_falls: bool = False
    counts_tail: bool = True
    step: float = 0.0

    def linear(self, planner: Planner) -> tuple[Floats, float]:
        """The column of the tail."""
        return measured(planner.columns, np.zeros(planner.columns.guards), tail=True), 0.0

    def value(self, planner: Planner, kit: Kit) -> float:
        """The mean on the sample."""
        return planner.cuts.tail_mean(planner.bike.kit_array(kit).astype(float))

    def again(self, planner: Planner, sample: Sequence[Stratum], kit: Kit) -> float:
        """As `simulation.pricing` and `simulation.risk` have it."""
        bike = planner.bike
        fitted = bike.kit_array(kit)
        rates = np.array([fall.per_year for fall in planner.scenario.falls])
        mix = rates / rates.sum() if rates.any() else rates
        costs = np.concatenate([cost_at_once(bike, one, fitted) for one in sample])
        weights = np.concatenate([np.full(one.falls, mix[one.fall] * one.share / one.falls) for one in sample])
        return worst_mean(costs, weights, planner.tail)


@dataclass(frozen=True)
class Spend:
    """What a kit costs to buy and fit, in whole cents."""

    counts_falls: bool = False
    counts_tail: bool = False
    step: float = 1.0

    def linear(self, planner: Planner) -> tuple[Floats, float]:
        """Cents for each guard, less what offers save and what all owned guards would fetch."""
        columns, spend = planner.columns, spend_cents(planner.scenario)
        sold = float(planner.scenario.sold_cents(()))
        return measured(columns, spend[: columns.guards], offers=spend[columns.guards :]), -sold

    def value(self, planner: Planner, kit: Kit) -> float:
        """Cents."""
        return float(planner.scenario.spend_cents(kit))

    def again(self, planner: Planner, sample: Sequence[Stratum], kit: Kit) -> float:
        """The scenario's own sum."""
        return self.value(planner, kit)


@dataclass(frozen=True)
class Change:
    """How much a kit changes about the bike, in whole numbers (`ties.change_of`): breaks the last ties."""

    counts_falls: bool = False
    counts_tail: bool = False
    step: float = 1.0

    def linear(self, planner: Planner) -> tuple[Floats, float]:
        """A whole number for each guard."""
        return measured(planner.columns, change_of(planner.scenario)), 0.0

    def value(self, planner: Planner, kit: Kit) -> float:
        """The sum over the kit."""
        return float(change_of(planner.scenario) @ planner.bike.kit_array(kit))

    def again(self, planner: Planner, sample: Sequence[Stratum], kit: Kit) -> float:
        """The same sum."""
        return self.value(planner, kit)


COST, OUTLAY, TAIL, SPEND, CHANGE = "cost", "outlay", "tail", "spend", "change"

MEASURES: dict[str, Measure] = {
    COST: FallsCost(counts_price=False),
    OUTLAY: FallsCost(counts_price=True),
    TAIL: TailMean(),
    SPEND: Spend(),
    CHANGE: Change(),
}
"""Every measure by its name, by which aims refer to it."""
