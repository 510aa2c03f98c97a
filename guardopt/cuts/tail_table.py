"""Every kit that can be fitted, with a bound on the mean cost of its worst falls.

As `enumeration` for the cost of all falls: the kit of least bound is priced until none is below one that is. A cut
about the mean of the worst falls holds for every kit and is exact where it was found, so a few dozen prices settle
which kit is best. Among kits with the same mean the one whose falls cost least comes first, which the table of costs
tells.
"""

from __future__ import annotations

from collections.abc import Callable, Collection

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.cuts.enumeration import KitTable
from guardopt.cuts.ties import TIE
from guardopt.deadline import NEVER, Deadline
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario

_ALL = np.ones(1)


class TailTable:
    """Bounds on the mean cost of the worst falls with every kit, raised as cuts are found.

    Parameters
    ----------
    scenario
        The guards on offer.
    costs
        The same kits with what falls cost over the years, which breaks ties.
    years_of
        ``(kinds of fall,)``: ā λ_f, for `costs`.
    price_kit
        The constant ``(1,)`` and the slope ``(1, guards)`` of the cut found at a kit ``(guards,)``, exact there.
    """

    def __init__(
        self,
        scenario: Scenario,
        costs: KitTable,
        years_of: Floats,
        price_kit: Callable[[Floats], tuple[Floats, Floats]],
    ) -> None:
        kits: Bools = costs.kits
        self._costs, self._years_of = costs, years_of
        nothing, one_group = np.zeros((1, len(kits))), np.zeros(1, dtype=np.int64)
        self._tails = KitTable(scenario, kits, nothing, one_group, np.zeros(1), price_kit, counts_dislike=False)

    def best(
        self,
        budget_cents: int | None,
        must: Kit,
        never: Kit,
        other_than: Collection[Kit] = (),
        deadline: Deadline = NEVER,
    ) -> tuple[Kit, float, float] | None:
        """The best kit within limits, the mean of its worst falls, and a bound on that of every kit allowed.

        Ties go to the kit whose falls cost least, then to less spend, then to less change on the bike. None if no kit
        is allowed.

        Raises
        ------
        OutOfTimeError
            The time was over before a kit was proven best.
        """
        rows = self._tails.allowed(budget_cents, must, never, other_than)
        if not rows.size:
            return None
        _, least = self._tails.least_of(_ALL, rows, deadline)
        while True:
            rows = self._tails.at_most(_ALL, rows, least + TIE * max(1.0, abs(least)))
            first = self._costs.first_of(self._years_of, rows, deadline)
            value = self._tails.cost(_ALL, first)
            if value <= least + TIE * max(1.0, abs(least)):
                return self._costs.kit(first), value, min(least, value)
