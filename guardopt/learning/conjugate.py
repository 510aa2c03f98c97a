"""What is believed of a number, as counts: so many events in so many years, so many yeses in so many falls.

A rate with `count` events in `years` is Gamma(count, years); a chance with `count` yeses in `falls` is
Beta(count, falls − count). Both have the mean count / out_of, and seeing more is adding counts (Gelman et al.,
Bayesian Data Analysis, 3rd edition 2013, sections 2.4 and 2.6). Intervals that rest on the log alone are exact:
Garwood 1936 for rates, Clopper and Pearson 1934 for chances.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

LEVEL = 0.9
"""Chance that the number is in its interval."""


@dataclass(frozen=True, slots=True)
class Belief:
    """A number that rests on counts; as a guess, on as many as the guess is worth.

    Attributes
    ----------
    count
        Events, or falls in which it was so.
    out_of
        Years, or falls in which it could have been so.
    is_rate
        True for a rate (gamma), False for a chance (beta).
    """

    count: float
    out_of: float
    is_rate: bool

    def __add__(self, seen: Seen) -> Belief:
        """The belief after seeing more: counts are added."""
        return Belief(self.count + seen.count, self.out_of + seen.out_of, self.is_rate)

    @property
    def mean(self) -> float:
        """The number to reckon with."""
        return self.count / self.out_of

    @property
    def sd(self) -> float:
        """Standard deviation: √count / years of a rate, √(m(1−m)/(falls+1)) of a chance with mean m."""
        if self.is_rate:
            return math.sqrt(self.count) / self.out_of
        return math.sqrt(max(0.0, self.mean * (1.0 - self.mean)) / (self.out_of + 1.0))

    def quantile(self, level: float) -> float:
        """The value not exceeded with this chance; a number believed to be 0, or a chance to be 1, is that."""
        from scipy.special import betaincinv, gammaincinv

        if self.count <= 0.0:
            return 0.0
        if self.is_rate:
            return float(gammaincinv(self.count, level)) / self.out_of
        if self.out_of - self.count <= 0.0:
            return 1.0
        return float(betaincinv(self.count, self.out_of - self.count, level))

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """The credible interval with equal tails."""
        return self.quantile((1.0 - level) / 2.0), self.quantile((1.0 + level) / 2.0)


@dataclass(frozen=True, slots=True)
class Seen:
    """What a log holds on a number: `count` of it in `out_of` years or falls."""

    count: float
    out_of: float

    def __add__(self, other: Seen) -> Seen:
        return Seen(self.count + other.count, self.out_of + other.out_of)

    def interval(self, *, is_rate: bool, level: float = LEVEL) -> tuple[float, float] | None:
        """The exact confidence interval from the log alone, not one guess in it; None if nothing was watched."""
        if self.out_of <= 0.0:
            return None
        return garwood(self.count, self.out_of, level) if is_rate else clopper_pearson(self.count, self.out_of, level)


def garwood(events: float, years: float, level: float = LEVEL) -> tuple[float, float]:
    """Exact interval of a Poisson rate: ½χ²_{α/2; 2k} and ½χ²_{1−α/2; 2k+2}, divided by the years.

    F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28:437-442, 1936. Since ½χ²_{2a} is
    Gamma(a, 1), the limits are those of the beliefs in k and k + 1 events.
    """
    low = Belief(events, years, is_rate=True).quantile((1.0 - level) / 2.0)
    return low, Belief(events + 1.0, years, is_rate=True).quantile((1.0 + level) / 2.0)


def clopper_pearson(yes: float, falls: float, level: float = LEVEL) -> tuple[float, float]:
    """Exact interval of a chance: quantiles of Beta(k, n−k+1) and Beta(k+1, n−k).

    C. J. Clopper, E. S. Pearson, The use of confidence or fiducial limits illustrated in the case of the binomial,
    Biometrika 26:404-413, 1934.
    """
    low = Belief(yes, falls + 1.0, is_rate=False).quantile((1.0 - level) / 2.0)
    return low, Belief(yes + 1.0, falls + 1.0, is_rate=False).quantile((1.0 + level) / 2.0)
