"""How strikes go together is learned from pairs of parts, given enough falls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from logs import Rider, simulated_log
from scipy.stats import multivariate_normal
from shipped import shipped

from guardopt.learning.copula_fit import ENOUGH_FALLS, GRID, both_struck, pair_log_likelihood
from guardopt.learning.posterior import Estimate, update
from guardopt.model.numbers import Kind, value_of, with_values
from guardopt.model.scenario import Scenario


@pytest.mark.parametrize("rho", [0.005, 0.3, 0.7, 0.985])
def test_two_parts_are_both_struck_as_two_normals_are_both_below(rho: float) -> None:
    """Against numerical integration, limits of exactly 0 and of opposite signs included."""
    h = np.array([0.0, 0.0, 0.0, -1.2, 0.4, 0.7, -2.0, -0.3])
    k = np.array([0.0, 0.8, -0.8, -0.9, 1.5, -0.2, 1.1, -0.3])
    integrated = multivariate_normal([0, 0], [[1, rho], [rho, 1]])
    assert both_struck(h, k, rho) == pytest.approx([integrated.cdf(pair) for pair in zip(h, k, strict=True)], abs=1e-6)


def test_independent_strikes_multiply() -> None:
    """At a correlation of 0 the chance of both is the product; at one near 1, the smaller of the two."""
    from scipy.special import ndtri

    first, second = np.array([0.2, 0.5, 0.7]), np.array([0.9, 0.5, 0.1])
    assert both_struck(ndtri(first), ndtri(second), 0.0) == pytest.approx(first * second)
    assert both_struck(ndtri(first), ndtri(second), 1 - 1e-12) == pytest.approx(np.minimum(first, second), abs=1e-5)


def test_what_may_become_of_a_pair_adds_up_to_one() -> None:
    """Both, either, neither: the four chances at every correlation."""
    struck = np.array([[True, True], [True, False], [False, True], [False, False]])
    logs = pair_log_likelihood(np.array([0.3, 0.6]), struck, np.ones_like(struck))
    assert np.exp(logs).sum(axis=0) == pytest.approx(np.ones(GRID.size))


def test_a_part_that_was_not_exposed_says_nothing() -> None:
    """A fall on the left is no news of the right."""
    struck, exposed = np.array([[True, False, False]]), np.array([[True, True, False]])
    three = pair_log_likelihood(np.array([0.3, 0.6, 0.5]), struck, exposed)
    two = pair_log_likelihood(np.array([0.3, 0.6]), struck[:, :2], exposed[:, :2])
    assert three == pytest.approx(two)


def learned(scenario: Scenario, correlation: float, years: float, seed: int) -> Estimate:
    """The correlation of tip-overs after a log whose true one is given."""
    estimates = update(scenario, simulated_log(scenario, [], 0), 4.0, {})[0]
    number = next(one.number for one in estimates if one.number.kind is Kind.CORRELATION)
    truth = with_values(scenario, {number: correlation})
    log = simulated_log(truth, [Rider("red", round(365.25 * years))], seed)
    return next(one for one in update(scenario, log, 4.0, {})[0] if one.number == number)


@pytest.fixture(scope="module")
def tip_overs() -> Scenario:
    """The courier, who does nothing but tip over, once a month."""
    courier = shipped("courier")
    (fall,) = (fall for fall in courier.falls if fall.id == "tip_over")
    return replace(courier, falls=(replace(fall, per_year=12.0),))


@pytest.mark.parametrize("correlation", [0.1, 0.5, 0.8])
def test_a_long_log_finds_the_correlation(tip_overs: Scenario, correlation: float) -> None:
    """Four hundred falls, whatever the guess was."""
    found = learned(tip_overs, correlation, 34.0, seed=1)
    assert found.now.mean == pytest.approx(correlation, abs=0.06)
    assert found.interval[0] < correlation < found.interval[1]


def test_fifty_falls_say_more_than_the_guess(tip_overs: Scenario) -> None:
    """Over 60 simulated logs the error is a third of that of the guess, and most intervals hold the truth."""
    rng = np.random.default_rng(5)
    guess = tip_overs.falls[0].correlation
    truths = np.clip(rng.beta(4 * guess, 4 - 4 * guess, 60), 0.02, 0.95)
    found = [learned(tip_overs, truth, 4.0, seed) for seed, truth in enumerate(truths)]
    errors = np.array([one.now.mean for one in found]) - truths
    assert np.sqrt((errors**2).mean()) < np.sqrt(((guess - truths) ** 2).mean()) / 3
    held = [one.interval[0] <= truth <= one.interval[1] for one, truth in zip(found, truths, strict=True)]
    assert np.mean(held) > 0.75


def test_too_few_falls_leave_it_alone(tip_overs: Scenario) -> None:
    """Below twenty falls of its kind the guess stands."""
    few = learned(tip_overs, 0.8, 1.0, seed=1)
    assert not few.has_news
    assert value_of(tip_overs, few.number) == few.now.mean == few.guess.mean
    assert ENOUGH_FALLS == 20
