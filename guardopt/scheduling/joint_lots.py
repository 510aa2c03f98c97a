"""Lots of several guards that are worth their interest only together, bought at once and paid for at once.

`purchase_courses` lets each lot choose its month by itself, the first or the last. Where money has its price that may
bound courses too low: a lot that is worth less than the interest on its price, w_t Δf < (v_t − v_{t+1}) price, waits in
truth for a later one that it is worth having with. A course of the least cost is made of joint lots of which no
smaller part is worth its interest (such a part would better be bought before the rest), each in the first month whose
purse pays for it, and of one in the last month. Here these are gone through, among the sets of guards that a course of
less than a given cost can lead through by the bounds of `purchase_courses`.

What is sold comes first in a joint lot, which goes on until what is bought with it makes up for what that makes
dearer; one after which falls are known to cost more than before is left out. Selling may pay for a set of guards before
a smaller set was paid for, so a set may be reached early and dear, or late and cheap; both are kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from guardopt.scheduling.lots import Dated, Known, Lot, Move, Solved, State, is_barred
from guardopt.scheduling.purchase_courses import CourseProgram

MOST_STATES = 20_000
"""Above this many sets of guards the bound stays what it is."""


@dataclass(frozen=True)
class _Reached:
    """How a state is reached: at what cost so far, with which lots, in which month, and what came before."""

    value: float
    month: int
    lots: tuple[Lot, ...] = ()
    before: _Reached | None = None


class JointLots:
    """Courses of joint lots that cost less than the best one known.

    Parameters
    ----------
    program
        The courses.
    known
        f, as for `CourseProgram.solve`.
    below
        What the best course known costs.
    """

    def __init__(self, program: CourseProgram, known: Known, below: float) -> None:
        self._program, self._known = program, known
        saving = program.saving
        self._rest, self._worth = saving.rest, saving.worth
        self._interest = (saving.worth[0] - saving.worth[1]) / saving.weights[0] if saving.worth.size > 1 else 0.0
        self._month, self._moves = program.leading_below(known, below), program.moves

    def solve(self) -> Solved | None:
        """The best course; None if none costs less, or if there are too many sets of guards to go through."""
        if not self._month or len(self._month) > MOST_STATES:
            return None
        reached: dict[State, list[_Reached]] = {(frozenset(), 0): [_Reached(float(self._known.least[0]), 0)]}
        ends: list[tuple[float, int, int, _Reached]] = []
        for state in sorted(self._month, key=lambda one: (one[1].bit_count(), one[1], sorted(one[0]))):
            if state not in reached:
                continue
            ends += self._ends(state[1], reached[state])
            for after, lots in self._joint(state):
                for one in reached[state]:
                    first = self._at(state, after, lots, max(one.month, self._month[after]), one)
                    reached[after] = _undominated([*reached.get(after, []), first])
                last = [self._at(state, after, lots, self._rest.size - 1, one) for one in reached[state]]
                ends += self._ends(after[1], last)
        if not ends:
            return None
        value, _, _, end = min(ends, key=lambda one: one[:3])
        course: list[Dated] = []
        step: _Reached | None = end
        while step is not None:
            course = [*(Dated(step.month, lot) for lot in step.lots), *course]
            step = step.before
        return Solved(tuple(course), value - self._program.rounding(self._known))

    def _ends(self, guards: int, reached: list[_Reached]) -> list[tuple[float, int, int, _Reached]]:
        """What courses that end so cost, fewest lots first among equals; nothing where none may."""
        if not self._program.may_end_with(guards):
            return []
        back = self._program.resale_of(guards)
        return [(one.value - back, guards.bit_count(), guards, one) for one in reached]

    def _at(self, state: State, after: State, lots: tuple[Lot, ...], month: int, before: _Reached) -> _Reached:
        drop, price = self._drop(state, after), sum(lot.cents for lot in lots) / 100
        value = before.value - self._rest[month] * drop + self._worth[month] * price
        return _Reached(float(value), month, lots, before)

    def _drop(self, state: State, after: State) -> float:
        return float(self._known.least[state[1]] - self._known.least[after[1]])

    def _joint(self, start: State) -> Iterator[tuple[State, Move]]:
        """The joint lots that can follow a state, each with where it leads."""
        for number, (offer, move) in enumerate(self._moves):
            yield from self._grown(start, start, (), number, offer, move)

    def _grown(
        self, start: State, before: State, lots: Move, newest: int, offer: frozenset[int], move: Move
    ) -> Iterator[tuple[State, Move]]:
        """A joint lot with one more move, and those that go on from it, what is bought by ascending numbers."""
        guards = sum(lot.guards for lot in move)
        after = before[0] | offer, before[1] | guards
        if guards & before[1] or after not in self._month:
            return
        joint = (*lots, *move)
        drop, sells = self._drop(start, after), joint[0].is_sale
        if not (sells and is_barred(self._known, np.array([start[1]]), np.array([after[1]]))[0]):
            yield after, joint
        if sells and len(joint) == 1:
            return
        if drop < self._interest * sum(lot.cents for lot in joint) / 100 or (sells and drop < 0.0):
            for number, (offer_, more) in enumerate(self._moves[newest + 1 :], newest + 1):
                if not more[0].is_sale:
                    yield from self._grown(start, after, joint, number, offer_, more)


def _undominated(reached: list[_Reached]) -> list[_Reached]:
    """Of ways to reach one state those of which none is both earlier and cheaper."""
    kept: list[_Reached] = []
    for one in sorted(reached, key=lambda one: (one.month, one.value)):
        if not kept or one.value < kept[-1].value:
            kept.append(one)
    return kept
