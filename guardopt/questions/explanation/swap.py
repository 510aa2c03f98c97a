"""A kit with one guard taken off or put on, priced beside the kit of a plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from guardopt.arrays import Floats
from guardopt.model.pieces import HALF_A_CENT, Guard, Kit
from guardopt.model.scenario import Scenario


class Priced(Protocol):
    """What is known of a kit's price."""

    @property
    def kit(self) -> Kit:
        """The guards on the bike."""

    @property
    def cost_over_years(self) -> float:
        """What falls cost over the years, renewals paid."""

    @property
    def renewals(self) -> Floats:
        """``(kinds of fall,)``: mean renewals after one fall."""

    @property
    def part_bill_per_year(self) -> Floats:
        """``(parts,)``: the bill for each part."""


@dataclass(frozen=True)
class KitCost:
    """A kit's price as the planner knows it: not part by part, so that no part is named."""

    kit: Kit
    cost_over_years: float
    renewals: Floats
    part_bill_per_year: Floats


@dataclass(frozen=True)
class Swap:
    """A kit with one guard taken off or put on, beside the kit it is compared with.

    Attributes
    ----------
    now
        What is paid with the kit of the plan.
    without, plus
        What is paid without and with the guard, the rest of the kit being the same.
    off
        The other guards that come off: those that need the guard, or that clash with it.
    """

    scenario: Scenario
    guard: Guard
    now: Priced
    without: Priced
    plus: Priced
    off: tuple[str, ...]

    @property
    def along(self) -> Kit:
        """The guard and those that need it: what is on the bike with it and not without."""
        return self.plus.kit - self.without.kit

    @property
    def saving(self) -> float:
        """What the guard saves over the years, its renewals paid."""
        return self.without.cost_over_years - self.plus.cost_over_years

    @property
    def laid_out(self) -> float:
        """What the guard adds to the price of the kit, offers taken and what it fetches at the end taken off."""
        return self.scenario.laid_out(self.plus.kit) - self.scenario.laid_out(self.without.kit)

    @property
    def dearer(self) -> float:
        """What putting it on adds to the price of the kit of the plan, what comes off taken back."""
        return self.scenario.laid_out(self.plus.kit) - self.scenario.laid_out(self.now.kit)

    @property
    def is_a_loss(self) -> bool:
        """Whether it saves less than it adds to the price."""
        return self.saving < self.laid_out - HALF_A_CENT

    @property
    def damage_saving(self) -> float:
        """What it saves over the years before its renewals are paid."""
        rates = np.array([fall.per_year for fall in self.scenario.falls])
        return self.saving + float(self.scenario.annuity * rates @ (self.plus.renewals - self.without.renewals))

    @property
    def harm(self) -> float:
        """What it costs over the years on parts that it does harm to, where it costs more there than it saves."""
        more = self.plus.part_bill_per_year - self.without.part_bill_per_year
        return float(self.scenario.annuity * sum(more[row] for row in self._harmed_rows()))

    def harms(self) -> list[str]:
        """The parts that it does harm to and that cost more with it."""
        return [self.scenario.parts[row].id for row in self._harmed_rows()]

    def _harmed_rows(self) -> list[int]:
        exposed = {one.part for one in self.scenario.exposures if self.guard.id in one.guards}
        more = self.plus.part_bill_per_year - self.without.part_bill_per_year
        least = HALF_A_CENT / self.scenario.annuity
        return [row for row, part in enumerate(self.scenario.parts) if part.id in exposed and more[row] > least]

    def parts(self) -> list[str]:
        """The parts it saves most on, three at most; where it takes the place of others, beyond what they save."""
        before = self.without if self.guard.id in self.now.kit else self.now
        saved = before.part_bill_per_year - self.plus.part_bill_per_year
        worst_first = np.argsort(-saved, kind="stable")[:3]
        return [self.scenario.parts[row].id for row in worst_first if saved[row] > HALF_A_CENT]

    def missing(self) -> list[frozenset[str]]:
        """The needs of the guard that the kit it is put on does not meet."""
        return [alternatives for alternatives in self.guard.needs if not alternatives & self.plus.kit]

    def rivals(self) -> list[str]:
        """Guards of the kit that cannot be on the bike with it."""
        return [name for name in self.off if self.scenario.exclude_each_other(self.guard, self.scenario.guard[name])]
