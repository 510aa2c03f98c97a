"""Damage that waits: what it costs a year to put right every T years what has come about in between.

Falls of a kind come as a Poisson process, and so do those among them that bring something about (thinning: J. F. C.
Kingman, Poisson Processes, Oxford 1993, section 5.1). Within T years it comes about at least once with chance 1 −
exp(−T Λ), Λ being how often a year it does, and then its amount a is paid once:

    φ(Λ) = (a / T) (1 − exp(−T Λ)),     φ′(Λ) = a exp(−T Λ)                                                (1)

φ rises and is concave, and tends to a Λ, as if everything were put right at once, when T tends to 0.
"""

from __future__ import annotations

import numpy as np

from guardopt.arrays import Floats


def put_right(amount: Floats, per_year: Floats, every: float) -> Floats:
    """φ: what is paid a year (1).

    Parameters
    ----------
    amount
        What is paid if it came about, ``(items,)`` or broadcast with `per_year`.
    per_year
        Λ: how often a year it comes about.
    every
        T, in years.
    """
    paid: Floats = amount * -np.expm1(-every * per_year) / every
    return paid


def put_right_slope(amount: Floats, per_year: Floats, every: float) -> Floats:
    """φ′: what a little more often costs a year (1); arguments as for `put_right`."""
    slope: Floats = amount * np.exp(-every * per_year)
    return slope
