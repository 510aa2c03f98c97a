"""Which items of the list of costs come about in each of many falls, and what they cost, all items at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.simulation.items import Item, Kind

FALLS_AT_ONCE = 512


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
        self.of_kind = {kind: np.flatnonzero([one.kind is kind for one in items]) for kind in Kind}
        self.broken: Floats = np.array([one.broken for one in items], dtype=np.float64)
        self.scuffed: Floats = np.array([one.scuffed for one in items], dtype=np.float64)
        self.days: Floats = np.array([one.days for one in items], dtype=np.float64)

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
        rows, scuffs = self._rows(kind)
        total = _added(self.arrays.broken[rows], self.breaks[rows])
        if scuffs.any():
            total += _added(self.arrays.scuffed[self.arrays.scuffable[scuffs]], self.scuffs[scuffs])
        return total

    def means(self, kind: Kind) -> Floats:
        """``(items of the kind,)``: what each costs in a fall on average."""
        rows, scuffs = self._rows(kind)
        means = np.zeros(self.arrays.broken.size)
        means[rows] = self.arrays.broken[rows] * _shares(self.breaks[rows])
        scuffable = self.arrays.scuffable[scuffs]
        means[scuffable] += self.arrays.scuffed[scuffable] * _shares(self.scuffs[scuffs])
        of_kind: Floats = means[rows]
        return of_kind

    def noted(self) -> Bools:
        """``(items that wait, falls)``: it came about, to be put right later."""
        rows, scuffs = self._rows(Kind.WAITS)
        came = self.breaks[rows]
        came[np.searchsorted(rows, self.arrays.scuffable[scuffs])] |= self.scuffs[scuffs]
        return came

    def days(self) -> Floats:
        """``(falls,)``: days without the bike."""
        rows, _ = self._rows(Kind.ON_TOP)
        return _added(self.arrays.days[rows], self.breaks[rows])

    def _rows(self, kind: Kind) -> tuple[Ints, Bools]:
        """The items of a kind, and which of the scuffable ones are."""
        rows = self.arrays.of_kind[kind]
        return rows, np.isin(self.arrays.scuffable, rows)


def _added(amounts: Floats, came: Bools) -> Floats:
    """``(falls,)``: what the items that come about cost, few falls at a time so that what is in hand stays small."""
    total = np.empty(came.shape[1])
    for first in range(0, total.size, FALLS_AT_ONCE):
        here = slice(first, first + FALLS_AT_ONCE)
        total[here] = amounts @ came[:, here]
    return total


def _shares(came: Bools) -> Floats:
    """``(items,)``: share of the falls in which each comes about."""
    shares: Floats = np.count_nonzero(came, axis=1) / came.shape[1]
    return shares
