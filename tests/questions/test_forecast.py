"""The spread of what will be paid: moments, chances, standard errors and the fineness of the grid."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from random_scenarios import random_scenario
from shipped import NAMES, shipped

from guardopt.errors import InputError
from guardopt.model.pieces import Fall, Kit, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.bill import bill
from guardopt.questions.forecast import Outlook, forecast, outlooks
from guardopt.questions.plan import plan
from guardopt.simulation.aggregate_loss import compound_poisson
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome


def with_seed(scenario: Scenario, seed: int) -> Outlook:
    """The outlook of the bike as it stands, on other falls."""
    bench = Bench(replace(scenario, seed=seed))
    return outlooks(bench, [scenario.stock])[0]


def simulated(bench: Bench, kit: Kit) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cost, rate a year and write-off of every simulated fall that an outlook is made of."""
    bike = Bike(bench.scenario)
    costs, rates, written_off = [], [], []
    for stratum in bench.fresh([kit]):
        one = outcome(bike, stratum, bike.kit_array(kit))
        costs.append(one.owner_cost + one.renewals)
        rate = bench.scenario.falls[stratum.fall].per_year * stratum.share / stratum.falls
        rates.append(np.full(stratum.falls, rate))
        written_off.append(one.written_off)
    return np.concatenate(costs), np.concatenate(rates), np.concatenate(written_off)


def test_worked_example_by_exact_fractions() -> None:
    """Amounts 1, 2, 3 with 1/4, 3/8, 3/8 at rate 4/5: e to the rate times each probability is a fraction.

    The recursion x f(x) = 4/5 Σ y p(y) f(x − y) is run without rounding.
    """
    severity = {1: Fraction(1, 4), 2: Fraction(3, 8), 3: Fraction(3, 8)}
    exact = [Fraction(1)]
    for x in range(1, 30):
        total = sum((y * p * exact[x - y] for y, p in severity.items() if y <= x), Fraction(0))
        exact.append(Fraction(4, 5) * total / x)
    grid = np.zeros(128)
    grid[1:4] = [float(p) for p in severity.values()]
    expected = [math.exp(-0.8) * float(value) for value in exact]
    np.testing.assert_allclose(compound_poisson(grid, 0.8)[:30], expected, rtol=0, atol=1e-15)


@pytest.mark.parametrize("rate", [0.0, 0.01, 1.0, 40.0])
def test_costs_of_nothing_thin_the_rate(rate: float) -> None:
    """Half of all falls costing nothing is the same as half as many falls, each costing something."""
    with_zeros, without = np.zeros(256), np.zeros(256)
    with_zeros[[0, 1]], without[1] = 0.5, 1.0
    np.testing.assert_allclose(compound_poisson(with_zeros, rate), compound_poisson(without, rate / 2), atol=1e-14)


@pytest.mark.parametrize("seed", range(8))
def test_mean_and_variance_are_rate_times_the_moments_of_one_fall(seed: int) -> None:
    """Σ λ n E(C v^U) and Σ λ n E((C v^U)²), with the integrals of v^t and v^2t over the years in closed form."""
    scenario = random_scenario(seed, guards=4, own_costs=False)
    bench = Bench(scenario)
    cost, rate, _ = simulated(bench, scenario.stock)
    one = outlooks(bench, [scenario.stock])[0]
    force = math.log1p(scenario.discount_rate)
    first, second = (
        scenario.years if force == 0.0 else -math.expm1(-power * force * scenario.years) / (power * force)
        for power in (1, 2)
    )
    assert one.mean == pytest.approx(first * float(rate @ cost), rel=1e-9)
    assert one.sd == pytest.approx(math.sqrt(second * float(rate @ cost**2)), rel=1e-4)


@pytest.mark.parametrize("seed", range(8))
def test_chances_of_nothing_and_of_a_write_off_are_those_of_no_such_fall(seed: int) -> None:
    """Falls that cost something, and those that write the bike off, come at rates of their own."""
    scenario = random_scenario(seed, guards=4, own_costs=False)
    bench = Bench(scenario)
    cost, rate, written_off = simulated(bench, scenario.stock)
    one = outlooks(bench, [scenario.stock])[0]
    assert one.chance_of_nothing == pytest.approx(math.exp(-scenario.years * rate[cost > 0.0].sum()))
    assert one.chance_written_off == pytest.approx(1.0 - math.exp(-scenario.years * rate[written_off].sum()))


