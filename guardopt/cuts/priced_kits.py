"""Every kit that can be fitted, listed with what is known of its cost from a sample."""

from __future__ import annotations

import numpy as np

from guardopt.arrays import Floats
from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.enumeration import KitTable, legal_kits
from guardopt.cuts.waiting import WaitingTable
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike


def kit_table(scenario: Scenario, bike: Bike, finder: FactFinder, among: Kit | None = None) -> KitTable | None:
    """Every kit that can be fitted; None if they are too many to list.

    Parameters
    ----------
    scenario
        The guards on offer and their prices.
    bike, finder
        The scenario as arrays, and its sample.
    among
        Only kits of these guards. Default: of all.
    """
    kits = legal_kits(scenario, among)
    if kits is None:
        return None
    exact = finder.renewals @ kits.T + finder.fixed_cost[:, np.newaxis]
    waiting = WaitingTable(bike, finder.waits, finder.fixed_noted)
    for one in finder.merged_costs(kits):
        if not waiting.takes(one):
            exact[one.kind] += one.cost[one.which]
    kept = np.flatnonzero(finder.group_is_kept)
    floor = finder.group_floor(finder.least_costs())

    def price_kit(x: Floats) -> tuple[Floats, Floats]:
        found = finder.at_kept(x)
        return found.constant, found.slope

    of_kits = waiting.of_kits(len(kits)) if finder.waits.size else None
    return KitTable(scenario, kits, exact, finder.group_fall[kept], floor[kept], price_kit, of_kits)
