"""Questions around a plan: buying while saving up, the spread of what will be paid, doubts about fall rates."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from random_scenarios import EveryKit, price_every_kit, random_scenario, sample_of

import guardopt
from guardopt.model.aims import AIMS, Aim, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.bench import Bench
from guardopt.questions.break_even import break_even
from guardopt.questions.budgets import budgets
from guardopt.questions.forecast import forecast, outlooks
from guardopt.questions.purchase_schedule import GAP, order
from guardopt.simulation.aggregate_loss import compound_poisson
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@lru_cache(maxsize=32)
def tiny(seed: int, guards: int) -> tuple[Bench, EveryKit]:
    """A random bike with few guards, and every kit of it priced."""
    scenario = replace(random_scenario(seed, guards=guards, own_costs=False), falls_sampled=40)
    bench = Bench(scenario)
    return bench, price_every_kit(scenario, sample_of(scenario))


def courses(scenario: Scenario, every: EveryKit, purse: list[int], aim: Aim) -> float:
    """The least of all courses of buying, weighed as months weigh, by trying them all."""
    months = len(purse)
    edges = np.append(np.arange(months) / 12, scenario.years)
    rate = scenario.discount_rate
    until = edges if rate == 0.0 else -np.expm1(-math.log1p(rate) * edges)
    weights = np.diff(until) / until[-1]
    names = sorted({guard.id for guard in scenario.guards} - scenario.stock)
    best = math.inf
    # For each guard the month in which it is bought; the last number stands for never.
    for when in product(range(months + 1), repeat=len(names)):
        spent, cost, owned = 0, 0.0, scenario.stock
        for month, weight in enumerate(weights):
            bought = frozenset(name for name, one in zip(names, when, strict=True) if one == month)
            spent += scenario.spend_cents(bought)
            owned |= bought
            if aim is Aim.OUTLAY:
                cost += scenario.spend_cents(bought) / 100 / (1.0 + rate) ** (month / 12)
            if spent > purse[month]:
                break
            cost += weight * min(every.of(Aim.BILLS, kit) for kit in every.kits if kit <= owned)
        else:
            best = min(best, cost - (scenario.resale_value(owned) if aim is Aim.OUTLAY else 0.0))
    return best


@pytest.mark.parametrize("aim", [Aim.BILLS, Aim.OUTLAY])
@pytest.mark.parametrize("seed", range(10))
def test_order_is_the_best_of_all_courses_and_never_worse_than_waiting(seed: int, aim: Aim) -> None:
    """Every way of spreading the purchases over the months is tried."""
    bench, every = tiny(seed, 4)
    monthly, now = 40.0 + 10 * seed, 15.0 * (seed % 3)
    found = order(bench, monthly, months=2, in_hand=now, aim=aim)
    assert found.proven
    purse = [round((now + monthly * month) * 100) for month in range(3)]
    least = courses(bench.scenario, every, purse, aim)
    assert found.cost == pytest.approx(least, rel=2 * GAP)
    assert found.bound <= least + 1e-6
    assert found.cost <= found.cost_if_waiting + 1e-6
    owned: Kit = bench.scenario.stock
    spent = 0
    for step in found.steps:
        spent += bench.scenario.spend_cents(frozenset(step.buy))
        owned |= frozenset(step.buy)
        assert spent <= purse[step.month]
        assert step.purse == (purse[step.month] - spent) / 100
        assert step.kit <= owned


def panjer(severity: np.ndarray, rate: float, points: int) -> np.ndarray:
    """Panjer's recursion for a compound Poisson sum (ASTIN Bulletin 12, 1981): the textbook way, number by number."""
    result = np.zeros(points)
    result[0] = math.exp(-rate * (1.0 - severity[0]))
    for x in range(1, points):
        y = np.arange(1, min(x, severity.size - 1) + 1)
        result[x] = rate / x * float((y * severity[y]) @ result[x - y])
    return result


def test_compound_poisson_agrees_with_panjers_recursion_on_a_textbook_case() -> None:
    """Rate 0.8, amounts 1, 2, 3 with 0.25, 0.375, 0.375 (Bowers et al., Actuarial Mathematics, ch. 12).

    The case is from memory; the recursion beside it works it out anew, and gives the figures below.
    """
    severity = np.zeros(256)
    severity[1:4] = 0.25, 0.375, 0.375
    ours = compound_poisson(severity, 0.8)
    np.testing.assert_allclose(ours, panjer(severity, 0.8, 256), atol=1e-14)
    np.testing.assert_allclose(ours[:4], [0.449329, 0.089866, 0.143785, 0.162358], atol=1e-6)


def test_one_euro_a_fall_gives_the_poisson_distribution() -> None:
    """With every cost equal to one, the sum is the number of falls."""
    severity = np.zeros(64)
    severity[1] = 1.0
    expected = [math.exp(-3.5) * 3.5**k / math.factorial(k) for k in range(64)]
    np.testing.assert_allclose(compound_poisson(severity, 3.5), expected, atol=1e-14)


