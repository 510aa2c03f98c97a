"""Items of many falls laid end to end in arrays, with their strikes and the covers against each strike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools, Floats, Ints


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


def sums(index: Ints, values: Floats, size: int) -> Floats:
    """``(size,)``: the sum of the values at each index."""
    return np.bincount(index, values, size).astype(float)


def unique_columns(bits: Bools) -> tuple[Bools, Ints]:
    """The different columns of a matrix of bits, and which of them each column is."""
    packed = np.packbits(bits, axis=0)
    padded = np.zeros((-(-packed.shape[0] // 8) * 8, packed.shape[1]), dtype=np.uint8)
    padded[: packed.shape[0]] = packed
    words = np.ascontiguousarray(padded.T).view(np.uint64)
    keys = words[:, 0] if words.shape[1] == 1 else np.ascontiguousarray(words).view(f"V{8 * words.shape[1]}")[:, 0]
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    return bits[:, first], inverse


class Pile:
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
        """All of them; `repeating` are the covers with a guard in common with another (`roots.repeating_covers`)."""
        if not self._blocks:
            none = np.zeros(0, dtype=np.int64)
            return Items(np.zeros(0), none, none, none, none, np.zeros(0, dtype=bool))
        cost, owner, strike_item, strike, cover = (np.concatenate(one) for one in zip(*self._blocks, strict=True))
        return Items(cost, owner, strike_item, strike, cover, repeating[cover])
