"""A program for budgets up to one, with the facts it was told of."""

from __future__ import annotations

import numpy as np

from guardopt.aims import Measure
from guardopt.arrays import Floats, Ints
from guardopt.program import Program, Terms

TIE = 1e-9
"""Relative difference below which two costs are the same; sums of the same costs in another order differ by less."""


class Focus:
    """A program for budgets up to one, and the facts it was told of, which hold for kits within that budget.

    A smaller budget has a program of its own when it is much smaller: fewer falls can then be kept below the cap, and
    facts say more.
    """

    def __init__(self, budget_cents: int | None, least: Floats, program: Program, terms: Terms) -> None:
        guards = terms.guard_cost.size
        self.budget_cents, self.least, self.program = budget_cents, least, program
        self.least_of_tail: Floats | None = None
        self.pool, self.tail_pool = Pool(terms.bundle_floor, guards), Pool(np.zeros(1), guards)
        self.relaxed: set[Measure] = set()
        self.told: set[tuple[Measure, bytes]] = set()

    def serves(self, budget_cents: int | None) -> bool:
        """Whether the facts hold within this budget and were not found for a much larger one."""
        if budget_cents is None or self.budget_cents is None:
            return budget_cents is self.budget_cents
        return self.budget_cents / 2 <= budget_cents <= self.budget_cents


class Pool:
    """The facts kept so far about each variable, to tell whether another says more at a kit than they do."""

    def __init__(self, floor: Floats, guards: int) -> None:
        self._floor = floor
        self._variable = np.zeros(0, dtype=np.int64)
        self._constant = np.zeros(0)
        self._slope = np.zeros((0, guards))

    def news(self, constant: Floats, slope: Floats, x: Floats) -> tuple[Ints, Floats, Floats]:
        """Keep the facts, one a variable, that say more at x: the variables, constants and slopes of these."""
        known = self._floor.copy()
        np.maximum.at(known, self._variable, self._constant - self._slope @ x)
        news = np.flatnonzero(constant - slope @ x > known * (1.0 + TIE) + TIE)
        self._variable = np.concatenate([self._variable, news])
        self._constant = np.concatenate([self._constant, constant[news]])
        self._slope = np.concatenate([self._slope, slope[news]])
        return news, constant[news], slope[news]
