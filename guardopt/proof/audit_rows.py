"""Whether each row of a proof holds for every allowed kit: rules, money, weight, and cuts worked out again."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

from guardopt.model.scenario import Scenario
from guardopt.proof.audit_columns import Columns, Found
from guardopt.proof.audit_cuts import POINT, Line
from guardopt.proof.audit_money import exact
from guardopt.proof.format import Asked, StatedRow

WEIGHED_TO = exact(1e-7)
"""Kilograms by which a kit may be over the limit: a tenth of a milligram."""


def purse_cents(scenario: Scenario) -> dict[str, int]:
    """What each guard takes out of the purse if it is on: what it costs, or what it would fetch if it is owned."""
    return {one.id: one.sells_cents if one.owned else one.price_cents + one.fit_cents for one in scenario.guards}


def all_sold_cents(scenario: Scenario) -> int:
    """What all owned guards would fetch."""
    return sum(guard.sells_cents for guard in scenario.guards if guard.owned)


def holds_within(budget_cents: int | None, asked_cents: int | None) -> bool:
    """Whether what holds for kits within a budget holds for all that were asked about."""
    return budget_cents is None or (asked_cents is not None and asked_cents <= budget_cents)


class RowCheck:
    """Compares rows with the scenario.

    Parameters
    ----------
    scenario, question
        What the proof is about.
    costs
        Works cuts out again.
    """

    def __init__(self, scenario: Scenario, question: Asked, costs: Columns) -> None:
        self._scenario, self._question, self._costs = scenario, question, costs
        self._offer = {offer.id: offer for offer in scenario.offers}
        self._checks: dict[str, Callable[[StatedRow], bool]] = {
            "budget": self._is_budget,
            "weight": self._is_weight,
            "place": self._is_place,
            "need": self._is_need,
            "not_with": self._is_not_with,
            "offer": self._is_offer,
            "cut": self._is_cut,
        }

    def follows(self, row: StatedRow) -> bool:
        """Whether a row follows from the scenario."""
        return self._checks[row.kind](row)

    def _is_budget(self, row: StatedRow) -> bool:
        scenario, budget = self._scenario, self._question.budget_cents
        spend = {name: cents for name, cents in purse_cents(scenario).items() if cents}
        saving = {name: -scenario.offer_saving_cents(offer) for name, offer in self._offer.items()}
        is_spend = row.x == spend and row.y == {name: cents for name, cents in saving.items() if cents}
        return is_spend and not row.theta and budget is not None and row.at_most >= budget + all_sold_cents(scenario)

    def _is_weight(self, row: StatedRow) -> bool:
        scenario = self._scenario
        weight = {guard.id: guard.weight_kg for guard in scenario.guards if guard.weight_kg}
        limit = scenario.max_weight_kg
        is_weight = limit is not None and row.x == weight and not row.y and not row.theta
        return is_weight and exact(row.at_most) >= exact(limit or 0.0) + WEIGHED_TO

    def _is_place(self, row: StatedRow) -> bool:
        """At most one of some guards that fill one place."""
        places = [set(self._scenario.guard[name].places) for name in row.x]
        return self._is_at_most_one(row) and bool(places) and bool(set.intersection(*places))

    def _is_not_with(self, row: StatedRow) -> bool:
        guard = self._scenario.guard
        pairs = combinations(row.x, 2)
        return self._is_at_most_one(row) and all(b in guard[a].not_with or a in guard[b].not_with for a, b in pairs)

    @staticmethod
    def _is_at_most_one(row: StatedRow) -> bool:
        return set(row.x.values()) == {1.0} and not row.y and not row.theta and row.at_most >= 1.0

    def _is_need(self, row: StatedRow) -> bool:
        """A guard only with one of its alternatives."""
        needing = [name for name, value in row.x.items() if value == 1.0]
        others = frozenset(name for name, value in row.x.items() if value == -1.0)
        is_pure = not row.y and not row.theta and row.at_most >= 0.0 and len(needing) + len(others) == len(row.x)
        return is_pure and len(needing) == 1 and others in self._scenario.guard[needing[0]].needs

    def _is_offer(self, row: StatedRow) -> bool:
        """Offers with a guard in common: one at most is taken, and only with that guard."""
        (guard,) = row.x if len(row.x) == 1 else ("",)
        has_it = all(guard in self._scenario.bought_in(self._offer[name]) for name in row.y)
        is_one = row.x == {guard: -1.0} and all(value == 1.0 for value in row.y.values())
        return is_one and has_it and not row.theta and row.at_most >= 0.0

    def _is_cut(self, row: StatedRow) -> bool:
        """A cut that says no more than the one found anew at its point."""
        names = self._question.guards
        at = [exact(row.at.get(name, 0.0)) * POINT for name in names]
        on_grid = all(value.denominator == 1 and 0 <= value <= POINT for value in at)
        if (
            not on_grid
            or not {*row.at, *row.off}.issubset(names)
            or not holds_within(row.budget_cents, self._question.budget_cents)
        ):
            return False
        if row.y or len(row.theta) != 1 or set(row.theta.values()) != {-1.0}:
            return False
        off = frozenset(number for number, name in enumerate(names) if name in row.off)
        found = Found(tuple(int(value) for value in at), row.budget_cents, off)
        again = self._costs.cut(next(iter(row.theta)), found)
        slope = {number: -exact(row.x[name]) for number, name in enumerate(names) if name in row.x}
        return again.says_no_less_than(Line(-exact(row.at_most), slope))
