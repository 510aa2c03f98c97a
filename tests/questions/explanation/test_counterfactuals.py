"""A counterfactual is a promise: at the budget or the price it names the guard comes in, a cent off it does not."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from random_scenarios import random_scenario
from shipped import FOLDER, NAMES

from guardopt.errors import NoKitError
from guardopt.loading.load import load
from guardopt.model.aims import AIMS, Limits, aim_named
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan


@cache
def bench_of(name: str | int, falls: int) -> Bench:
    """A shipped scenario, or the random one of a number, with so many falls of each kind."""
    if isinstance(name, int):
        return Bench(random_scenario(name, guards=4 + name % 4, falls_sampled=falls))
    return Bench(load(FOLDER / name, {"scenario.sampling.falls": falls}))


@cache
def planned(name: str | int, falls: int, aim: str) -> Plan:
    """Its plan with reasons."""
    return plan(bench_of(name, falls), aim=aim, time_limit=None)


def at_price(scenario: Scenario, name: str, price: float) -> Scenario:
    """The scenario with one guard, of one side alone, at another price: as ``--set guards.NAME.price=…`` makes it."""
    if scenario.source is not None:
        return scenario.change({f"guards.{name}.price": f"{price:.2f}"})
    cents = round(100 * price)
    return replace(
        scenario, guards=tuple(replace(one, price_cents=cents) if one.id == name else one for one in scenario.guards)
    )


def is_in(bench: Bench, name: str, aim: str, budget_cents: int | None) -> bool:
    """Whether there is a kit, and the best one has a guard."""
    try:
        best = bench.planner.best(aim_named(aim), Limits(budget_cents))
    except NoKitError:
        return False
    assert best.proven
    return name in best.kit


def check_budgets(name: str | int, falls: int, aim: str) -> int:
    """Each budget named is the least whose best kit has the guard; how many there were."""
    made, bench, checked = planned(name, falls, aim), bench_of(name, falls), 0
    for one, _ in made.verdicts:
        if one.picked or one.enters_at_budget is None:
            continue
        cents = round(100 * one.enters_at_budget)
        assert is_in(bench, one.guard, aim, cents), one.guard
        if cents:
            assert not is_in(bench, one.guard, aim, cents - 1), one.guard
        checked += 1
    return checked


def check_prices(name: str | int, falls: int, aim: str) -> int:
    """At each price named the guard is bought, a cent above it is not; how many there were."""
    made, bench, checked = planned(name, falls, aim), bench_of(name, falls), 0
    for one, _ in made.verdicts:
        price = one.enters_at_price
        if price is None:
            continue
        assert not one.picked
        assert 0.01 <= price < one.price
        assert price == round(price, 2)
        for asked, comes_in in ((price, True), (round(price + 0.01, 2), False)):
            changed = bench.with_terms(at_price(bench.scenario, one.guard, asked))
            assert is_in(changed, one.guard, aim, made.budget_cents) is comes_in, (one.guard, asked)
        checked += 1
    return checked


def test_promises_on_a_shipped_bike_are_true() -> None:
    """Of a guard sold singly for both sides the price of one side is set, and its twin stays as it was."""
    assert check_budgets("riding_school", 20, "bills")
    assert check_prices("riding_school", 20, "bills")


@pytest.mark.parametrize("aim", AIMS)
def test_promises_on_random_bikes_are_true(aim: str) -> None:
    """Budgets and prices, with offers, needs and guards that are owned."""
    budgets = sum(check_budgets(seed, 25, aim) for seed in range(9000, 9004))
    prices = sum(check_prices(seed, 25, aim) for seed in range(9000, 9004))
    assert budgets
    assert prices or aim == "worst"


def test_no_price_is_named_for_the_worst_falls() -> None:
    """Where nothing is promised there is nothing to keep."""
    assert all(one.enters_at_price is None for one, _ in planned(9001, 25, "worst").verdicts)


def test_the_price_of_one_side_is_set_alone() -> None:
    """``guards.NAME.left.price`` changes the left one, ``guards.NAME.price`` both."""
    scenario = bench_of("tourer", 20).scenario
    one, both = (scenario.change({f"guards.{name}.price": 50}) for name in ("case_cover.left", "case_cover"))
    assert [one.guard[f"case_cover.{side}"].price for side in ("left", "right")] == [50.0, 82.0]
    assert [both.guard[f"case_cover.{side}"].price for side in ("left", "right")] == [50.0, 50.0]


@pytest.mark.slow
@pytest.mark.parametrize("aim", AIMS)
@pytest.mark.parametrize("name", NAMES)
def test_promises_on_shipped_bikes_are_true_at_length(name: str, aim: str) -> None:
    """On more falls, and by every aim, the worst falls included."""
    assert check_budgets(name, 200, aim) or aim != "bills"
    assert check_prices(name, 200, aim) or aim == "worst"


@pytest.mark.slow
@pytest.mark.parametrize("aim", AIMS)
@pytest.mark.parametrize("seed", range(9100, 9300))
def test_promises_on_random_bikes_are_true_at_length(seed: int, aim: str) -> None:
    """On two hundred bikes."""
    check_budgets(seed, 50, aim)
    check_prices(seed, 50, aim)
