"""1 − exp(−y) lies between the two fractions it is said to lie between.

Compared with Python's `decimal`, whose exp is correctly rounded (M. F. Cowlishaw, General Decimal Arithmetic
Specification, IBM 2009: "exp").
"""

from __future__ import annotations

from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guardopt.proof.exponential import risen

DIGITS = 90


def check(y: Fraction) -> None:
    """The bounds hold and are closer to each other than any amount of money asks for."""
    low, high = risen(y)
    with localcontext() as context:
        context.prec = DIGITS
        is_one = 1 - (-(Decimal(y.numerator) / Decimal(y.denominator))).exp()
    rounding = Fraction(1, 10 ** (DIGITS - 5))
    assert low <= Fraction(is_one) + rounding
    assert Fraction(is_one) - rounding <= high
    assert 0 <= high - low < Fraction(1, 10**30)


@pytest.mark.parametrize("y", ["0", "1e-12", "0.001", "0.5", "1", "2.5", "40", "99.999", "100", "100.001", "1e6"])
def test_bounds_hold_where_they_might_not(y: str) -> None:
    """At nothing, beside it, and where the series is given up."""
    check(Fraction(y))


@given(st.fractions(min_value=0, max_value=150))
def test_bounds_hold_for_any_fraction(y: Fraction) -> None:
    """Whatever its denominator."""
    check(y)


@given(st.fractions(min_value=0, max_value=150), st.fractions(min_value=0, max_value=150))
def test_more_falls_never_cost_less(a: Fraction, b: Fraction) -> None:
    """Both bounds rise, so a chord between two lower bounds never falls."""
    a, b = sorted((a, b))
    assert all(one <= other for one, other in zip(risen(a), risen(b), strict=True))
