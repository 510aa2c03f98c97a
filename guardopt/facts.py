"""Finds facts: linear inequalities that say what falls cost at least, whatever kit is fitted.

Within one simulated fall everything but the kit is fixed. It comes down to *items*: item k costs c_k and is incurred
unless all its *roots* are spared. A root is a strike from the road: the part's own, or that of a part whose breaking
reaches it; for a strip-down, those of its broken parts. A strike is spared when some cover that holds against it has
all its guards fitted. So for any choice of one root r_k for each item, and of one guard g(j) for each cover j that
holds against it, every kit x has

    bill(x) ≥ L(x) = Σ_k c_k (1 − Σ_{j against r_k} x_g(j))                                             (1)

    min(bill(x), cap) ≥ m + s (L(x) − m),  m = bill with every guard, s = (cap − m) / (L₀ − m)          (2)

where (2) is the chord of min(·, cap) from the least bill that can be reached to L₀ = max L, used for a fall with
L₀ > cap; otherwise s = 1. Chosen at a kit x̄ (roots not spared, guards not in x̄) both are exact there. Averaged over
the falls of a group they are one fact about that group:

    θ_g ≥ constant_g − Σ_i slope_gi x_i                                                                 (3)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardopt.bills import Bike, outcome, tail_weights, worn_guards
from guardopt.falls import Bools, Floats, Stratum

GROUPS_PER_FALL = 6
"""Groups of falls of one kind, alike in their bill on the bare bike; more make facts tighter and programs larger."""


@dataclass(frozen=True)
class Facts:
    """Facts found at one kit (3): θ ≥ constant − slope · x.

    Attributes
    ----------
    constant, slope
        ``(groups,)`` and ``(groups, guards)``: one fact about each group of falls.
    tail_constant, tail_slope
        One fact about the mean cost of the worst falls of the mix; the slope is ``(guards,)``.
    """

    constant: Floats
    slope: Floats
    tail_constant: float
    tail_slope: Floats

    def groups_at(self, kit: Floats) -> Floats:
        """``(groups,)``: what the facts say at a kit."""
        return self.constant - self.slope @ kit

    def tail_at(self, kit: Floats) -> float:
        """What the fact about the worst falls says at a kit."""
        return self.tail_constant - float(self.tail_slope @ kit)


@dataclass(frozen=True)
class _Fixed:
    """Falls whose cost no guard changes."""

    cost: Floats
    weight: Floats


class FactFinder:
    """One sample, arranged so that facts can be found at any kit.

    Attributes
    ----------
    group_fall
        ``(groups,)``: the kind of fall that a group belongs to.
    group_floor
        ``(groups,)``: the group's cost with every guard fitted, below which no kit gets.
    fixed_cost
        ``(kinds of fall,)``: what falls that no guard changes add to the mean cost of one fall.
    renewals
        ``(kinds of fall, guards)``: mean cost of renewing a fitted guard after one fall.
    """

    def __init__(self, bike: Bike, strata: Sequence[Stratum], tail: float) -> None:
        self.bike = bike
        self.tail = tail
        self.cap = bike.scenario.cap
        fall = np.concatenate([np.full(one.falls, one.fall) for one in strata])
        weight = np.concatenate([np.full(one.falls, one.share / one.falls) for one in strata])
        bare, least = self._extreme_bills(strata)
        self.renewals = self._mean_renewals(strata)
        # A fall with the same bill bare and fully guarded, or above the cap in both, costs the same with every kit.
        live = (bare > least) & (least < self.cap)
        rates = np.array([kind.per_year for kind in bike.scenario.falls])
        mix = rates / rates.sum() if rates.sum() else rates
        kinds = len(bike.scenario.falls)
        fixed_cost = np.minimum(bare, self.cap)[~live]
        self.fixed_cost = np.bincount(fall[~live], weight[~live] * fixed_cost, kinds)
        self._fixed = _Fixed(fixed_cost, (mix[fall] * weight)[~live])
        order, self._starts, self.group_fall = _grouped(fall, bare, live)
        self._weight, self._mix_weight = weight[order], (mix[fall] * weight)[order]
        self._least = least[order]
        self.group_floor = self._by_group(self._weight * self._least)
        self._struck = _columns([one.struck for one in strata], order)
        self._breaks = _columns([one.breaks for one in strata], order)
        holds = _columns([one.holds for one in strata], order)
        self._against = self._guards_against(holds)
        self._roots = self._roots_of_parts(_columns([one.passes for one in strata], order))

    def at(self, kit: Floats) -> Facts:
        """Facts chosen at a kit, exact there when the kit is whole.

        Parameters
        ----------
        kit
            ``(guards,)`` between 0 and 1. At a fractional kit each item takes the root that is spared least.
        """
        against = [self._choose_guards(choices, kit) for choices in self._against]
        unspared = self._struck.astype(float)
        for part, masks in enumerate(against):
            for guard, mask in masks.items():
                if kit[guard] > 0.0:
                    unspared[part] -= kit[guard] * mask
        by_root = self._cost_by_root(unspared)
        most = by_root.sum(axis=0)
        over = most > self.cap
        chord = np.ones_like(most)
        chord[over] = (self.cap - self._least[over]) / (most[over] - self._least[over])
        constant = np.minimum(most, self.cap)
        tail_weight, tail_fixed = self._tail_weights(constant - self._spared(by_root * chord, against, kit))
        slope = np.zeros((len(self.group_fall), kit.size))
        tail_slope = np.zeros(kit.size)
        for part, masks in enumerate(against):
            saved = by_root[part] * chord
            for guard, mask in masks.items():
                slope[:, guard] += self._by_group(self._weight * saved * mask)
                tail_slope[guard] += (tail_weight * saved) @ mask
        return Facts(self._by_group(self._weight * constant), slope, tail_weight @ constant + tail_fixed, tail_slope)

    def _spared(self, saved: Floats, against: list[dict[int, Bools]], kit: Floats) -> Floats:
        """``(falls,)``: Σ slope · x̄ of each fall, which is zero at a whole kit."""
        total = np.zeros(saved.shape[1])
        for part, masks in enumerate(against):
            for guard, mask in masks.items():
                if kit[guard] > 0.0:
                    total += kit[guard] * saved[part] * mask
        return total

    def _tail_weights(self, cost: Floats) -> tuple[Floats, float]:
        """Weights of the worst falls of the mix at these costs, and what falls no guard changes add under them."""
        weights = tail_weights(
            np.concatenate([cost, self._fixed.cost]),
            np.concatenate([self._mix_weight, self._fixed.weight]),
            self.tail,
        )
        return weights[: cost.size], float(weights[cost.size :] @ self._fixed.cost)

    def _cost_by_root(self, unspared: Floats) -> Floats:
        """``(parts, falls)``: cost of the items that hang on each part's strike, each on its root spared least."""
        bike = self.bike
        by_root = np.zeros_like(unspared)
        for part, roots in enumerate(self._roots):
            broken = self._breaks[part]
            cost = np.where(broken, bike.break_cost[part], bike.scuff_cost[part])
            _hang(by_root, unspared, roots, cost)
        for group, parts in enumerate(bike.groups):
            merged: dict[int, Bools] = {}
            for part in parts:
                for root, mask in self._roots[part].items():
                    reached = mask & self._breaks[part]
                    merged[root] = merged[root] | reached if root in merged else reached
            _hang(by_root, unspared, merged, np.full(unspared.shape[1], bike.strip_cost[group]))
        return by_root

    def _by_group(self, values: Floats) -> Floats:
        """Sums over the falls of each group."""
        return np.add.reduceat(values, self._starts) if self._starts.size else np.zeros(0)

    def _extreme_bills(self, strata: Sequence[Stratum]) -> tuple[Floats, Floats]:
        """``(falls,)`` each: the repair bill on the bare bike and with every guard at once, the least that can be."""
        guards = len(self.bike.scenario.guards)
        every, none = np.ones(guards, dtype=bool), np.zeros(guards, dtype=bool)
        bare = [outcome(self.bike, one, none).repair_bill for one in strata]
        least = [outcome(self.bike, one, every).repair_bill for one in strata]
        return np.concatenate(bare), np.concatenate(least)

    def _mean_renewals(self, strata: Sequence[Stratum]) -> Floats:
        renewals = np.zeros((len(self.bike.scenario.falls), len(self.bike.scenario.guards)))
        for one in strata:
            worn = worn_guards(self.bike, one).mean(axis=1)
            for (guard, _), share in zip(self.bike.worn_by, worn, strict=True):
                renewals[one.fall, guard] += one.share * self.bike.wear[guard] * share
        return renewals

    def _guards_against(self, holds: Bools) -> list[list[tuple[tuple[int, ...], Bools]]]:
        """For each part, the guards of every cover of it and the falls in which that cover would spare it."""
        against: list[list[tuple[tuple[int, ...], Bools]]] = [[] for _ in self.bike.scenario.parts]
        for row, (part, guards) in enumerate(self.bike.covers):
            against[part].append((guards, holds[row]))
        return against

    def _choose_guards(self, choices: list[tuple[tuple[int, ...], Bools]], kit: Floats) -> dict[int, Bools]:
        """g(j) for each cover of one part: the guard least in the kit; falls of one guard's covers are merged."""
        masks: dict[int, Bools] = {}
        for guards, mask in choices:
            guard = min(guards, key=lambda one: kit[one])
            masks[guard] = masks[guard] | mask if guard in masks else mask
        return masks

    def _roots_of_parts(self, passes: Bools) -> list[dict[int, Bools]]:
        """For each part, the parts whose strike would harm it, and the falls in which it would."""
        falls = self._struck.shape[1]
        roots = [{part: np.ones(falls, dtype=bool)} for part in range(len(self.bike.scenario.parts))]
        for row, part, takes in self.bike.knock_ons:
            passed = self._breaks[part] & passes[row]
            for root, mask in roots[part].items():
                reached = mask & passed
                roots[takes][root] = roots[takes][root] | reached if root in roots[takes] else reached
        return roots


