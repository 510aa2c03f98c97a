"""Finds optimality cuts at any kit about groups of falls, from one sample.

A group is one kind of fall and one item of the list of costs where the cap cannot bind, since there the bill is the sum
of its items; it is falls of one kind with like bills where the cap may bind. About what waits, θ_g is how often it
comes about in one fall, and its cost follows in `waiting`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardopt.arrays import Bools, Floats, Ints
from guardopt.cuts.knapsack_bound import Reach
from guardopt.cuts.lifting import Lifting
from guardopt.cuts.optimality_cuts import Chosen, Facts, capped_facts, off_in_z
from guardopt.cuts.waiting import least_merged
from guardopt.model.scenario import Scenario
from guardopt.simulation.batch_pricing import MergedCost, mean_renewals, merged_costs
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import sums
from guardopt.simulation.items import Kind
from guardopt.simulation.reduction import AT_CAP, KeptFalls, reduce_falls
from guardopt.simulation.roots import cover_literals
from guardopt.simulation.sampling import Stratum

CAPPED_GROUPS = 2
"""Groups of falls of one kind that may reach the cap; more make facts tighter and programs larger."""


class FactFinder:
    """One sample, arranged so that facts can be found at any kit.

    Parameters
    ----------
    bike
        The scenario as arrays.
    strata
        The sample.

    Attributes
    ----------
    group_fall
        ``(groups,)``: the kind of fall that a group belongs to.
    group_bundle
        ``(groups,)``: groups of the same number are one variable of the program.
    group_is_kept
        ``(groups,)``: the group is of falls that may reach the cap.
    waits
        Bundles of what waits, in the order of the list of costs; their groups count how often it comes about.
    kept_groups
        The groups of falls that may reach the cap, the last ones.
    fixed_cost
        ``(kinds of fall,)``: what falls that no guard changes add to the mean cost of one fall.
    renewals
        ``(kinds of fall, guards)``: mean cost of renewing a fitted guard after one fall.
    """

    def __init__(self, bike: Bike, strata: Sequence[Stratum]) -> None:
        reduced = reduce_falls(bike, strata)
        self._literals = cover_literals(bike)
        self._cap = bike.scenario.cap
        self._merged, self._kept_items, self._kept = reduced.merged, reduced.kept_items, reduced.kept
        kinds = len(bike.scenario.falls)
        self._names = names = reduced.merged_groups // kinds
        self._reach = Reach(bike.scenario, self._literals, self._kept_items, self._kept)
        self._lifting = Lifting(self._kept_items, self._literals, self._kept.base)
        self.kept_groups = _by_bare_bill(reduced.kept)
        self._kept_group = _group_of(reduced.kept, self.kept_groups) + reduced.merged_groups
        kept_fall = np.array([group.kind for group in self.kept_groups], dtype=np.int64)
        self.group_fall = np.concatenate([np.repeat(np.arange(kinds), names), kept_fall])
        self.group_bundle = np.concatenate([np.tile(np.arange(names), kinds), names + np.arange(kept_fall.size)])
        self.group_is_kept = np.arange(self.group_fall.size) >= reduced.merged_groups
        self.waits = np.array(bike.costs.of_kind(Kind.WAITS), dtype=np.int64)
        self.fixed_cost = reduced.fixed_cost
        self._fixed_noted = np.concatenate([reduced.fixed_noted.ravel(), np.zeros(kept_fall.size)])
        self.renewals = mean_renewals(bike, strata)
        self._least_noted = self._fixed_noted.copy()
        self._least_noted[: reduced.merged_groups] += self._always_noted(bike.scenario)

    def _always_noted(self, scenario: Scenario) -> Floats:
        """``(merged groups,)``: how often what waits comes about at least, beside what no guard can spare."""
        least = np.zeros(self.fixed_cost.size * self._names)
        for name in self.waits.tolist():
            of_name = np.arange(least.size) % self._names == name
            for one in least_merged(self._merged.of_owners(of_name), self._literals, self._names, scenario):
                least[one.kind * self._names + name] = one.cost.min()
        return least

    def with_terms(self, bike: Bike, strata: Sequence[Stratum] | None) -> FactFinder:
        """The same falls where other prices are asked for guards.

        Parameters
        ----------
        bike
            The scenario as arrays; its falls cost what those of this one do, renewals aside.
        strata
            The sample, if guards wear otherwise; None if they wear as before.
        """
        other = copy(self)
        other._reach = Reach(bike.scenario, self._literals, self._kept_items, self._kept)
        if strata is not None:
            other.renewals = mean_renewals(bike, strata)
        return other

    @property
    def arrays(self) -> Iterator[NDArray[Any]]:
        """The arrays that pricing a kit goes through, to weigh them and to time reading them."""
        for items in (self._merged, self._kept_items):
            yield from (items.cost, items.owner, items.strike_item)
            yield from (items.against_strike, items.against_cover, items.may_repeat)

    def least_costs(self, budget_cents: int | None = None) -> Floats:
        """``(falls kept,)``: what falls that may reach the cap cost at least with any kit within a budget."""
        return self._reach.least(budget_cents)

    def group_floor(self, least: Floats) -> Floats:
        """``(groups,)``: below this no kit gets, if single falls cost at least that."""
        return self._least_noted + sums(self._kept_group, self._kept.weight * least, self.group_fall.size)

    @property
    def group_ceiling(self) -> Floats:
        """``(groups,)``: above this no kit gets, since all harm is done."""
        groups = self.group_fall.size
        kept = sums(self._kept_group, self._kept.weight * np.minimum(self._kept.most, self._cap), groups)
        return self._fixed_noted + kept + sums(self._merged.owner, self._merged.cost, groups)

    def merged_costs(self, kits: Bools) -> Iterator[MergedCost]:
        """What groups in which the cap cannot bind cost with many kits, ``(kits, guards)``; of what waits, how often.

        What no guard can spare is not in it: see `fixed_cost` and `fixed_noted`.
        """
        return merged_costs(self._merged, self._literals, self._names, kits)

    @property
    def fixed_noted(self) -> Floats:
        """``(kinds of fall, items of the list of costs)``: how often what waits comes about whatever is fitted."""
        kinds = self.fixed_cost.size
        return self._fixed_noted[: kinds * self._names].reshape(kinds, self._names)

    def at(self, kit: Floats, least: Floats | None = None, off: Bools | None = None) -> Facts:
        """Facts chosen at a kit, exact there when the kit is whole and none of its guards is off.

        Parameters
        ----------
        kit
            ``(guards,)`` between 0 and 1. At a fractional kit each item takes the root that is spared least.
        least
            From `least_costs` for some budget: the facts then hold within that budget, and say more. A whole kit has
            to be within it to be exact. Default: the facts hold for every kit.
        off
            ``(guards,)``: guards that are off where the facts are to say most (`lifting`). They hold with them on too.
        """
        z = np.concatenate([kit, 1.0 - kit])
        groups = self.group_fall.size
        chosen = Chosen(self._merged, self._literals, z)
        constant = self._fixed_noted + sums(self._merged.owner, chosen.cost, groups)
        cell = self._merged.owner[chosen.item] * z.size + chosen.guard
        slope = sums(cell, chosen.cost[chosen.item], groups * z.size).reshape(groups, z.size)
        constant_of_kept, slope_of_kept = self._of_kept(z, least, off)
        return Facts.of_absence_too(constant + constant_of_kept, slope + slope_of_kept)

    def at_kept(self, kit: Floats) -> Facts:
        """The facts of `at` about falls that may reach the cap alone, ``(groups that are kept,)``, for every kit."""
        constant, slope = self._of_kept(np.concatenate([kit, 1.0 - kit]), None, None)
        kept = self.group_is_kept
        return Facts.of_absence_too(constant[kept], slope[kept])

    def _of_kept(self, z: Floats, least: Floats | None, off: Bools | None) -> tuple[Floats, Floats]:
        """Constants and slopes of z of falls that may reach the cap, at their groups, 0 at all others."""
        groups = self.group_fall.size
        least = self._kept.base if least is None else least
        chosen = Chosen(self._kept_items, self._literals, z)
        capped = capped_facts(self._kept_items, self._kept.base, chosen, self._cap, least, self._lifting, off_in_z(off))
        cell = self._kept_group[capped.fall] * z.size + capped.guard
        slope = sums(cell, self._kept.weight[capped.fall] * capped.slope, groups * z.size)
        return sums(self._kept_group, self._kept.weight * capped.constant, groups), slope.reshape(groups, z.size)


@dataclass(frozen=True)
class BareBills:
    """Falls kept apart: those of one kind whose bill on the bare bike is at least `least` and below `below`."""

    kind: int
    least: float
    below: float


def _by_bare_bill(falls: KeptFalls) -> list[BareBills]:
    """Group falls of one kind by their bill on the bare bike, with limits that no bill is near."""
    groups: list[BareBills] = []
    for kind in np.unique(falls.fall).tolist():
        bills = np.sort(falls.bare[falls.fall == kind])
        clear = np.flatnonzero(np.diff(bills) > AT_CAP * bills[1:])
        limits = [0.0]
        for part in range(1, CAPPED_GROUPS):
            later = clear[clear + 1 >= part * bills.size // CAPPED_GROUPS]
            if later.size:
                limits.append(float(bills[later[0]] + bills[later[0] + 1]) / 2.0)
        limits = sorted(set(limits))
        groups += [BareBills(kind, *one) for one in zip(limits, [*limits[1:], np.inf], strict=True)]
    return groups


def _group_of(falls: KeptFalls, groups: Sequence[BareBills]) -> Ints:
    """``(falls,)``: the group that each fall is in."""
    found = np.zeros(falls.fall.size, dtype=np.int64)
    for number, group in enumerate(groups):
        found[(falls.fall == group.kind) & (group.least <= falls.bare) & (falls.bare < group.below)] = number
    return found
