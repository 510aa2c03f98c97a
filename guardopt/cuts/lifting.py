"""Cuts about falls that may reach the cap, made tighter where some guards are known to be off.

Let O be guards that are off in a node of the tree, and m no more than the bill of a fall with every other guard on. A
kit x consists of x' without the guards of O, and those of O. What these spare of the fall is no more than Σ_{i∈O} σ_i
x_i, with σ_i = Σ_k c_k [i stands against some root of item k] over all items: an item that x' incurs and x does not has
a root that only covers with guards of O spare. Which root that is depends on x', so all roots count. So

    min(bill(x), cap) ≥ min(bill(x'), cap) − Σ_{i∈O} σ_i x_i                                                (1)
                      ≥ cap − s (b − L(x')) − Σ_{i∈O} σ_i x_i,     s = (cap − m) / (b − m)                  (2)

with L and b as in `cuts`. It holds for every kit and is tight where O is off, since m is then nearer to the cap. The
absence of a guard (`roots`) is never in O and spares in m whatever it can; taking guards of O off adds absences, so
it spares no less of what these guards expose.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from guardopt.arrays import Bools, Floats, Ints, distinct
from guardopt.simulation.item_arrays import Items, sums


class Lifting:
    """What is needed for (2) of one list of items.

    Parameters
    ----------
    items
        Items by fall.
    literals
        For each cover the entries of z that have to be 1.
    base
        ``(falls,)``: the part of the bill that no guard can spare.
    """

    def __init__(self, items: Items, literals: Sequence[tuple[int, ...]], base: Floats) -> None:
        self._items, self._base = items, base
        self._covers = [list(entries) for entries in literals]

    def least(self, off: Bools) -> Floats:
        """``(falls,)``: m, no more than the bill with every guard on but those that are off.

        Parameters
        ----------
        off
            ``(entries of z,)``: O.
        """
        items = self._items
        holds = np.array([not off[entries].any() for entries in self._covers], dtype=bool)
        spared = np.zeros(items.strike_item.size, dtype=bool)
        spared[items.against_strike[holds[items.against_cover]]] = True
        incurred = np.zeros(items.cost.size, dtype=bool)
        incurred[items.strike_item[~spared]] = True
        least: Floats = self._base + sums(items.owner[incurred], items.cost[incurred], self._base.size)
        return least

    def spared(self, off: Bools, falls: Bools) -> tuple[Ints, Ints, Floats]:
        """Σ_k c_k of (1) as entries: falls, guards that are off, and what they spare at most, for some falls.

        Parameters
        ----------
        off
            ``(entries of z,)``: O.
        falls
            ``(falls,)``: which falls are asked about.
        """
        items = self._items
        # A cover with several guards of O counts only with all of them on, so one of them stands for it.
        guard_of = np.array(
            [next((one for one in entries if off[one]), -1) for entries in self._covers], dtype=np.int64
        )
        item, guard = items.strike_item[items.against_strike], guard_of[items.against_cover]
        wanted = (guard >= 0) & falls[items.owner[item]]
        pairs = distinct(item[wanted] * off.size + guard[wanted])
        item = pairs // off.size
        return items.owner[item], pairs % off.size, items.cost[item]
