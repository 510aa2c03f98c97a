"""The program of a scenario as columns and rows: what can be on the bike at once, and what it costs.

columns    x_i guard i is on the bike, y_o offer o is taken, θ_b what falls cost in bundle b, and the tail mean
rows       Σ_i spend_i x_i − Σ_o saving_o y_o ≤ budget + Σ_owned fetches_i, in whole cents; an owned guard that stays
           on takes what it would fetch
           Σ x_i ≤ 1 in each mounting place,  x_i + x_j ≤ 1 for a not-with,  x_i ≤ Σ x_j over the alternatives of a need
           Σ_i weight_i x_i ≤ limit,  Σ_{o with i} y_o ≤ x_i
           θ_b ≥ constant − Σ_i slope_i x_i for every cut
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Floats
from guardopt.model.scenario import Scenario
from guardopt.optimization.linear_rows import Row, RowKind

WEIGHT_ROUNDING = 2e-7
"""Kilograms by which the limit is widened in its row, so that no kit that keeps it to rounding is lost."""


@dataclass(frozen=True)
class Columns:
    """Which column stands for what.

    Attributes
    ----------
    guards, offers, bundles
        How many there are; columns come in this order, and the tail mean is the last.
    """

    guards: int
    offers: int
    bundles: int

    @property
    def binaries(self) -> int:
        """Columns that are 0 or 1."""
        return self.guards + self.offers

    @property
    def tail(self) -> int:
        """The column of the tail mean."""
        return self.binaries + self.bundles

    @property
    def count(self) -> int:
        """How many columns there are."""
        return self.tail + 1

    def cut(self, column: int, constant: float, slope: Floats, number: int) -> Row:
        """The row −v − Σ slope_i x_i ≤ −constant of a cut about a cost column."""
        guards = np.flatnonzero(slope)
        columns = np.concatenate([[column], guards])
        return Row(RowKind.CUT, columns, np.concatenate([[-1.0], -slope[guards]]), -constant, (column, number))


@dataclass(frozen=True)
class Terms:
    """The numbers of the program that come from the sample.

    Attributes
    ----------
    weights
        ``(bundles, groups)``: what the cost of each group counts in each bundle, ā λ_f of its kind of fall; λ_f of what
        waits, whose cost is another (`cuts.waiting`).
    floor, ceiling
        ``(bundles,)``: the least and the most that each θ can be with any kit.
    guard_cost
        ``(guards,)``: cost over the years of renewing a guard and of disliking it.
    fixed_cost
        Cost over the years of falls that no guard changes.
    """

    weights: Floats
    floor: Floats
    ceiling: Floats
    guard_cost: Floats
    fixed_cost: float


def row_of(kind: RowKind, entries: Mapping[int, float], at_most: float, *about: str) -> Row:
    """A row from its coefficients by column."""
    columns = np.array(list(entries), dtype=np.int64)
    return Row(kind, columns, np.array([entries[int(one)] for one in columns], dtype=float), at_most, about)


def columns_of(scenario: Scenario, bundles: int) -> Columns:
    """The columns of a scenario's program."""
    return Columns(len(scenario.guards), len(scenario.offers), bundles)


def spend_cents(scenario: Scenario) -> Floats:
    """``(guards + offers,)``: what each guard adds to the spend and each offer takes off, in whole cents.

    The spend is the sum of these less what all owned guards would fetch: one that stays on adds what it would fetch.
    """
    guards = [guard.gives_up_cents for guard in scenario.guards]
    return np.array(guards + [-scenario.offer_saving_cents(offer) for offer in scenario.offers], dtype=float)


def money_row(scenario: Scenario, budget_cents: int) -> Row:
    """The budget, met or missed to the cent."""
    spend = spend_cents(scenario)
    at_most = float(budget_cents + scenario.sold_cents(()))
    return row_of(RowKind.BUDGET, {int(c): float(spend[c]) for c in np.flatnonzero(spend)}, at_most)


def fitting_rows(scenario: Scenario) -> list[Row]:
    """What can be on the bike at once, and which offers can be taken."""
    column = {guard.id: number for number, guard in enumerate(scenario.guards)}
    return [
        *_place_rows(scenario),
        *_pair_rows(scenario, column),
        *_weight_rows(scenario),
        *_offer_rows(scenario, column),
    ]


