"""Costs that come at random times added up on a grid; the formulas are in the docstring of `forecast`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.sampling import Stratum

QUANTILES = (0.1, 0.5, 0.9, 0.95, 0.99)

WORST_SHARE = 0.1

FINEST, COARSEST = 14, 20
"""Binary logarithms of the least and most grid points."""

BLOCKS = 10
"""Parts of the sample whose spread gives standard errors."""

MOST_ERROR = 0.001
"""Width of the grid as a share of the mean, where the grid is long enough."""


def compound_poisson(severity: Floats, rate: float) -> Floats:
    """Probabilities of a compound Poisson sum at the points of the severity's grid.

    Parameters
    ----------
    severity
        ``(points,)``: probabilities of one cost of 0, h, 2h and so on; the grid has to be long enough that the sum
        hardly ever leaves it.
    rate
        Expected number of costs.
    """
    transform = np.fft.rfft(severity)
    return np.clip(np.fft.irfft(np.exp(rate * (transform - 1.0)), severity.size), 0.0, None)


@dataclass(frozen=True)
class StratumCosts:
    """Costs of the falls of one stratum, how many a year each of them stands for, and which write the bike off."""

    cost: Floats
    per_year: float
    written_off: Floats

    def block(self, number: int) -> StratumCosts:
        """One of the parts of the sample, weighed as if it were the whole."""
        share = slice(number, None, BLOCKS)
        cost = self.cost[share]
        return StratumCosts(cost, self.per_year * self.cost.size / max(1, cost.size), self.written_off[share])


def stratum_costs(bike: Bike, stratum: Stratum, fitted: Bools) -> StratumCosts:
    """What the falls of a stratum cost with the guards of `fitted`, ``(guards,)``."""
    one = outcome(bike, stratum, fitted)
    per_year = bike.scenario.falls[stratum.fall].per_year * stratum.share / stratum.falls
    return StratumCosts(one.paid, per_year, one.written_off.astype(float))


def _discount_points(scenario: Scenario) -> tuple[Floats, Floats]:
    """Discount factors at times spread over the years, and their weights (Gauss and Legendre's points)."""
    if scenario.discount_rate == 0.0:
        return np.ones(1), np.ones(1)
    points, weights = np.polynomial.legendre.leggauss(8)
    return (1.0 + scenario.discount_rate) ** (-scenario.years * (points + 1.0) / 2.0), weights / 2.0


def grid_for(scenario: Scenario, costs: list[StratumCosts]) -> tuple[float, int]:
    """Width and number of points: fine against the mean, and long enough that sums hardly ever leave the grid."""
    first = sum(scenario.years * one.per_year * one.cost.sum() for one in costs)
    second = sum(scenario.years * one.per_year * (one.cost**2).sum() for one in costs)
    largest = max(float(one.cost.max(initial=0.0)) if one.per_year else 0.0 for one in costs)
    if first == 0.0:
        return 1.0, 2
    reach = first + 12.0 * math.sqrt(second) + 4.0 * largest
    points = 1 << min(COARSEST, max(FINEST, math.ceil(math.log2(reach / (MOST_ERROR / 2 * first)))))
    return float(reach / points), points


def numbers_of(scenario: Scenario, costs: list[StratumCosts], step: float, points: int) -> dict[str, Any]:
    """What an outlook says of the sum of these costs over the years, by name; quantiles by their level."""
    factors, shares = _discount_points(scenario)
    cost = np.concatenate([one.cost for one in costs])
    rate_of = np.repeat([one.per_year * scenario.years for one in costs], [one.cost.size for one in costs])
    happens = rate_of > 0.0
    places = np.multiply.outer(factors / step, cost[happens]).ravel()
    mass = _spread(places, np.multiply.outer(shares, rate_of[happens]).ravel(), points)
    rate = float(mass.sum())
    probability = compound_poisson(mass / rate, rate) if rate else np.eye(1, points)[0]
    amounts = step * np.arange(points, dtype=float)
    cumulative = np.cumsum(probability)
    mean = float(probability @ amounts)
    record: dict[str, Any] = {
        "probability": probability,
        "mean": mean,
        "sd": math.sqrt(max(0.0, float(probability @ (amounts - mean) ** 2))),
        "chance_of_nothing": math.exp(-sum(scenario.years * one.per_year * (one.cost > 0.0).sum() for one in costs)),
        "worst_tenth_mean": worst_mean(amounts, probability / probability.sum(), WORST_SHARE),
        "chance_written_off": -math.expm1(-sum(scenario.years * one.per_year * one.written_off.sum() for one in costs)),
    }
    for level in QUANTILES:
        record[f"{level:g}"] = float(amounts[min(int(np.searchsorted(cumulative, level)), points - 1)])
    return record


def _spread(places: Floats, weights: Floats, points: int) -> Floats:
    """``(points,)``: the weight of each cost put on the two grid points beside it so that its mean is kept."""
    below = np.floor(places).astype(np.int64)
    to_next = (places - below) * weights
    mass = np.zeros(points)
    mass += np.bincount(below, weights - to_next, points)
    mass += np.bincount(below + 1, to_next, points)
    return mass
