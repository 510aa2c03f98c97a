"""Prices kits on simulated falls: what each kind of fall costs, part by part, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Bytes, Floats
from guardopt.model.pieces import Kit
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Kind
from guardopt.simulation.outcomes import Outcome, outcome, whole_falls
from guardopt.simulation.repair_interval import put_right, put_right_slope
from guardopt.simulation.sampling import Stratum


@dataclass(frozen=True)
class Bill:
    """What a kit leaves to pay, in money of the scenario's currency.

    Means are those of one fall of each kind.

    Attributes
    ----------
    repair_bill, owner_cost, renewals, write_off_chance, off_road, days
        ``(kinds of fall,)``; `off_road` is what days without the bike and getting it home cost, `days` how many.
    part_harmed, part_bill
        ``(kinds of fall, parts)``: chance of being harmed, and bill for the part, what waits left out.
    strip_bill
        ``(kinds of fall, groups)``: the same for reaching a group.
    noted
        ``(kinds of fall, items that wait)``: chance that it comes about in one fall, to be put right later.
    waiting
        ``(items that wait,)``: what is paid when it is put right.
    waiting_part, waiting_group
        ``(items that wait,)``: row of the part or group it is about, −1 for none.
    repair_every
        T, in years.
    rates
        ``(kinds of fall,)``: λ_f.
    """

    kit: Kit
    repair_bill: Floats
    owner_cost: Floats
    renewals: Floats
    write_off_chance: Floats
    off_road: Floats
    days: Floats
    part_harmed: Floats
    part_bill: Floats
    strip_bill: Floats
    noted: Floats
    waiting: Floats
    waiting_part: tuple[int, ...]
    waiting_group: tuple[int, ...]
    repair_every: float
    rates: Floats
    annuity: float

    @cached_property
    def yearly_cost(self) -> float:
        """Σ_f λ_f (C_f + R_f + days without the bike) + Σ φ(Λ) of what waits."""
        return float(self.rates @ (self.owner_cost + self.renewals + self.off_road) + self.put_right.sum())

    @property
    def cost_over_years(self) -> float:
        """ā × yearly cost."""
        return self.annuity * self.yearly_cost

    @cached_property
    def put_right(self) -> Floats:
        """``(items that wait,)``: φ(Λ), what putting it right costs a year."""
        return put_right(self.waiting, self.rates @ self.noted, self.repair_every)

    @cached_property
    def put_right_slope(self) -> Floats:
        """``(items that wait,)``: φ′(Λ)."""
        return put_right_slope(self.waiting, self.rates @ self.noted, self.repair_every)

    @cached_property
    def days_per_year(self) -> float:
        """Days a year without the bike."""
        return float(self.rates @ self.days)

    @cached_property
    def part_harmed_per_year(self) -> Floats:
        """``(parts,)``: how often a year each part is harmed."""
        return self.rates @ self.part_harmed

    @cached_property
    def part_put_right_per_year(self) -> Floats:
        """``(parts,)``: what each part costs a year for having waited."""
        return _summed(self.put_right, self.waiting_part, self.part_bill.shape[1])

    @cached_property
    def part_put_right_times(self) -> Floats:
        """``(parts,)``: how often a year each part is put right for having waited."""
        often = np.zeros(self.part_bill.shape[1])
        for row, one in zip(self.waiting_part, self.rates @ self.noted, strict=True):
            if row >= 0:
                often[row] = max(often[row], one)
        times: Floats = -np.expm1(-self.repair_every * often) / self.repair_every
        return times

    @cached_property
    def strip_put_right_per_year(self) -> Floats:
        """``(groups,)``: what reaching each group costs a year for parts that have waited."""
        return _summed(self.put_right, self.waiting_group, self.strip_bill.shape[1])

    @cached_property
    def part_bill_per_year(self) -> Floats:
        """``(parts,)``: what each part costs a year, strip-down and the cap aside."""
        return self.rates @ self.part_bill + self.part_put_right_per_year

    @cached_property
    def strip_bill_per_year(self) -> Floats:
        """``(groups,)``: what reaching each group of parts costs a year."""
        return self.rates @ self.strip_bill + self.strip_put_right_per_year


def _summed(values: Floats, rows: Sequence[int], size: int) -> Floats:
    total = np.zeros(size)
    for value, row in zip(values, rows, strict=True):
        if row >= 0:
            total[row] += value
    return total


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


_MEANS = ("repair_bill", "owner_cost", "renewals", "write_off_chance", "off_road", "days")
"""The means of a bill that are kept side by side while they are added up."""


class _Tally:
    """Sums over the strata for one kit, from which its bill is made."""

    def __init__(self, bike: Bike, kit: Kit) -> None:
        falls, parts = len(bike.scenario.falls), len(bike.scenario.parts)
        self._bike, self._kit = bike, kit
        self._means = np.zeros((falls, len(_MEANS)))
        self._harmed, self._part_bill = np.zeros((falls, parts)), np.zeros((falls, parts))
        self._strip_bill = np.zeros((falls, len(bike.costs.groups)))
        self._noted = np.zeros((falls, len(bike.costs.of_part)))

    def add(self, stratum: Stratum, one: Outcome) -> None:
        """Add what the falls of one stratum cost."""
        columns = (one.repair_bill, one.owner_cost, one.renewals, one.written_off, one.off_road, one.days)
        self._means[stratum.fall] += stratum.share * np.array([column.mean() for column in columns])
        self._harmed[stratum.fall] += stratum.share * one.part_harmed
        self._part_bill[stratum.fall] += stratum.share * one.part_bill
        self._strip_bill[stratum.fall] += stratum.share * one.strip_bill
        self._noted[stratum.fall] += stratum.share * one.noted.mean(axis=1)

    def bill(self) -> Bill:
        scenario, costs = self._bike.scenario, self._bike.costs
        return Bill(
            kit=self._kit,
            **dict(zip(_MEANS, self._means.T, strict=True)),
            part_harmed=self._harmed,
            part_bill=self._part_bill,
            strip_bill=self._strip_bill,
            noted=self._noted,
            waiting=np.array([item.amount for item in costs.items if item.kind is Kind.WAITS]),
            waiting_part=costs.of_part,
            waiting_group=costs.of_group,
            repair_every=scenario.repair_every,
            rates=np.array([fall.per_year for fall in scenario.falls]),
            annuity=scenario.annuity,
        )


def price(bike: Bike, strata: Iterable[Stratum], kits: Sequence[Kit], *, errors: bool = True) -> Prices:
    """Price kits exactly on a sample.

    yearly cost = Σ_f λ_f (C_f + R_f + days without the bike) + Σ φ(Λ) of what waits; cost over the years = ā × yearly
    cost. The variance of a mean over strata with known shares w is Σ w² s²/n (Cochran, Sampling Techniques, 1977,
    eq. 5.6). φ is no mean, so its error is that of its tangent, φ′(Λ) times the event (the delta method).

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
    fitted = {kit: bike.kit_array(kit) for kit in map(frozenset, kits)}
    tallies = {kit: _Tally(bike, kit) for kit in fitted}
    met = _Met()
    for stratum in strata:
        whole = whole_falls(bike, stratum)
        outcome_with = {kit: outcome(bike, stratum, one, whole) for kit, one in fitted.items()}
        for kit, one in outcome_with.items():
            tallies[kit].add(stratum, one)
        if errors:
            per_year = bike.scenario.falls[stratum.fall].per_year * stratum.share
            met.add(per_year, list(outcome_with.values()))
    bills = {kit: tally.bill() for kit, tally in tallies.items()}
    covariance = met.covariance([bill.put_right_slope for bill in bills.values()]) if errors else None
    order = [list(bills).index(frozenset(kit)) for kit in kits]
    if covariance is not None:
        covariance = covariance[np.ix_(order, order)]
    return Prices(tuple(bills[frozenset(kit)] for kit in kits), covariance)


class _Met:
    """What each fall cost with each of several kits, kept until it is known what weighs on the errors."""

    def __init__(self) -> None:
        self._strata: list[tuple[float, Floats, list[tuple[Bytes, int]]]] = []

    def add(self, per_year: float, outcomes: Sequence[Outcome]) -> None:
        """Take in one stratum; noted events are kept as bits."""
        noted = [(np.packbits(one.noted, axis=1), one.noted.shape[1]) for one in outcomes]
        self._strata.append((per_year, np.stack([one.paid for one in outcomes]), noted))

    def covariance(self, slopes: Sequence[Floats]) -> Floats | None:
        """``(kits, kits)``: covariance of the errors of the yearly costs; None where a stratum has a single fall."""
        total = np.zeros((len(slopes), len(slopes)))
        for per_year, paid, noted in self._strata:
            falls = paid.shape[1]
            if falls < 2:
                return None
            tangents = paid + np.stack(
                [
                    slope @ np.unpackbits(bits, axis=1, count=count)
                    for slope, (bits, count) in zip(slopes, noted, strict=True)
                ]
            )
            total += per_year**2 * np.atleast_2d(np.cov(tangents)) / falls
        return total
