"""The spread of what is paid over the years where damage waits: whole repair intervals, simulated fall by fall.

What waits makes the cost of a fall hang on the falls before it, so sums are no longer compound Poisson. Within one
interval of T years falls are drawn at random times; each is paid for by itself when it happens, and what waits is paid
once, spread evenly over the interval. The last interval is simulated whole and counts with the share of it that lies
within the years. The mean is then the cost over the years, ā × yearly cost, which is reported instead of its estimate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.scenario import Scenario
from guardopt.simulation.aggregate_loss import BLOCKS, FINEST, QUANTILES, WORST_SHARE
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Kind
from guardopt.simulation.outcomes import outcome
from guardopt.simulation.repair_interval import put_right
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.sampling import Stratum

COURSES = 20_000
"""Courses of the years that are simulated."""

MOST_FALLS = 4_000_000
"""Falls drawn in all, so that somebody who falls daily does not wait for long."""


@dataclass(frozen=True)
class WaitingFalls:
    """The falls of one stratum with one kit, and how many a year each of them stands for.

    Attributes
    ----------
    paid, written_off
        ``(falls,)``: what is paid for the fall by itself, and whether it writes the bike off.
    noted
        ``(falls, bytes)``: what waits, as bits.
    """

    paid: Floats
    written_off: Bools
    noted: Any
    per_year: float

    def block(self, number: int) -> WaitingFalls:
        """One of the parts of the sample, weighed as if it were the whole."""
        share = slice(number, None, BLOCKS)
        paid = self.paid[share]
        per_year = self.per_year * self.paid.size / max(1, paid.size)
        return WaitingFalls(paid, self.written_off[share], self.noted[share], per_year)


def waiting_falls(bike: Bike, stratum: Stratum, fitted: Bools) -> WaitingFalls:
    """What the falls of a stratum cost with the guards of `fitted`, ``(guards,)``."""
    one = outcome(bike, stratum, fitted)
    per_year = bike.scenario.falls[stratum.fall].per_year * stratum.share / stratum.falls
    return WaitingFalls(one.paid, one.written_off, np.packbits(one.noted, axis=0).T, per_year)


def season_numbers(bike: Bike, strata: list[WaitingFalls], courses: int, rng: np.random.Generator) -> dict[str, Any]:
    """What an outlook says of the years, by name, with a histogram as its probabilities; quantiles by their level.

    Parameters
    ----------
    bike, strata
        The scenario as arrays, and its falls with one kit.
    courses
        How many courses of the years to simulate.
    """
    scenario = bike.scenario
    totals = np.sort(_totals(bike, strata, courses, rng))
    points = 1 << FINEST
    step = float(totals[-1]) / (points - 1) if totals[-1] > 0.0 else 1.0
    places = np.round(totals / step).astype(np.int64)
    happens = sum(one.per_year * float(((one.paid > 0.0) | one.noted.any(axis=1)).sum()) for one in strata)
    written_off = sum(one.per_year * float(one.written_off.sum()) for one in strata)
    record: dict[str, Any] = {
        "step": step,
        "probability": np.bincount(places, minlength=points) / totals.size,
        "mean": scenario.annuity * _yearly(bike, strata),
        "sd": float(totals.std(ddof=1)) if totals.size > 1 else 0.0,
        "chance_of_nothing": math.exp(-scenario.years * happens),
        "worst_tenth_mean": worst_mean(totals, np.full(totals.size, 1.0 / totals.size), WORST_SHARE),
        "chance_written_off": -math.expm1(-scenario.years * written_off),
    }
    for level in QUANTILES:
        record[f"{level:g}"] = float(totals[min(int(level * totals.size), totals.size - 1)])
    return record


def _amounts(bike: Bike) -> Floats:
    return np.array([item.amount for item in bike.costs.items if item.kind is Kind.WAITS])


def _yearly(bike: Bike, strata: list[WaitingFalls]) -> float:
    """The yearly cost by the formula."""
    amounts = _amounts(bike)
    often = np.zeros(amounts.size)
    paid = 0.0
    for one in strata:
        paid += one.per_year * float(one.paid.sum())
        often += one.per_year * np.unpackbits(one.noted, axis=1, count=amounts.size).sum(axis=0)
    return paid + float(put_right(amounts, often, bike.scenario.repair_every).sum())


def _totals(bike: Bike, strata: list[WaitingFalls], courses: int, rng: np.random.Generator) -> Floats:
    """``(courses,)``: present value of what is paid over the years."""
    scenario, every, amounts = bike.scenario, bike.scenario.repair_every, _amounts(bike)
    intervals = max(1, math.ceil(scenario.years / every - 1e-9))
    span = intervals * every
    expected = sum(one.per_year * one.paid.size for one in strata) * span
    courses = max(100, min(courses, int(MOST_FALLS / max(expected, 1.0))))
    totals = np.zeros(courses)
    keys: list[Ints] = []
    bits = []
    force = math.log1p(scenario.discount_rate)
    for one in strata:
        count = int(rng.poisson(one.per_year * one.paid.size * span * courses))
        course, time = rng.integers(courses, size=count), rng.random(count) * span
        fall = rng.integers(one.paid.size, size=count)
        within = time < scenario.years
        totals += np.bincount(course[within], (one.paid[fall] * np.exp(-force * time))[within], courses)
        keys.append(course * intervals + np.minimum((time / every).astype(np.int64), intervals - 1))
        bits.append(one.noted[fall])
    key, noted = np.concatenate(keys), np.concatenate(bits)
    order = np.argsort(key, kind="stable")
    key, noted = key[order], noted[order]
    if key.size and amounts.size:
        interval, first = np.unique(key, return_index=True)
        came_about = np.bitwise_or.reduceat(noted, first, axis=0)
        paid = np.unpackbits(came_about, axis=1, count=amounts.size) @ amounts
        worth = _worth(scenario, intervals)
        totals += np.bincount(interval // intervals, paid * worth[interval % intervals], courses)
    return totals


def _worth(scenario: Scenario, intervals: int) -> Floats:
    """``(intervals,)``: present value of one unit paid evenly over each interval, as far as the years reach."""
    edges = np.minimum(np.arange(intervals + 1) * scenario.repair_every, scenario.years)
    if scenario.discount_rate == 0.0:
        until = edges
    else:
        force = math.log1p(scenario.discount_rate)
        until = -np.expm1(-force * edges) / force
    worth: Floats = np.diff(until) / scenario.repair_every
    return worth