def test_discounting_makes_later_falls_cheaper() -> None:
    """The mean shrinks as the continuous annuity does against the years, and no quantile grows."""
    scenario = random_scenario(2, guards=2, own_costs=False)
    plain, discounted = (
        outlooks(Bench(replace(scenario, years=5.0, discount_rate=rate)), [scenario.stock])[0] for rate in (0.0, 0.08)
    )
    annuity = (1.0 - 1.08**-5) / math.log(1.08)
    assert discounted.mean / plain.mean == pytest.approx(annuity / 5.0, rel=1e-9)
    assert all(discounted.quantiles[level] <= plain.quantiles[level] for level in plain.quantiles)


@pytest.mark.parametrize("name", NAMES)
def test_rare_falls_are_told_as_finely_as_frequent_ones(name: str) -> None:
    """One fall in a hundred years: nothing in nine cases of ten, and amounts still to two cents.

    So where all damage is put right at once; what waits comes in whole repairs, on a coarser grid.
    """
    scenario = shipped(name)
    total = sum(fall.per_year for fall in scenario.falls)
    falls = tuple(replace(fall, per_year=fall.per_year * 0.01 / total) for fall in scenario.falls)
    parts = tuple(replace(part, waits=False) for part in scenario.parts)
    rare = replace(scenario, falls=falls, parts=parts, falls_sampled=100)
    one = forecast(rare, []).fitted
    assert one.discretisation_error < 0.001 or one.step < 0.02
    assert one.discretisation_error == one.step / one.mean
    assert one.probability.sum() == pytest.approx(1.0, abs=1e-9)
    assert one.chance_of_nothing > math.exp(-0.01 * scenario.years) - 1e-12
    assert one.quantiles[0.9] == 0.0
    assert one.mean == pytest.approx(bill(Bench(rare), []).bill.cost_over_years, rel=1e-9)
    assert one.worst_tenth_mean == pytest.approx(one.mean / 0.1, rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_quantiles_and_the_worst_tenth_are_read_off_the_distribution(seed: int) -> None:
    """A quantile is the least amount that is not exceeded so often; the worst tenth lies at or above the 0.9 one."""
    scenario = random_scenario(seed, guards=4, own_costs=False)
    one = outlooks(Bench(scenario), [scenario.stock])[0]
    cumulative = np.cumsum(one.probability)
    for level, amount in one.quantiles.items():
        index = round(amount / one.step)
        assert cumulative[index] >= level
        assert index == 0 or cumulative[index - 1] < level
    assert list(one.quantiles.values()) == sorted(one.quantiles.values())
    amounts = one.step * np.arange(one.probability.size)
    above = amounts > one.quantiles[0.9]
    tail = float(one.probability[above] @ amounts[above])
    rest = 0.1 - float(one.probability[above].sum())
    assert one.worst_tenth_mean == pytest.approx((tail + rest * one.quantiles[0.9]) / 0.1, rel=1e-6)


def test_standard_errors_are_the_spread_from_seed_to_seed() -> None:
    """Over twenty-five seeds each number spreads about as its standard error says: within a factor of two."""
    scenario = replace(random_scenario(5, guards=3, own_costs=False), falls_sampled=100)
    runs = [with_seed(scenario, seed) for seed in range(25)]
    numbers = {
        "mean": [one.mean for one in runs],
        "sd": [one.sd for one in runs],
        "worst_tenth_mean": [one.worst_tenth_mean for one in runs],
        "0.9": [one.quantiles[0.9] for one in runs],
    }
    for name, values in numbers.items():
        said = math.sqrt(np.mean([one.errors[name] ** 2 for one in runs]))
        assert 0.5 < np.std(values, ddof=1) / said < 2.0, name


def test_a_sample_too_small_for_ten_parts_has_no_standard_errors() -> None:
    """Two falls of each kind make eight fresh ones, of which ten parts cannot be made."""
    scenario = replace(random_scenario(1, guards=2, own_costs=False), falls_sampled=2)
    assert outlooks(Bench(scenario), [scenario.stock])[0].errors == {}


def test_the_kit_is_the_best_for_the_budget_unless_it_is_given() -> None:
    """The record says which, and whether the best was proven."""
    scenario = random_scenario(3, guards=5, own_costs=False)
    bench = Bench(scenario)
    own, given = forecast(bench), forecast(bench, [])
    assert own.to_json()["status"] == "optimal"
    assert own.to_json()["gap"] <= 1e-6
    assert own.best is not None
    assert own.fitted.kit == own.best.kit
    assert scenario.spend_cents(own.fitted.kit) <= (scenario.budget_cents or 0)
    assert (given.to_json()["status"], given.to_json()["gap"], given.fitted.kit) == ("given", None, frozenset())


def test_out_of_time_the_kit_is_called_unproven() -> None:
    """The kit is then the best found, with its honest gap; the distribution itself is whole."""
    scenario = replace(shipped("tourer"), falls_sampled=100)
    hurried = forecast(scenario, time_limit=1e-9)
    assert hurried.to_json()["status"] == "time_limit"
    assert math.isfinite(hurried.to_json()["gap"])
    assert hurried.to_json()["gap"] > 0.0
    assert hurried.fitted.probability.sum() == pytest.approx(1.0, abs=1e-9)


def test_the_kit_ahead_is_the_one_that_a_plan_with_the_same_wishes_buys() -> None:
    """Budget, aim and what is forced mean what they mean there."""
    bench = Bench(replace(shipped("courier"), falls_sampled=100))
    wishes = ({"budget": 80.0}, {"aim": "worst"}, {"must": ["rear_bar"], "budget": math.inf}, {"never": ["engine_bar"]})
    for asked in wishes:
        assert forecast(bench, **asked).fitted.kit == plan(bench, reasons=False, **asked).kit


def test_a_kit_that_is_given_is_not_to_be_looked_for() -> None:
    """What says which kit is the best says nothing of one that is named."""
    with pytest.raises(InputError) as caught:
        forecast(random_scenario(3, own_costs=False), [], budget=5.0, never=["guard0"])
    assert [str(problem) for problem in caught.value.problems] == [
        "fit: cannot go with budget: the kit is given",
        "fit: cannot go with never: the kit is given",
    ]


def test_everything_wrong_with_a_forecast_is_told_at_once() -> None:
    """The time and the ids, each in a line of its own."""
    with pytest.raises(InputError) as caught:
        forecast(random_scenario(3, own_costs=False), ["guard0", "no_such_guard"], time_limit=math.nan)
    told = [str(problem) for problem in caught.value.problems]
    assert told[0] == "time_limit: found nan, expected seconds above 0"
    assert told[1].startswith("fit: no guard 'no_such_guard' in this scenario")


def test_one_price_whatever_falls_makes_a_poisson_number_of_prices() -> None:
    """A tank at 300 broken by every fall, 1.4 falls expected: nothing with chance e^-1.4, and the median is one tank."""
    scenario = replace(
        random_scenario(1, guards=2, own_costs=False),
        parts=(Part("tank", "tank", Side.CENTRE, 300.0),),
        falls=(Fall("drop", 0.7, correlation=0.0),),
        hits={("drop", "tank"): 1.0},
        knock_ons=(),
        covers=(),
        guards=(),
        offers=(),
        insurance=None,
        discount_rate=0.0,
        years=2.0,
        value=1e9,
        salvage=0.0,
        max_weight_kg=None,
        repair_rate=0.0,
    )
    one = forecast(scenario, []).fitted
    count = [math.exp(-1.4) * 1.4**k / math.factorial(k) for k in range(60)]
    assert one.mean == pytest.approx(300.0 * 1.4, rel=1e-9)
    assert one.chance_of_nothing == pytest.approx(count[0], rel=1e-9)
    at_most_one = one.probability[: int(450.0 / one.step)].sum()
    assert at_most_one == pytest.approx(count[0] + count[1], abs=1e-6)
    assert one.quantiles[0.5] == pytest.approx(300.0, abs=one.step)
