"""What is believed of one number, as a distribution: each gives the value that is not exceeded with a given chance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from guardopt.arrays import Floats
from guardopt.model.ranges import Range


class Distribution(Protocol):
    """What is believed of a number."""

    def quantile(self, level: Floats) -> Floats:
        """The values that are not exceeded with these chances, which are above 0 and below 1."""


@dataclass(frozen=True, slots=True)
class Gamma:
    """A rate with `count` events seen in `years`: mean count/years, variance count/years²."""

    count: float
    years: float

    def quantile(self, level: Floats) -> Floats:
        """The inverse of the regularised incomplete gamma function, over the years."""
        from scipy.special import gammaincinv

        value = np.asarray(gammaincinv(self.count, level), dtype=float)
        return value / self.years


@dataclass(frozen=True, slots=True)
class Beta:
    """A chance with `count` yeses seen `out_of` times: mean count/out_of."""

    count: float
    out_of: float

    def quantile(self, level: Floats) -> Floats:
        """The inverse of the regularised incomplete beta function."""
        from scipy.special import betaincinv

        value: Floats = betaincinv(self.count, self.out_of - self.count, level)
        return value


@dataclass(frozen=True, slots=True)
class Lognormal:
    """An amount with this mean, whose standard deviation is this share of it.

    ln X is normal with variance σ² = ln(1 + share²) and mean ln(mean) − σ²/2.
    """

    mean: float
    share: float

    def quantile(self, level: Floats) -> Floats:
        """The mean times exp(σ z − σ²/2)."""
        from scipy.special import ndtri

        variance = math.log1p(self.share**2)
        value: Floats = self.mean * np.exp(math.sqrt(variance) * ndtri(level) - variance / 2.0)
        return value


@dataclass(frozen=True, slots=True)
class Metalog:
    """A range of 5, 50 and 95 % points (`model.ranges`)."""

    range: Range
    is_chance: bool

    def quantile(self, level: Floats) -> Floats:
        """M(y), taken back from log-odds or logarithms."""
        from scipy.special import expit, logit

        a1, a2, a3 = self.range.coefficients(is_chance=self.is_chance)
        odds = logit(level)
        value: Floats = a1 + a2 * odds + a3 * (level - 0.5) * odds
        back: Floats = expit(value) if self.is_chance else np.exp(value)
        return back
