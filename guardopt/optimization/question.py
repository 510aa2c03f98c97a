"""One question as the tree is asked it: what is minimised within which limits, and the cuts that the sample gives."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.model.aims import Limits
from guardopt.optimization.formulation import ceiling_row, forced_bounds, money_row, other_rows
from guardopt.optimization.linear_rows import Row
from guardopt.optimization.measures import MEASURES
from guardopt.optimization.nodes import Statement

if TYPE_CHECKING:
    from guardopt.cuts.separation import Focus
    from guardopt.optimization.benders import Planner

BREAKS = 1e-9
"""A cut is worth adding if a point is below it by more than this share of the most that its column can be."""


class Question:
    """Answers what a `Tree` wants to know about one question.

    Parameters
    ----------
    planner
        Prices kits and finds cuts.
    measure, limits
        What is minimised, over which kits.
    focus
        What is known within the budget.
    """

    def __init__(self, planner: Planner, measure: str, limits: Limits, focus: Focus) -> None:
        self._planner, self._measure, self._limits, self._focus = planner, measure, limits, focus
        self._columns = planner.columns
        asked = [MEASURES[name] for name in (measure, *limits.at_most)]
        self._counts_tail = any(one.counts_tail for one in asked)
        self._counts_falls = any(one.counts_falls for one in asked)
        self._most = np.zeros(self._columns.count)

    def statement(self) -> Statement:
        """The program without cuts."""
        planner, columns, limits = self._planner, self._columns, self._limits
        lower, upper = np.zeros(columns.count), np.zeros(columns.count)
        lower[: columns.binaries], upper[: columns.binaries] = forced_bounds(
            planner.scenario, columns, limits.must, limits.never
        )
        lower[columns.binaries : columns.tail] = self._focus.floor
        upper[columns.binaries : columns.tail] = np.maximum(planner.terms.ceiling, self._focus.floor)
        if self._counts_tail:
            upper[columns.tail] = planner.cuts.most_tail
        self._most = upper
        rows = [*planner.fitting_rows, *other_rows(planner.scenario, limits.other_than)]
        if limits.budget_cents is not None:
            rows.append(money_row(planner.scenario, limits.budget_cents))
        for name, most in limits.at_most.items():
            cost, constant = MEASURES[name].linear(planner)
            rows.append(ceiling_row(cost, most - constant, name))
        measure = MEASURES[self._measure]
        cost, constant = measure.linear(planner)
        # One cut bounds the whole tail mean, and it is tight only where it was found.
        fractional = sys.maxsize if measure.counts_tail else 10
        return Statement(columns.guards, columns.binaries, cost, constant, lower, upper, rows, measure.step, fractional)

    def value(self, kit: Bools) -> float | None:
        """The measure of a kit; None if the kit is not allowed."""
        named = self._planner.kit_of(kit)
        return self._planner.measure(self._measure, named) if self._planner.is_allowed(named, self._limits) else None

    def known_cuts(self, point: Floats) -> list[Row]:
        """Of the cuts of the pool the strongest about each column, where the point breaks it."""
        return [row for is_tail in self._cost_columns for row in self._broken(point, is_tail=is_tail)]

    def new_cuts(self, point: Floats, off: Bools) -> list[Row]:
        """Find cuts at a point; those that it breaks."""
        guards, budget = point[: self._columns.guards], self._focus.budget_cents
        for is_tail in self._cost_columns:
            # Cuts about single bundles are many: those that say little away from where they were found only slow down.
            if is_tail:
                self._planner.cuts.tail_at(guards, budget, off)
            else:
                self._planner.cuts.at(guards, budget)
        return self.known_cuts(point)

    @property
    def _cost_columns(self) -> list[bool]:
        """Which kinds of cost columns the question is about: that of the tail (True), those of the bundles (False)."""
        return [True] * self._counts_tail + [False] * self._counts_falls

    def _broken(self, point: Floats, *, is_tail: bool) -> list[Row]:
        columns = self._columns
        bundled = self._planner.cuts.bundled(is_tail=is_tail)
        first, last = (columns.tail, columns.count) if is_tail else (columns.binaries, columns.tail)
        numbers, says = bundled.strongest(point[: columns.guards], self._focus.budget_cents)
        broken = np.flatnonzero(says > point[first:last] + BREAKS * self._most[first:last])
        pairs = [(int(one), int(numbers[one])) for one in broken]
        return [columns.cut(first + one, *bundled.cut(number, one), number) for one, number in pairs]

    def near(self, point: Floats) -> Bools | None:
        """A kit put together guard by guard, the largest part first, as long as the limits are kept."""
        planner, scenario = self._planner, self._planner.scenario
        values = point[: self._columns.guards]
        loose = replace(self._limits, at_most={}, must=frozenset())
        kit = self._limits.must
        for column in np.argsort(-values, kind="stable").tolist():
            if values[column] < 0.1:
                break
            guard = scenario.guards[column]
            if guard.id in kit:
                continue
            wider = kit | {guard.id}
            for alternatives in guard.needs:
                if not alternatives & wider:
                    best = max(
                        sorted(alternatives), key=lambda name: values[planner.bike.guard_row[name]], default=None
                    )
                    wider |= set() if best is None else {best}
            if planner.is_allowed(frozenset(wider), loose):
                kit = frozenset(wider)
        return planner.bike.kit_array(kit)
