"""Prices kits on simulated falls: what each kind of fall costs, part by part, with exactly these guards on the bike."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.bike import Bike
from guardopt.falls import Stratum
from guardopt.pieces import HALF_A_CENT, Kit


def harmed_parts(bike: Bike, stratum: Stratum, fitted: Bools) -> Bools:
    """``(parts, falls)``: the part is harmed, by the road or by the breaking of another part.

    A struck part is harmed unless a cover whose guards are all fitted and serve in this fall holds.
    """
    harmed = stratum.struck.copy()
    for row, (part, guards) in enumerate(bike.covers):
        if stratum.serves[row] and fitted[list(guards)].all():
            harmed[part] &= ~stratum.holds[row]
    for row, part, takes in bike.knock_ons:
        harmed[takes] |= harmed[part] & stratum.breaks[part] & stratum.passes[row]
    return harmed


def worn_guards(bike: Bike, stratum: Stratum) -> Bools:
    """``(guards that wear, falls)``: the guard serves and covers a struck part, alone or jointly, so it is worn."""
    worn = np.zeros((len(bike.worn_by), stratum.falls), dtype=bool)
    for index, (_, pairs) in enumerate(bike.worn_by):
        for row, part in pairs:
            if stratum.serves[row]:
                worn[index] |= stratum.struck[part]
    return worn


@dataclass(frozen=True)
class Outcome:
    """What the falls of one stratum cost with one kit; every array is ``(falls,)`` unless said."""

    repair_bill: Floats
    owner_cost: Floats
    renewals: Floats
    written_off: Bools
    part_harmed: Floats
    """``(parts,)``: share of the falls in which the part is harmed."""
    part_bill: Floats
    """``(parts,)``: mean bill for the part, strip-down aside."""
    strip_bill: Floats
    """``(groups,)``: mean bill for reaching the group."""


def outcome(bike: Bike, stratum: Stratum, fitted: Bools) -> Outcome:
    """Price one kit on one stratum.

    repair bill = Σ harmed parts (broken: price + hours × rate; scuffed: touch-up) + Σ strip-down of groups with a
    broken part; owner's cost = min(repair bill, cap); renewals come on top of the cap.
    """
    scenario = bike.scenario
    harmed = harmed_parts(bike, stratum, fitted)
    broken = harmed & stratum.breaks
    broken_share, harmed_share = broken.mean(axis=1), harmed.mean(axis=1)
    repair = np.zeros(stratum.falls)
    for part, (replace, touch_up) in enumerate(zip(bike.break_cost, bike.scuff_cost, strict=True)):
        repair += replace * broken[part]
        if touch_up:
            repair += touch_up * (harmed[part] & ~broken[part])
    strip = np.zeros(len(bike.groups))
    for group, parts in enumerate(bike.groups):
        opened = broken[parts].any(axis=0)
        repair += bike.strip_cost[group] * opened
        strip[group] = bike.strip_cost[group] * opened.mean()
    renewals = np.zeros(stratum.falls)
    for (guard, _), worn in zip(bike.worn_by, worn_guards(bike, stratum), strict=True):
        if fitted[guard]:
            renewals += bike.wear[guard] * worn
    return Outcome(
        repair_bill=repair,
        owner_cost=np.minimum(repair, scenario.cap),
        renewals=renewals,
        written_off=repair > scenario.write_off_above + HALF_A_CENT,
        part_harmed=harmed_share,
        part_bill=bike.break_cost * broken_share + bike.scuff_cost * (harmed_share - broken_share),
        strip_bill=strip,
    )


@dataclass(frozen=True)
class Bill:
    """What a kit leaves to pay, in money of the scenario's currency.

    Means are those of one fall of each kind.

    Attributes
    ----------
    repair_bill, owner_cost, renewals, write_off_chance
        ``(kinds of fall,)``.
    part_harmed, part_bill
        ``(kinds of fall, parts)``: chance of being harmed, and bill for the part.
    strip_bill
        ``(kinds of fall, groups)``.
    rates
        ``(kinds of fall,)``: λ_f.
    """

    kit: Kit
    repair_bill: Floats
    owner_cost: Floats
    renewals: Floats
    write_off_chance: Floats
    part_harmed: Floats
    part_bill: Floats
    strip_bill: Floats
    rates: Floats
    annuity: float

    @cached_property
    def yearly_cost(self) -> float:
        """Σ_f λ_f (C_f + R_f)."""
        return float(self.rates @ (self.owner_cost + self.renewals))

    @property
    def cost_over_years(self) -> float:
        """ā × yearly cost."""
        return self.annuity * self.yearly_cost

    @cached_property
    def part_harmed_per_year(self) -> Floats:
        """``(parts,)``: how often a year each part is harmed."""
        return self.rates @ self.part_harmed

    @cached_property
    def part_bill_per_year(self) -> Floats:
        """``(parts,)``: what each part costs a year, strip-down and the cap aside."""
        return self.rates @ self.part_bill

    @cached_property
    def strip_bill_per_year(self) -> Floats:
        """``(groups,)``: what reaching each group of parts costs a year."""
        return self.rates @ self.strip_bill


@dataclass(frozen=True)
class Prices:
    """Several kits priced on the same falls.

    Attributes
    ----------
    bills
        One for each kit, in the order given.
    covariance
        ``(kits, kits)``: covariance of the errors of the yearly costs; None if it was not asked for, or a stratum has
        only one fall, which tells nothing about its spread.
    """

    bills: tuple[Bill, ...]
    covariance: Floats | None

    def standard_error(self, kit: int) -> float | None:
        """Standard error of a kit's yearly cost."""
        return None if self.covariance is None else math.sqrt(self.covariance[kit, kit])

    def saving_standard_error(self, kit: int, other: int) -> float | None:
        """Standard error of the difference between two kits' yearly costs, smaller since both meet the same falls."""
        if self.covariance is None:
            return None
        c = self.covariance
        return math.sqrt(max(0.0, c[kit, kit] + c[other, other] - 2.0 * c[kit, other]))


