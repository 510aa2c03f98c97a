"""The least that a single fall can cost, whatever is bought within a budget.

A fall costs what it costs the bare bike less what the kit spares. Item k is spared only if a cover holds against each
of its roots. So for any one root r_k, and any one guard g(j) of each cover j that holds against it, every kit x has

    bill(x) ≥ bare − Σ_i s_i x_i,     s_i = Σ_k c_k [i = g(j) for some j against r_k]                        (1)

With at most one guard in each mounting place and Σ_i p_i x_i ≤ B, the most that Σ_i s_i x_i can be is a multiple-choice
knapsack. It is solved for all falls at once by dynamic programming over places (H. Kellerer, U. Pferschy, D. Pisinger,
Knapsack Problems, Springer 2004, chapter 11), with prices rounded down to a grid, so that no kit is lost:

    z_p(b) = max(z_{p−1}(b), max_{i in place p} z_{p−1}(b − ⌊p_i⌋) + s_i)                                    (2)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.items import Items, KeptFalls
from guardopt.scenario import Scenario

FALLS_AT_ONCE = 4096

GRID = 128
"""Steps that a budget is divided into; more make the bound tighter and slower."""

ROUNDING = 1e-12
"""Prices are lowered by this share before they are rounded down, lest one that just fits be lost."""


class Reach:
    """Bounds what single falls can cost within a budget.

    Parameters
    ----------
    scenario
        The guards on offer.
    cover_guards
        For each cover the rows of its guards.
    items, falls
        The falls, kept apart, and their items.
    """

    def __init__(
        self, scenario: Scenario, cover_guards: Sequence[tuple[int, ...]], items: Items, falls: KeptFalls
    ) -> None:
        self._falls, self._cap = falls, scenario.cap
        self._rows = np.flatnonzero(falls.bare > scenario.cap)
        self._guards = len(scenario.guards)
        self._price = _least_prices(scenario)
        self._places = _places(scenario)
        fall, guard, cost = _sparing_pairs(items, cover_guards, self._price)
        counts = falls.bare[fall] > scenario.cap
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
        budget = budget_cents / 100
        for start, spared in self._blocks():
            rows = self._rows[start : start + len(spared)]
            most = self._most_spared(spared, budget)
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

    def _most_spared(self, spared: Floats, budget: float) -> Floats:
        """``(falls,)``: the most that guards within the budget spare, by (2)."""
        steps = np.full(self._price.size, GRID + 1, dtype=np.int64)
        if budget > 0.0:
            fits = self._price <= budget
            steps[fits] = np.floor(self._price[fits] / budget * GRID * (1.0 - ROUNDING))
        steps[self._price <= 0.0] = 0
        most = np.zeros((len(spared), GRID + 1))
        for place in self._places:
            with_place = most.copy()
            for guard in place[steps[place] <= GRID].tolist():
                step = int(steps[guard])
                chosen = most[:, : GRID + 1 - step] + spared[:, [guard]]
                np.maximum(with_place[:, step:], chosen, out=with_place[:, step:])
            most = with_place
        return np.asarray(most[:, -1])


def _least_prices(scenario: Scenario) -> Floats:
    """``(guards,)``: prices, fitting included, of which no kit's spend is below the sum.

    A guard is in one offer at most; what the offer saves is shared out among its guards by their prices.
    """
    share = dict.fromkeys(scenario.guard, 0.0)
    for offer in scenario.offers:
        bought = scenario.bought_in(offer)
        singly = sum(scenario.guard[name].price_cents for name in bought)
        for name in bought if singly else ():
            saved = scenario.offer_saving_cents(offer) * scenario.guard[name].price_cents / singly
            share[name] = max(share[name], saved)
    return np.array([(guard.spend_cents - share[guard.id]) / 100 for guard in scenario.guards])


def _places(scenario: Scenario) -> list[Ints]:
    """Guards that exclude each other by their place; one with two places counts in the first, one with none alone."""
    places: dict[object, list[int]] = {}
    for row, guard in enumerate(scenario.guards):
        places.setdefault(guard.places[0] if guard.places else row, []).append(row)
    return [np.array(rows, dtype=np.int64) for rows in places.values()]


def _sparing_pairs(items: Items, cover_guards: Sequence[tuple[int, ...]], price: Floats) -> tuple[Ints, Ints, Floats]:
    """Pairs of an item and a guard that may spare it, by fall: the fall, the guard, and the cost of the item."""
    strikes = items.strike_item.size
    covers = np.bincount(items.against_strike, minlength=strikes)
    order = np.lexsort((covers, items.strike_item))
    root = order[np.searchsorted(items.strike_item[order], np.arange(items.cost.size))]
    is_root = np.zeros(strikes, dtype=bool)
    is_root[root] = True
    taken = is_root[items.against_strike]
    # The dearest guard of a joint cover, since money is what runs short.
    guard_of = np.array([max(guards, key=lambda one: price[one]) for guards in cover_guards], dtype=np.int64)
    pairs = np.unique(
        items.strike_item[items.against_strike[taken]] * price.size + guard_of[items.against_cover[taken]]
    )
    item, guard = pairs // price.size, pairs % price.size
    by_fall = np.argsort(items.owner[item], kind="stable")
    item = item[by_fall]
    return items.owner[item], guard[by_fall], items.cost[item]
