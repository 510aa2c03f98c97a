"""The mean of the worst falls is the published tail mean, and the largest that reweighting can reach."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from random_scenarios import sample_of

from guardopt.model.pieces import Fall, Kit, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.simulation.risk import tail_weights, worst_mean

BARE: Kit = frozenset()
MakeScenario = Callable[..., Scenario]

# R. T. Rockafellar and S. Uryasev, J. Banking & Finance 26:1443-1471, 2002, Propositions 6 and 8: an atom that
# straddles the limit is split. The first three are the atom-splitting cases of S. Sarykalin, G. Serraino and
# S. Uryasev, INFORMS TutORials 2008, with losses of 100, 200, ...; in the rest nine falls in ten cost nothing.
SIX, FOUR, RARE = [100.0 * k for k in range(1, 7)], [100.0 * k for k in range(1, 5)], [0.0, 1000.0, 5000.0]
TAIL_MEANS = [
    (SIX, [1 / 6] * 6, 2 / 3, 550.0),
    (SIX, [1 / 6] * 6, 7 / 12, 520.0),
    (FOUR, [1 / 4] * 4, 7 / 8, 400.0),
    (RARE, [0.90, 0.08, 0.02], 0.50, 360.0),
    (RARE, [0.90, 0.08, 0.02], 0.90, 1800.0),
    (RARE, [0.90, 0.08, 0.02], 0.95, 2600.0),
    (RARE, [0.90, 0.08, 0.02], 0.98, 5000.0),
    (RARE, [0.90, 0.08, 0.02], 0.99, 5000.0),
]


@pytest.mark.parametrize(("costs", "chances", "level", "expected"), TAIL_MEANS)
def test_mean_of_the_worst_falls_splits_an_atom(
    make_scenario: MakeScenario, costs: list[float], chances: list[float], level: float, expected: float
) -> None:
    """Falls of known cost and rate have the published tail mean, as a list of numbers and as a bike."""
    assert worst_mean(np.array(costs), np.array(chances), 1.0 - level) == pytest.approx(expected)
    names = [f"kind{row}" for row in range(len(costs))]
    scenario = make_scenario(
        parts=[Part(name, name, Side.CENTRE, cost) for name, cost in zip(names, costs, strict=True)],
        falls=[Fall(name, 3.0 * chance) for name, chance in zip(names, chances, strict=True)],
        hits={(fall, part): float(fall == part) for fall in names for part in names},
    )
    planner = Planner(scenario, sample_of(scenario), tail=1.0 - level)
    assert planner.measure("tail", BARE) == pytest.approx(expected)


COSTS = st.lists(st.floats(0.0, 1e4), min_size=1, max_size=12)


@given(COSTS, st.floats(0.01, 1.0))
def test_tail_mean_lies_between_the_mean_and_the_most(costs: list[float], tail: float) -> None:
    """The worst falls cost at least the mean and at most the most; the worst of all falls are all of them."""
    values = np.array(costs)
    weights = np.full(values.size, 1.0 / values.size)
    found = worst_mean(values, weights, tail)
    assert values.mean() - 1e-6 <= found <= values.max() + 1e-6
    assert worst_mean(values, weights, 1.0) == pytest.approx(values.mean())


@given(COSTS, st.floats(0.01, 1.0), st.integers(0, 1000))
def test_tail_mean_is_the_largest_mean_that_reweighting_can_reach(costs: list[float], tail: float, seed: int) -> None:
    """The tail weights are weights no larger than w / tail, and no other such weights give a larger mean."""
    rng = np.random.default_rng(seed)
    values = np.array(costs)
    weights = rng.dirichlet(np.ones(values.size))
    found = tail_weights(values, weights, tail)
    assert found.sum() == pytest.approx(1.0)
    assert (found >= 0.0).all()
    assert (found <= weights / tail * (1.0 + 1e-9) + 1e-12).all()
    other = tail_weights(rng.permutation(values), weights, tail)
    assert other @ values <= worst_mean(values, weights, tail) + 1e-6
