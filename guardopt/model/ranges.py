"""A guess given as a range: low, likely and high, in place of a single number.

The three are the values that one time in twenty is undershot, that is undershot as often as not, and that one time in
twenty is exceeded: the 5, 50 and 95 % points of a metalog distribution (T. W. Keelin, The metalog distributions,
Decision Analysis 13(4):243-277, 2016). With three points it has three terms,

    M(y) = a₁ + a₂ ln(y/(1−y)) + a₃ (y − ½) ln(y/(1−y)),

of the logarithm of an amount, or of the log-odds of a chance, so that it keeps to amounts above 0 and chances between
0 and 1. It is a distribution if |a₃| ≤ 1.667 a₂: the likely value must not lie too near to one end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

LEVELS = (0.05, 0.5, 0.95)
"""What the three values stand for: the chance that the number is no more."""

STEEPEST = 1.0 / 0.59984
"""Largest |a₃| / a₂: 0.59984 is the largest value of (y − ½) + y (1 − y) ln(y/(1−y)) (Keelin 2016, section 3.4)."""

_ODDS = math.log(LEVELS[2] / LEVELS[0])


@dataclass(frozen=True, slots=True)
class Range:
    """A guess as its 5, 50 and 95 % points."""

    low: float
    likely: float
    high: float

    def problem(self, *, is_chance: bool) -> str | None:
        """What keeps the three from being a range, and what would do; None if nothing does.

        >>> Range(0.4, 0.6, 0.8).problem(is_chance=True) is None
        True
        >>> Range(0.4, 0.9, 0.8).problem(is_chance=True)
        'expected three numbers that rise: low / likely / high'
        """
        if not self.low < self.likely < self.high:
            return "expected three numbers that rise: low / likely / high"
        if self.low <= 0.0:
            return "expected a low value above 0: one time in twenty the number is still less"
        if is_chance and self.high >= 1.0:
            return "expected a high value below 1: one time in twenty the number is still more"
        _, a2, a3 = self.coefficients(is_chance=is_chance)
        if abs(a3) <= STEEPEST * a2:
            return None
        least, most = self._fitting(is_chance=is_chance)
        return f"the likely value is too near to one end; between these two it can be from {least:.3g} to {most:.3g}"

    def coefficients(self, *, is_chance: bool) -> tuple[float, float, float]:
        """a₁, a₂ and a₃ of the logarithm, or of the log-odds of a chance (Keelin 2016, section 4)."""
        low, likely, high = (_scaled(value, is_chance=is_chance) for value in (self.low, self.likely, self.high))
        width, lean = high - low, (likely - low) / (high - low)
        return likely, width / (2.0 * _ODDS), width * (1.0 - 2.0 * lean) / ((1.0 - 2.0 * LEVELS[0]) * _ODDS)

    def _fitting(self, *, is_chance: bool) -> tuple[float, float]:
        """The least and the largest likely value between these two ends."""
        low, high = (_scaled(value, is_chance=is_chance) for value in (self.low, self.high))
        lean = 0.5 - STEEPEST * (1.0 - 2.0 * LEVELS[0]) / 4.0
        ends = (low + lean * (high - low), high - lean * (high - low))
        least, most = (1.0 / (1.0 + math.exp(-end)) if is_chance else math.exp(end) for end in ends)
        return least, most


def _scaled(value: float, *, is_chance: bool) -> float:
    return math.log(value / (1.0 - value)) if is_chance else math.log(value)
