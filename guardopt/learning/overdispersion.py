"""Whether falls come by chance alone, or some riders fall more than others.

If every bike falls at the same rate, the counts of the bikes, given their total k, are multinomial with shares t_i / T
of the time watched, and the index of dispersion

    X² / (bikes − 1),    X² = Σ_i (k_i − k t_i / T)² / (k t_i / T)

is near 1 (Fisher, Statistical Methods for Research Workers, 1925). Where counts are large, χ² gives the chance of such
an index; where they are small, shuffling the falls among the bikes does. If riders differ, their rates are taken to be
Gamma(r, r/μ), which makes the counts negative binomial (Greenwood and Yule 1920); r is found by maximum likelihood.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from guardopt.arrays import Floats
from guardopt.learning.conjugate import Belief, Seen
from guardopt.learning.fall_log import Log

SHUFFLES = 9_999
SIGNIFICANT = 0.05
SMALLEST_SHAPE, LARGEST_SHAPE = 1e-2, 1e4
"""Shapes of the mixture that are looked at; at the larger one riders differ by 1 %, which is not at all."""


@dataclass(frozen=True)
class Dispersion:
    """How falls spread over bikes.

    Attributes
    ----------
    fall
        The kind of fall, or None for all kinds together.
    bikes
        Names of the bikes watched.
    counts, years
        ``(bikes,)``: falls, and time watched.
    chi_square
        X², with one degree of freedom less than there are bikes.
    chance
        How often chance alone would spread falls at least as unevenly, by shuffling.
    chance_chi_square
        The same by the χ² distribution.
    shape
        r of the gamma mixture; None if the counts show no more spread than chance gives.
    mean_rate
        μ, a year.
    """

    fall: str | None
    bikes: tuple[str, ...]
    counts: Floats
    years: Floats
    chi_square: float
    chance: float
    chance_chi_square: float
    shape: float | None
    mean_rate: float

    @property
    def index(self) -> float:
        """X² / (bikes − 1)."""
        return self.chi_square / (len(self.bikes) - 1)

    @property
    def is_uneven(self) -> bool:
        """True if some riders fall more than others, as far as this log can tell."""
        return self.chance < SIGNIFICANT and self.index > 1.0

    @property
    def own_rates(self) -> dict[str, float]:
        """Falls a year to be expected of each bike: (r + k_i) / (r/μ + t_i), or μ for all if they do not differ."""
        if self.shape is None:
            return dict.fromkeys(self.bikes, self.mean_rate)
        rates = (self.shape + self.counts) / (self.shape / self.mean_rate + self.years)
        return dict(zip(self.bikes, rates.tolist(), strict=True))

    def widened(self, guess: Belief, seen: Seen) -> tuple[float, float]:
        """The interval of a rate with what was seen divided by the index: what it is worth if falls come in clusters.

        As in quasi-likelihood, where the variance is the index times that of Poisson (McCullagh and Nelder, Generalized
        Linear Models, 2nd edition 1989, section 6.2.3).
        """
        by = max(1.0, self.index)
        return (guess + Seen(seen.count / by, seen.out_of / by)).interval()

    def to_json(self) -> dict[str, Any]:
        """The record as ``learn --json`` prints it."""
        own = self.own_rates
        return {
            "fall": self.fall,
            "chi_square": self.chi_square,
            "degrees_of_freedom": len(self.bikes) - 1,
            "index": self.index,
            "chance": self.chance,
            "chance_chi_square": self.chance_chi_square,
            "uneven": self.is_uneven,
            "mixture_shape": self.shape,
            "mixture_rate": self.mean_rate,
            "bikes": [
                {"bike": bike, "falls": int(count), "years": float(years), "own_rate": own[bike]}
                for bike, count, years in zip(self.bikes, self.counts, self.years, strict=True)
            ],
        }


def dispersion(log: Log, fall: str | None, seed: int) -> Dispersion | None:
    """How falls of one kind, or of all, spread over bikes; None if there are not two bikes or no falls."""
    bikes = tuple(log.years_of)
    falls = Counter(one.bike for one in log.falls if fall in (None, one.fall))
    counts = np.array([falls[bike] for bike in bikes])
    if len(bikes) < 2 or not counts.sum():
        return None
    return spread(fall, bikes, counts.astype(float), np.array(list(log.years_of.values())), seed)


def spread(fall: str | None, bikes: Sequence[str], counts: Floats, years: Floats, seed: int) -> Dispersion:
    """How counts spread over bikes that were watched for so many years each."""
    from scipy.special import gammaincc

    expected = counts.sum() * years / years.sum()
    chi_square = index_sum(counts, expected)
    rng = np.random.Generator(np.random.PCG64(seed))
    shuffled = rng.multinomial(int(counts.sum()), years / years.sum(), size=SHUFFLES)
    sums = ((shuffled - expected) ** 2 / expected).sum(axis=1)
    # Sums that are equal but for rounding count as equal.
    as_uneven = int((sums >= chi_square * (1.0 - 1e-9)).sum())
    shape, mean_rate = mixture(counts, years)
    return Dispersion(
        fall=fall,
        bikes=tuple(bikes),
        counts=counts,
        years=years,
        chi_square=chi_square,
        chance=(1 + as_uneven) / (1 + SHUFFLES),
        chance_chi_square=float(gammaincc((len(bikes) - 1) / 2.0, chi_square / 2.0)),
        shape=shape,
        mean_rate=mean_rate,
    )


def index_sum(counts: Floats, expected: Floats) -> float:
    """X² = Σ (count − expected)² / expected."""
    return float(((counts - expected) ** 2 / expected).sum())


def mixture(counts: Floats, years: Floats) -> tuple[float | None, float]:
    """Shape r and mean μ of the gamma from which the bikes' own rates come, by maximum likelihood.

    The shape is None where the likelihood still rises at the largest one: then Poisson fits best.
    """
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(
        lambda log_shape: -_profile(math.exp(log_shape), counts, years)[0],
        bounds=(math.log(SMALLEST_SHAPE), math.log(LARGEST_SHAPE)),
        method="bounded",
        options={"xatol": 1e-8},
    )
    shape = math.exp(float(found.x))
    likelihood, rate = _profile(shape, counts, years)
    if shape > 0.99 * LARGEST_SHAPE or likelihood <= _profile(LARGEST_SHAPE, counts, years)[0] + 1e-9:
        return None, float(counts.sum() / years.sum())
    return shape, rate


def _profile(shape: float, counts: Floats, years: Floats) -> tuple[float, float]:
    """The log-likelihood of a shape with the rate that suits it best, and that rate."""
    from scipy.optimize import brentq

    def slope(rate: float) -> float:
        return float((counts / rate - (counts + shape) * years / (shape + rate * years)).sum())

    own = counts / years
    rate = float(brentq(slope, 1e-6 * counts.sum() / years.sum(), 2.0 * own.max(), xtol=1e-14, rtol=1e-13))
    return log_likelihood(shape, rate, counts, years), rate


def log_likelihood(shape: float, rate: float, counts: Floats, years: Floats) -> float:
    """Logarithm of the chance of counts whose own rates are Gamma(r, r/μ): negative binomial, r being the shape."""
    from scipy.special import gammaln

    mean = rate * years
    terms = (
        gammaln(counts + shape)
        - gammaln(shape)
        - gammaln(counts + 1.0)
        + shape * np.log(shape / (shape + mean))
        + counts * np.log(mean / (shape + mean))
    )
    return float(terms.sum())
