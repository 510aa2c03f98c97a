"""Separation: cuts found at points, kept for later questions and weighed by some fall rates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.cuts.cut_finder import BareBills, FactFinder
from guardopt.cuts.cut_pool import BundledCuts, CutPool, CutSet
from guardopt.cuts.tail_cuts import TailFinder
from guardopt.cuts.waiting import Waiting

GRID = 1024
"""Fractional points are moved to multiples of 1 / GRID before cuts are found there, so that sums of them are exact."""


class Focus:
    """What is known for budgets up to one: the least that falls can cost within it, and the program's bounds."""

    def __init__(self, budget_cents: int | None, least: Floats, floor: Floats) -> None:
        self.budget_cents, self.least, self.floor = budget_cents, least, floor
        self.least_of_tail: Floats | None = None

    def serves(self, budget_cents: int | None) -> bool:
        """Whether what is known holds within this budget and was not found for a much larger one."""
        if budget_cents is None or self.budget_cents is None:
            return budget_cents is self.budget_cents
        return self.budget_cents / 2 <= budget_cents <= self.budget_cents


class Separation:
    """Finds cuts at points, under some fall rates.

    Parameters
    ----------
    finder, pool
        Where cuts about groups of falls come from and are kept; both may be shared between fall rates.
    tail_finder
        Makes what finds cuts about the tail mean, when these are first asked for.
    weights
        ``(bundles, groups)``: what the cost of each group counts in each bundle.
    waiting
        What waits, under these rates.
    """

    def __init__(
        self,
        finder: FactFinder,
        pool: CutPool,
        tail_finder: Callable[[], TailFinder],
        weights: Floats,
        waiting: Waiting,
    ) -> None:
        self._finder, self._pool, self._make_tail_finder = finder, pool, tail_finder
        self._weights, self._waiting = weights, waiting
        self._guards = int(finder.renewals.shape[1])
        self._bundled = self._bundle()
        self._tail_pool = CutPool()
        self._bundled_tail = BundledCuts(self._tail_pool, np.ones((1, 1)), self._guards)
        self._focus: Focus | None = None

    def _bundle(self) -> BundledCuts:
        return BundledCuts(self._pool, self._weights, self._guards, self._waiting)

    def bundled(self, *, is_tail: bool) -> BundledCuts:
        """The cuts found so far, as they bound the tail mean or the cost columns."""
        return self._bundled_tail if is_tail else self._bundled

    def sets(self, *, is_tail: bool) -> Sequence[CutSet]:
        """Where these cuts were found, by the number that rows of a program name."""
        return (self._tail_pool if is_tail else self._pool).sets

    @property
    def kept_groups(self) -> Sequence[BareBills]:
        """The groups of falls that may reach the cap; their cost columns are the last ones before the tail mean."""
        return self._finder.kept_groups

    @cached_property
    def _tail_finder(self) -> TailFinder:
        return self._make_tail_finder()

    @property
    def most_tail(self) -> float:
        """The most that the tail mean can be with any kit."""
        return self._tail_finder.most

    def tail_mean(self, kit: Floats) -> float:
        """The mean cost of the worst share of falls with a kit, ``(guards,)``."""
        return float(self._tail_finder.at(kit).at(kit)[0])

    def tail_anew(self, kit: Floats) -> tuple[Floats, Floats]:
        """Constant and slope of the cut about the tail mean at a kit, ``(guards,)``, for every kit; it is not kept."""
        found = self._tail_finder.at(kit)
        return found.constant, found.slope

    def falls_cost(self, kit: Floats) -> float:
        """What falls cost over the years with a kit, ``(guards,)``, in all bundles."""
        return float(self._waiting.bundled(self._weights @ self._finder.at(kit).at(kit)).sum())

    def focus_on(self, budget_cents: int | None) -> Focus:
        """What is known for kits within a budget."""
        if self._focus is None or not self._focus.serves(budget_cents):
            if self._pool.trim():
                self._bundled = self._bundle()
            least = self._finder.least_costs(budget_cents)
            floor = self._waiting.bundled(self._weights @ self._finder.group_floor(least))
            self._focus = Focus(budget_cents, least, floor)
        return self._focus

    def at(self, point: Floats, budget_cents: int | None = None, off: Bools | None = None) -> CutSet:
        """The cuts found at a point, kept for what is asked later.

        Parameters
        ----------
        point
            ``(guards,)``; fractional ones are moved to multiples of 1 / `GRID`.
        budget_cents
            The budget of a focus that the cuts are to hold within; None: for every kit.
        off
            ``(guards,)``: guards that are off where the cuts are to say most.
        """
        return self._find(self._pool, point, budget_cents, off, is_tail=False)

    def tail_at(self, point: Floats, budget_cents: int | None = None, off: Bools | None = None) -> CutSet:
        """The cut about the tail mean found at a point, shaped as one group; as `at`."""
        return self._find(self._tail_pool, point, budget_cents, off, is_tail=True)

    def bundled_at(self, point: Floats) -> tuple[Floats, Floats]:
        """Cuts at a point about the cost columns: constants ``(bundles,)``, slopes ``(bundles, guards)``."""
        return self._bundled.of(self.at(point))

    def _find(
        self, pool: CutPool, point: Floats, budget_cents: int | None, off: Bools | None, *, is_tail: bool
    ) -> CutSet:
        near = np.round(point * GRID) / GRID
        # A guard that is off but in the kit would make the cuts less than exact there.
        without = np.zeros(near.size, dtype=bool) if off is None else off & (near == 0.0)
        known = pool.at(near, budget_cents, without)
        if known is None:
            finder = self._tail_finder if is_tail else self._finder
            found = finder.at(near, self._least(budget_cents, is_tail=is_tail), without)
            known = CutSet(near, found.constant, found.slope, budget_cents, without)
            pool.add(known)
        return known

    def _least(self, budget_cents: int | None, *, is_tail: bool) -> Floats:
        """``(falls,)``: what falls that may reach the cap cost at least within a budget."""
        focus = self.focus_on(budget_cents)
        if not is_tail:
            return focus.least
        if focus.least_of_tail is None:
            focus.least_of_tail = self._tail_finder.least_costs(budget_cents)
        return focus.least_of_tail
