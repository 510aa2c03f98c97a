"""Finds facts: linear inequalities that say what falls cost at least, whatever kit is fitted.

For any choice of one root r_k for each item k, and of one guard g(j) for each cover j that holds against that root,
every kit x has

    bill(x) ≥ L(x) = Σ_k c_k (1 − Σ_{j against r_k} x_g(j))           each guard counted once a root       (1)

    min(bill(x), cap) ≥ m + s (L(x) − m)                                                                   (2)

where m ≤ cap is no more than the least bill that can be reached within the budget (`reach`) and (2) is the chord of
min(·, cap) from m to L₀ = max L, of slope s = (cap − m) / (L₀ − m), used for a fall with L₀ > cap; otherwise s = 1.
Chosen at a kit x̄ (roots not spared, guards not in x̄) both are exact there. Summed over a group they are one fact
about it:

    θ_g ≥ constant_g − Σ_i slope_gi x_i                                                                    (3)

A group is one kind of fall and one part or strip-down where the cap cannot bind, since there the bill is the sum of
its items; it is falls of one kind with like bills where the cap may bind.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardopt.arrays import Bools, Floats, Ints
from guardopt.bike import Bike
from guardopt.bills import tail_weights, worn_guards
from guardopt.falls import Stratum
from guardopt.items import Items, KeptFalls, reduce_falls, sums
from guardopt.kit_table import merged_costs
from guardopt.reach import Reach

CAPPED_GROUPS = 2
"""Groups of falls of one kind that may reach the cap; more make facts tighter and programs larger."""


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


class _Chosen:
    """The choice of roots and guards made at one kit, for a list of items.

    Attributes
    ----------
    cost
        ``(items,)``: cost of the items that are incurred, at least in part; the others are left out of the facts.
    item, guard
        ``(pairs,)`` each: an item and a guard that holds against its chosen root.
    """

    def __init__(self, items: Items, cover_guards: Sequence[tuple[int, ...]], kit: Floats) -> None:
        guard_of = np.array([min(guards, key=lambda one: kit[one]) for guards in cover_guards], dtype=np.int64)
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
            pairs = np.unique(item[doubtful] * kit.size + guard[doubtful])
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
    fixed_cost
        ``(kinds of fall,)``: what falls that no guard changes add to the mean cost of one fall.
    renewals
        ``(kinds of fall, guards)``: mean cost of renewing a fitted guard after one fall.
    """

    def __init__(self, bike: Bike, strata: Sequence[Stratum]) -> None:
        reduced = reduce_falls(bike, strata)
        self._cover_guards = [guards for _, guards in bike.covers]
        self._cap = bike.scenario.cap
        self._merged, self._kept_items, self._kept = reduced.merged, reduced.kept_items, reduced.kept
        kinds = len(bike.scenario.falls)
        self._names = names = reduced.merged_groups // kinds
        self._reach = Reach(bike.scenario, self._cover_guards, self._kept_items, self._kept)
        self._kept_group, kept_fall = _by_bare_bill(reduced.kept)
        self._kept_group = self._kept_group + reduced.merged_groups
        self.group_fall = np.concatenate([np.repeat(np.arange(kinds), names), kept_fall])
        self.group_bundle = np.concatenate([np.tile(np.arange(names), kinds), names + np.arange(kept_fall.size)])
        self.group_is_kept = np.arange(self.group_fall.size) >= reduced.merged_groups
        self.fixed_cost = reduced.fixed_cost
        self.renewals = mean_renewals(bike, strata)

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
        other._reach = Reach(bike.scenario, self._cover_guards, self._kept_items, self._kept)
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
        return sums(self._kept_group, self._kept.weight * least, self.group_fall.size)

    def merged_costs(self, kits: Bools) -> Floats:
        """``(kinds of fall, kits)``: exact cost, in one fall, of the groups in which the cap cannot bind."""
        return merged_costs(self._merged, self._cover_guards, self.fixed_cost.size, self._names, kits)

    def at(self, kit: Floats, least: Floats | None = None) -> Facts:
        """Facts chosen at a kit, exact there when the kit is whole.

        Parameters
        ----------
        kit
            ``(guards,)`` between 0 and 1. At a fractional kit each item takes the root that is spared least.
        least
            From `least_costs` for some budget: the facts then hold within that budget, and say more. A whole kit has
            to be within it. Default: the facts hold for every kit.
        """
        groups = self.group_fall.size
        constant, slope = np.zeros(groups), np.zeros(groups * kit.size)
        chosen = _Chosen(self._merged, self._cover_guards, kit)
        constant += sums(self._merged.owner, chosen.cost, groups)
        cell = self._merged.owner[chosen.item] * kit.size + chosen.guard
        slope += sums(cell, chosen.cost[chosen.item], slope.size)
        least = self._kept.base if least is None else least
        chosen = _Chosen(self._kept_items, self._cover_guards, kit)
        capped = _capped(self._kept_items, self._kept.base, chosen, self._cap, least)
        constant += sums(self._kept_group, self._kept.weight * capped.constant, groups)
        cell = self._kept_group[capped.fall] * kit.size + capped.guard
        slope += sums(cell, self._kept.weight[capped.fall] * capped.slope, slope.size)
        return Facts(constant, slope.reshape(groups, kit.size))


