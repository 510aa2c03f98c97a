"""Lots of several guards that are worth their interest only together, bought at once and paid for at once.

`purchase_courses` lets each lot choose its month by itself, the first or the last. Where money has its price that may
bound courses too low: a lot that is worth less than the interest on its price, w_t Δf < (v_t − v_{t+1}) price, waits in
truth for a later one that it is worth having with. A course of the least cost is made of joint lots of which no
smaller part is worth its interest (such a part would better be bought before the rest), each in the first month whose
purse pays for it, and of one in the last month. Here these are gone through, among the sets of guards that a course of
less than a given cost can lead through by the bounds of `purchase_courses`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from guardopt.arrays import Floats
from guardopt.scheduling.lots import Dated, Lot, Solved, State
from guardopt.scheduling.purchase_courses import CourseProgram

MOST_STATES = 20_000
"""Above this many sets of guards the bound stays what it is."""


@dataclass(frozen=True)
class _Reached:
    """How a state is reached for least: from which, with which lots, in which month."""

    value: float
    come_from: State | None
    lots: tuple[Lot, ...]
    month: int


class JointLots:
    """Courses of joint lots that cost less than the best one known.

    Parameters
    ----------
    program
        The courses.
    cost
        ``(sets,)``: f, as for `CourseProgram.solve`.
    below
        What the best course known costs.
    """

    def __init__(self, program: CourseProgram, cost: Floats, below: float) -> None:
        self._program, self._cost = program, cost
        saving = program.saving
        self._rest, self._worth = saving.rest, saving.worth
        self._interest = (saving.worth[0] - saving.worth[1]) / saving.weights[0] if saving.worth.size > 1 else 0.0
        self._month = program.leading_below(cost, below)

    def solve(self) -> Solved | None:
        """The best course; None if none costs less, or if there are too many sets of guards to go through."""
        if not self._month or len(self._month) > MOST_STATES:
            return None
        start: State = (frozenset(), 0)
        reached = {start: _Reached(float(self._cost[0]), None, (), 0)}
        ends: list[tuple[float, State, _Reached]] = []
        for state in sorted(self._month, key=lambda one: (one[1].bit_count(), one[1], sorted(one[0]))):
            if state not in reached:
                continue
            if self._program.may_end_with(state[1]):
                ends.append((reached[state].value - self._program.resale_of(state[1]), state, reached[state]))
            for after, lots in self._joint(state, state, (), -1):
                first = self._at(state, after, lots, self._month[after], reached[state].value)
                if after not in reached or first.value < reached[after].value:
                    reached[after] = first
                last = self._at(state, after, lots, self._rest.size - 1, reached[state].value)
                if self._program.may_end_with(after[1]):
                    ends.append((last.value - self._program.resale_of(after[1]), after, last))
        if not ends:
            return None
        value, _, end = min(ends, key=lambda one: (one[0], one[1][1].bit_count(), one[1][1]))
        course: list[Dated] = []
        step: _Reached | None = end
        while step is not None and step.come_from is not None:
            course = [*(Dated(step.month, lot) for lot in step.lots), *course]
            step = reached[step.come_from]
        return Solved(tuple(course), value - self._program.rounding(self._cost))

    def _at(self, state: State, after: State, lots: tuple[Lot, ...], month: int, value: float) -> _Reached:
        drop, price = self._drop(state, after), sum(lot.cents for lot in lots) / 100
        return _Reached(float(value - self._rest[month] * drop + self._worth[month] * price), state, lots, month)

    def _drop(self, state: State, after: State) -> float:
        return float(self._cost[state[1]] - self._cost[after[1]])

    def _joint(
        self, start: State, before: State, lots: tuple[Lot, ...], newest: int
    ) -> Iterator[tuple[State, tuple[Lot, ...]]]:
        """The joint lots that can follow a state, each with where it leads; their parts by ascending numbers."""
        for number, lot in enumerate(self._program.lots):
            after = self._program.with_lot(before, number)
            if number <= newest or lot.guards & before[1] or after not in self._month:
                continue
            joint = (*lots, lot)
            yield after, joint
            if self._drop(start, after) < self._interest * sum(one.cents for one in joint) / 100:
                yield from self._joint(start, after, joint, number)
