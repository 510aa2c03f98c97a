"""A thousand random programs with amounts from a cent to a thousand millions, against ways that know nothing of bounds.

Small ones are priced kit by kit; knapsacks are solved by dynamic programming (R. Bellman, Dynamic Programming, 1957) in
whole numbers, so that a cent more or less counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from random_scenarios import price_every_kit, random_limits, random_scenario, sample_of
from scaled_money import with_money_times

from guardopt.errors import NoKitError
from guardopt.model.aims import AIMS, Aim, Limits
from guardopt.model.pieces import Cover, Guard, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner

MakeScenario = Callable[..., Scenario]
PlannerOf = Callable[..., Planner]

EVERYDAY = range(50)
AT_LENGTH = range(50, 600)
KNAPSACKS = range(50)
MORE_KNAPSACKS = range(50, 450)


def mixed_amounts(seed: int) -> Scenario:
    """A random bike with slots, needs, offers, caps and joint covers, whose amounts are of unlike sizes.

    All money is multiplied by up to ten millions, and then every part and guard by itself by up to a hundred more or
    less, so that the dearest of a bike costs about 10⁹ and the cheapest about a cent.
    """
    rng = np.random.default_rng([seed, 7])
    scenario = with_money_times(
        random_scenario(20_000 + seed, guards=3 + seed % 5, falls_sampled=25, own_costs=False),
        int(10 ** rng.integers(0, 8)),
    )
    parts = tuple(replace(one, price=one.price * float(10.0 ** rng.integers(-2, 2))) for one in scenario.parts)
    guards = tuple(
        replace(one, price_cents=max(1, int(one.price_cents * 10.0 ** rng.integers(-3, 2)))) for one in scenario.guards
    )
    if rng.random() < 0.3:
        parts = tuple(replace(one, price=max(0.01, one.price * 1e-4)) for one in parts)
    return replace(scenario, parts=parts, guards=guards)


def check(seed: int, aims: Sequence[Aim]) -> None:
    """Within the budget of the bike, a random one, and one that a random kit meets or misses by a cent."""
    scenario = mixed_amounts(seed)
    sample = sample_of(scenario)
    every, planner = price_every_kit(scenario, sample), Planner(scenario, sample)
    rng = np.random.default_rng(seed)
    met = int(rng.choice(every.spend_cents))
    asked = [Limits(scenario.budget_cents), random_limits(scenario, seed), Limits(met), Limits(max(0, met - 1))]
    for limits in asked if len(aims) > 1 else asked[seed % 2 :: 2]:
        for aim in aims:
            least = every.least(aim, limits)
            if least is None:
                with pytest.raises(NoKitError):
                    planner.best(aim, limits)
                continue
            best = planner.best(aim, limits)
            # What is taken off and put on is rounded at the size of the dearest amount.
            near = 1e-9 * max(1.0, abs(least)) + 1e-11 * float(np.abs(every.measured[aim]).max())
            assert every.allowed(limits)[every.kits.index(best.kit)]
            assert best.objective == pytest.approx(every.of(aim, best.kit), rel=1e-9, abs=near)
            assert best.objective <= least + near
            assert best.bound <= least + near
            assert best.proven


@pytest.mark.parametrize("seed", EVERYDAY)
def test_random_programs_against_every_kit(seed: int) -> None:
    """No kit allowed is better; each aim on a third of the bikes."""
    check(seed, [list(AIMS.values())[seed % 3]])


@pytest.mark.slow
@pytest.mark.parametrize("seed", AT_LENGTH)
def test_random_programs_against_every_kit_at_length(seed: int) -> None:
    """The same by every aim on many more bikes."""
    check(seed, list(AIMS.values()))


def least_cost(profits: list[int], weights: list[int], budget: int) -> int:
    """What is left of all profits when those that fit within a budget are taken best: dynamic programming over sets.

    Non-dominated pairs of weight and profit are kept, item by item (G. L. Nemhauser and Z. Ullmann, Discrete dynamic
    programming and capital allocation, Management Science 15, 1969), so that weights may be of any size.
    """
    states = [(0, 0)]
    for profit, weight in zip(profits, weights, strict=True):
        wider = states + [(spent + weight, gain + profit) for spent, gain in states if spent + weight <= budget]
        states, most = [], -1
        for spent, gain in sorted(wider, key=lambda state: (state[0], -state[1])):
            if gain > most:
                states.append((spent, gain))
                most = gain
    return sum(profits) - states[-1][1]


def check_knapsack(make_scenario: MakeScenario, planner_of: PlannerOf, seed: int) -> None:
    """Items whose profit is about their weight, which are the hard ones, at budgets that are met or missed by a cent.

    Kinds of instance: D. Pisinger, Where are the hard knapsack problems?, Computers & Operations Research 32, 2005.
    """
    rng = np.random.default_rng([seed, 8])
    count, size = int(rng.integers(3, 9 if seed in KNAPSACKS else 16)), int(10 ** rng.integers(0, 11))
    weights = rng.integers(1, 10 * size + 1, count)
    kind = seed % 3
    if kind == 0:
        profits = rng.integers(1, 10 * size + 1, count)
    elif kind == 1:
        profits = np.maximum(1, weights + rng.integers(-size, size + 1, count))
    else:
        profits = weights.copy()
    items = [f"item{row}" for row in range(count)]
    taken = rng.random(count) < 0.5
    meets = int(weights @ taken)
    scenario = make_scenario(
        parts=[Part(item, item, Side.CENTRE, int(profit) / 100) for item, profit in zip(items, profits, strict=True)],
        guards=[Guard(item, item, Side.CENTRE, int(weight)) for item, weight in zip(items, weights, strict=True)],
        covers=[Cover((item,), item, 1.0) for item in items],
        offers=(Offer("lot", frozenset(items[:2]), int(weights[0] + weights[1])),) if seed % 2 else (),
    )
    planner = planner_of(scenario)
    for budget in (meets, max(0, meets - 1), int(weights.sum()) - 1):
        least = least_cost(profits.tolist(), weights.tolist(), budget)
        for best in (planner.best(Aim.BILLS, Limits(budget)), planner.best_or_none(Aim.BILLS, Limits(budget))):
            assert best is not None
            rows = [items.index(name) for name in best.kit]
            assert weights[rows].sum() <= budget
            assert best.proven
            assert profits.sum() - profits[rows].sum() - least <= 1e-9 * profits.sum()
            assert 100 * best.objective == pytest.approx(least, rel=1e-9, abs=1e-9 * float(profits.sum()))


@pytest.mark.parametrize("seed", KNAPSACKS)
def test_knapsacks_against_dynamic_programming(make_scenario: MakeScenario, planner_of: PlannerOf, seed: int) -> None:
    """In whole cents, from 0.01 to 10⁹ an item."""
    check_knapsack(make_scenario, planner_of, seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", MORE_KNAPSACKS)
def test_knapsacks_against_dynamic_programming_at_length(
    make_scenario: MakeScenario, planner_of: PlannerOf, seed: int
) -> None:
    """The same on many more."""
    check_knapsack(make_scenario, planner_of, seed)
