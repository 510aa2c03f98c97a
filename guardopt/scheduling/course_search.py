"""Looks for the best course of buying with the list of all kits, which are priced only where it matters.

What a kit costs is known exactly or bounded from below (`enumeration.KitTable`). Dynamic programming over the bounds
gives a course and a value that no course is below; the kits of that course are priced, which raises the bounds, until
the two meet.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.cuts.enumeration import KitTable
from guardopt.deadline import Deadline
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.scheduling.joint_lots import JointLots
from guardopt.scheduling.lots import (
    MOST_SETS,
    ROUNDING,
    TIE,
    Course,
    Dated,
    FoundCourse,
    Known,
    Lot,
    Saving,
    as_bits,
    is_dearer,
    least_in_hand,
    sets_of,
)
from guardopt.scheduling.on_offer import MOST_SALES, fetched_cents, lots_of, sellable
from guardopt.scheduling.purchase_courses import CourseProgram


class CourseSearch:
    """The courses that buy some guards, one by one or in offers, and sell some that are owned.

    A set of guards is a number whose first bits tell which owned ones are sold, and the others which are bought. No
    month in which something is sold leaves falls dearer than they were.

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
        self._for_sale = sellable(scenario, must)[:MOST_SALES]
        self._sales = 2 ** len(self._for_sale) - 1
        names = [*self._for_sale, *self._guards]
        self._bits = as_bits(table.kits[self._rows][:, [row[name] for name in names]])
        self._resale = [scenario.resale_value([name]) if saving.worth.any() else 0.0 for name in names]
        self._sets = np.arange(2 ** len(names))
        self._resale[: len(self._for_sale)] = [-back for back in self._resale[: len(self._for_sale)]]
        self._kept = scenario.resale_value(scenario.stock) if saving.worth.any() else 0.0
        singles, offers = lots_of(scenario, self._for_sale, self._guards)
        self._must = sum(1 << number for number, name in enumerate(names) if name in must)
        self._keeps = table.kits[self._rows][:, [row[name] for name in must & scenario.stock]].all(axis=1)
        ends = self._ends() if must else None
        if ends is not None and not must <= {*self._guards, *scenario.stock}:
            ends[:] = False
        self._program = CourseProgram(singles, offers, np.array(self._resale), saving, ends)
        self._least: dict[int, float] = {}

    @staticmethod
    def is_small(scenario: Scenario, guards: Sequence[str], must: Kit = frozenset()) -> bool:
        """Whether there are few enough sets of these guards, and of owned ones to sell, to go through."""
        for_sale = sellable(scenario, must)[:MOST_SALES]
        return sets_of(len(for_sale) + len(guards), lots_of(scenario, for_sale, guards)[1]) <= MOST_SETS

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
            known_costs = self._known()
            solved = (
                JointLots(self._program, known_costs, value).solve() if jointly else self._program.solve(known_costs)
            )
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

    def _known(self) -> Known:
        """What is known of f, less what owned guards fetch in the end, for every set of guards in hand."""
        least = self._table.bounds(self._years_of)[self._rows]
        most = np.where(self._table.priced[self._rows], least, np.inf)
        fits = self._all_kept if self._must or not self._keeps.all() else None
        return Known(*(self._in_hand(costs, fits) - self._kept for costs in (least, most)))

    def _in_hand(self, costs: Floats, fits: Bools | None) -> Floats:
        """``(sets,)``: the least of the costs of kits of guards in hand, with what is forced in where that `fits`."""
        least = least_in_hand(self._bits, costs, len(self._resale))
        if fits is not None:
            kept = least_in_hand(self._bits[self._keeps], costs[self._keeps], len(self._resale), self._must)
            least = np.where(fits, kept, least)
        bounds: Floats = least[self._sets ^ self._sales]
        return bounds

    @cached_property
    def _all_kept(self) -> Bools:
        """``(sets,)``: the sets of guards on the bike of which all that is forced in can be on it, numbered by them."""
        bits = self._bits[self._keeps]
        fits: Bools = np.isfinite(least_in_hand(bits, np.zeros(bits.size), len(self._resale), self._must))
        return fits

    def _ends(self) -> Bools:
        """``(sets,)``: the sets of guards in hand of which all that has to be on the bike can be."""
        ends: Bools = self._all_kept[self._sets ^ self._sales] & (self._sets & self._must == self._must)
        return ends

    def _floor(self) -> float:
        """What no course is below, known before the program is solved: the cheapest kit at once, for nothing."""
        costs = self._table.bounds(self._years_of)[self._rows]
        most = sum(max(0.0, back) for back in self._resale) + self._kept
        if self._saving.worth.any():
            most += fetched_cents(self._scenario, self._for_sale) / 100
        return float(costs.min() - most - ROUNDING * (np.abs(costs).max() + most))

    def _cost(self, lots: Sequence[Dated]) -> float:
        """What a course costs (1), exactly; infinite where it cannot be paid for or makes falls dearer by a sale."""
        saving = self._saving
        total, had, paid = 0.0, 0, 0
        by_month: list[list[Lot]] = [[] for _ in saving.weights]
        for dated in lots:
            by_month[dated.month].append(dated.lot)
        for month, new in enumerate(by_month):
            before, cents = had, sum(lot.cents for lot in new)
            paid += cents
            for lot in new:
                had |= lot.guards
            falls = self._falls(had)
            sells = any(lot.is_sale for lot in new)
            if paid > saving.purse[month] or (sells and is_dearer(falls - self._falls(before), self._falls(before))):
                return np.inf
            total += saving.weights[month] * falls + saving.worth[month] * cents / 100
        if not self._program.may_end_with(had):
            return np.inf
        return float(total - self._kept - self._program.resale_of(had))

    def _falls(self, had: int) -> float:
        """f: the least cost of a kit of guards in hand, exactly."""
        if had not in self._least:
            self._least[had] = self._table.least_of(self._years_of, self._fits(had))[1]
        return self._least[had]

    def _fits(self, had: int) -> Ints:
        in_hand = self._bits & ~np.int64(had ^ self._sales) == 0
        kept: Ints = self._rows[in_hand & self._keeps & (self._bits & self._must == had & self._must)]
        return kept if kept.size else self._rows[in_hand]

    def _improved(self, lots: Sequence[Dated]) -> tuple[Dated, ...]:
        """The course with each lot left out, or put off to the month of a later one, where that costs no more.

        So nothing is bought that is of no use, or long before it is. What is sold waits only where it has to.
        """
        course, value = tuple(lots), self._cost(lots)
        number = len(course) - 1
        while number >= 0:
            one, rest = course[number], (*course[:number], *course[number + 1 :])
            later = sorted({dated.month for dated in rest if dated.month > one.month} | {len(self._saving.weights) - 1})
            moves = [rest]
            if not one.lot.is_sale or np.isinf(value):
                waits = [month for month in (later[-1], later[0]) if month > one.month]
                moves += [_in_turn((*rest, Dated(month, one.lot))) for month in waits]
            costs = [self._cost(move) for move in moves]
            chosen = int(np.argmin(costs))
            if costs[chosen] <= value + TIE * max(1.0, abs(value)):
                course, value = moves[chosen], costs[chosen]
                number = len(course)
            number -= 1
        return course

    def _course(self, lots: Sequence[Dated]) -> Course:
        bought, fitted = [], []
        had, on, first = 0, self._scenario.stock, len(self._for_sale)
        for month in range(len(self._saving.weights)):
            new = sum(dated.lot.guards for dated in lots if dated.month == month)
            if new or not month:
                had |= new
                on = self._kit(had, on)
            named = {name for bit, name in enumerate(self._guards, first) if had >> bit & 1}
            bought.append(self._scenario.stock | named)
            fitted.append(on)
        return Course(tuple(bought), self._sold(lots, fitted), tuple(fitted))

    def _sold(self, lots: Sequence[Dated], fitted: Sequence[Kit]) -> tuple[Kit, ...]:
        """What is sold by each month: an owned guard once it is off for good, where that pays.

        Sooner than a course needs it does no harm; where money has its price, a guard that fetches less now than in the
        end is kept unless the course sells it.
        """
        scenario, worth = self._scenario, self._saving.worth
        sold = [set[str]() for _ in fitted]
        for bit, name in enumerate(self._for_sale):
            off = max((month + 1 for month, kit in enumerate(fitted) if name in kit), default=0)
            is_sold = any(dated.lot.guards == 1 << bit for dated in lots)
            if off < len(fitted):
                pays = worth[off] * scenario.guard[name].sells_cents / 100 >= -self._resale[bit]
                for month in range(off, len(fitted) if is_sold or pays else off):
                    sold[month].add(name)
        return tuple(frozenset(some) for some in sold)

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
