"""What knowing a number is worth, against closed forms and worked examples of the literature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from guardopt.arrays import Floats
from guardopt.doubt.information import Information


def unit_normal_loss(u: float) -> float:
    """E[max(0, Z − u)] = φ(u) − u (1 − Φ(u)) (Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961)."""
    return float(norm.pdf(u) - u * norm.sf(u))


def worth_of(mean: float, spread: float) -> float:
    """What it is worth to know a normal net benefit before choosing between it and nothing."""
    return spread * unit_normal_loss(abs(mean) / spread)


def two_actions(values: Floats, mean: float, slopes: list[float]) -> Floats:
    """Costs of doing nothing and of an action whose net benefit is mean + Σ slope · value."""
    return np.stack([np.zeros(len(values)), -(mean + values @ np.array(slopes))], axis=1)


@pytest.mark.parametrize("mean", [0.0, 0.7, -1.2])
def test_two_actions_with_normal_net_benefit_are_worth_the_unit_normal_loss(mean: float) -> None:
    """Each number by itself, the pair, and one that is in no cost."""
    rng = np.random.default_rng(3)
    values = rng.standard_normal((1500, 3))
    found = Information(values, two_actions(values, mean, [1.0, 2.0, 0.0]))
    for worth, spread in (
        (found.of_number(0), 1.0),
        (found.of_number(1), 2.0),
        (found.of_group([0, 1]), math.sqrt(5.0)),
    ):
        assert worth.value == pytest.approx(worth_of(mean, spread), abs=4 * worth.error)
        assert 0.0 < worth.error < 0.1
    idle = found.of_number(2)
    assert 0.0 <= idle.value <= 3 * idle.error + 0.01


def test_the_worked_example_of_a_package_for_value_of_information() -> None:
    """C. Jackson and others, R package voi, vignette: net benefits 0 and p1 − p2, p1 ~ N(1, 1), p2 ~ N(0, 2).

    Its exact values follow from the unit normal loss: EVPI 0.48, EVPPI of p1 0.083 and of p2 0.40.
    """
    exact = [worth_of(1.0, spread) for spread in (math.sqrt(5.0), 1.0, 2.0)]
    assert exact == [pytest.approx(0.48, abs=0.005), pytest.approx(0.083, abs=0.0005), pytest.approx(0.40, abs=0.005)]
    rng = np.random.default_rng(1)
    values = np.stack([rng.normal(1.0, 1.0, 2000), rng.normal(0.0, 2.0, 2000)], axis=1)
    costs = np.stack([-(values[:, 0] - values[:, 1]), np.zeros(2000)], axis=1)
    found = Information(values, costs)
    for worth, value in zip((found.of_number(0), found.of_number(1)), exact[1:], strict=True):
        assert worth.value == pytest.approx(value, abs=4 * worth.error)


def test_decisions_apart_are_worth_what_they_are_worth_apart() -> None:
    """Two independent choices between doing and leaving: the four kits' numbers are worth the sum of the two."""
    rng = np.random.default_rng(8)
    values = rng.standard_normal((1500, 2))
    one, two = values[:, 0] + 0.2, 1.5 * values[:, 1] - 0.4
    costs = -np.stack([np.zeros(1500), one, two, one + two], axis=1)
    found = Information(values, costs)
    first, second, both = found.of_number(0), found.of_number(1), found.of_group([0, 1])
    assert first.value == pytest.approx(worth_of(0.2, 1.0), abs=4 * first.error)
    assert second.value == pytest.approx(worth_of(-0.4, 1.5), abs=4 * second.error)
    assert both.value == pytest.approx(first.value + second.value, abs=4 * both.error)


def test_a_bent_relation_is_followed() -> None:
    """Net benefit z² − 1 has no slope on average, and knowing z is worth E[max(0, z² − 1)] = 2φ(1)."""
    rng = np.random.default_rng(2)
    values = rng.standard_normal((1200, 2))
    costs = np.stack([np.zeros(1200), 1.0 - values[:, 0] ** 2 + 0.5 * values[:, 1]], axis=1)
    worth = Information(values, costs).of_number(0)
    assert worth.value == pytest.approx(2.0 * norm.pdf(1.0), abs=4 * worth.error)


@pytest.mark.parametrize("seed", range(4))
def test_information_is_never_worth_less_than_nothing_nor_more_than_knowing_everything(seed: int) -> None:
    """Many kits, few draws, numbers that matter and numbers that do not; certain ones are worth nothing."""
    rng = np.random.default_rng(seed)
    values = rng.gamma(2.0, 1.0, (80, 12))
    values[:, 5] = 3.0
    costs = values @ (rng.normal(size=(12, 6)) * np.linspace(1.0, 0.0, 12)[:, np.newaxis])
    everything = costs[:, int(costs.mean(axis=0).argmin())].mean() - costs.min(axis=1).mean()
    found = Information(values, costs)
    for worth in (*(found.of_number(column) for column in range(12)), found.of_group(range(12))):
        assert 0.0 <= worth.value <= everything + 2 * worth.error
    assert (found.of_number(5).value, found.of_number(5).error) == (0.0, 0.0)
    assert found.of_group([5]).value == 0.0


def test_errors_are_as_wide_as_answers_spread_from_sample_to_sample() -> None:
    """Thirty samples of the two actions: the spread of the answers against the errors told."""
    answers, errors = [], []
    for seed in range(30):
        values = np.random.default_rng(seed).standard_normal((200, 3))
        worth = Information(values, two_actions(values, 0.5, [1.0, 1.0, 0.3])).of_number(0)
        answers.append(worth.value)
        errors.append(worth.error)
    assert 0.5 < np.std(answers, ddof=1) / np.mean(errors) < 1.6