@dataclass(frozen=True)
class _CappedFacts:
    """Facts (2) fall by fall: cost ≥ constant − Σ slope x, the sum over pairs of a fall and a guard."""

    constant: Floats
    fall: Ints
    guard: Ints
    slope: Floats


def _capped(items: Items, base: Floats, chosen: _Chosen, cap: float, least: Floats) -> _CappedFacts:
    most = base + sums(items.owner, chosen.cost, base.size)
    over = most > cap
    chord = np.ones_like(most)
    chord[over] = (cap - least[over]) / (most[over] - least[over])
    # Falls that stay above the cap within the budget are constants.
    settled = least >= cap
    chord[settled] = 0.0
    fall = items.owner[chosen.item]
    slope = chord[fall] * chosen.cost[chosen.item]
    return _CappedFacts(np.where(settled, cap, np.minimum(most, cap)), fall, chosen.guard, slope)


class TailFinder:
    """Finds facts about the mean cost of the worst share of falls, over the mix of all kinds.

    The tail mean is the largest mean under weights q ≤ w / tail (Rockafellar and Uryasev 2002), so weighting the
    facts of single falls by any such q bounds it; with the q that is largest at x̄ the bound is exact there.
    """

    def __init__(self, bike: Bike, strata: Sequence[Stratum], tail: float) -> None:
        reduced = reduce_falls(bike, strata, keep_all=True)
        self._cover_guards = [guards for _, guards in bike.covers]
        self._cap, self._tail = bike.scenario.cap, tail
        self._falls = reduced.kept
        rates = np.array([fall.per_year for fall in bike.scenario.falls])
        mix = rates / rates.sum() if rates.any() else rates
        self._weight = mix[self._falls.fall] * self._falls.weight
        # With every guard fitted the worst falls begin at this cost, so with any kit they begin no lower. A fall
        # below it on the bare bike only makes up the number, and its items can be left out.
        worst_guarded = tail_weights(self._falls.base, self._weight, tail) > 0.0
        begins = self._falls.base[worst_guarded].min(initial=np.inf)
        self._items = reduced.kept_items.of_owners(self._falls.bare > begins)
        self._reach = Reach(bike.scenario, self._cover_guards, self._items, self._falls)

    def least_costs(self, budget_cents: int | None = None) -> Floats:
        """``(falls,)``: as that of `FactFinder`."""
        return self._reach.least(budget_cents)

    def at(self, kit: Floats, least: Floats | None = None) -> Facts:
        """One fact about the tail mean, chosen at a kit, exact there when the kit is whole; as that of `FactFinder`."""
        chosen = _Chosen(self._items, self._cover_guards, kit)
        least = self._falls.base if least is None else least
        capped = _capped(self._items, self._falls.base, chosen, self._cap, least)
        spared = sums(capped.fall, capped.slope * kit[capped.guard], self._weight.size)
        weight = tail_weights(capped.constant - spared, self._weight, self._tail)
        slope = sums(capped.guard, weight[capped.fall] * capped.slope, kit.size)
        return Facts(np.array([weight @ capped.constant]), slope[np.newaxis])


def mean_renewals(bike: Bike, strata: Sequence[Stratum]) -> Floats:
    """``(kinds of fall, guards)``: mean cost of renewing each guard after one fall, if it is fitted.

    R_f is linear in the kit: a guard is worn when it serves and covers a struck part, whatever else is fitted.
    """
    renewals = np.zeros((len(bike.scenario.falls), len(bike.scenario.guards)))
    for stratum in strata:
        worn = worn_guards(bike, stratum).mean(axis=1)
        for (guard, _), share in zip(bike.worn_by, worn, strict=True):
            renewals[stratum.fall, guard] += stratum.share * bike.wear[guard] * share
    return renewals


def _by_bare_bill(falls: KeptFalls) -> tuple[Ints, Ints]:
    """Group falls of one kind by their bill on the bare bike: the group of each fall, and the kind of each group."""
    group = np.zeros(falls.fall.size, dtype=np.int64)
    kinds: list[int] = []
    for kind in np.unique(falls.fall).tolist():
        rows = np.flatnonzero(falls.fall == kind)
        rows = rows[np.argsort(falls.bare[rows], kind="stable")]
        for part in np.array_split(rows, min(CAPPED_GROUPS, rows.size)):
            group[part] = len(kinds)
            kinds.append(kind)
    return group, np.array(kinds, dtype=np.int64)
