"""Finds facts: linear inequalities that say what falls cost at least, whatever kit is fitted.

For any choice of one root r_k for each item k, and of one guard g(j) for each cover j that holds against that root,
every kit x has

    bill(x) ≥ L(x) = Σ_k c_k (1 − Σ_{j against r_k} x_g(j))           each guard counted once a root       (1)

    min(bill(x), cap) ≥ m + s (L(x) − m)                                                                   (2)

where m ≤ cap is no more than the least bill that can be reached within the budget (`knapsack_bound`) and (2) is the
chord of min(·, cap) from m to L₀ = max L, of slope s = (cap − m) / (L₀ − m), used for a fall with L₀ > cap; otherwise
s = 1. Chosen at a kit x̄ (roots not spared, guards not in x̄) both are exact there. Summed over a group they are one
fact about it:

    θ_g ≥ constant_g − Σ_i slope_gi x_i                                                                    (3)

A root that guards expose a part to has as further covers the absence of each of these guards, for which 1 − x_i stands
(`roots`), so that x_i makes it dearer. Below, x is written z = (x, 1 − x) until a fact is finished.

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

from guardopt.arrays import Bools, Floats, Ints, distinct
from guardopt.cuts.knapsack_bound import Reach
from guardopt.cuts.lifting import Lifting
from guardopt.cuts.waiting import least_merged
from guardopt.model.scenario import Scenario
from guardopt.simulation.batch_pricing import MergedCost, mean_renewals, merged_costs
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import Items, sums
from guardopt.simulation.items import Kind
from guardopt.simulation.reduction import AT_CAP, KeptFalls, reaches, reduce_falls
from guardopt.simulation.risk import tail_weights
from guardopt.simulation.roots import cover_literals
from guardopt.simulation.sampling import Stratum

CAPPED_GROUPS = 2
"""Groups of falls of one kind that may reach the cap; more make facts tighter and programs larger."""

CHORDS = 2.0**40
"""Slopes of chords are multiples of 1 / CHORDS, so that they are short numbers where they are checked exactly."""

RANKS = 2.0**34
"""Costs that fall in the same of so many steps, up to the dearest there can be, are equally bad falls."""


@dataclass(frozen=True)
class Facts:
    """Facts found at one kit (3): one about each group, θ ≥ constant − slope · x.

    Attributes
    ----------
    constant, slope
        ``(groups,)`` and ``(groups, guards)``.
    """

    constant: Floats
    slope: Floats

    def at(self, kit: Floats) -> Floats:
        """``(groups,)``: what the facts say at a kit."""
        return self.constant - self.slope @ kit

    @classmethod
    def of_absence_too(cls, constant: Floats, slope: Floats) -> Facts:
        """Facts from slopes of z, ``(groups, 2 × guards)``: constant − a (1 − x) is constant − a + a x."""
        present, absent = np.split(slope, 2, axis=1)
        return cls(constant - absent.sum(axis=1), present - absent)


class _Chosen:
    """The choice of roots and guards made at one kit, given as z, for a list of items.

    Attributes
    ----------
    cost
        ``(items,)``: cost of the items that are incurred, at least in part; the others are left out of the facts.
    item, guard
        ``(pairs,)`` each: an item and an entry of z, a guard or an absence, that holds against its chosen root.
    """

    def __init__(self, items: Items, literals: Sequence[tuple[int, ...]], kit: Floats) -> None:
        guard_of = np.array([min(entries, key=lambda one: kit[one]) for entries in literals], dtype=np.int64)
        fitted = kit[guard_of][items.against_cover]
        is_whole = bool(((kit == 0.0) | (kit == 1.0)).all())
        root = _first_unspared(items, fitted) if is_whole else _least_spared(items, fitted)
        self.cost = np.zeros_like(items.cost)
        incurred = items.strike_item[root]
        self.cost[incurred] = items.cost[incurred]
        is_root = np.zeros(items.strike_item.size, dtype=bool)
        is_root[root] = True
        taken = np.flatnonzero(is_root[items.against_strike])
        item, guard = items.strike_item[items.against_strike[taken]], guard_of[items.against_cover[taken]]
        doubtful = items.may_repeat[taken]
        if doubtful.any():
            # Two covers of a root may have come down to one guard, which is counted once.
            pairs = distinct(item[doubtful] * kit.size + guard[doubtful])
            item = np.concatenate([item[~doubtful], pairs // kit.size])
            guard = np.concatenate([guard[~doubtful], pairs % kit.size])
        self.item, self.guard = item, guard


def _first_unspared(items: Items, fitted: Floats) -> Ints:
    """With a whole kit: of each item that is incurred, the first strike that no cover spares."""
    spared = np.zeros(items.strike_item.size, dtype=bool)
    spared[items.against_strike[fitted > 0.0]] = True
    unspared = np.flatnonzero(~spared)
    item = items.strike_item[unspared]
    return unspared[np.diff(item, prepend=-1) > 0]


def _least_spared(items: Items, fitted: Floats) -> Ints:
    """With guards fitted in part: of each item that is incurred in part, the first of the strikes spared least."""
    unspared = 1.0 - sums(items.against_strike, fitted, items.strike_item.size)
    root = items.first_strike
    if items.strike_item.size > root.size:
        most = np.maximum.reduceat(unspared, root)
        is_most = np.flatnonzero(unspared == most[items.strike_item])
        root = is_most[np.diff(items.strike_item[is_most], prepend=-1) > 0]
    return root[unspared[root] > 0.0]


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
        chosen = _Chosen(self._merged, self._literals, z)
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
        chosen = _Chosen(self._kept_items, self._literals, z)
        capped = _capped(self._kept_items, self._kept.base, chosen, self._cap, least, self._lifting, _of_z(off))
        cell = self._kept_group[capped.fall] * z.size + capped.guard
        slope = sums(cell, self._kept.weight[capped.fall] * capped.slope, groups * z.size)
        return sums(self._kept_group, self._kept.weight * capped.constant, groups), slope.reshape(groups, z.size)


def _of_z(off: Bools | None) -> Bools | None:
    """The guards that are off as entries of z; no absence is."""
    return None if off is None else np.concatenate([off, np.zeros_like(off)])


@dataclass(frozen=True)
class _CappedFacts:
    """Facts (2) fall by fall: cost ≥ constant − Σ slope x, the sum over pairs of a fall and a guard."""

    constant: Floats
    fall: Ints
    guard: Ints
    slope: Floats


def _capped(
    items: Items, base: Floats, chosen: _Chosen, cap: float, least: Floats, lifting: Lifting, off: Bools | None
) -> _CappedFacts:
    most = base + sums(items.owner, chosen.cost, base.size)
    if off is not None and off.any():
        least = np.maximum(least, lifting.least(off))
    # Falls that stay above the cap, within the budget and with what is off, are constants.
    settled = reaches(least, cap)
    over = reaches(most, cap) & ~settled
    chord = np.where(settled, 0.0, 1.0)
    chord[over] = _rounded_up((cap - least[over]) / (most[over] - least[over]))
    fall, guard = items.owner[chosen.item], chosen.guard
    slope = chord[fall] * chosen.cost[chosen.item]
    if off is not None and off.any():
        is_lifted = over | settled
        kept = ~(is_lifted[fall] & off[guard])
        more = lifting.spared(off, is_lifted)
        fall, guard, slope = (
            np.concatenate([one[kept], two]) for one, two in zip((fall, guard, slope), more, strict=True)
        )
    return _CappedFacts(np.minimum(np.where(settled, least, most), cap), fall, guard, slope)


def _rounded_up(chord: Floats) -> Floats:
    """Slopes as multiples of 1 / `CHORDS`, one more than it takes to make up for rounding, and 1 at most."""
    return np.minimum((np.floor(chord * CHORDS) + 2.0) / CHORDS, 1.0)


class TailFinder:
    """Finds facts about the mean cost of the worst share of falls, over the mix of all kinds.

    The tail mean is the largest mean under weights q ≤ w / tail (Rockafellar and Uryasev 2002), so weighting the
    facts of single falls by any such q bounds it; with the q that is largest at x̄ the bound is exact there. A fall
    costs its capped bill, with what waits put right at once, and what is paid on top of the cap.
    """

    def __init__(self, bike: Bike, strata: Sequence[Stratum], tail: float) -> None:
        reduced = reduce_falls(bike, strata, keep_all=True)
        self._literals = cover_literals(bike)
        self._cap, self._tail = bike.scenario.cap, tail
        self._falls = falls = reduced.kept
        rates = np.array([fall.per_year for fall in bike.scenario.falls])
        mix = rates / rates.sum() if rates.any() else rates
        self._weight = mix[falls.fall] * falls.weight
        # No fall costs less than this with any kit, so the worst falls begin no lower. A fall that stays below that
        # with all harm done only makes up the number, and its items can be left out.
        least = falls.base + falls.on_top_base
        self._most = np.minimum(falls.most, self._cap) + falls.on_top_most
        begins = least[tail_weights(least, self._weight, tail) > 0.0].min(initial=np.inf)
        self._scale = float(self._most[self._weight > 0.0].max(initial=0.0))
        may_count = self._most > begins - AT_CAP * self._scale
        self._items = reduced.kept_items.of_owners(may_count)
        self._on_top = reduced.kept_on_top.of_owners(may_count)
        self._reach = Reach(bike.scenario, self._literals, self._items, falls)
        self._lifting = Lifting(self._items, self._literals, falls.base)

    @property
    def most(self) -> float:
        """The tail mean with all harm done, above which no kit gets."""
        return float(tail_weights(self._most, self._weight, self._tail) @ self._most)

    def least_costs(self, budget_cents: int | None = None) -> Floats:
        """``(falls,)``: as that of `FactFinder`."""
        return self._reach.least(budget_cents)

    def at(self, kit: Floats, least: Floats | None = None, off: Bools | None = None) -> Facts:
        """One fact about the tail mean, chosen at a kit, exact there when the kit is whole; as that of `FactFinder`."""
        z, falls = np.concatenate([kit, 1.0 - kit]), self._falls
        chosen = _Chosen(self._items, self._literals, z)
        least = falls.base if least is None else least
        capped = _capped(self._items, falls.base, chosen, self._cap, least, self._lifting, _of_z(off))
        on_top = _Chosen(self._on_top, self._literals, z)
        constant = capped.constant + falls.on_top_base + sums(self._on_top.owner, on_top.cost, falls.base.size)
        fall = np.concatenate([capped.fall, self._on_top.owner[on_top.item]])
        guard = np.concatenate([capped.guard, on_top.guard])
        slope = np.concatenate([capped.slope, on_top.cost[on_top.item]])
        spared = sums(fall, slope * z[guard], self._weight.size)
        steps = RANKS / self._scale if self._scale > 0.0 else 0.0
        rank = np.floor((constant - spared) * steps + 0.5)
        weight = tail_weights(rank, self._weight, self._tail)
        in_all = sums(guard, weight[fall] * slope, z.size)
        return Facts.of_absence_too(np.array([weight @ constant]), in_all[np.newaxis])


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