def _hang(by_root: Floats, unspared: Floats, roots: dict[int, Bools], cost: Floats) -> None:
    """Add each fall's item to the root that is spared least, if any root is not spared."""
    if len(roots) == 1:
        ((root, mask),) = roots.items()
        by_root[root] += cost * (mask & (unspared[root] > 0.0))
        return
    best = np.zeros(cost.size)
    chosen = np.full(cost.size, -1)
    for root, mask in roots.items():
        better = mask & (unspared[root] > best)
        best[better] = unspared[root][better]
        chosen[better] = root
    for root in roots:
        by_root[root] += cost * (chosen == root)


def _columns(blocks: list[Bools], order: NDArray[np.int64]) -> Bools:
    return np.ascontiguousarray(np.concatenate(blocks, axis=1)[:, order])


def _grouped(fall: NDArray[np.int64], bare: Floats, live: Bools) -> tuple[NDArray[np.int64], ...]:
    """Order of the live falls by kind and bare bill, where each group starts, and the kind each belongs to."""
    order = np.lexsort((bare, fall))
    order = order[live[order]]
    starts: list[int] = []
    kinds: list[int] = []
    for kind in np.unique(fall[order]).tolist():
        first, last = np.searchsorted(fall[order], [kind, kind + 1])
        edges = np.unique(np.linspace(first, last, GROUPS_PER_FALL + 1).astype(int)[:-1])
        starts += edges.tolist()
        kinds += [kind] * edges.size
    return order, np.array(starts, dtype=np.int64), np.array(kinds, dtype=np.int64)
