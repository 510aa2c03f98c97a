"""From how many falls on a guard is worth its price, and until how many.

With all fall rates multiplied by m, the outlay of a kit is a straight line in m: what the kit costs to buy, plus m
times what falls cost with it. The least outlay is the lower envelope of these lines. Its corners are found by halving:
between two kits of the envelope, the kit that is best where their lines cross either lies below the crossing, and is
on the envelope as well, or the two are neighbours (Eisner and Severance, J. ACM 23, 1976).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from guardopt.planner import GAP, Aim, Planner
from guardopt.program import Limits, Measure
from guardopt.scenario import Kit

MOST = 1000.0
"""Largest multiple of the fall rates looked at."""


@dataclass(frozen=True)
class BreakEven:
    """The multiples of all fall rates between which a guard is in the kit of least outlay.

    Attributes
    ----------
    worth_it_from
        The least multiple; 0 if it is in even when nothing ever falls, None if it never is.
    worth_it_until
        The multiple at which it is out for good; None if it stays.
    """

    worth_it_from: float | None
    worth_it_until: float | None


@dataclass(frozen=True)
class _Line:
    """The outlay of one kit: fixed + m × falls."""

    kit: Kit
    fixed: float
    falls: float

    def at(self, multiple: float) -> float:
        return self.fixed + multiple * self.falls


def break_even(planner: Planner, limits: Limits, *, gap: float = GAP) -> dict[str, BreakEven]:
    """For each guard, between which multiples of the fall rates it is worth having.

    Parameters
    ----------
    planner
        Its facts serve every multiple.
    limits
        Budget, and guards forced in and out.
    gap
        Relative gap to which each kit is proven best.
    """
    spans = _envelope(planner, limits, gap)
    found = {}
    for guard in planner.scenario.guards:
        inside = [(start, end) for line, start, end in spans if guard.id in line.kit]
        if not inside:
            found[guard.id] = BreakEven(None, None)
            continue
        until = inside[-1][1]
        found[guard.id] = BreakEven(inside[0][0], None if until >= MOST else until)
    return found


def _envelope(planner: Planner, limits: Limits, gap: float) -> list[tuple[_Line, float, float]]:
    """The kits of least outlay, each with the multiples from and to which it is best."""
    lines = _between(planner, limits, gap, (0.0, _best_at(planner, limits, 0.0, gap)), (MOST, None))
    edges = [0.0, *(_crossing(one, two) for one, two in pairwise(lines)), MOST]
    return [(line, edges[row], edges[row + 1]) for row, line in enumerate(lines)]


def _between(
    planner: Planner, limits: Limits, gap: float, low: tuple[float, _Line], high: tuple[float, _Line | None]
) -> list[_Line]:
    left = low[1]
    right = high[1] or _best_at(planner, limits, high[0], gap)
    if left.kit == right.kit or left.falls <= right.falls:
        return [left]
    multiple = _crossing(left, right)
    middle = _best_at(planner, limits, multiple, gap)
    if middle.at(multiple) >= left.at(multiple) - gap * max(1.0, abs(left.at(multiple))):
        return [left, right]
    first = _between(planner, limits, gap, (low[0], left), (multiple, middle))
    return first[:-1] + _between(planner, limits, gap, (multiple, first[-1]), (high[0], right))


def _best_at(planner: Planner, limits: Limits, multiple: float, gap: float) -> _Line:
    rates = [multiple * fall.per_year for fall in planner.scenario.falls]
    best = planner.with_rates(rates).best(Aim.OUTLAY, replace(limits), gap=gap)
    return _line(planner, best.kit)


def _line(planner: Planner, kit: Kit) -> _Line:
    """The line of a kit, from its measures under the scenario's own rates."""
    scenario = planner.scenario
    falls = planner.measure(Measure.COST, kit) - scenario.dislike(kit)
    return _Line(kit, planner.measure(Measure.OUTLAY, kit) - falls, falls)


def _crossing(one: _Line, two: _Line) -> float:
    return (two.fixed - one.fixed) / (one.falls - two.falls)
