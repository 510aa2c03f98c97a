"""Reduces simulated falls to items: what is left of a fall when only the kit is still to be chosen.

Within one simulated fall everything but the kit is fixed. Each item of the list of costs (`items`) that its strikes
would bring about has a cost c_k there and is incurred unless all its *roots* are spared. A root is a strike: from the
road on the bare bike, or one that guards expose a part to; the part's own, or that of a part whose breaking reaches it.
A strike is spared when some cover that holds against it has all its guards fitted. One that guards expose a part to is
also spared when one of these guards is off: that is written as a further cover, of the *absence* of a guard. So kits
are looked at as z = (x, 1 − x): guard i is entry i, its absence entry i + number of guards.

Items that no guard can spare are constants. Where a cap may bind, the items of the bill have to be kept together; those
of falls that stay below it whatever is fitted are merged with equal ones, since there the bill is their sum. So are
what is paid on top of the cap, and what waits, in all falls.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Item, Kind
from guardopt.simulation.outcomes import whole_falls
from guardopt.simulation.sampling import Stratum

AT_CAP = 1e-9
"""Relative distance below the cap at which a bill counts as reaching it, so that rounding never decides which do."""


def reaches(bill: Floats, cap: float) -> Bools:
    """Which bills are above the cap, or so little below it that sums in another order might be."""
    return bill > cap * (1.0 - AT_CAP)


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


@dataclass(frozen=True)
class Items:
    """Items, the strikes they hang on and the covers against each strike, in that nested order.

    Attributes
    ----------
    cost
        ``(items,)``: cost of the item; of a merged one, its share of the mean cost of one fall of its kind.
    owner
        ``(items,)``: the group a merged item belongs to, or the fall of one that is not.
    strike_item
        ``(strikes,)``: the item that hangs on the strike, rising.
    against_strike, against_cover
        ``(pairs,)`` each: a strike, rising, and a cover that holds against it.
    may_repeat
        ``(pairs,)``: another cover against the same strike may have a guard in common with this one.
    """

    cost: Floats
    owner: Ints
    strike_item: Ints
    against_strike: Ints
    against_cover: Ints
    may_repeat: Bools

    @cached_property
    def first_strike(self) -> Ints:
        """``(items,)``: the first strike of each item; every item has one."""
        return np.searchsorted(self.strike_item, np.arange(self.cost.size))

    def of_owners(self, wanted: Bools) -> Items:
        """The items of some owners only, each keeping its owner's number."""
        items = wanted[self.owner]
        strikes = items[self.strike_item]
        pairs = strikes[self.against_strike]
        return Items(
            self.cost[items],
            self.owner[items],
            (np.cumsum(items) - 1)[self.strike_item[strikes]],
            (np.cumsum(strikes) - 1)[self.against_strike[pairs]],
            self.against_cover[pairs],
            self.may_repeat[pairs],
        )


@dataclass(frozen=True)
class KeptFalls:
    """Falls whose bills are kept together, because the cap may bind or the worst of them are asked for.

    Attributes
    ----------
    base
        ``(falls,)``: the part of the bill that no guard can spare, so the least the bill can be, or the cap if less.
    bare
        ``(falls,)``: the bill on the bare bike.
    most
        ``(falls,)``: the bill with all harm done, more than any kit leaves.
    fall
        ``(falls,)``: the kind of fall.
    weight
        ``(falls,)``: chance of this fall given its kind.
    on_top_base, on_top_most
        ``(falls,)``: what is paid on top of the cap whatever is fitted, and with all harm done; 0 unless every fall is
        kept.
    """

    base: Floats
    bare: Floats
    most: Floats
    fall: Ints
    weight: Floats
    on_top_base: Floats
    on_top_most: Floats


