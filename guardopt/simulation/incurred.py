"""Which items of the list of costs come about in each of many falls, and what they cost, all items at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.simulation.items import Item, Kind


class ItemArrays:
    """The items of a scenario as arrays.

    Parameters
    ----------
    items
        Each with one part or several; where `Item.scuffed` is not 0 there is one.
    """

    def __init__(self, items: Sequence[Item]) -> None:
        parts = [tuple(sorted({*one.in_whole, *one.in_others})) for one in items]
        self._items = items
        self._first_part = np.array([rows[0] for rows in parts], dtype=np.intp)
        self._joint = [number for number, rows in enumerate(parts) if len(rows) > 1]
        is_single = np.array([len(rows) == 1 for rows in parts], dtype=bool)
        self._in_whole_only = is_single & np.array([not one.in_others for one in items], dtype=bool)
        self._in_others_only = is_single & np.array([not one.in_whole for one in items], dtype=bool)
        self.scuffable = np.flatnonzero([one.scuffed for one in items])
        self.days = np.array([one.days for one in items])
        self.of_kind = {kind: np.array([one.kind is kind for one in items], dtype=bool) for kind in Kind}
        scuffed = np.array([one.scuffed for one in items if one.scuffed])
        self.amounts = {
            kind: (
                np.where(is_kind, [one.broken for one in items], 0.0),
                np.where(is_kind[self.scuffable], scuffed, 0.0),
            )
            for kind, is_kind in self.of_kind.items()
        }

    def incurred(self, harmed: Bools, broken: Bools, whole: Bools | None) -> Incurred:
        """What comes about in each fall.

        Parameters
        ----------
        harmed, broken
            ``(parts, falls)``: the part is harmed, and it is harmed and has to be replaced.
        whole
            ``(falls,)``: the fall is whole; None where no part waits, so that it makes no difference.
        """
        rows = self._first_part[self.scuffable]
        breaks, scuffs = broken[self._first_part], harmed[rows] & ~broken[rows]
        for number in self._joint:
            item = self._items[number]
            breaks[number] = broken[list(item.in_others)].any(axis=0)
            if whole is not None and item.in_whole != item.in_others:
                breaks[number] &= ~whole
                breaks[number] |= broken[list(item.in_whole)].any(axis=0) & whole
        if whole is not None:
            for only, where in ((self._in_whole_only, whole), (self._in_others_only, ~whole)):
                breaks[only] &= where
                scuffs[only[self.scuffable]] &= where
        return Incurred(self, breaks, scuffs)


@dataclass(frozen=True)
class Incurred:
    """The items that come about in each of several falls.

    Attributes
    ----------
    arrays
        The items.
    breaks
        ``(items, falls)``: a part of the item breaks.
    scuffs
        ``(items that cost something then, falls)``: its part is harmed and does not break.
    """

    arrays: ItemArrays
    breaks: Bools
    scuffs: Bools

    def total(self, kind: Kind) -> Floats:
        """``(falls,)``: what the items of a kind cost together."""
        broken, scuffed = self.arrays.amounts[kind]
        total: Floats = broken @ self.breaks + scuffed @ self.scuffs
        return total

    def means(self, kind: Kind) -> Floats:
        """``(items of the kind,)``: what each costs in a fall on average."""
        broken, scuffed = self.arrays.amounts[kind]
        means = broken * self.breaks.mean(axis=1)
        means[self.arrays.scuffable] += scuffed * self.scuffs.mean(axis=1)
        of_kind: Floats = means[self.arrays.of_kind[kind]]
        return of_kind

    def noted(self) -> Bools:
        """``(items that wait, falls)``: it came about, to be put right later."""
        came = self.breaks.copy()
        came[self.arrays.scuffable] |= self.scuffs
        noted: Bools = came[self.arrays.of_kind[Kind.WAITS]]
        return noted

    def days(self) -> Floats:
        """``(falls,)``: days without the bike."""
        days: Floats = self.arrays.days @ self.breaks
        return days
