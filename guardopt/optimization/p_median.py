"""The integer programs that choose ready-made kits: which few of many serve all riders best.

Riders of one class c, w_c of them, gain g_cj from kit j; what they cannot pay or use gains nothing. With any number of
each kit to hand out, every class takes the best of those kept, which is a p-median problem (Hakimi 1964; ReVelle and
Swain 1970):

    maximise   Σ_c w_c θ_c
    subject to θ_c ≤ h + Σ_j max(0, g_cj − h) y_j      for every class and every level h                       (1)
               Σ_j y_j ≤ count,  y_j ∈ {0, 1}

(1) holds for whatever h ≥ 0 is put in, since the best kept kit gains no more than h or is one of those in the sum; with
h the gain of the best kept kit but one it is exact. There are as many levels as kits, so they are added where the
answer so far claims too much, at fractional answers first (Cornuéjols, Nemhauser and Wolsey 1980 for the form;
Duran-Mateluna, Ales and Elloumi 2023 for finding the level).

Where only so many of a guard can be handed out, riders are assigned one by one, n_c of them in a class:

    maximise   Σ_c Σ_j g_cj a_cj
    subject to Σ_j a_cj ≤ n_c,  a_cj ≤ n_c y_j,  Σ_c Σ_j uses_gj a_cj ≤ stock_g,  Σ_j y_j ≤ count,  a whole     (2)
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pulp

from guardopt.arrays import Floats, Ints
from guardopt.errors import OutOfTimeError
from guardopt.optimization.solver import Ended, dot, proven_bound, run

GAP = 1e-7
"""Relative gap at which a choice counts as proven best."""

RELAXATION_ROUNDS = 40


SOLVER = "HiGHS"


@dataclass(frozen=True)
class Choice:
    """Which kits to keep.

    Attributes
    ----------
    kept
        Numbers of the kits, rising.
    value, bound
        What the riders gain with them, and a value that no choice of as many is above.
    handed_out
        ``(classes, kits)``: riders of each class who get each kit; None where every class takes the best kept.
    """

    kept: tuple[int, ...]
    value: float
    bound: float
    handed_out: Ints | None = None

    @property
    def gap(self) -> float:
        """(bound − value) / max(1, value)."""
        return (self.bound - self.value) / max(1.0, self.value)

    @property
    def proven(self) -> bool:
        """Whether value and bound meet."""
        return self.gap <= GAP


def best_kept(gains: Floats, kept: Sequence[int]) -> Floats:
    """``(classes,)``: what each class gains when it takes the best kept kit, or none."""
    best: Floats = gains[:, list(kept)].max(axis=1, initial=0.0)
    return best


class MedianProgram:
    """The program for any number of each kit; it answers for one count after another.

    Parameters
    ----------
    gains
        ``(classes, kits)``: what one rider gains; 0 where the kit is no good to the class.
    weight
        ``(classes,)``: riders, or the sum of their multiples of the fall rates.
    """

    def __init__(self, gains: Floats, weight: Floats) -> None:
        self._gains, self._weight = gains, weight
        self._scale = max(float(weight @ gains.max(axis=1, initial=0.0)), 1e-9)
        self._problem = pulp.LpProblem("kits", pulp.LpMinimize)
        new = self._problem.add_variable
        classes, kits = gains.shape
        self._y = [new(f"y{kit}", 0, 1, pulp.LpInteger) for kit in range(kits)]
        # What a class gains, as a share of all there is to gain, so that one tolerance suits any book.
        self._share = weight / self._scale
        most = (self._share * gains.max(axis=1, initial=0.0)).tolist()
        self._theta = [new(f"theta{one}", 0.0, upper) for one, upper in zip(range(classes), most, strict=True)]
        self._count = new("count", 0)
        self._problem += pulp.lpSum(self._y) - self._count <= 0
        self._objective = dot([-1.0] * classes, self._theta)
        self._problem.setObjective(self._objective)
        self._known: set[tuple[int, float]] = set()
        self._add_levels(np.zeros(classes), np.arange(classes))

    def choose(self, count: int, seconds: float | None = None) -> Choice:
        """The best choice of so many kits.

        Parameters
        ----------
        count
            How many, at most.
        seconds
            Time allowed; the best found by then comes back with its honest bound.
        """
        end = None if seconds is None else time.monotonic() + seconds
        self._count.lowBound = self._count.upBound = count
        best: tuple[int, ...] = self._greedy(count)
        value, bound = self._value(best), float(self._scale)
        for _ in range(RELAXATION_ROUNDS):
            y = self._solve(end, whole=False)
            if y is None or not self._learn(y[0]):
                break
            bound = min(bound, y[1])
        while value < bound * (1.0 - GAP) - 1e-12 * self._scale and not _is_over(end):
            y = self._solve(end, whole=True)
            if y is None:
                break
            bound = min(bound, y[1])
            kept = tuple(np.flatnonzero(y[0] > 0.5).tolist())
            if self._value(kept) > value:
                best, value = kept, self._value(kept)
            if not self._learn(y[0].round()):
                break
        return Choice(best, value, max(bound, value))

    def _greedy(self, count: int) -> tuple[int, ...]:
        """Kits picked one after the other, each the one that adds most: something to have from the start."""
        kept: list[int] = []
        have = np.zeros(len(self._weight))
        for _ in range(min(count, self._gains.shape[1])):
            added = self._weight @ np.maximum(self._gains - have[:, np.newaxis], 0.0)
            kit = int(np.argmax(added))
            if added[kit] <= 0.0:
                break
            kept.append(kit)
            have = np.maximum(have, self._gains[:, kit])
        return tuple(sorted(kept))

    def _value(self, kept: Sequence[int]) -> float:
        return float(self._weight @ best_kept(self._gains, kept))

    def _solve(self, end: float | None, *, whole: bool) -> tuple[Floats, float] | None:
        left = None if end is None else max(0.01, end - time.monotonic())
        ended = run(self._problem, SOLVER, whole=whole, seconds=left)
        bound = proven_bound(self._problem, SOLVER, ended, self._objective, whole=whole)
        if ended not in (Ended.OPTIMAL, Ended.FEASIBLE) or bound is None:
            return None
        return np.array([min(1.0, max(0.0, y.varValue or 0.0)) for y in self._y]), -bound * self._scale

    def _learn(self, y: Floats) -> bool:
        """Add (1) where the last answer claims more than it says; whether there was any such place.

        At a fractional y the level that says most is the gain of the kit at which the better ones add up to one.
        """
        order = np.argsort(-self._gains, axis=1, kind="stable")
        gains = np.take_along_axis(self._gains, order, axis=1)
        taken = np.cumsum(y[order], axis=1)
        full = taken >= 1.0 - 1e-9
        at = np.where(full.any(axis=1), full.argmax(axis=1), gains.shape[1] - 1)
        level = np.where(full.any(axis=1), gains[np.arange(len(gains)), at], 0.0)
        says = level + np.maximum(self._gains - level[:, np.newaxis], 0.0) @ y
        claimed = np.array([theta.varValue or 0.0 for theta in self._theta])
        over = np.flatnonzero(claimed > self._share * says + 1e-10)
        return self._add_levels(level, over)

    def _add_levels(self, level: Floats, classes: Ints) -> bool:
        news = False
        for one in classes.tolist():
            height = float(level[one])
            if (one, height) in self._known:
                continue
            self._known.add((one, height))
            above = np.maximum(self._gains[one] - height, 0.0) * self._share[one]
            self._problem += self._theta[one] - dot(above.tolist(), self._y) <= height * float(self._share[one])
            news = True
        return news


def _is_over(end: float | None) -> bool:
    return end is not None and time.monotonic() >= end


def choose_with_stock(
    gains: Floats,
    riders: Ints,
    count: int,
    uses: Ints,
    stock: Ints,
    *,
    seconds: float | None = None,
) -> Choice:
    """The best choice where guards are scarce (2).

    Parameters
    ----------
    gains
        ``(classes, kits)``: what one rider of a class gains; 0 where the kit is no good to it.
    riders
        ``(classes,)``: how many there are.
    count
        How many kits, at most.
    uses
        ``(guards, kits)``: how many of a scarce guard a kit holds.
    stock
        ``(guards,)``: how many of it there are.
    seconds
        Time allowed.

    Raises
    ------
    OutOfTimeError
        No choice was found in the time allowed.
    """
    program = _StockProgram(gains, riders, count, uses, stock)
    end = None if seconds is None else time.monotonic() + seconds
    everything = tuple(range(gains.shape[1]))
    split = program.solve(end, everything, whole_riders=False)
    best, bound = program.solve(end, split.kept, whole_riders=True), split.bound
    if best.value < bound * (1.0 - GAP) and not _is_over(end):
        again = program.solve(end, everything, whole_riders=True)
        best, bound = max(best, again, key=lambda one: one.value), min(bound, again.bound)
    best = replace(best, bound=max(best.value, bound))
    if not best.kept and not best.proven:
        raise OutOfTimeError("no kits were found in the time allowed")
    return best


class _StockProgram:
    """The program (2), with riders whole or, which is far quicker and mostly as good, divisible.

    Only the choice of kits is hard: once they are chosen, riders come out whole or nearly so. So they are divided at
    first, which bounds what can be gained, and then handed those kits whole. If the two meet, that is the proof.
    """

    def __init__(self, gains: Floats, riders: Ints, count: int, uses: Ints, stock: Ints) -> None:
        self._gains = gains
        self._scale = max(float(riders @ gains.max(axis=1, initial=0.0)), 1e-9)
        self._problem = pulp.LpProblem("stock", pulp.LpMinimize)
        new = self._problem.add_variable
        self._y = [new(f"y{kit}", 0, 1, pulp.LpInteger) for kit in range(gains.shape[1])]
        self._problem += pulp.lpSum(self._y) <= count
        self._pairs = [(int(one), int(kit)) for one, kit in np.argwhere(gains > 0.0)]
        self._assigned = [new(f"a{one}_{kit}", 0, int(riders[one])) for one, kit in self._pairs]
        of_class: dict[int, list[Any]] = {}
        for (one, kit), a in zip(self._pairs, self._assigned, strict=True):
            of_class.setdefault(one, []).append(a)
            self._problem += a - int(riders[one]) * self._y[kit] <= 0
        for one, several in of_class.items():
            self._problem += pulp.lpSum(several) <= int(riders[one])
        for guard, most in enumerate(stock.tolist()):
            needed = dot([float(uses[guard, kit]) for _, kit in self._pairs], self._assigned)
            self._problem += needed <= most
        self._objective = dot([-float(gains[pair]) / self._scale for pair in self._pairs], self._assigned)
        self._problem.setObjective(self._objective + 0)

    def solve(self, end: float | None, allowed: Sequence[int], *, whole_riders: bool) -> Choice:
        """The best choice among some kits; without an answer in time it keeps none and hands out nothing known."""
        for kit, y in enumerate(self._y):
            y.upBound = 1 if kit in allowed else 0
        for a in self._assigned:
            a.cat = pulp.LpInteger if whole_riders else pulp.LpContinuous
        left = None if end is None else max(0.01, end - time.monotonic())
        ended = run(self._problem, SOLVER, seconds=left)
        found = proven_bound(self._problem, SOLVER, ended, self._objective)
        bound = self._scale if found is None else min(self._scale, -found * self._scale)
        if ended not in (Ended.OPTIMAL, Ended.FEASIBLE):
            return Choice((), 0.0, bound)
        handed_out = np.zeros(self._gains.shape)
        for pair, a in zip(self._pairs, self._assigned, strict=True):
            handed_out[pair] = a.varValue or 0.0
        kept = tuple(np.flatnonzero((handed_out > 1e-6).any(axis=0)).tolist())
        whole = handed_out.round().astype(np.int64) if whole_riders else None
        value = float(((handed_out if whole is None else whole) * self._gains).sum())
        return Choice(kept, value, bound, whole)