@dataclass(frozen=True)
class Reduced:
    """A sample reduced to what a kit can still change.

    Attributes
    ----------
    merged
        Items that are merged. One group for each kind of fall and item of the list of costs, numbered in that nested
        order; of what waits, a group's cost is the chance that it comes about.
    merged_groups
        How many such groups there are.
    kept, kept_items
        Falls kept apart, and the items of their bills.
    kept_on_top
        Items paid on top of the cap, by fall; none unless every fall is kept.
    fixed_cost
        ``(kinds of fall,)``: what no kit changes and is not kept, in the mean cost of one fall.
    fixed_noted
        ``(kinds of fall, items of the list)``: chance that what waits comes about whatever is fitted; 0 for the others.
    """

    merged: Items
    merged_groups: int
    kept: KeptFalls
    kept_items: Items
    kept_on_top: Items
    fixed_cost: Floats
    fixed_noted: Floats


def sums(index: Ints, values: Floats, size: int) -> Floats:
    """``(size,)``: the sum of the values at each index."""
    return np.bincount(index, values, size).astype(float)


def reduce_falls(bike: Bike, strata: Sequence[Stratum], *, keep_all: bool = False) -> Reduced:
    """Reduce a sample to items.

    Parameters
    ----------
    bike
        The scenario as arrays.
    strata
        The sample.
    keep_all
        Keep the items of every fall together, also where the cap cannot bind, and put what waits right at once.
    """
    cap, kinds, names = bike.scenario.cap, len(bike.scenario.falls), len(bike.costs.items)
    merged, kept_items, kept_on_top, blocks = _Pile(), _Pile(), _Pile(), []
    fixed_cost, fixed_noted = np.zeros(kinds), np.zeros((kinds, names))
    falls_kept = 0
    for stratum in strata:
        weight = stratum.share / stratum.falls
        found = dict(enumerate(_items_of(bike, stratum, at_once=keep_all)))
        bills = [found[name] for name in bike.costs.of_kind(Kind.BILL)]
        base = _total([one.cost_when(one.reached & ~one.sparable) for one in bills])
        most = _total([one.cost_when(one.reached) for one in bills])
        may_change = np.logical_or.reduce([one.sparable for one in bills]) & ~reaches(base, cap)
        apart = may_change & (keep_all | reaches(most, cap))
        kept = np.full(stratum.falls, True) if keep_all else apart
        number = falls_kept + np.cumsum(kept) - 1
        tops = [found[name] for name in bike.costs.of_kind(Kind.ON_TOP)] if keep_all else []
        for name, one in found.items():
            group, kind = stratum.fall * names + name, bike.costs.items[name].kind
            if kind is Kind.BILL:
                one.pile_falls(kept_items, one.sparable & apart, number)
                one.pile_merged(merged, one.sparable & may_change & ~apart, group, weight)
            elif keep_all:
                one.pile_falls(kept_on_top, one.sparable, number)
            else:
                one.pile_merged(merged, one.sparable, group, weight)
                fixed = weight * float(one.cost_when(one.reached & ~one.sparable).sum())
                if kind is Kind.WAITS:
                    fixed_noted[stratum.fall, name] += fixed
                else:
                    fixed_cost[stratum.fall] += fixed
        fixed_cost[stratum.fall] += weight * np.minimum(base, cap)[~kept].sum()
        falls_kept += int(kept.sum())
        columns = (
            np.minimum(base, cap),
            _total([one.cost_when(one.bare) for one in bills]),
            most,
            np.full(stratum.falls, stratum.fall),
            np.full(stratum.falls, weight),
            _total([np.zeros(stratum.falls), *(one.cost_when(one.reached & ~one.sparable) for one in tops)]),
            _total([np.zeros(stratum.falls), *(one.cost_when(one.reached) for one in tops)]),
        )
        blocks.append([column[kept] for column in columns])
    kept_falls = KeptFalls(*(np.concatenate(column) for column in zip(*blocks, strict=True)))
    repeating = _repeating_covers(bike)
    return Reduced(
        merged.items(repeating),
        kinds * names,
        kept_falls,
        kept_items.items(repeating),
        kept_on_top.items(repeating),
        fixed_cost,
        fixed_noted,
    )


def _total(costs: Sequence[Floats]) -> Floats:
    total: Floats = np.sum(costs, axis=0)
    return total


