"""Every kit that can be fitted, where there are few enough to list, with a bound on what each costs.

A question with many answers (the kit for every budget, the kit without each guard in turn) asks for dozens of optima
that differ in a single limit. Where the kits can be listed, what the merged items cost is exact for all of them at
once, and facts bound the rest; an optimum is then found by pricing the kit of least bound until its price is no more
than the next bound. It is the same proof as that of the integer program, and each checks the other.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from copy import copy

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.cuts.kit_lists import spends
from guardopt.cuts.ties import TIE, change_of
from guardopt.cuts.waiting import WaitingOfKits
from guardopt.deadline import NEVER, Deadline
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario

ROWS_AT_ONCE = 4096


class KitTable:
    """Bounds on what one fall of each kind costs with every kit, raised as facts are found.

    What falls weigh is given with each question, so one table serves any fall rates.

    Parameters
    ----------
    scenario
        The guards on offer.
    kits
        ``(kits, guards)``, from `legal_kits`.
    exact_part
        ``(kinds of fall, kits)``: what is known exactly of one fall's cost: merged items and renewals.
    group_fall, floor
        ``(groups,)``: the kind of fall of each group of falls that may reach the cap, and the least it can cost.
    price_kit
        Prices a kit ``(guards,)``: constants ``(groups,)`` and slopes ``(groups, guards)`` of the facts found at it,
        which are exact there.
    waiting
        What is known exactly of what waits; None where nothing does.
    counts_dislike
        Whether what an owner dislikes counts in what a kit costs.
    """

    def __init__(
        self,
        scenario: Scenario,
        kits: Bools,
        exact_part: Floats,
        group_fall: Ints,
        floor: Floats,
        price_kit: Callable[[Floats], tuple[Floats, Floats]],
        waiting: WaitingOfKits | None = None,
        *,
        counts_dislike: bool = True,
    ) -> None:
        self._kits, self._waiting, self._counts_dislike = kits, waiting, counts_dislike
        self._exact_part, self._group_fall = exact_part, group_fall
        self._price_kit = price_kit
        self._position = {guard.id: row for row, guard in enumerate(scenario.guards)}
        self._take_terms(scenario)
        self._least = np.tile(floor, (len(kits), 1))
        self._priced = np.full(len(kits), group_fall.size == 0)
        self._constants = np.zeros((0, group_fall.size))
        self._slopes = np.zeros((0, group_fall.size, kits.shape[1]))
        self._heeded = np.zeros(len(kits), dtype=np.int64)

    def with_terms(self, scenario: Scenario) -> KitTable:
        """A table of the same kits at other prices, which begins with the facts found so far.

        Parameters
        ----------
        scenario
            The same guards; they exclude, need and weigh what they do in this table, and wear alike.
        """
        other = copy(self)
        other._least, other._priced, other._heeded = self._least.copy(), self._priced.copy(), self._heeded.copy()
        other._take_terms(scenario)
        return other

    def _take_terms(self, scenario: Scenario) -> None:
        self._scenario = scenario
        self._spend_cents = spends(scenario, self._kits)
        self._change = self._kits @ change_of(scenario)
        self._dislike = self._kits @ np.array([guard.dislike * self._counts_dislike for guard in scenario.guards])
        resale = np.array([scenario.resale_value([guard.id]) for guard in scenario.guards])
        self._outlay_extra = self._spend_cents / 100 - self._kits @ resale
        self._weights = np.full(len(self._exact_part), np.nan)

    def best(
        self,
        weights: Floats,
        budget_cents: int | None,
        must: Kit,
        never: Kit,
        other_than: Collection[Kit] = (),
        *,
        outlay: bool,
        gap: float,
        deadline: Deadline = NEVER,
    ) -> tuple[Kit, float, float] | None:
        """The best kit within limits, what it measures and a bound on that of every kit allowed.

        None if no kit is allowed. It measures its cost over the years, dislikes included, or its outlay.

        Parameters
        ----------
        weights
            ``(kinds of fall,)``: ā λ_f.

        Raises
        ------
        OutOfTimeError
            The time was over before a kit was proven best.
        """
        allowed = self.allowed(budget_cents, must, never, other_than)
        if not allowed.size:
            return None
        extra = self._outlay_extra[allowed] if outlay else np.zeros(allowed.size)
        row, value, bound = self._best_of(weights, allowed, extra, gap, deadline)
        return self.kit(row), value, bound

    def first_of(self, weights: Floats, rows: Ints, deadline: Deadline = NEVER) -> int:
        """Of some kits the row of the one that costs least over the years; ties go to less spend, then less change."""
        return self._best_of(weights, rows, np.zeros(rows.size), 0.0, deadline)[0]

    def _best_of(
        self, weights: Floats, allowed: Ints, extra: Floats, gap: float, deadline: Deadline
    ) -> tuple[int, float, float]:
        """The row of the best of some kits, what it measures, and a bound on what any of them does."""
        self._weigh(weights)
        while True:
            bounds = self._bound[allowed] + extra
            least = int(np.argmin(bounds))
            values = np.where(self._priced[allowed], bounds, np.inf)
            best = int(np.argmin(values))
            value = values[best]
            if np.isfinite(value):
                if value - bounds[least] <= gap * max(1.0, abs(value)):
                    tied = self._first_of_tied(allowed, extra, float(value))
                    return tied, float(value), float(min(bounds[least], value))
                if self._heed(allowed[bounds < value]):
                    continue
            deadline.check()
            self._learn_price(int(allowed[least]))

    @property
    def kits(self) -> Bools:
        """``(kits, guards)``: the kits, one a row."""
        return self._kits

    def bounds(self, weights: Floats) -> Floats:
        """``(kits,)``: what each kit costs over the years at least, dislikes included, by all that is known so far."""
        self._weigh(weights)
        self._heed(np.arange(len(self._kits)))
        known: Floats = self._bound
        return known

    @property
    def priced(self) -> Bools:
        """``(kits,)``: whether what a kit costs is known exactly."""
        return self._priced

    def least_of(self, weights: Floats, rows: Ints, deadline: Deadline = NEVER) -> tuple[int, float]:
        """Of some kits the row of one that costs least over the years, and what it costs, exactly."""
        self._weigh(weights)
        while True:
            least = int(rows[np.argmin(self._bound[rows])])
            if self._priced[least]:
                return least, float(self._bound[least])
            if not self._heed(rows[self._bound[rows] <= self._bound[least]]):
                deadline.check()
                self._learn_price(least)

    def cost(self, weights: Floats, row: int) -> float:
        """What one kit costs over the years, dislikes included, exactly."""
        self._weigh(weights)
        if not self._priced[row]:
            self._learn_price(row)
        return float(self._bound[row])

    def _first_of_tied(self, allowed: Ints, extra: Floats, value: float) -> int:
        """Of the kits that measure as little as the best one, the one of least spend that changes least on the bike."""
        most = value + TIE * max(1.0, abs(value))
        while True:
            rows = allowed[self._bound[allowed] + extra <= most]
            unknown = rows[~self._priced[rows]]
            if not unknown.size:
                return int(rows[np.lexsort((self._change[rows], self._spend_cents[rows]))[0]])
            if not self._heed(unknown):
                self._learn_price(int(unknown[0]))

    def cheapest(self, weights: Floats, cost_at_most: float, must: Kit, never: Kit) -> int | None:
        """The least spend, in cents, of a kit that costs no more than this over the years; None if there is none."""
        allowed = self.allowed(None, must, never)
        self._weigh(weights)
        while True:
            hopeful = allowed[self._bound[allowed] <= cost_at_most]
            if not hopeful.size:
                return None
            cheapest = hopeful[self._spend_cents[hopeful] == self._spend_cents[hopeful].min()]
            if self._priced[cheapest].any():
                return int(self._spend_cents[cheapest[0]])
            if not self._heed(cheapest):
                self._learn_price(int(cheapest[np.argmin(self._bound[cheapest])]))

    def _weigh(self, weights: Floats) -> None:
        """Weigh kinds of fall by ā λ_f, unless they are so weighed already."""
        if np.array_equal(weights, self._weights):
            return
        self._weights = weights
        self._certain = weights @ self._exact_part + self._dislike
        if self._waiting is not None:
            annuity = self._scenario.annuity
            self._certain += annuity * self._waiting.yearly(weights / annuity, len(self._kits))
        self._bound = self._certain + self._least @ weights[self._group_fall]

    def allowed(
        self,
        budget_cents: int | None,
        must: Kit = frozenset(),
        never: Kit = frozenset(),
        other_than: Collection[Kit] = (),
    ) -> Ints:
        """The rows of the kits within limits."""
        fits = np.ones(len(self._kits), dtype=bool)
        if budget_cents is not None:
            fits &= self._spend_cents <= budget_cents
        for name in must:
            fits &= self._kits[:, self._position[name]]
        for name in never:
            fits &= ~self._kits[:, self._position[name]]
        rows = np.flatnonzero(fits)
        for kit in other_than:
            fitted = np.array([guard.id in kit for guard in self._scenario.guards], dtype=bool)
            rows = rows[(self._kits[rows] != fitted).any(axis=1)]
        return rows

    def at_most(self, weights: Floats, rows: Ints, most: float) -> Ints:
        """Those of some kits that may cost no more than this, by all that is known so far."""
        self._weigh(weights)
        hopeful: Ints = rows[self._bound[rows] <= most]
        self._heed(hopeful)
        still: Ints = hopeful[self._bound[hopeful] <= most]
        return still

    def _learn_price(self, row: int) -> None:
        """Price one kit, which makes its own bound exact, and keep the facts found there."""
        constant, slope = self._price_kit(self._kits[row].astype(float))
        self._constants = np.concatenate([self._constants, constant[np.newaxis]])
        self._slopes = np.concatenate([self._slopes, slope[np.newaxis]])
        self._heed(np.array([row]))
        self._priced[row] = True

    def _heed(self, rows: Ints) -> bool:
        """Raise the bounds of these kits by the facts they have not met; whether there were any.

        A price stays as it is: facts found later say the same of it, but for rounding.
        """
        behind = rows[(self._heeded[rows] < len(self._constants)) & ~self._priced[rows]]
        if not behind.size:
            return False
        new = slice(int(self._heeded[behind].min()), None)
        constants, slopes = self._constants[new], self._slopes[new]
        slope_of = slopes.reshape(-1, slopes.shape[2]).T
        for start in range(0, behind.size, ROWS_AT_ONCE):
            some = behind[start : start + ROWS_AT_ONCE]
            kits = self._kits[some].astype(float)
            says = constants - (kits @ slope_of).reshape(len(kits), *constants.shape)
            self._least[some] = np.maximum(self._least[some], says.max(axis=1))
            self._bound[some] = self._certain[some] + self._least[some] @ self._weights[self._group_fall]
        self._heeded[behind] = len(self._constants)
        return True

    def is_exact(self, row: int) -> bool:
        """Whether what a kit costs is known exactly."""
        return bool(self._priced[row])

    def kit(self, row: int) -> Kit:
        """The ids of the guards of a kit."""
        return frozenset(
            guard.id for guard, fitted in zip(self._scenario.guards, self._kits[row], strict=True) if fitted
        )
