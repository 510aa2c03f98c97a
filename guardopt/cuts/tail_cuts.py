"""Finds optimality cuts at any kit about the mean cost of the worst share of falls."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.cuts.knapsack_bound import Reach
from guardopt.cuts.lifting import Lifting
from guardopt.cuts.optimality_cuts import Chosen, Facts, capped_facts, off_in_z
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import sums
from guardopt.simulation.reduction import AT_CAP, reduce_falls
from guardopt.simulation.risk import tail_weights
from guardopt.simulation.roots import cover_literals
from guardopt.simulation.sampling import Stratum

RANKS = 2.0**34
"""Costs that fall in the same of so many steps, up to the dearest there can be, are equally bad falls."""


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
        chosen = Chosen(self._items, self._literals, z)
        least = falls.base if least is None else least
        capped = capped_facts(self._items, falls.base, chosen, self._cap, least, self._lifting, off_in_z(off))
        on_top = Chosen(self._on_top, self._literals, z)
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
