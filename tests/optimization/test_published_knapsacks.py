"""The published knapsacks P01 to P08 in any order of their items, through the plan and through the planner."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import pytest
from test_published import KNAPSACKS

from guardopt.model.aims import Aim, Best, Limits, Status
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.plan import plan

MakeScenario = Callable[..., Scenario]
PlannerOf = Callable[..., Planner]


class Knapsack(NamedTuple):
    """Capacity, weights, profits and the most profit that fits."""

    capacity: int
    weights: list[int]
    profits: list[int]
    optimum: int


def numbers(text: str) -> list[int]:
    """Whole numbers divided by blanks."""
    return [int(number) for number in text.split()]


# J. Burkardt, KNAPSACK_01: Data for the 01 Knapsack Problem, Florida State University data directory. P08 is from
# memory; that 13,549,094 at weight 6,402,560 is its optimum was computed anew by dynamic programming over halves.
P08 = Knapsack(
    6_404_180,
    numbers(
        "382745 799601 909247 729069 467902 44328 34610 698150 823460 903959 853665 551830 610856 670702 488960 951111"
        " 323046 446298 931161 31385 496951 264724 224916 169684"
    ),
    numbers(
        "825594 1677009 1676628 1523970 943972 97426 69666 1296457 1679693 1902996 1844992 1049289 1252836 1319836"
        " 953277 2067538 675367 853655 1826027 65731 901489 577243 466257 369261"
    ),
    13_549_094,
)
SETS = {
    name: Knapsack(capacity, numbers(weights), numbers(profits), optimum)
    for name, (capacity, weights, profits, optimum, _, _) in KNAPSACKS.items()
} | {"P08": P08}

SHUFFLES = 100


def bike_of(make_scenario: MakeScenario, knapsack: Knapsack, order: Sequence[int]) -> Scenario:
    """A centre part and a centre guard an item, in some order: what the part costs is the profit, the price the weight.

    Every fall strikes every part and every guard holds, so a kit costs the profits of the items that are not in it.
    """
    names = {row: f"item{row}" for row in order}
    return make_scenario(
        parts=[Part(names[row], names[row], Side.CENTRE, float(knapsack.profits[row])) for row in order],
        guards=[Guard(names[row], names[row], Side.CENTRE, 100 * knapsack.weights[row]) for row in order],
        covers=[Cover((names[row],), names[row], 1.0) for row in order],
        budget_cents=100 * knapsack.capacity,
    )


def check(best: Best, knapsack: Knapsack) -> None:
    """The kit fits, its cost is exactly that of the published optimum, and the proof closes on it."""
    rows = [int(name.removeprefix("item")) for name in best.kit]
    least = sum(knapsack.profits) - knapsack.optimum
    assert sum(knapsack.weights[row] for row in rows) <= knapsack.capacity
    assert sum(knapsack.profits[row] for row in rows) == knapsack.optimum
    assert best.objective == least
    assert best.status is Status.OPTIMAL
    assert best.bound <= least
    assert best.bound == pytest.approx(least, rel=1e-9)


def order_of(knapsack: Knapsack, shuffle: int) -> list[int]:
    """The published order of the items, and others."""
    rows = len(knapsack.weights)
    return list(range(rows)) if shuffle == 0 else np.random.default_rng(shuffle).permutation(rows).tolist()


@pytest.mark.parametrize("name", SETS)
def test_plan_with_reasons_in_published_order(make_scenario: MakeScenario, name: str) -> None:
    """Every loss named in the reasons is one between optima of the same knapsack, so none is negative.

    The budget curve of P08 has a step for nearly every sum of weights: its time runs out, and the plan stands.
    """
    knapsack = SETS[name]
    made = plan(bike_of(make_scenario, knapsack, order_of(knapsack, 0)), time_limit=4.0 if name == "P08" else None)
    check(made.best, knapsack)
    assert len(made.verdicts) == len(knapsack.weights)
    losses = [one.loss_if_barred if one.picked else one.loss_if_forced for one, _ in made.verdicts]
    assert all(loss is None or loss >= 0.0 for loss in losses)


def test_the_twenty_four_items_cost_what_was_published(make_scenario: MakeScenario) -> None:
    """P08: saving 13,549,094 at weight 6,402,560, so that falls cost 12,367,115 (and not 12,398,810 or 12,419,461)."""
    made = plan(bike_of(make_scenario, P08, order_of(P08, 0)), reasons=False)
    assert made.spend == 6_402_560
    assert made.best.objective == 12_367_115


@pytest.mark.parametrize("name", SETS)
def test_tree_in_any_order_of_the_items(make_scenario: MakeScenario, planner_of: PlannerOf, name: str) -> None:
    """A few shuffles, by the tree alone."""
    knapsack = SETS[name]
    for shuffle in range(1, 4):
        planner = planner_of(bike_of(make_scenario, knapsack, order_of(knapsack, shuffle)))
        check(planner.best(Aim.BILLS, Limits(100 * knapsack.capacity)), knapsack)


@pytest.mark.slow
@pytest.mark.parametrize("name", SETS)
def test_tree_in_any_order_of_the_items_at_length(
    make_scenario: MakeScenario, planner_of: PlannerOf, name: str
) -> None:
    """A hundred shuffles, by the tree alone and by whatever answers where kits can be listed."""
    knapsack = SETS[name]
    for shuffle in range(SHUFFLES + 1):
        planner = planner_of(bike_of(make_scenario, knapsack, order_of(knapsack, shuffle)))
        check(planner.best(Aim.BILLS, Limits(100 * knapsack.capacity)), knapsack)
        if shuffle % 10 == 0 and (found := planner.best_or_none(Aim.BILLS, Limits(100 * knapsack.capacity))):
            check(found, knapsack)


@pytest.mark.parametrize("name", ["P02", "P04", "P06"])
def test_plan_with_reasons_in_another_order(make_scenario: MakeScenario, name: str) -> None:
    """Of two orders of the same items the reasons name the same losses."""
    knapsack = SETS[name]
    first = plan(bike_of(make_scenario, knapsack, order_of(knapsack, 0)))
    other = plan(bike_of(make_scenario, knapsack, order_of(knapsack, 1)))
    check(other.best, knapsack)
    losses = [
        {one.guard: one.loss_if_barred if one.picked else one.loss_if_forced for one, _ in made.verdicts}
        for made in (first, other)
    ]
    assert losses[0] == losses[1]


def test_optimum_of_the_twenty_four_items_by_meeting_in_the_middle() -> None:
    """E. Horowitz and S. Sahni, Computing partitions with applications to the knapsack problem, J. ACM 21, 1974."""
    weights, profits = np.array(P08.weights), np.array(P08.profits)
    bits = (np.arange(4096)[:, np.newaxis] >> np.arange(12)) & 1
    left, right = (bits @ weights[half] for half in (slice(12), slice(12, 24)))
    left_gain, right_gain = (bits @ profits[half] for half in (slice(12), slice(12, 24)))
    order = np.argsort(right)
    best_gain = np.maximum.accumulate(right_gain[order])
    fits = np.searchsorted(right[order], P08.capacity - left, side="right")
    assert (left_gain + best_gain[np.maximum(fits, 1) - 1])[fits > 0].max() == P08.optimum
