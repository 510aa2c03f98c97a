"""The tree and what it rests on: a relaxation and a bound solved by hand, and bounds that hold whatever they are made of."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from program_by_hand import BY_HAND, CONSTANTS, SLOPES, TERMS, MakeScenario, hand_scenario

from guardopt.arrays import Bools, Floats
from guardopt.errors import SolverError
from guardopt.optimization.formulation import ceiling_row, columns_of, measured, money_row, spend_cents
from guardopt.optimization.linear_rows import Row, RowKind, Rows, usable
from guardopt.optimization.nodes import Statement
from guardopt.optimization.relaxation import Relaxation, scales
from guardopt.optimization.tree import Tree


class Sheet:
    """The program of `program_by_hand`, as the tree is asked it.

    `told` is added to what every kit costs, and takes a sheet that contradicts itself when it is below 0.
    """

    def __init__(self, make_scenario: MakeScenario, told: float = 0.0) -> None:
        self.scenario = hand_scenario(make_scenario)
        self.columns = columns_of(self.scenario, 2)
        self.lower = np.array([0.0, 0.0, 0.0, *TERMS.floor, 0.0])
        self.upper = np.array([1.0, 1.0, 1.0, *TERMS.ceiling, 0.0])
        self.cost = measured(self.columns, TERMS.guard_cost, bundles=True)
        self.cuts = [self.columns.cut(3 + row, CONSTANTS[row], SLOPES[row], row) for row in range(2)]
        self.told = told
        self.budget_cents = 10_000
        self.cost_at_most = np.inf

    def price(self, kit: Bools) -> float:
        """What a kit costs, straight from the sheet."""
        bar, cage, pad = kit.astype(float)
        return max(20.0, 100.0 - 60.0 * bar - 70.0 * cage) + 50.0 - 30.0 * pad + 5.0 * cage + 7.0 + self.told

    def value(self, kit: Bools) -> float | None:
        """The cost of a kit; None if it is over the budget."""
        return self.price(kit) if kit @ spend_cents(self.scenario) <= self.budget_cents else None

    def known_cuts(self, point: Floats) -> Sequence[Row]:
        """Whichever of the two cuts the point breaks."""
        return [row for row in self.cuts if row.coefficients @ point[row.columns] > row.at_most + 1e-9]

    def new_cuts(self, point: Floats, off: Bools) -> Sequence[Row]:
        """There are no others."""
        return []

    def near(self, point: Floats) -> Bools | None:
        """No guess."""
        return None

    def tree(self, budget_cents: int) -> Tree:
        """A search for the least cost within a budget."""
        self.budget_cents = budget_cents
        rows = [money_row(self.scenario, budget_cents)]
        return Tree(Statement(3, 3, self.cost, 7.0, self.lower, self.upper, rows), self, gap=1e-9)


class LeastSpend(Sheet):
    """The same sheet, asked for the least spend of a kit that costs no more than some amount."""

    def value(self, kit: Bools) -> float | None:
        """The spend of a kit in cents; None if it costs too much."""
        return float(kit @ spend_cents(self.scenario)) if self.price(kit) <= self.cost_at_most else None

    def search(self, cost_at_most: float) -> Tree:
        """A search for the least spend."""
        self.cost_at_most = cost_at_most
        rows = [ceiling_row(self.cost, cost_at_most - 7.0, "cost")]
        spend = measured(self.columns, spend_cents(self.scenario))
        return Tree(Statement(3, 3, spend, 0.0, self.lower, self.upper, rows, step=1.0), self, gap=1e-9)


def test_relaxation_and_its_bound_solved_by_hand(make_scenario: MakeScenario) -> None:
    """In part, 22.50 buys the bar, 2/7 of the cage, which is all that θ₀ ≥ 20 makes worth while, and pad for the rest."""
    sheet = Sheet(make_scenario)
    rows = [money_row(sheet.scenario, 2250), *sheet.cuts]
    relaxation = Relaxation(sheet.lower, sheet.upper, scales(sheet.upper))
    relaxation.set_cost(sheet.cost)
    relaxation.add(rows)
    relaxed = relaxation.solve()
    assert relaxed.point is not None
    assert relaxed.point[:3] == pytest.approx([1.0, 2 / 7, (12.5 - 40 / 7) / 25])
    held = Rows(6)
    held.add(rows)
    bound = held.bound(sheet.cost, sheet.lower, sheet.upper, relaxed.multipliers) + 7.0
    assert bound == pytest.approx(492 / 7)
    assert bound < 492 / 7 + 1e-12


@pytest.mark.parametrize(("budget", "kit", "cost"), BY_HAND)
def test_tree_solved_by_hand(make_scenario: MakeScenario, budget: int, kit: list[int], cost: float) -> None:
    """At each budget the tree finds the kit and the cost that a sheet of paper does, and its bound meets it."""
    found = Sheet(make_scenario).tree(budget).run()
    assert found.is_complete
    assert found.kit is not None
    assert found.kit.tolist() == [bool(one) for one in kit]
    assert found.value == pytest.approx(cost)
    assert found.value - 1e-6 <= found.bound <= found.value


@pytest.mark.parametrize(("cost", "spend"), [(156.9, 1000), (92.0, 2000), (70.0, 3500), (62.0, 4500), (52.0, 5500)])
def test_a_cap_on_one_measure_while_another_is_least(make_scenario: MakeScenario, cost: float, spend: int) -> None:
    """The least spend that keeps the cost to 70 is 35, for the bar and the pad; and so on down the sheet."""
    found = LeastSpend(make_scenario).search(cost).run()
    assert found.is_complete
    assert found.value == spend


def test_no_kit_is_proven_and_not_only_not_found(make_scenario: MakeScenario) -> None:
    """Nothing costs less than 52: the tree ends complete, without a kit and with no bound on one."""
    found = LeastSpend(make_scenario).search(51.99).run()
    assert found.is_complete
    assert found.kit is None
    assert np.isinf(found.bound)


def test_a_kit_priced_below_a_proven_bound_is_never_printed_over(make_scenario: MakeScenario) -> None:
    """Where cuts claim more than kits cost, the tree says that something is wrong instead of an answer."""
    with pytest.raises(SolverError, match="had been proven"):
        Sheet(make_scenario, told=-30.0).tree(3500).run()


@given(st.integers(0, 10_000), st.floats(-6.0, 9.0))
@settings(max_examples=100)
def test_any_multipliers_give_a_bound(seed: int, power: float) -> None:
    """No whole point that keeps the rows is below the bound, be the multipliers random, negative, infinite or no numbers.

    A. Neumaier and O. Shcherbina, Safe bounds in linear and mixed-integer linear programming, Mathematical Programming
    99, 2004, 283-296; amounts from a millionth to 10⁹.
    """
    rng = np.random.default_rng(seed)
    size = 10.0**power
    matrix = rng.integers(-5, 6, (4, 5)) * size
    at_most = rng.integers(-3, 8, 4) * size
    cost = rng.integers(-9, 10, 5) * size
    rows = Rows(5)
    rows.add([Row(RowKind.BUDGET, np.arange(5), row, float(most)) for row, most in zip(matrix, at_most, strict=True)])
    multipliers = rng.normal(size=4) * rng.choice([0.0, 1.0, 1e6, np.nan, np.inf], size=4)
    bound = rows.bound(cost, np.zeros(5), np.ones(5), usable(multipliers))
    empty = rows.bound(np.zeros(5), np.zeros(5), np.ones(5), usable(multipliers)) > 0.0
    points = np.array(list(product((0.0, 1.0), repeat=5)))
    kept = points[(points @ matrix.T <= at_most).all(axis=1)]
    assert not (empty and len(kept))
    assert all(bound <= value for value in (kept @ cost).tolist())
