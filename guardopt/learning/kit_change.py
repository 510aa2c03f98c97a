"""What learning changes: the best kit before and after, and which number is worth watching next.

A number matters by what its doubt does to the yearly cost with the best kit: |∂(yearly cost)/∂number| × sd, with the
slope from `sensitivity`. Doubts of different numbers are taken as independent, so their squares add up (the delta
method).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from guardopt.learning.sensitivity import Slopes
from guardopt.model.aims import status_of
from guardopt.model.numbers import Number
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.bill import in_order
from guardopt.questions.plan import plan
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price


@dataclass(frozen=True, slots=True)
class Doubt:
    """How much one number's doubt matters.

    Attributes
    ----------
    slope
        Change of the yearly cost for one unit of the number.
    sd
        Standard deviation of the number.
    """

    number: Number
    slope: float
    sd: float

    @property
    def cost(self) -> float:
        """What one standard deviation does to the yearly cost."""
        return abs(self.slope) * self.sd

    def to_json(self) -> dict[str, Any]:
        """The record as ``learn --json`` prints it."""
        return {"number": self.number.address, "slope": self.slope, "sd": self.sd, "yearly_cost_sd": self.cost}


@dataclass(frozen=True)
class Effect:
    """What learning changes.

    Attributes
    ----------
    before, after
        The best kit with the numbers as guessed, and as learned, both within the same budget.
    budget_cents
        That budget; None for no limit.
    yearly_before
        Yearly cost of the kit before with the numbers as guessed.
    yearly_old_kit, yearly_after
        Yearly costs of the two kits with the numbers as learned, on the same fresh falls.
    doubts
        Numbers whose doubt matters, the one that matters most first.
    gain_sd
        Standard deviation of the difference between these two yearly costs, from all doubts together: doubts that
        weigh on both kits alike leave it as it is. 0 if the kit stays.
    gap, proven
        The larger of the two kits' gaps, and whether both are proven best.
    """

    before: Kit
    after: Kit
    budget_cents: int | None
    yearly_before: float
    yearly_old_kit: float
    yearly_after: float
    doubts: tuple[Doubt, ...]
    gain_sd: float
    gap: float
    proven: bool

    @property
    def kit_changes(self) -> bool:
        """True if the best kit is another one."""
        return self.before != self.after

    @property
    def gain(self) -> float:
        """What the change of kit saves a year with the numbers as learned."""
        return self.yearly_old_kit - self.yearly_after

    @property
    def change_is_clear(self) -> bool:
        """True if the best kit is another one and gains more than what the numbers leave in doubt."""
        return self.kit_changes and self.gain > self.gain_sd

    @property
    def yearly_cost_sd(self) -> float:
        """Standard deviation of the yearly cost with the best kit, from all doubts together."""
        return math.sqrt(math.fsum(doubt.cost**2 for doubt in self.doubts))

    def to_json(self, scenario: Scenario) -> dict[str, Any]:
        """The record as ``learn --json`` prints it."""
        return {
            "kit_before": in_order(scenario, self.before),
            "kit_after": in_order(scenario, self.after),
            "budget": None if self.budget_cents is None else self.budget_cents / 100,
            "kit_changes": self.kit_changes,
            "change_is_clear": self.change_is_clear,
            "gain": self.gain,
            "gain_sd": self.gain_sd,
            "status": status_of(self.proven).value,
            "gap": self.gap,
            "yearly_cost_before": self.yearly_before,
            "yearly_cost_old_kit": self.yearly_old_kit,
            "yearly_cost_after": self.yearly_after,
            "yearly_cost_sd": self.yearly_cost_sd,
            "watch_next": [doubt.to_json() for doubt in self.doubts],
        }


def effect_of(
    before: Scenario,
    after: Scenario,
    sds: Mapping[Number, float],
    progress: Callable[[str], None] = lambda _: None,
    *,
    budget: float | None = None,
    must: Iterable[str] = (),
    never: Iterable[str] = (),
) -> Effect:
    """Plan with the numbers before and after, and find out which numbers matter.

    Parameters
    ----------
    before, after
        The scenario as guessed and as learned.
    sds
        Standard deviation of each number after learning.
    progress
        Told what is being worked on.
    budget, must, never
        As for `guardopt.plan`.
    """
    must, never = tuple(must), tuple(never)
    progress("looking for the best kit with the numbers as guessed")
    old = plan(before, budget=budget, must=must, never=never, reasons=False)
    progress("looking for the best kit with the numbers as learned")
    new = plan(after, budget=budget, must=must, never=never, reasons=False)
    progress("comparing the two kits")
    prices = price(Bike(after), Bench(after).fresh([old.kit, new.kit]), [old.kit, new.kit], errors=False)
    progress("working out which numbers matter")
    doubts = doubts_of(after, new.kit, sds)
    return Effect(
        before=old.kit,
        after=new.kit,
        budget_cents=new.budget_cents,
        yearly_before=old.fitted.yearly_cost,
        yearly_old_kit=prices.bills[0].yearly_cost,
        yearly_after=prices.bills[1].yearly_cost,
        doubts=tuple(doubts),
        gain_sd=0.0 if old.kit == new.kit else _gain_sd(doubts, doubts_of(after, old.kit, sds)),
        gap=max(old.best.gap, new.best.gap),
        proven=old.best.proven and new.best.proven,
    )


def _gain_sd(one: Sequence[Doubt], other: Sequence[Doubt]) -> float:
    """Standard deviation of the difference between two kits' yearly costs: √Σ ((slope − slope′) sd)²."""
    slopes: dict[Number, float] = {}
    for doubts, sign in ((one, 1.0), (other, -1.0)):
        for doubt in doubts:
            slopes[doubt.number] = slopes.get(doubt.number, 0.0) + sign * doubt.slope * doubt.sd
    return math.sqrt(math.fsum(cost**2 for cost in slopes.values()))


def doubts_of(scenario: Scenario, kit: Kit, sds: Mapping[Number, float]) -> list[Doubt]:
    """Numbers whose doubt changes the yearly cost of a kit, the one that matters most first."""
    slopes = Slopes(scenario, kit)
    doubts = [Doubt(number, slopes.of(number, sd), sd) for number, sd in sds.items() if sd > 0.0]
    return sorted((doubt for doubt in doubts if doubt.slope), key=lambda doubt: (-doubt.cost, doubt.number.address))