@pytest.mark.parametrize("name", ["courier", "riding_school", "tourer", "track_day"])
def test_forecast_has_the_mean_of_the_bill_and_a_fine_grid(name: str) -> None:
    """Mean = rate × mean cost, which is the cost over the years; quantiles are off by under 0.1 % of the mean."""
    bench = Bench(guardopt.load(SCENARIOS / name, {"scenario.sampling.falls": 300}))
    found = forecast(bench, [])
    bare = guardopt.bill(bench, [])
    assert found.fitted.mean == pytest.approx(bare.bill.cost_over_years, rel=1e-9)
    assert found.fitted.discretisation_error < 0.001
    assert found.fitted.probability.sum() == pytest.approx(1.0, abs=1e-9)
    assert list(found.fitted.quantiles.values()) == sorted(found.fitted.quantiles.values())
    assert found.fitted.worst_tenth_mean >= found.fitted.quantiles[0.9]


def test_forecast_agrees_with_years_simulated_fall_by_fall() -> None:
    """Draw the number of falls, their times and their costs, and add up: the same spread within standard errors."""
    scenario = replace(random_scenario(5, own_costs=False), falls_sampled=100, discount_rate=0.05)
    bench = Bench(scenario)
    one = outlooks(bench, [scenario.stock])[0]
    bike, rng = Bike(scenario), np.random.default_rng(7)
    fitted = bike.kit_array(scenario.stock)
    years, lives = scenario.years, 20_000
    total = np.zeros(lives)
    for stratum in bench.fresh([scenario.stock]):
        costs = outcome(bike, stratum, fitted)
        each = costs.owner_cost + costs.renewals
        count = rng.poisson(scenario.falls[stratum.fall].per_year * stratum.share * years, lives)
        life = np.repeat(np.arange(lives), count)
        when = rng.uniform(0.0, years, life.size)
        np.add.at(total, life, rng.choice(each, life.size) * 1.05**-when)
    assert total.mean() == pytest.approx(one.mean, abs=4 * total.std() / math.sqrt(lives))
    assert total.std() == pytest.approx(one.sd, rel=0.05)
    for level, amount in one.quantiles.items():
        if level > one.chance_of_nothing:
            error = 4 * math.sqrt(level * (1 - level) / lives) + 1e-3
            assert (total <= amount).mean() == pytest.approx(level, abs=error)
    assert (total == 0.0).mean() == pytest.approx(one.chance_of_nothing, abs=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_break_even_agrees_with_trying_every_kit_at_many_multiples(seed: int) -> None:
    """Between its two multiples a guard is in the kit of least outlay somewhere, outside them nowhere."""
    bench, every = tiny(seed, 6)
    scenario, limits = bench.scenario, Limits(bench.scenario.budget_cents)
    found = break_even(bench.planner, limits)
    falls = every.measured[Aim.BILLS] - np.array([scenario.dislike(kit) for kit in every.kits])
    fixed = every.measured[Aim.OUTLAY] - falls
    allowed = every.allowed(limits)
    for multiple in np.geomspace(0.01, 900.0, 60):
        value = np.where(allowed, fixed + multiple * falls, np.inf)
        near = [kit for kit, one in zip(every.kits, value, strict=True) if one <= value.min() + 1e-3]
        for name, worth in found.items():
            start, end = worth.worth_it_from, worth.worth_it_until
            inside = start is not None and start * 0.999 <= multiple <= (math.inf if end is None else end * 1.001)
            if all(name in kit for kit in near):
                assert inside


@pytest.mark.parametrize("seed", range(8))
def test_more_money_pays_as_long_as_spend_and_cost_together_fall(seed: int) -> None:
    """`pays_until` is the spend of the step at which spend and cost over the years are least."""
    bench, _ = tiny(seed, 7)
    curve = budgets(bench)
    sums = {step.budget_cents: step.cost_over_years + step.budget_cents / 100 for step in curve.steps}
    assert sums[round(curve.pays_until * 100)] == min(sums.values())
    assert curve.thinned(upto=curve.pays_until).steps[-1].budget_cents == round(curve.pays_until * 100)
    assert set(curve.thinned(step=25.0).steps) <= set(curve.steps)


@pytest.mark.parametrize("seed", range(6))
def test_where_kits_are_too_many_to_list_the_program_answers_the_same(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Other rates, least spend and untied optima do not hang on the table of kits."""
    bench, _ = tiny(seed, 6)
    rates = [fall.per_year * 1.7 for fall in bench.scenario.falls]
    limits = Limits(bench.scenario.budget_cents)
    listed = bench.planner.with_rates(rates).best_or_none(Aim.BILLS, limits)
    least = bench.planner.least_spend(bench.planner.best(Aim.BILLS, Limits()).objective + 0.01, Limits())
    monkeypatch.setattr("guardopt.cuts.kit_lists.MOST_KITS", 0)
    planner = Planner(bench.scenario, bench.sample)
    solved = planner.with_rates(rates).best_or_none(Aim.BILLS, limits)
    assert listed is not None
    assert solved is not None
    assert solved.objective == pytest.approx(listed.objective, rel=1e-6)
    assert planner.least_spend(planner.best(Aim.BILLS, Limits()).objective + 0.01, Limits()) == least


def test_a_bike_that_never_falls_costs_nothing_for_certain() -> None:
    """With all rates at nought there is nothing to pay, whatever a fall would cost."""
    scenario = random_scenario(4, own_costs=False)
    still = replace(scenario, falls=tuple(replace(fall, per_year=0.0) for fall in scenario.falls))
    outlook = forecast(still, []).fitted
    assert outlook.mean == outlook.sd == outlook.chance_written_off == outlook.quantiles[0.99] == 0.0
    assert outlook.chance_of_nothing == 1.0
    for aim in AIMS.values():
        assert guardopt.plan(still, aim=aim, reasons=False).buy == []
