"""What a log says of the chances that guards hold, where several of them may have spared the same part.

A struck part is spared if any of its J fitted and serving covers holds, and harmed even so if a broken part passes its
blow on, with chance q (noisy-or; Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, section 4.3.2). With N =
Π_j (1 − h_j), the chance that none holds,

    P(unharmed) = (1 − N)(1 − q),    P(harmed) = N + (1 − N) q.

Where one cover was fitted and q = 0, what held is plain to see and counts are added as for any chance. Otherwise which
cover held is not seen. Leaving such strikes out would waste them, and two guards that are always fitted together would
never be learned of. Instead, expectation and maximisation take turns (Dempster, Laird and Rubin 1977): given the
chances, the expected holds of cover j are

    E(j | unharmed) = h_j / (1 − N),    E(j | harmed) = q h_j / (N + (1 − N) q);

given these, the chance is h_j = (guess · weight + Σ E) / (weight + strikes). That is the mode of the posterior on the
scale of log-odds, and the mean where nothing is hidden. What stays hidden is taken off the counts: a chance rests on as
many strikes s as give Beta(h s, (1 − h) s) the curvature of the likelihood at the mode (Louis 1982).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.errors import SolverError
from guardopt.learning.conjugate import Belief, Seen
from guardopt.learning.fall_log import LoggedFall, givers
from guardopt.model.numbers import Kind, Number
from guardopt.model.scenario import Scenario

MOST_TURNS = 200_000
CONVERGED = 1e-12
"""Largest change of a chance in one turn at which the turns end."""

STEP = 1e-5
"""Step on the scale of log-odds for the curvature."""

LEAST_CURVATURE = 1e-6


@dataclass(frozen=True, slots=True)
class Strike:
    """What can be known of one struck part that was covered.

    Attributes
    ----------
    covers
        The numbers of its covers with how many covers share each: two in a fall on both sides.
    passed
        q: the chance that a broken part harmed it whatever held.
    """

    covers: tuple[tuple[Number, int], ...]
    passed: float
    is_harmed: bool

    @property
    def is_plain(self) -> bool:
        """True if what held can be told."""
        if self.is_harmed:
            return self.passed == 0.0
        return sum(count for _, count in self.covers) == 1


def strikes_of(scenario: Scenario, numbers: Sequence[Number], falls: Sequence[LoggedFall]) -> Counter[Strike]:
    """Every covered strike of a log; equal ones are counted."""
    number_of = {row: number for number in numbers if number.kind is Kind.HOLD for row in number.covers}
    found: Counter[Strike] = Counter()
    for fall in falls:
        for part in fall.struck:
            covers = Counter(number_of[row] for row in fall.serving(scenario, part))
            if covers:
                passed = 1.0 - math.prod(1.0 - chance for chance in givers(scenario, fall, part))
                known = tuple(sorted(covers.items(), key=lambda pair: pair[0].address))
                found[Strike(known, passed, part in fall.harmed)] += 1
    return found


def plain_counts(strikes: Mapping[Strike, int]) -> dict[Number, Seen]:
    """Holds out of strikes with a single cover and no broken part that could have passed its blow on.

    Which strikes these are depends on what was fitted and what else broke, not on what held: no bias comes in.
    """
    counts: dict[Number, Seen] = {}
    for strike, times in strikes.items():
        if strike.passed == 0.0 and sum(count for _, count in strike.covers) == 1:
            ((number, _),) = strike.covers
            seen = Seen(0.0 if strike.is_harmed else float(times), float(times))
            counts[number] = counts.get(number, Seen(0.0, 0.0)) + seen
    return counts


def learn_holds(guesses: Mapping[Number, Belief], strikes: Mapping[Strike, int]) -> dict[Number, Belief]:
    """Beliefs in all holds after a log.

    Parameters
    ----------
    guesses
        The belief in each hold before.
    strikes
        Covered strikes and how often each came up.

    Raises
    ------
    SolverError
        The turns did not come to an end.
    """
    numbers = list(guesses)
    if not numbers or not strikes:
        return dict(guesses)
    model = _Model(numbers, guesses, strikes)
    chances = model.mode()
    strength = model.strength(chances)
    beliefs = {}
    for row, number in enumerate(numbers):
        if model.is_hidden[row]:
            beliefs[number] = Belief(float(chances[row] * strength[row]), float(strength[row]), is_rate=False)
        else:
            beliefs[number] = Belief(float(model.yes[row]), float(model.total[row]), is_rate=False)
    return beliefs


class _Model:
    """The strikes as arrays: what is known of holds, and what has to be worked out."""

    def __init__(
        self, numbers: Sequence[Number], guesses: Mapping[Number, Belief], strikes: Mapping[Strike, int]
    ) -> None:
        row_of = {number: row for row, number in enumerate(numbers)}
        self.yes = np.array([guesses[number].count for number in numbers])
        self.total = np.array([guesses[number].out_of for number in numbers])
        self.is_hidden = np.zeros(len(numbers), dtype=bool)
        hidden: list[tuple[Strike, int]] = []
        for strike, times in strikes.items():
            for number, count in strike.covers:
                self.total[row_of[number]] += times * count
                if strike.is_plain and not strike.is_harmed:
                    self.yes[row_of[number]] += times
                self.is_hidden[row_of[number]] |= not strike.is_plain
            if not strike.is_plain:
                hidden.append((strike, times))
        self._covers = np.zeros((len(hidden), len(numbers)))
        for index, (strike, _) in enumerate(hidden):
            for number, count in strike.covers:
                self._covers[index, row_of[number]] = count
        self._times = np.array([float(times) for _, times in hidden])
        self._passed = np.array([strike.passed for strike, _ in hidden])
        self._is_harmed = np.array([strike.is_harmed for strike, _ in hidden], dtype=bool)

    def expected(self, chances: Floats) -> Floats:
        """``(numbers,)``: holds to be expected of each cover, guess and plain strikes included."""
        none = np.prod((1.0 - chances) ** self._covers, axis=1)
        held = 1.0 - none
        # All chances nil and yet a part was spared: the covers share the credit, as they do ever closer to nil.
        share = self._covers * chances / np.maximum(held, np.finfo(float).tiny)[:, np.newaxis]
        even = self._covers / np.maximum(self._covers.sum(axis=1, keepdims=True), 1.0)
        share = np.where(held[:, np.newaxis] > 0.0, share, even)
        in_spite = held * self._passed / np.maximum(none + held * self._passed, np.finfo(float).tiny)
        weight = self._times * np.where(self._is_harmed, in_spite, 1.0)
        result: Floats = self.yes + weight @ share
        return result

    def mode(self) -> Floats:
        """``(numbers,)``: the chances at which expectation and maximisation agree."""
        chances: Floats = np.clip(self.yes / self.total, 0.0, 1.0)
        if not self._times.size:
            return chances
        for _ in range(MOST_TURNS):
            after: Floats = self.expected(chances) / self.total
            if np.abs(after - chances).max() < CONVERGED:
                return after
            chances = after
        raise SolverError("the chances that guards hold did not settle")

    def strength(self, chances: Floats) -> Floats:
        """``(numbers,)``: on how many strikes each chance rests, what stays hidden taken off.

        The gradient of the posterior in the log-odds η is E − total · h (Fisher's identity), so the curvature is that
        of its differences. Its inverse gives the variance of η, and Beta(h s, (1 − h) s) has 1/(h (1 − h) s).
        """
        strength = self.total.copy()
        inside = (chances > 0.0) & (chances < 1.0) & self.is_hidden
        rows = np.flatnonzero(inside)
        if not rows.size:
            return strength
        odds = np.log(chances[rows]) - np.log1p(-chances[rows])
        information = np.zeros((rows.size, rows.size))
        for column in range(rows.size):
            up, down = (self._gradient(chances, rows, odds, column, step) for step in (STEP, -STEP))
            information[:, column] = (down - up) / (2.0 * STEP)
        values, vectors = np.linalg.eigh((information + information.T) / 2.0)
        # What the log leaves open altogether has no curvature; the floor makes it very doubtful, not infinitely so.
        variance = (vectors**2 / np.maximum(values, LEAST_CURVATURE)).sum(axis=1)
        strength[rows] = np.minimum(strength[rows], 1.0 / (variance * chances[rows] * (1.0 - chances[rows])))
        return strength

    def _gradient(self, chances: Floats, rows: Ints, odds: Floats, column: int, step: float) -> Floats:
        moved = odds.copy()
        moved[column] += step
        near = chances.copy()
        near[rows] = 1.0 / (1.0 + np.exp(-moved))
        result: Floats = (self.expected(near) - self.total * near)[rows]
        return result