def price(bike: Bike, strata: Iterable[Stratum], kits: Sequence[Kit], *, errors: bool = True) -> Prices:
    """Price kits exactly on a sample.

    yearly cost = Σ_f λ_f (C_f + R_f); cost over the years = ā × yearly cost. The variance of a mean over strata with
    known shares w is Σ w² s²/n (Cochran, Sampling Techniques, 1977, eq. 5.6).

    Parameters
    ----------
    bike
        The scenario as arrays.
    strata
        The sample; it is gone through once, so it may be drawn on the fly.
    kits
        Guards on the bike, each a set of ids.
    errors
        Whether to work out the covariance, which takes as long as the prices where there are many kits.
    """
    scenario = bike.scenario
    fitted = {kit: bike.kit_array(kit) for kit in map(frozenset, kits)}
    per_fall = np.zeros((len(kits), 4, len(scenario.falls)))
    harmed = np.zeros((len(kits), len(scenario.falls), len(scenario.parts)))
    part_bill = np.zeros_like(harmed)
    strip_bill = np.zeros((len(kits), len(scenario.falls), len(bike.groups)))
    covariance: Floats | None = np.zeros((len(kits), len(kits))) if errors else None
    for stratum in strata:
        outcome_with = {kit: outcome(bike, stratum, one) for kit, one in fitted.items()}
        outcomes = [outcome_with[frozenset(kit)] for kit in kits]
        per_year = scenario.falls[stratum.fall].per_year * stratum.share
        for index, one in enumerate(outcomes):
            means = [one.repair_bill.mean(), one.owner_cost.mean(), one.renewals.mean(), one.written_off.mean()]
            per_fall[index, :, stratum.fall] += stratum.share * np.array(means)
            harmed[index, stratum.fall] += stratum.share * one.part_harmed
            part_bill[index, stratum.fall] += stratum.share * one.part_bill
            strip_bill[index, stratum.fall] += stratum.share * one.strip_bill
        covariance = _add_covariance(covariance, per_year, [one.owner_cost + one.renewals for one in outcomes])
    rates = np.array([fall.per_year for fall in scenario.falls])
    bills = [
        Bill(
            kit=frozenset(kit),
            repair_bill=per_fall[row, 0],
            owner_cost=per_fall[row, 1],
            renewals=per_fall[row, 2],
            write_off_chance=per_fall[row, 3],
            part_harmed=harmed[row],
            part_bill=part_bill[row],
            strip_bill=strip_bill[row],
            rates=rates,
            annuity=scenario.annuity,
        )
        for row, kit in enumerate(kits)
    ]
    return Prices(tuple(bills), covariance)


def _add_covariance(total: Floats | None, per_year: float, costs: list[Floats]) -> Floats | None:
    """Add one stratum's share of the covariance of the yearly costs."""
    falls = costs[0].size
    if total is None or falls < 2:
        return None
    return total + per_year**2 * np.atleast_2d(np.cov(np.stack(costs))) / falls


def worst_mean(costs: Floats, weights: Floats, tail: float) -> float:
    """Mean cost of the worst share `tail` of falls: the conditional value-at-risk at level 1 − `tail`.

    An atom that straddles the limit counts with the part of it that lies in the tail (Rockafellar and Uryasev 2002,
    Proposition 8).

    Parameters
    ----------
    costs, weights
        ``(falls,)`` each; weights add up to 1.
    tail
        Above 0, at most 1.
    """
    return float(tail_weights(costs, weights, tail) @ costs)


def tail_weights(costs: Floats, weights: Floats, tail: float) -> Floats:
    """``(falls,)``: weights, adding up to 1, that put all their mass on the worst share `tail` of falls.

    The tail mean is the largest mean under any weights q with q ≤ w/tail; these attain it.
    """
    worst_first = np.argsort(-costs, kind="stable")
    before = np.concatenate([[0.0], np.cumsum(weights[worst_first])[:-1]])
    taken = np.clip(tail - before, 0.0, weights[worst_first])
    result = np.zeros_like(weights)
    if taken.any():
        result[worst_first] = taken / taken.sum()
    return result
