"""Every kit that can be fitted, listed with what is known of its cost from a sample, and the best of them."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import cached_property

import numpy as np

from guardopt.arrays import Floats
from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.enumeration import KitTable
from guardopt.cuts.kit_lists import legal_kits
from guardopt.cuts.tail_table import TailTable
from guardopt.cuts.waiting import WaitingTable
from guardopt.deadline import Deadline
from guardopt.errors import OutOfTimeError
from guardopt.model.aims import WORST, Aim, Best, Limits
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


def at_other_prices(known: Callable[[], KitTable | None], scenario: Scenario) -> KitTable | None:
    """The same kits where guards are sold at the prices of a scenario, with all that is known of their falls."""
    table = known()
    return None if table is None else table.with_terms(scenario)


class PricedKits:
    """Answers which kit of the list of all kits is best, under some fall rates.

    Parameters
    ----------
    scenario
        The guards on offer.
    costs
        The list by what falls cost, made when it is first asked for; None where kits are too many to list.
    years_of
        ``(kinds of fall,)``: ā λ_f.
    price_tail
        The constant ``(1,)`` and the slope ``(1, guards)`` of the cut about the worst falls at a kit, exact there.
    """

    def __init__(
        self,
        scenario: Scenario,
        costs: Callable[[], KitTable | None],
        years_of: Floats,
        price_tail: Callable[[Floats], tuple[Floats, Floats]],
    ) -> None:
        self._scenario, self._costs, self._years_of, self._price_tail = scenario, costs, years_of, price_tail

    @cached_property
    def _tails(self) -> TailTable | None:
        """The list by the worst falls."""
        costs = self._costs()
        return None if costs is None else TailTable(self._scenario, costs, self._years_of, self._price_tail)

    def table_for(self, aim: Aim, limits: Limits) -> KitTable | TailTable | None:
        """The list of every kit with what it measures for an aim; None where there is none."""
        if limits.at_most:
            return None
        if aim.adds_up:
            return self._costs()
        return self._tails if aim.measures == WORST.measures else None

    def best_of(
        self, table: KitTable | TailTable, aim: Aim, limits: Limits, gap: float, deadline: Deadline
    ) -> Best | None:
        """The best kit of a list; None if no kit is allowed.

        Raises
        ------
        OutOfTimeError
            The time was over before a kit was proven best.
        """
        limited = (limits.budget_cents, limits.must, limits.never, limits.other_than)
        if isinstance(table, TailTable):
            found = table.best(*limited, deadline=deadline)
        else:
            found = table.best(self._years_of, *limited, outlay=aim.counts_price, gap=gap, deadline=deadline)
        return None if found is None else Best(*found, proven=True)

    def best_in_time(self, aim: Aim, limits: Limits, gap: float, deadline: Deadline) -> Best | None:
        """The best kit of all; None if they are not listed, none is allowed, or time is over."""
        with suppress(OutOfTimeError):
            deadline.check()
            table = self.table_for(aim, limits)
            return None if table is None else self.best_of(table, aim, limits, gap, deadline)
        return None