def _repeating_covers(bike: Bike) -> Bools:
    """``(covers and absences,)``: the cover has a guard in common with another cover of its part."""
    uses = Counter((part, guard) for part, guards in bike.covers for guard in guards)
    repeating = [any(uses[part, guard] > 1 for guard in guards) for part, guards in bike.covers]
    return np.array(repeating + [False] * len(exposing_guards(bike)), dtype=bool)


def _items_of(bike: Bike, stratum: Stratum, *, at_once: bool) -> list[_ItemFalls]:
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
    return [_ItemFalls(strikes, *_cost_and_roots(item, stratum, roots, whole)) for item in bike.costs.items]


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
        rows = [row for row, (part, _) in enumerate(self._bike.covers) if part == struck and self._stratum.serves[row]]
        holds = [self._stratum.holds[row] & strikes for row in rows]
        absent = [] if bare else [self._absence[guard] for guard in self._bike.exposures[root - self._parts][1]]
        return rows + absent, holds + [strikes] * len(absent)


class _ItemFalls:
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
        return np.where(when, self._cost, 0.0)

    def pile_falls(self, pile: _Pile, chosen: Bools, owner: Ints) -> None:
        """Add the item of each chosen fall."""
        if chosen.any():
            bits = np.stack([column[chosen] for column in self._columns])
            pile.add(self._cost[chosen], owner[chosen], bits, self._covers)

    def pile_merged(self, pile: _Pile, chosen: Bools, group: int, weight: float) -> None:
        """Add one item for each set of strikes and covers that comes up in the chosen falls."""
        if chosen.any():
            bits = np.stack([column[chosen] for column in self._columns])
            unique, inverse = _unique_columns(bits)
            cost = sums(inverse, weight * self._cost[chosen], unique.shape[1])
            pile.add(cost, np.full(cost.size, group), unique, self._covers)


def _unique_columns(bits: Bools) -> tuple[Bools, Ints]:
    """The different columns of a matrix of bits, and which of them each column is."""
    packed = np.packbits(bits, axis=0)
    padded = np.zeros((-(-packed.shape[0] // 8) * 8, packed.shape[1]), dtype=np.uint8)
    padded[: packed.shape[0]] = packed
    words = np.ascontiguousarray(padded.T).view(np.uint64)
    keys = words[:, 0] if words.shape[1] == 1 else np.ascontiguousarray(words).view(f"V{8 * words.shape[1]}")[:, 0]
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    return bits[:, first], inverse


class _Pile:
    """Items piled up block by block, to be laid end to end."""

    def __init__(self) -> None:
        self._blocks: list[tuple[Floats, Ints, Ints, Ints, Ints]] = []
        self._items = 0
        self._strikes = 0

    def add(self, cost: Floats, owner: Ints, bits: Bools, covers: Sequence[Sequence[int]]) -> None:
        """Add items whose strikes and covers are given as columns of bits, root by root."""
        strike_rows: list[int] = []
        cover_rows: list[int] = []
        cover_of: list[int] = []
        root_of: list[int] = []
        row = 0
        for root, rows in enumerate(covers):
            strike_rows.append(row)
            cover_rows += range(row + 1, row + 1 + len(rows))
            cover_of += rows
            root_of += [root] * len(rows)
            row += 1 + len(rows)
        strikes = bits[strike_rows].T
        number = self._strikes + np.cumsum(strikes.ravel()).reshape(strikes.shape) - 1
        items, _ = np.nonzero(strikes)
        item, pair = np.nonzero(bits[cover_rows].T)
        self._blocks.append(
            (
                cost,
                owner,
                self._items + items,
                number[item, np.array(root_of, dtype=np.int64)[pair]],
                np.array(cover_of, dtype=np.int64)[pair],
            )
        )
        self._items += cost.size
        self._strikes += items.size

    def items(self, repeating: Bools) -> Items:
        if not self._blocks:
            none = np.zeros(0, dtype=np.int64)
            return Items(np.zeros(0), none, none, none, none, np.zeros(0, dtype=bool))
        cost, owner, strike_item, strike, cover = (np.concatenate(one) for one in zip(*self._blocks, strict=True))
        return Items(cost, owner, strike_item, strike, cover, repeating[cover])