def _place_rows(scenario: Scenario) -> list[Row]:
    places: dict[tuple[str, str], list[int]] = {}
    for number, guard in enumerate(scenario.guards):
        for place in guard.places:
            places.setdefault(place, []).append(number)
    return [
        row_of(RowKind.PLACE, dict.fromkeys(rivals, 1.0), 1.0, *place)
        for place, rivals in places.items()
        if len(rivals) > 1
    ]


def _pair_rows(scenario: Scenario, column: Mapping[str, int]) -> list[Row]:
    rows = []
    for guard in scenario.guards:
        for alternatives in guard.needs:
            entries = {column[guard.id]: 1.0} | {column[name]: -1.0 for name in sorted(alternatives)}
            rows.append(row_of(RowKind.NEED, entries, 0.0, guard.id))
        rows += [
            row_of(RowKind.NOT_WITH, {column[guard.id]: 1.0, column[name]: 1.0}, 1.0, guard.id, name)
            for name in sorted(guard.not_with)
        ]
    return rows


def _weight_rows(scenario: Scenario) -> list[Row]:
    if scenario.max_weight_kg is None:
        return []
    entries = {number: guard.weight_kg for number, guard in enumerate(scenario.guards) if guard.weight_kg}
    return [row_of(RowKind.WEIGHT, entries, scenario.max_weight_kg + WEIGHT_ROUNDING)] if entries else []


def _offer_rows(scenario: Scenario, column: Mapping[str, int]) -> list[Row]:
    sharing: dict[str, list[int]] = {}
    for number, offer in enumerate(scenario.offers, start=len(scenario.guards)):
        for name in sorted(scenario.bought_in(offer)):
            sharing.setdefault(name, []).append(number)
    return [
        row_of(RowKind.OFFER, dict.fromkeys(offers, 1.0) | {column[name]: -1.0}, 0.0, name)
        for name, offers in sharing.items()
    ]


def forced_bounds(
    scenario: Scenario, columns: Columns, must: frozenset[str], never: frozenset[str]
) -> tuple[Floats, Floats]:
    """``(guards + offers,)`` each: bounds of the columns that are 0 or 1; an offer that saves nothing is not taken.

    Where a guard is forced both in and out its lower bound is above its upper one.
    """
    lower, upper = np.zeros(columns.binaries), np.ones(columns.binaries)
    for number, guard in enumerate(scenario.guards):
        lower[number] = float(guard.id in must)
        upper[number] = float(guard.id not in never)
    for number, offer in enumerate(scenario.offers, start=columns.guards):
        upper[number] = float(scenario.offer_saving_cents(offer) > 0)
    return lower, upper


def measured(
    columns: Columns, guards: Floats, *, bundles: bool = False, tail: bool = False, offers: Floats | None = None
) -> Floats:
    """``(columns,)``: a linear measure, from what guards and offers add to it and whether the cost columns count."""
    cost = np.zeros(columns.count)
    cost[: columns.guards] = guards
    if offers is not None:
        cost[columns.guards : columns.binaries] = offers
    if bundles:
        cost[columns.binaries : columns.tail] = 1.0
    cost[columns.tail] = float(tail)
    return cost


def ceiling_row(cost: Floats, at_most: float, name: str) -> Row:
    """The row that keeps a measure at or below a value."""
    return row_of(RowKind.CEILING, {int(one): float(cost[one]) for one in np.flatnonzero(cost)}, at_most, name)


def other_rows(scenario: Scenario, kits: Iterable[frozenset[str]]) -> list[Row]:
    """For each of some kits the row that rules it out alone: Σ_{i in it} x_i − Σ_{i not in it} x_i ≤ |kit| − 1."""
    return [
        row_of(
            RowKind.OTHER_THAN,
            {number: 1.0 if guard.id in kit else -1.0 for number, guard in enumerate(scenario.guards)},
            float(len(kit) - 1),
            *sorted(kit),
        )
        for kit in sorted(kits, key=sorted)
        if scenario.guards
    ]
