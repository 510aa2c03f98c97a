"""Cuts found so far, group of falls by group of falls, so that any fall rates can weigh them anew."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.cuts.waiting import Waiting


@dataclass(frozen=True)
class CutSet:
    """Cuts θ_g ≥ constant − Σ_i slope_i x_i about every group g, found at one point.

    Attributes
    ----------
    point
        ``(guards,)``.
    constant, slope
        ``(groups,)`` and ``(groups, guards)``.
    budget_cents
        They hold for kits within this budget; None: for every kit.
    off
        ``(guards,)``: guards that are off where they say most.
    """

    point: Floats
    constant: Floats
    slope: Floats
    budget_cents: int | None
    off: Bools

    @property
    def key(self) -> tuple[bytes, int | None, bytes]:
        """What tells it from other sets of the same pool."""
        return self.point.tobytes(), self.budget_cents, self.off.tobytes()


class CutPool:
    """Sets of cuts, told apart by the point, the budget and the guards off that they were found for.

    Parameters
    ----------
    most
        How many are kept when `trim` is called; the oldest go first.
    """

    def __init__(self, most: int = 300) -> None:
        self._most = most
        self.sets: list[CutSet] = []
        self._number: dict[tuple[bytes, int | None, bytes], int] = {}

    def add(self, cuts: CutSet) -> None:
        """Keep a set."""
        self._number[cuts.key] = len(self.sets)
        self.sets.append(cuts)

    def at(self, point: Floats, budget_cents: int | None, off: Bools) -> CutSet | None:
        """The set found at a point for a budget with some guards off, if there is one."""
        number = self._number.get((point.tobytes(), budget_cents, off.tobytes()))
        return None if number is None else self.sets[number]

    def of_every_kit(self) -> CutPool:
        """A pool of the sets that hold for every kit, whatever the budget."""
        pool = CutPool(self._most)
        for cuts in self.sets:
            if cuts.budget_cents is None:
                pool.add(cuts)
        return pool

    def trim(self) -> bool:
        """Forget the oldest sets where there are too many; whether there were."""
        if len(self.sets) <= self._most:
            return False
        kept = self.sets[-self._most // 2 :]
        self.sets, self._number = [], {}
        for cuts in kept:
            self.add(cuts)
        return True


class BundledCuts:
    """The cuts of a pool as they bound the cost columns under some fall rates.

    Parameters
    ----------
    pool
        The sets of cuts; more may be added to it.
    weights
        ``(bundles, groups)``: what the cost of each group counts in each bundle.
    guards
        How many there are.
    waiting
        Makes cuts about costs of those about how often something that waits comes about; None where nothing waits.
    """

    def __init__(self, pool: CutPool, weights: Floats, guards: int, waiting: Waiting | None = None) -> None:
        self._pool, self._waiting = pool, waiting
        # A group counts in one bundle at most.
        bundle = weights.argmax(axis=0)
        self._weight = weights[bundle, np.arange(bundle.size)]
        self._order = np.argsort(bundle, kind="stable")
        self._filled, self._starts = np.unique(bundle[self._order], return_index=True)
        self._count = 0
        self._constant = np.zeros((16, len(weights)))
        self._slope = np.zeros((16, len(weights), guards))
        self._within = np.zeros(16)

    def _catch_up(self) -> None:
        missing = self._pool.sets[self._count :]
        if not missing:
            return
        while self._count + len(missing) > len(self._constant):
            self._constant = np.concatenate([self._constant, np.zeros_like(self._constant)])
            self._slope = np.concatenate([self._slope, np.zeros_like(self._slope)])
            self._within = np.concatenate([self._within, np.zeros_like(self._within)])
        for cuts in missing:
            self._constant[self._count], self._slope[self._count] = self.of(cuts)
            self._within[self._count] = math.inf if cuts.budget_cents is None else cuts.budget_cents
            self._count += 1

    def of(self, cuts: CutSet) -> tuple[Floats, Floats]:
        """A set of cuts about bundles: constants ``(bundles,)``, slopes ``(bundles, guards)``."""
        constant, slope = self._bundled(cuts.constant), self._bundled(cuts.slope)
        return (constant, slope) if self._waiting is None else self._waiting.chords(constant, slope)

    def _bundled(self, values: Floats) -> Floats:
        """``(groups, ...)`` weighed and added up by bundle, ``(bundles, ...)``."""
        found = np.zeros((self._constant.shape[1], *values.shape[1:]))
        if values.size:
            weighed = (values.T * self._weight).T[self._order]
            found[self._filled] = np.add.reduceat(weighed, self._starts, axis=0)
        return found

    def cut(self, number: int, bundle: int) -> tuple[float, Floats]:
        """One cut: its constant and its slope ``(guards,)``."""
        return float(self._constant[number, bundle]), self._slope[number, bundle]

    def strongest(self, point: Floats, budget_cents: int | None) -> tuple[Floats, Floats]:
        """For each bundle the cut that says most at a point.

        Parameters
        ----------
        point
            ``(guards,)``.
        budget_cents
            Cuts that hold within this budget are looked at.

        Returns
        -------
        ``(bundles,)`` each: the number of its set, and what it says; −1 and −∞ where there is none.
        """
        self._catch_up()
        bundles = self._constant.shape[1]
        numbers = np.flatnonzero(self._within[: self._count] >= (math.inf if budget_cents is None else budget_cents))
        if not numbers.size:
            return np.full(bundles, -1), np.full(bundles, -np.inf)
        says = self._constant[numbers] - self._slope[numbers] @ point
        best = says.argmax(axis=0)
        return numbers[best], says[best, np.arange(bundles)]
