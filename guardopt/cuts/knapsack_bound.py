"""The least that a single fall can cost, whatever is bought within a budget.

A fall costs at least what it costs the bare bike less what the kit spares; guards that do harm only add to that. Item k
is spared only if a cover holds against each of its roots. So for any one root r_k that is there on the bare bike, and
any one guard g(j) of each cover j that holds against it, every kit x has

    bill(x) ≥ bare − Σ_i s_i x_i,     s_i = Σ_k c_k [i = g(j) for some j against r_k]                        (1)

With at most one guard in each mounting place and Σ_i p_i x_i ≤ B (an owned guard takes out of the purse what it would
fetch, and B counts what all of them would), the most that Σ_i s_i x_i can be is a multiple-choice knapsack
(H. Kellerer, U. Pferschy, D. Pisinger, Knapsack Problems, Springer 2004, chapter 11). Its Lagrangian relaxation is no
less, whatever the rate r ≥ 0 at which money counts (M. L. Fisher, The Lagrangian relaxation method for
solving integer programming problems, Management Science 27, 1981):

    max Σ_i s_i x_i ≤ r B + Σ_places max(0, max_{i in place} s_i − r p_i)                                    (2)

over guards that cost no more than B. For all falls at once, r = 0 and the rate s_i / p_i of each guard are tried.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from guardopt.arrays import Floats, Ints, distinct
from guardopt.model.scenario import Scenario
from guardopt.simulation.item_arrays import Items
from guardopt.simulation.reduction import KeptFalls, reaches

FALLS_AT_ONCE = 4096


class Reach:
    """Bounds what single falls can cost within a budget.

    Parameters
    ----------
    scenario
        The guards on offer.
    literals
        For each cover the entries of z that have to be 1.
    items, falls
        The falls, kept apart, and their items.
    """

    def __init__(self, scenario: Scenario, literals: Sequence[tuple[int, ...]], items: Items, falls: KeptFalls) -> None:
        self._falls, self._cap = falls, scenario.cap
        may_reach = reaches(falls.bare, scenario.cap)
        self._rows = np.flatnonzero(may_reach)
        self._guards = len(scenario.guards)
        self._price = least_prices(scenario)
        self._sold = scenario.sold_cents(())
        self._places = _places(scenario)
        fall, guard, cost = _sparing_pairs(items, literals, self._price)
        counts = may_reach[fall]
        self._fall, self._guard, self._cost = np.searchsorted(self._rows, fall[counts]), guard[counts], cost[counts]

    def least(self, budget_cents: int | None) -> Floats:
        """``(falls,)``: what a fall that may reach the cap costs at least with any kit within the budget.

        For falls that cannot reach it this is merely what no guard can spare.

        Parameters
        ----------
        budget_cents
            Most to spend in cents; None: no limit, and the bound is what no guard can spare.
        """
        least = self._falls.base.copy()
        if budget_cents is None:
            return least
        budget_cents += self._sold
        for start, spared in self._blocks():
            rows = self._rows[start : start + len(spared)]
            most = self._most_spared(spared, budget_cents)
            least[rows] = np.maximum(least[rows], np.minimum(self._falls.bare[rows] - most, self._cap))
        return least

    def _blocks(self) -> Iterator[tuple[int, Floats]]:
        """Some falls at a time: the first of them, and ``(falls, guards)``: s_i of each."""
        count = self._rows.size
        starts = np.arange(0, count, FALLS_AT_ONCE)
        ends = np.searchsorted(self._fall, [*starts, count])
        for start, first, last in zip(starts.tolist(), ends, ends[1:], strict=False):
            rows = min(FALLS_AT_ONCE, count - start)
            cell = (self._fall[first:last] - start) * self._guards + self._guard[first:last]
            sizes = np.bincount(cell, self._cost[first:last], rows * self._guards)
            yield start, sizes.astype(float).reshape(rows, self._guards)

    def _most_spared(self, spared: Floats, budget_cents: int) -> Floats:
        """``(falls,)``: the most that guards within the budget spare, by (2)."""
        buyable = self._price <= budget_cents
        free = self._price <= 0
        most = np.full(len(spared), np.inf)
        for guard in [-1, *np.flatnonzero(buyable & ~free).tolist()]:
            rate = np.zeros(len(spared)) if guard < 0 else spared[:, guard] / self._price[guard]
            bound = rate * max(budget_cents, 0)
            for place in self._places:
                rows = place[buyable[place]]
                if rows.size:
                    bound += np.maximum((spared[:, rows] - rate[:, np.newaxis] * self._price[rows]).max(axis=1), 0.0)
            np.minimum(most, bound, out=most)
        return most


def least_prices(scenario: Scenario) -> Ints:
    """``(guards,)``: prices in whole cents of which no kit's spend, with what it leaves unsold, is below the sum.

    A guard is in one offer at most; what the offer saves is shared out among its guards by their prices, rounded up.
    """
    share = dict.fromkeys(scenario.guard, 0)
    for offer in scenario.offers:
        bought = scenario.bought_in(offer)
        singly = sum(scenario.guard[name].price_cents for name in bought)
        for name in bought if singly else ():
            saved = -(-scenario.offer_saving_cents(offer) * scenario.guard[name].price_cents // singly)
            share[name] = max(share[name], saved)
    return np.array([guard.gives_up_cents - share[guard.id] for guard in scenario.guards], dtype=np.int64)


def _places(scenario: Scenario) -> list[Ints]:
    """Guards that exclude each other by their place; one with two places counts in the first, one with none alone."""
    places: dict[object, list[int]] = {}
    for row, guard in enumerate(scenario.guards):
        places.setdefault(guard.places[0] if guard.places else row, []).append(row)
    return [np.array(rows, dtype=np.int64) for rows in places.values()]


def _sparing_pairs(items: Items, literals: Sequence[tuple[int, ...]], price: Ints) -> tuple[Ints, Ints, Floats]:
    """Pairs of an item of the bare bike and a guard that may spare it, by fall: the fall, the guard, its cost."""
    strikes = items.strike_item.size
    covers = np.bincount(items.against_strike, minlength=strikes)
    is_absence = np.array([entries[0] >= price.size for entries in literals], dtype=bool)
    only_guarded = np.zeros(strikes, dtype=bool)
    only_guarded[items.against_strike[is_absence[items.against_cover]]] = True
    order = np.lexsort((covers, only_guarded, items.strike_item))
    root = order[np.searchsorted(items.strike_item[order], np.arange(items.cost.size))]
    is_root = np.zeros(strikes, dtype=bool)
    is_root[root] = True
    taken = is_root[items.against_strike] & ~only_guarded[items.against_strike]
    # The dearest guard of a joint cover, since money is what runs short; one of an absence is never asked for.
    guard_of = np.array(
        [max(entries, key=lambda one: price[one % price.size]) % price.size for entries in literals], dtype=np.int64
    )
    pairs = distinct(items.strike_item[items.against_strike[taken]] * price.size + guard_of[items.against_cover[taken]])
    item, guard = pairs // price.size, pairs % price.size
    by_fall = np.argsort(items.owner[item], kind="stable")
    item = item[by_fall]
    return items.owner[item], guard[by_fall], items.cost[item]
