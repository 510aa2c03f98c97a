"""What one fall of each kind costs with each of many kits, on one sample.

`bills.price` walks through the falls kit by kit and can say what became of every part. Here the falls are first reduced
to items, so that hundreds of kits cost little more than one; only the sum is left to know.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.bike import Bike
from guardopt.facts import mean_renewals
from guardopt.falls import Stratum
from guardopt.items import Reduced, reduce_falls, sums
from guardopt.kit_table import merged_costs
from guardopt.pieces import Kit


def mean_costs(bike: Bike, strata: Iterable[Stratum], kits: Sequence[Kit]) -> Floats:
    """``(kits, kinds of fall)``: C_f + R_f, what one fall costs the owner on average, renewals included.

    Parameters
    ----------
    bike
        The scenario as arrays.
    strata
        The sample; it is gone through once, so it may be drawn on the fly.
    kits
        Guards on the bike, each a set of ids.
    """
    kinds, names = len(bike.scenario.falls), len(bike.scenario.parts) + len(bike.groups)
    fitted = np.array([bike.kit_array(kit) for kit in kits]).reshape(len(kits), len(bike.scenario.guards))
    cover_guards = [guards for _, guards in bike.covers]
    holds = np.ones((len(kits), len(cover_guards)), dtype=bool)
    for row, guards in enumerate(cover_guards):
        holds[:, row] = fitted[:, list(guards)].all(axis=1)
    total = np.zeros((kinds, len(kits)))
    for stratum in strata:
        reduced = reduce_falls(bike, [stratum])
        total += reduced.fixed_cost[:, np.newaxis]
        total += merged_costs(reduced.merged, cover_guards, kinds, names, fitted)
        total += mean_renewals(bike, [stratum]) @ fitted.T
        total[stratum.fall] += _kept_costs(reduced, holds, bike.scenario.cap)
    return total.T


def _kept_costs(reduced: Reduced, holds: Bools, cap: float) -> Floats:
    """``(kits,)``: mean cost, in one fall of its kind, of the falls of one stratum that may reach the cap."""
    items, kept = reduced.kept_items, reduced.kept
    costs = np.zeros(len(holds))
    for row, held in enumerate(holds):
        spared = np.zeros(items.strike_item.size, dtype=bool)
        spared[items.against_strike[held[items.against_cover]]] = True
        incurred = np.zeros(items.cost.size, dtype=bool)
        incurred[items.strike_item[~spared]] = True
        bill = kept.base + sums(items.owner[incurred], items.cost[incurred], kept.base.size)
        costs[row] = kept.weight @ np.minimum(bill, cap)
    return costs
