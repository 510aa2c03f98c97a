"""1 − exp(−y) between two fractions, so that what waits can be checked exactly.

For y ≥ 0 every term of the series of exp(y) is positive, so a truncated sum is below it; from the term k on at which
k ≥ 2 y each is at most half of the one before, so all that follow add up to no more than the last one kept. The sum is
taken in whole multiples of 1 / STEPS, downward and upward, and 1 − exp(−y) = 1 − 1 / exp(y) rises with it.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor

STEPS = 2**128

FAR = 100
"""Beyond it 1 − exp(−y) is 1 to within exp(−100) and is not worked out."""


def risen(y: Fraction) -> tuple[Fraction, Fraction]:
    """1 − exp(−y) at least and at most, in multiples of 1 / `STEPS`.

    Parameters
    ----------
    y
        Not below 0.

    Examples
    --------
    >>> low, high = risen(Fraction(1, 2))
    >>> low <= high, round(float(low), 6), high - low < Fraction(1, 10**30)
    (True, 0.393469, True)
    """
    low, _ = _exponential(min(y, Fraction(FAR)))
    at_least = STEPS - ceil(STEPS / low)
    if y > FAR:
        return Fraction(at_least, STEPS), Fraction(1)
    _, high = _exponential(y)
    return Fraction(at_least, STEPS), Fraction(STEPS - floor(STEPS / high), STEPS)


def _exponential(y: Fraction) -> tuple[Fraction, Fraction]:
    """exp(y) at least and at most."""
    below, above = floor(y * STEPS), ceil(y * STEPS)
    low = high = low_sum = high_sum = STEPS
    number = 0
    while number < 2 * y or high > 1:
        number += 1
        low = low * below // (number * STEPS)
        high = -(-high * above // (number * STEPS))
        low_sum += low
        high_sum += high
    return Fraction(low_sum, STEPS), Fraction(high_sum + high, STEPS)
