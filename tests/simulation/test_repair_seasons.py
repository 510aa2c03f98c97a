"""The spread of what is paid where damage waits is that of seasons simulated fall by fall."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.model.pieces import Fall, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.forecast import forecast
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price
from guardopt.simulation.repair_seasons import season_numbers, waiting_falls


@pytest.mark.parametrize("seed", range(6))
def test_the_mean_of_the_seasons_is_the_cost_over_the_years(seed: int) -> None:
    """Interest, a last interval that the years cut short, days and renewals included, within the error of the mean."""
    scenario = random_scenario(seed, guards=5, falls_sampled=30)
    bike, sample, kit = Bike(scenario), sample_of(scenario), all_kits(scenario)[-1]
    falls = [waiting_falls(bike, one, bike.kit_array(kit)) for one in sample]
    found = season_numbers(bike, falls, 4000, np.random.default_rng(seed))
    amounts = found["step"] * np.arange(found["probability"].size)
    mean = float(found["probability"] @ amounts)
    assert found["mean"] == pytest.approx(price(bike, sample, [kit], errors=False).bills[0].cost_over_years, rel=1e-9)
    assert abs(mean - found["mean"]) < 4.0 * found["sd"] / math.sqrt(4000) + found["step"]


def test_what_waits_is_paid_once_in_each_interval(make_scenario: Callable[..., Scenario]) -> None:
    """A tank of 100 broken by every fall, ten falls a year, put right every year for three: 300 and nothing else."""
    scenario = make_scenario(
        parts=[Part("tank", "tank", Side.CENTRE, 100.0, waits=True)], falls=[Fall("fall", 10.0)], years=3.0
    )
    ahead = forecast(Bench(scenario), [])
    assert ahead.stock.quantiles[0.5] == ahead.stock.quantiles[0.99] == pytest.approx(300.0)
    assert ahead.stock.mean == pytest.approx(300.0, rel=1e-3)
    assert ahead.stock.chance_of_nothing == pytest.approx(math.exp(-30.0))
