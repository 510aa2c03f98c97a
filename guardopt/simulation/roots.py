"""The strikes that each item of a fall hangs on, and the covers that hold against them.

Within one simulated fall everything but the kit is fixed. Each item of the list of costs (`items`) that its strikes
would bring about has a cost c_k there and is incurred unless all its *roots* are spared. A root is a strike: from the
road on the bare bike, or one that guards expose a part to; the part's own, or that of a part whose breaking reaches it.
A strike is spared when some cover that holds against it has all its guards fitted. One that guards expose a part to is
also spared when one of these guards is off: that is written as a further cover, of the *absence* of a guard. So kits
are looked at as z = (x, 1 − x): guard i is entry i, its absence entry i + number of guards.
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import Pile, sums, unique_columns
from guardopt.simulation.items import Item
from guardopt.simulation.outcomes import whole_falls
from guardopt.simulation.sampling import Stratum


def with_absence(kits: Bools) -> Bools:
    """``(kits, 2 × guards)``: z, which guards are on the bike and which are absent."""
    return np.concatenate([kits, ~kits], axis=-1)


def cover_literals(bike: Bike) -> list[tuple[int, ...]]:
    """For each cover the entries of z that have to be 1 for it to count: those of the scenario, then absences."""
    guards = len(bike.scenario.guards)
    return [*(named for _, named in bike.covers), *((guards + guard,) for guard in exposing_guards(bike))]


def exposing_guards(bike: Bike) -> list[int]:
    """Rows of the guards that do harm."""
    return sorted({guard for _, guards in bike.exposures for guard in guards})


def repeating_covers(bike: Bike) -> Bools:
    """``(covers and absences,)``: the cover has a guard in common with another cover of its part."""
    uses = Counter((part, guard) for part, guards in bike.covers for guard in guards)
    repeating = [any(uses[part, guard] > 1 for guard in guards) for part, guards in bike.covers]
    return np.array(repeating + [False] * len(exposing_guards(bike)), dtype=bool)


def items_of(bike: Bike, stratum: Stratum, *, at_once: bool) -> list[ItemFalls]:
    """Each item of the list of costs over the falls of a stratum."""
    every = np.ones(stratum.falls, dtype=bool)
    parts = len(bike.scenario.parts)
    roots: list[dict[int, Bools]] = [{part: every} for part in range(parts)]
    for row, (part, _) in enumerate(bike.exposures):
        roots[part][parts + row] = every
    for row, part, takes in bike.knock_ons:
        _merge(roots[takes], roots[part], stratum.breaks[part] & stratum.passes[row])
    whole = every if at_once else whole_falls(bike, stratum)
    strikes = _Strikes(bike, stratum)
    return [ItemFalls(strikes, *_cost_and_roots(item, stratum, roots, whole)) for item in bike.costs.items]


def _cost_and_roots(
    item: Item, stratum: Stratum, roots: list[dict[int, Bools]], whole: Bools | None
) -> tuple[Floats, dict[int, Bools]]:
    """What an item costs in each fall, and the strikes that would bring it about."""
    every = np.ones(stratum.falls, dtype=bool)
    if whole is None or item.in_whole == item.in_others:
        regions = [(item.in_others, every)]
    else:
        regions = [(item.in_whole, whole), (item.in_others, ~whole)]
    opened: dict[int, Bools] = {}
    for parts, where in regions:
        for part in parts:
            _merge(opened, roots[part], where if item.scuffed else where & stratum.breaks[part])
    if not item.scuffed:
        return np.full(stratum.falls, item.broken), opened
    (part,) = {*item.in_whole, *item.in_others}
    return np.where(stratum.breaks[part], item.broken, item.scuffed), opened


def _merge(into: dict[int, Bools], roots: dict[int, Bools], when: Bools) -> None:
    for root, mask in roots.items():
        into[root] = into[root] | (mask & when) if root in into else mask & when


class _Strikes:
    """The strikes of one stratum by root, and the covers that hold against them.

    Roots are numbered: parts struck on the bare bike first, then exposures.
    """

    def __init__(self, bike: Bike, stratum: Stratum) -> None:
        self._bike, self._stratum = bike, stratum
        self._parts = len(bike.scenario.parts)
        self._absence = {guard: len(bike.covers) + row for row, guard in enumerate(exposing_guards(bike))}
        self._covers: dict[int, list[int]] = {}
        for row, (part, _) in enumerate(bike.covers):
            if stratum.serves[row]:
                self._covers.setdefault(part, []).append(row)

    def is_bare(self, root: int) -> bool:
        """Whether it is a strike on the bare bike."""
        return root < self._parts

    def of(self, root: int) -> Bools:
        """``(falls,)``: the strike happens, if the guards of an exposure are on."""
        strikes = self._stratum.struck if self.is_bare(root) else self._stratum.exposes
        found: Bools = strikes[root if self.is_bare(root) else root - self._parts]
        return found

    def covers(self, root: int, strikes: Bools) -> tuple[list[int], list[Bools]]:
        """The covers that may hold against some strikes of a root, absences included, and where each does."""
        bare = self.is_bare(root)
        struck = root if bare else self._bike.exposures[root - self._parts][0]
        rows = self._covers.get(struck, [])
        holds = [self._stratum.holds[row] & strikes for row in rows]
        absent = [] if bare else [self._absence[guard] for guard in self._bike.exposures[root - self._parts][1]]
        return rows + absent, holds + [strikes] * len(absent)


class ItemFalls:
    """One item over the falls of one stratum: as columns of bits, one for each root and each cover of a root.

    `reached` says where any strike may bring it about, `bare` where one on the bare bike does, and `sparable` where
    some kit spares it.
    """

    def __init__(self, all_strikes: _Strikes, cost: Floats, roots: dict[int, Bools]) -> None:
        self._cost = cost
        self.reached, self.bare = np.zeros(cost.size, dtype=bool), np.zeros(cost.size, dtype=bool)
        self.sparable = np.ones(cost.size, dtype=bool)
        self._columns: list[Bools] = []
        self._covers: list[list[int]] = []
        # Roots in the order of the scenario's parts, then of its exposures, however they were come by.
        for root, mask in sorted(roots.items()):
            strikes = all_strikes.of(root) & mask
            if not strikes.any():
                continue
            rows, holds = all_strikes.covers(root, strikes)
            self.reached |= strikes
            if all_strikes.is_bare(root):
                self.bare |= strikes
            self.sparable &= ~strikes | (np.logical_or.reduce(holds) if holds else False)
            self._columns += [strikes, *holds]
            self._covers.append(rows)
        self.reached &= cost > 0.0
        self.bare &= self.reached
        self.sparable &= self.reached

    def cost_when(self, when: Bools) -> Floats:
        """``(falls,)``: what the item costs in the falls of a mask, and 0 in the others."""
        return np.where(when, self._cost, 0.0)

    def pile_falls(self, pile: Pile, chosen: Bools, owner: Ints) -> None:
        """Add the item of each chosen fall."""
        if chosen.any():
            bits = np.stack([column[chosen] for column in self._columns])
            pile.add(self._cost[chosen], owner[chosen], bits, self._covers)

    def pile_merged(self, pile: Pile, chosen: Bools, group: int, weight: Floats) -> None:
        """Add one item for each set of strikes and covers that comes up in the chosen falls, weighed by fall."""
        if chosen.any():
            bits = np.stack([column[chosen] for column in self._columns])
            unique, inverse = unique_columns(bits)
            cost = sums(inverse, weight[chosen] * self._cost[chosen], unique.shape[1])
            pile.add(cost, np.full(cost.size, group), unique, self._covers)
