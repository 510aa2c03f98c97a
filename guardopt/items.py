"""Reduces simulated falls to items: what is left of a fall when only the kit is still to be chosen.

Within one simulated fall everything but the kit is fixed. Each part that would be harmed, and each group that would be
stripped down, is an *item*: it has a cost c_k and is incurred unless all its *roots* are spared. A root is a strike
from the road: the part's own, or that of a part whose breaking reaches it; for a strip-down, those of its broken
parts. A strike is spared when some cover that holds against it has all its guards fitted.

Items that no guard can spare are constants. Where a cap may bind, the items of a fall have to be kept together; the
falls that stay below it whatever is fitted cost the sum of their items, so there equal items of all falls are merged.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.bike import Bike
from guardopt.bills import outcome
from guardopt.falls import Stratum


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
    """Falls whose items are kept together, because the cap may bind or the worst of them are asked for.

    Attributes
    ----------
    base
        ``(falls,)``: the part of the bill that no guard can spare, so the least the bill can be, or the cap if less.
    bare
        ``(falls,)``: the bill on the bare bike.
    fall
        ``(falls,)``: the kind of fall.
    weight
        ``(falls,)``: chance of this fall given its kind.
    """

    base: Floats
    bare: Floats
    fall: Ints
    weight: Floats


@dataclass(frozen=True)
class Reduced:
    """A sample reduced to what a kit can still change.

    Attributes
    ----------
    merged
        Items of falls that stay below the cap. One group for each kind of fall and part or strip-down, numbered in
        that nested order.
    merged_groups
        How many such groups there are.
    kept, kept_items
        Falls kept apart, and their items.
    fixed_cost
        ``(kinds of fall,)``: what no kit changes in falls that are not kept, in the mean cost of one fall.
    """

    merged: Items
    merged_groups: int
    kept: KeptFalls
    kept_items: Items
    fixed_cost: Floats


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
        Keep the items of every fall together, also where the cap cannot bind.
    """
    cap = bike.scenario.cap
    kinds = len(bike.scenario.falls)
    names = len(bike.scenario.parts) + len(bike.groups)
    merged, kept_items, blocks = _Pile(), _Pile(), []
    fixed_cost = np.zeros(kinds)
    falls_kept = 0
    none = np.zeros(len(bike.scenario.guards), dtype=bool)
    for stratum in strata:
        weight = stratum.share / stratum.falls
        bare = outcome(bike, stratum, none).repair_bill
        found = [_ItemFalls(bike, stratum, cost, roots) for cost, roots in _items_of(bike, stratum)]
        base = np.sum([one.cost_when(one.reached & ~one.sparable) for one in found], axis=0)
        may_change = np.logical_or.reduce([one.sparable for one in found]) & (base < cap)
        apart = may_change & (keep_all | (bare > cap))
        kept = np.full(stratum.falls, True) if keep_all else apart
        number = falls_kept + np.cumsum(kept) - 1
        for name, one in enumerate(found):
            one.pile_falls(kept_items, one.sparable & apart, number)
            one.pile_merged(merged, one.sparable & may_change & ~apart, stratum.fall * names + name, weight)
        fixed_cost[stratum.fall] += weight * np.minimum(base, cap)[~kept].sum()
        falls_kept += int(kept.sum())
        blocks.append(
            (np.minimum(base, cap)[kept], bare[kept], np.full(kept.sum(), stratum.fall), np.full(kept.sum(), weight))
        )
    base, bare, fall, weights = (np.concatenate(column) for column in zip(*blocks, strict=True))
    repeating = _repeating_covers(bike)
    kept_falls = KeptFalls(base, bare, fall, weights)
    return Reduced(merged.items(repeating), kinds * names, kept_falls, kept_items.items(repeating), fixed_cost)


def _repeating_covers(bike: Bike) -> Bools:
    """``(covers,)``: the cover has a guard in common with another cover of its part."""
    uses = Counter((part, guard) for part, guards in bike.covers for guard in guards)
    return np.array([any(uses[part, guard] > 1 for guard in guards) for part, guards in bike.covers], dtype=bool)


def _items_of(bike: Bike, stratum: Stratum) -> list[tuple[Floats, dict[int, Bools]]]:
    """Each part and each strip-down group: its cost in each fall, and the strikes that would bring it about."""
    always = np.ones(stratum.falls, dtype=bool)
    roots: list[dict[int, Bools]] = [{part: always} for part in range(len(bike.scenario.parts))]
    for row, part, takes in bike.knock_ons:
        _merge(roots[takes], roots[part], stratum.breaks[part] & stratum.passes[row])
    items = [
        (np.where(stratum.breaks[part], bike.break_cost[part], bike.scuff_cost[part]), roots[part])
        for part in range(len(roots))
    ]
    for cost, parts in zip(bike.strip_cost, bike.groups, strict=True):
        opened: dict[int, Bools] = {}
        for part in parts:
            _merge(opened, roots[part], stratum.breaks[part])
        items.append((np.full(stratum.falls, cost), opened))
    return items


def _merge(into: dict[int, Bools], roots: dict[int, Bools], when: Bools) -> None:
    for root, mask in roots.items():
        into[root] = into[root] | (mask & when) if root in into else mask & when


class _ItemFalls:
    """One item over the falls of one stratum: as columns of bits, one for each root and each cover of a root."""

    def __init__(self, bike: Bike, stratum: Stratum, cost: Floats, roots: dict[int, Bools]) -> None:
        self._cost = cost
        self.reached = np.zeros(stratum.falls, dtype=bool)
        self.sparable = np.ones(stratum.falls, dtype=bool)
        self._columns: list[Bools] = []
        self._covers: list[list[int]] = []
        for root, mask in roots.items():
            strikes = stratum.struck[root] & mask
            if not strikes.any():
                continue
            rows = [row for row, (part, _) in enumerate(bike.covers) if part == root and stratum.serves[row]]
            holds = [stratum.holds[row] & strikes for row in rows]
            self.reached |= strikes
            self.sparable &= ~strikes | (np.logical_or.reduce(holds) if holds else False)
            self._columns += [strikes, *holds]
            self._covers.append(rows)
        self.reached &= cost > 0.0
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
