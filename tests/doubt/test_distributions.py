"""What is believed of a number: its quantiles against a reference library, and ranges that keep what they say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from random_scenarios import random_scenario
from scipy import stats

from guardopt.doubt.distributions import Beta, Distribution, Gamma, Lognormal, Metalog
from guardopt.doubt.doubtful_numbers import Beliefs, doubtful_numbers, drawn_values, scenario_with
from guardopt.learning.conjugate import Belief
from guardopt.model.numbers import Kind, addresses_of, further_numbers_of, numbers_of, value_of, with_values
from guardopt.model.ranges import LEVELS, STEEPEST, Range

LEVEL = np.array([0.001, 0.05, 0.3, 0.5, 0.9, 0.999])
SPREAD = math.sqrt(math.log(1.01))


@pytest.mark.parametrize(
    ("belief", "reference"),
    [
        (Gamma(1.5, 3.0), stats.gamma(1.5, scale=1.0 / 3.0)),
        (Beta(0.8, 4.0), stats.beta(0.8, 3.2)),
        (Lognormal(250.0, 0.1), stats.lognorm(SPREAD, scale=250.0 * math.exp(-(SPREAD**2) / 2.0))),
    ],
)
def test_quantiles_are_those_of_the_reference_library(belief: Distribution, reference: stats.rv_frozen) -> None:
    """As scipy.stats has them; the lognormal has the mean and the relative spread that were asked for."""
    assert belief.quantile(LEVEL) == pytest.approx(reference.ppf(LEVEL), rel=1e-9)
    if isinstance(belief, Lognormal):
        assert (reference.mean(), reference.std()) == (pytest.approx(250.0), pytest.approx(25.0))


@pytest.mark.parametrize(
    ("points", "is_chance"), [((0.4, 0.6, 0.8), True), ((0.02, 0.05, 0.3), True), ((120.0, 180.0, 400.0), False)]
)
def test_a_range_is_met_at_5_50_and_95_percent(points: tuple[float, float, float], is_chance: bool) -> None:
    """Keelin 2016: three points fix three terms; values rise with the level and keep within bounds."""
    given = Range(*points)
    assert given.problem(is_chance=is_chance) is None
    belief = Metalog(given, is_chance)
    assert belief.quantile(np.array(LEVELS)) == pytest.approx(points, rel=1e-12)
    values = belief.quantile(np.linspace(1e-6, 1 - 1e-6, 4001))
    assert (np.diff(values) > 0.0).all()
    assert values[0] > 0.0
    assert not is_chance or values[-1] < 1.0


def test_the_steepest_metalog_is_where_its_density_reaches_nought() -> None:
    """Keelin 2016 has 1.66711 for the largest ratio of the third to the second coefficient (from memory)."""
    y = np.linspace(1e-6, 1 - 1e-6, 2_000_001)
    assert pytest.approx(1.0 / ((y - 0.5) + y * (1 - y) * np.log(y / (1 - y))).max(), abs=1e-5) == STEEPEST
    assert pytest.approx(1.66711, abs=1e-4) == STEEPEST


@pytest.mark.parametrize(
    ("points", "told"),
    [
        ((0.6, 0.4, 0.8), "that rise"),
        ((0.0, 0.4, 0.8), "above 0"),
        ((0.2, 0.4, 1.0), "below 1"),
        ((0.2, 0.21, 0.8), "from 0.261 to 0.739"),
    ],
)
def test_what_is_no_range_is_told(points: tuple[float, float, float], told: str) -> None:
    """Each with what would do; the ends of what would do are ranges themselves."""
    problem = Range(*points).problem(is_chance=True)
    assert problem is not None
    assert told in problem
    if "from" in told:
        assert all(Range(0.2, likely, 0.8).problem(is_chance=True) is None for likely in (0.262, 0.738))


def test_rates_and_chances_are_drawn_with_the_guess_as_mean_and_its_doubt_as_spread() -> None:
    """Gamma(λw, w) has variance λ/w, Beta(pw, (1−p)w) has p(1−p)/(w+1), prices a standard deviation of a tenth."""
    scenario = random_scenario(3)
    falls = tuple(replace(fall, watched_years=2.0 + row) for row, fall in enumerate(scenario.falls))
    scenario = replace(scenario, falls=falls)
    numbers = doubtful_numbers(scenario, Beliefs(weight=9.0))
    values = drawn_values(numbers, 4_000, 1)
    for one, column in zip(numbers, values.T, strict=True):
        if one.number.kind is Kind.RATE:
            watched = next(fall.watched_years for fall in falls if fall.id == one.number.fall)
            variance = one.guess / watched
        elif one.number.kind.is_chance:
            variance = one.guess * (1.0 - one.guess) / 10.0
        else:
            variance = (0.1 * one.guess) ** 2
        assert column.mean() == pytest.approx(one.guess, abs=5 * math.sqrt(variance / 4_000))
        assert column.var() == pytest.approx(variance, rel=0.3)


def test_certain_numbers_are_not_drawn_and_all_others_are() -> None:
    """0, and chances of 1, are certain; without doubt about prices so are these."""
    scenario = random_scenario(5)
    every = [*numbers_of(scenario), *further_numbers_of(scenario)]
    doubted = {one.number for one in doubtful_numbers(scenario, Beliefs())}
    for number in every:
        value = value_of(scenario, number)
        assert (number in doubted) == (value > 0.0 and not (number.kind.is_chance and value >= 1.0))
    kinds = {one.number.kind for one in doubtful_numbers(scenario, Beliefs(price_doubt=0.0))}
    assert kinds and not kinds & {Kind.PRICE, Kind.HOURS, Kind.TOUCH_UP, Kind.STRIP_DOWN}


def test_more_draws_add_to_fewer_and_other_numbers_change_none() -> None:
    """Every number has a random stream of its own, named by its address; another seed draws others."""
    scenario = random_scenario(4)
    numbers = doubtful_numbers(scenario, Beliefs())
    few, many = (drawn_values(numbers, draws, 7) for draws in (5, 40))
    assert np.array_equal(few, many[:5])
    assert np.array_equal(drawn_values(numbers[3:], 5, 7), few[:, 3:])
    assert not np.array_equal(drawn_values(numbers, 5, 8), few)


def test_a_log_makes_a_chance_surer_and_a_range_goes_before_both() -> None:
    """What rests on 40 falls varies less than a guess worth 4; a belief whose mean is not the number's is left out."""
    scenario = random_scenario(4)
    hold = next(one for one in doubtful_numbers(scenario, Beliefs()) if one.number.kind is Kind.HOLD)

    def spread(beliefs: Beliefs, given: dict[str, Range]) -> float:
        numbers = doubtful_numbers(replace(scenario, ranges=given), beliefs)
        one = next(one for one in numbers if one.number == hold.number)
        return float(one.belief.quantile(np.array([0.95]))[0] - one.belief.quantile(np.array([0.05]))[0])

    learned = Beliefs(counts={hold.address: Belief(40.0 * hold.guess, 40.0, is_rate=False)})
    stale = Beliefs(counts={hold.address: Belief(1.0, 40.0, is_rate=False)})
    assert spread(learned, {}) < 0.5 * spread(Beliefs(), {})
    assert spread(stale, {}) == spread(Beliefs(), {})
    given = Range(hold.guess - 0.01, hold.guess, hold.guess + 0.01)
    assert spread(learned, {hold.address: given}) == pytest.approx(0.02)


def test_numbers_are_set_where_they_are_read_and_nowhere_else() -> None:
    """Every number read back is the one set, and setting all to what they are changes nothing."""
    scenario = random_scenario(6)
    numbers = doubtful_numbers(scenario, Beliefs())
    assert scenario_with(scenario, numbers, np.array([one.guess for one in numbers])) == scenario
    for one in numbers:
        changed = with_values(scenario, {one.number: 0.5 * one.guess})
        others = [value_of(changed, other.number) == other.guess for other in numbers if other is not one]
        assert all(others)
        assert value_of(changed, one.number) == 0.5 * one.guess
        assert one.address in addresses_of(scenario, one.number)
