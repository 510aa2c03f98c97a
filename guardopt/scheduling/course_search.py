"""Looks for the best course of buying with the list of all kits, which are priced only where it matters.

What a kit costs is known exactly or bounded from below (`enumeration.KitTable`). Dynamic programming over the bounds
gives a course and a value that no course is below; the kits of that course are priced, which raises the bounds, until
the two meet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.cuts.enumeration import KitTable
from guardopt.deadline import Deadline
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.scheduling.joint_lots import JointLots
from guardopt.scheduling.lots import MOST_SETS, ROUNDING, TIE, Dated, Lot, Saving, as_bits, least_in_hand, sets_of
from guardopt.scheduling.purchase_courses import CourseProgram


@dataclass(frozen=True)
class Course:
    """For each month what has been bought by then, what was owned before included, and what is on the bike."""

    bought: tuple[Kit, ...]
    fitted: tuple[Kit, ...]


@dataclass(frozen=True)
class FoundCourse:
    """A course and a value that no course is below.

    Attributes
    ----------
    start
        What is best on the bike before anything is bought.
    """

    course: Course
    start: Kit
    bound: float


def buyable(scenario: Scenario, most_cents: int, never: Kit = frozenset()) -> list[str]:
    """The guards that can be paid for, singly or in an offer, in the order of the scenario, but for some."""
    in_reach = {guard.id for guard in scenario.guards if not guard.owned and guard.spend_cents <= most_cents}
    for offer in scenario.offers:
        if scenario.spend_cents(scenario.bought_in(offer)) <= most_cents:
            in_reach |= scenario.bought_in(offer)
    return [guard.id for guard in scenario.guards if guard.id in in_reach - never]


class CourseSearch:
    """The courses that buy some guards, one by one or in offers.

    Parameters
    ----------
    scenario
        The guards on offer.
    table
        What kits cost; kits with other guards than those of `guards` and owned ones are passed over.
    years_of
        ``(kinds of fall,)``: ā λ_f.
    guards
        The guards that may be bought.
    saving
        How money comes in.
    must, never
        Guards that have to be bought, unless they are owned, and that are on the bike as soon as they are in hand and
        fit; and guards, owned ones too, that are never on it.
    """

    def __init__(
        self,
        scenario: Scenario,
        table: KitTable,
        years_of: Floats,
        guards: Sequence[str],
        saving: Saving,
        *,
        must: Kit = frozenset(),
        never: Kit = frozenset(),
    ) -> None:
        self._scenario, self._table, self._years_of, self._saving = scenario, table, years_of, saving
        self._guards = list(guards)
        row = {guard.id: number for number, guard in enumerate(scenario.guards)}
        others = [row[guard.id] for guard in scenario.guards if not guard.owned and guard.id not in set(guards)]
        others += [row[name] for name in never & scenario.stock]
        self._rows = np.flatnonzero(~table.kits[:, others].any(axis=1))
        self._bits = as_bits(table.kits[self._rows][:, [row[name] for name in guards]])
        self._resale = [scenario.resale_value([name]) if saving.worth.any() else 0.0 for name in guards]
        singles, offers = _lots(scenario, self._guards)
        self._must = sum(1 << number for number, name in enumerate(self._guards) if name in must)
        self._keeps = table.kits[self._rows][:, [row[name] for name in must & scenario.stock]].all(axis=1)
        ends = self._ends() if must else None
        if ends is not None and not must <= {*self._guards, *scenario.stock}:
            ends[:] = False
        self._program = CourseProgram(singles, offers, np.array(self._resale), saving, ends)
        self._least: dict[int, float] = {}

    @staticmethod
    def is_small(scenario: Scenario, guards: Sequence[str]) -> bool:
        """Whether there are few enough sets of these guards to go through."""
        return sets_of(len(guards), _lots(scenario, guards)[1]) <= MOST_SETS

    def run(self, gap: float, deadline: Deadline) -> FoundCourse | None:
        """The best course; None if none buys what has to be bought, or none was found in time.

        Parameters
        ----------
        gap
            Relative gap at which to stop.
        deadline
            When to stop; each time that the program is solved counts as a node.
        """
        best: tuple[Dated, ...] = ()
        value, bound = self._cost(best), self._floor()
        jointly = False
        for _ in range(deadline.nodes):
            if (value < np.inf and value - bound <= gap * max(1.0, abs(value))) or deadline.is_over:
                break
            costs = self._bounds()
            solved = JointLots(self._program, costs, value).solve() if jointly else self._program.solve(costs)
            if solved is None:
                break
            known = len(self._least)
            bound = max(bound, min(solved.bound, value))
            course = self._improved(solved.lots)
            if self._cost(course) < value:
                best, value = course, self._cost(course)
            if len(self._least) == known:
                if jointly:
                    break
                jointly = True
        if np.isinf(value):
            return None
        start = self._kit(0, self._scenario.stock)
        return FoundCourse(self._course(best), start, bound)

    def _bounds(self) -> Floats:
        """``(sets,)``: f, or what is at least known of it."""
        costs, guards = self._table.bounds(self._years_of)[self._rows], len(self._guards)
        plain = least_in_hand(self._bits, costs, guards)
        if self._keeps.all() and not self._must:
            return plain
        kept = least_in_hand(self._bits[self._keeps], costs[self._keeps], guards, self._must)
        return np.where(np.isfinite(kept), kept, plain)

    def _ends(self) -> Bools:
        """``(sets,)``: the sets of guards in hand of which all that has to be on the bike can be."""
        guards = len(self._guards)
        bits = self._bits[self._keeps]
        fits = np.isfinite(least_in_hand(bits, np.zeros(bits.size), guards, self._must))
        ends: Bools = fits & (np.arange(2**guards) & self._must == self._must)
        return ends

    def _floor(self) -> float:
        """What no course is below, known before the program is solved: the cheapest kit at once, for nothing."""
        costs = self._table.bounds(self._years_of)[self._rows]
        return float(costs.min() - sum(self._resale) - ROUNDING * (np.abs(costs).max() + sum(self._resale)))

    def _cost(self, lots: Sequence[Dated]) -> float:
        """What a course costs (1), exactly."""
        saving, months = self._saving, len(self._saving.weights)
        total, had = 0.0, 0
        by_month = [0] * months
        for dated in lots:
            by_month[dated.month] |= dated.lot.guards
            total += saving.worth[dated.month] * dated.lot.cents / 100
        for month, bought in enumerate(by_month):
            had |= bought
            total += saving.weights[month] * self._falls(had)
        if not self._program.may_end_with(had):
            return np.inf
        return float(total - sum(back for number, back in enumerate(self._resale) if had >> number & 1))

    def _falls(self, had: int) -> float:
        """f: the least cost of a kit of guards in hand, exactly."""
        if had not in self._least:
            self._least[had] = self._table.least_of(self._years_of, self._fits(had))[1]
        return self._least[had]

    def _fits(self, had: int) -> Ints:
        in_hand = self._bits & ~np.int64(had) == 0
        kept: Ints = self._rows[in_hand & self._keeps & (self._bits & self._must == had & self._must)]
        return kept if kept.size else self._rows[in_hand]

    def _improved(self, lots: Sequence[Dated]) -> tuple[Dated, ...]:
        """The course with each lot left out, or put off to the month of a later one, where that costs no more.

        So nothing is bought that is of no use, or long before it is.
        """
        course, value = tuple(lots), self._cost(lots)
        number = len(course) - 1
        while number >= 0:
            one, rest = course[number], (*course[:number], *course[number + 1 :])
            later = sorted({dated.month for dated in rest if dated.month > one.month} | {len(self._saving.weights) - 1})
            moves = [rest]
            moves += [_in_turn((*rest, Dated(month, one.lot))) for month in (later[-1], later[0]) if month > one.month]
            costs = [self._cost(move) for move in moves]
            chosen = int(np.argmin(costs))
            if costs[chosen] <= value + TIE * max(1.0, abs(value)):
                course, value = moves[chosen], costs[chosen]
                number = len(course)
            number -= 1
        return course

    def _course(self, lots: Sequence[Dated]) -> Course:
        bought, fitted = [], []
        had, on = 0, self._scenario.stock
        for month in range(len(self._saving.weights)):
            new = sum(dated.lot.guards for dated in lots if dated.month == month)
            if new or not month:
                had |= new
                on = self._kit(had, on)
            bought.append(self._scenario.stock | {name for bit, name in enumerate(self._guards) if had >> bit & 1})
            fitted.append(on)
        return Course(tuple(bought), tuple(fitted))

    def _kit(self, had: int, on: Kit) -> Kit:
        """Of the best kits of guards in hand the one that leaves most of what is on the bike where it is.

        Of those, one that has most of what is in hand. None costs more than what is on the bike, if that may stay.
        """
        table, rows = self._table, self._fits(had)
        least = self._falls(had)
        most = least + TIE * max(1.0, abs(least))
        kits = table.kits[rows]
        is_on = np.array([guard.id in on for guard in self._scenario.guards])
        stays = rows[(kits == is_on).all(axis=1)]
        if stays.size:
            most = min(most, table.cost(self._years_of, int(stays[0])))
        # A bound is added up in another way than the cost and may be a rounding above it.
        hopeful = np.flatnonzero(table.bounds(self._years_of)[rows] <= most + TIE * max(1.0, abs(most)))
        off, size = (is_on & ~kits[hopeful]).sum(axis=1), kits[hopeful].sum(axis=1)
        for one in hopeful[np.lexsort([rows[hopeful], -size, off])].tolist():
            if table.cost(self._years_of, int(rows[one])) <= most:
                return frozenset(
                    guard.id for guard, fitted in zip(self._scenario.guards, kits[one], strict=True) if fitted
                )
        raise AssertionError("the cheapest kit costs no more than itself")


def _in_turn(lots: Sequence[Dated]) -> tuple[Dated, ...]:
    return tuple(sorted(lots, key=lambda dated: dated.month))


def _lots(scenario: Scenario, guards: Sequence[str]) -> tuple[list[Lot], list[Lot]]:
    """The guards as lots, and the offers of them that save money."""
    bit = {name: 1 << number for number, name in enumerate(guards)}
    singles = [Lot(bit[name], scenario.guard[name].spend_cents) for name in guards]
    offers = []
    for offer in scenario.offers:
        saving, bought = scenario.offer_saving_cents(offer), scenario.bought_in(offer)
        if saving and bought <= set(guards):
            full = sum(scenario.guard[name].spend_cents for name in bought)
            offers.append(Lot(sum(bit[name] for name in bought), full - saving))
    return singles, offers
