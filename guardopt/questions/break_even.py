"""From how many falls on a guard is worth its price, and until how many.

With all fall rates multiplied by m, the outlay of a kit is a straight line in m: what the kit costs to buy, plus m
times what falls cost with it. The least outlay is the lower envelope of these lines. Its corners are found by halving:
between two kits of the envelope, the kit that is best where their lines cross either lies below the crossing, and is
on the envelope as well, or the two are neighbours (Eisner and Severance, J. ACM 23, 1976).

Where damage waits, what falls cost grows less than in proportion and the lines are bent. Then multiples are tried at
steps, and between two steps with different kits the change is looked for by halving: a kit that is best only between
two steps with the same kit is not found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from guardopt.deadline import NEVER, Deadline
from guardopt.errors import OutOfTimeError
from guardopt.model.aims import GAP, OUTLAY, Limits
from guardopt.model.pieces import Kit
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST

MOST = 1000.0
"""Largest multiple of the fall rates looked at."""


STEPS_OF_TEN, LEAST = 4, 0.01
"""Where damage waits: multiples tried from one power of ten to the next, and the least one above 0."""

NEAR_ENOUGH = 0.01
"""Relative distance of two multiples between which no change is looked for."""


@dataclass(frozen=True)
class BreakEven:
    """The multiples of all fall rates between which a guard is in the kit of least outlay.

    Attributes
    ----------
    worth_it_from
        The least multiple; 0 if it is in even when nothing ever falls, None if it never is.
    worth_it_until
        The multiple at which it is out for good; None if it stays.
    is_known
        False if the time ran out before both were found out; they are then None.
    """

    worth_it_from: float | None
    worth_it_until: float | None
    is_known: bool = True


@dataclass(frozen=True)
class _Line:
    """The outlay of one kit: fixed + m × falls."""

    kit: Kit
    fixed: float
    falls: float

    def at(self, multiple: float) -> float:
        return self.fixed + multiple * self.falls


class _Envelope:
    """The kits of least outlay by rising multiple, as far as they are found before the time runs out."""

    def __init__(self, planner: Planner, limits: Limits, gap: float, deadline: Deadline) -> None:
        self._planner, self._limits, self._gap, self._deadline = planner, limits, gap, deadline
        self.lines: list[_Line] = []
        self.is_whole = False
        """Whether no kit is missing; otherwise those found are the first ones."""
        self.last: Kit | None = None
        """The kit at the largest multiple, if it was found."""
        try:
            first = self._best_at(0.0)
            last = self._best_at(MOST)
            self.last = last.kit
            self.lines = [first]
            self._add_between(first, last)
            self.is_whole = True
        except OutOfTimeError:
            pass

    def _add_between(self, left: _Line, right: _Line) -> None:
        """Add what follows a line of the envelope, up to and with one further right."""
        if left.kit == right.kit or left.falls <= right.falls:
            return
        multiple = _crossing(left, right)
        middle = self._best_at(multiple)
        least = left.at(multiple)
        if middle.falls >= left.falls or middle.at(multiple) >= least - self._gap * max(1.0, abs(least)):
            self.lines.append(right)
            return
        self._add_between(left, middle)
        self._add_between(self.lines[-1], right)

    def _best_at(self, multiple: float) -> _Line:
        """The line that is lowest at a multiple.

        Raises
        ------
        OutOfTimeError
            It was not proven lowest in time.
        """
        if self._deadline.is_over:
            raise OutOfTimeError("the time allowed is over")
        rates = [multiple * fall.per_year for fall in self._planner.scenario.falls]
        best = self._planner.with_rates(rates).best(OUTLAY, self._limits, gap=self._gap, deadline=self._deadline)
        if not best.proven and self._deadline.is_over:
            raise OutOfTimeError("the time allowed is over")
        return _line(self._planner, best.kit)

    @property
    def spans(self) -> list[tuple[Kit, float, float]]:
        """The kits found, each with the multiples from and to which it is best."""
        edges = [0.0, *(_crossing(one, two) for one, two in pairwise(self.lines)), MOST]
        return [(line.kit, edges[row], edges[row + 1]) for row, line in enumerate(self.lines)]


class _Tried:
    """The kits of least outlay at multiples that were tried, where damage waits; attributes as those of `_Envelope`."""

    def __init__(self, planner: Planner, limits: Limits, gap: float, deadline: Deadline) -> None:
        self._planner, self._limits, self._gap, self._deadline = planner, limits, gap, deadline
        self.is_whole = False
        self.last: Kit | None = None
        self._kits: dict[float, Kit] = {}
        count = round(STEPS_OF_TEN * math.log10(MOST / LEAST))
        steps = [0.0, *(LEAST * 10.0 ** (step / STEPS_OF_TEN) for step in range(count)), MOST]
        try:
            self.last = self._at(MOST)
            for low, high in pairwise(steps):
                self._look_between(low, high)
            self.is_whole = True
        except OutOfTimeError:
            self._kits.pop(MOST, None)

    def _at(self, multiple: float) -> Kit:
        if multiple not in self._kits:
            if self._deadline.is_over:
                raise OutOfTimeError("the time allowed is over")
            rates = [multiple * fall.per_year for fall in self._planner.scenario.falls]
            best = self._planner.with_rates(rates).best_or_none(
                OUTLAY, self._limits, gap=self._gap, deadline=self._deadline
            )
            if best is None or not best.proven:
                raise OutOfTimeError("no kit was proven best in the time allowed")
            self._kits[multiple] = best.kit
        return self._kits[multiple]

    def _look_between(self, low: float, high: float) -> None:
        if self._at(low) == self._at(high) or high - low <= NEAR_ENOUGH * max(high, LEAST):
            return
        middle = (low + high) / 2.0 if low == 0.0 else math.sqrt(low * high)
        self._look_between(low, middle)
        self._look_between(middle, high)

    @property
    def spans(self) -> list[tuple[Kit, float, float]]:
        """The kits found, each with the multiples from and to which it is best as far as was tried."""
        multiples = sorted(self._kits)
        edges = [0.0, *((low + high) / 2.0 for low, high in pairwise(multiples)), MOST]
        return [(self._kits[one], edges[row], edges[row + 1]) for row, one in enumerate(multiples)]


def break_even(
    planner: Planner, limits: Limits, *, gap: float = GAP, deadline: Deadline = NEVER
) -> dict[str, BreakEven]:
    """For each guard, between which multiples of the fall rates it is worth having.

    Parameters
    ----------
    planner
        Its facts serve every multiple.
    limits
        Budget, and guards forced in and out.
    gap
        Relative gap to which each kit is proven best.
    deadline
        When to stop; guards of which too little is known by then say so.
    """
    looked_at = _Tried if planner.scenario.waits else _Envelope
    envelope = looked_at(planner, limits, gap, deadline)
    spans = envelope.spans
    found = {}
    for guard in planner.scenario.guards:
        inside = [(start, stop) for kit, start, stop in spans if guard.id in kit]
        stays = envelope.last is not None and guard.id in envelope.last
        if not envelope.is_whole:
            is_known = bool(inside) and stays
            found[guard.id] = BreakEven(inside[0][0] if is_known else None, None, is_known)
        elif not inside:
            found[guard.id] = BreakEven(None, None)
        else:
            until = inside[-1][1]
            found[guard.id] = BreakEven(inside[0][0], None if until >= MOST else until)
    return found


def _line(planner: Planner, kit: Kit) -> _Line:
    """The line of a kit, from its measures under the scenario's own rates."""
    scenario = planner.scenario
    falls = planner.measure(COST, kit) - scenario.dislike(kit)
    return _Line(kit, planner.measure(OUTLAY.measures[0], kit) - falls, falls)


def _crossing(one: _Line, two: _Line) -> float:
    return (two.fixed - one.fixed) / (one.falls - two.falls)
