"""How far strikes within one fall go together: ρ of the one-factor Gaussian copula, from pairs of parts.

Two exposed parts with chances p_i and p_j are both struck with chance Φ₂(Φ⁻¹(p_i), Φ⁻¹(p_j); ρ), the bivariate normal
distribution. The logarithms of the chances of what became of every pair, added up over pairs and falls, are a composite
likelihood (Lindsay 1988; Varin, Reid and Firth 2011). Its peak is the right one, but pairs of one fall are not
independent, so it is too sharp. It is taken to the power H / J, curvature over variance of the slope from fall to fall,
which makes it as wide as it should be (Pauli, Racugno and Ventura 2011; Ribatet, Cooley and Davison 2012), and
multiplied with a beta distribution of the guess.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.learning.conjugate import LEVEL, Belief
from guardopt.learning.fall_log import LoggedFall
from guardopt.model.scenario import Scenario

ENOUGH_FALLS = 20
"""Falls of a kind below which its correlation is left alone."""

GRID: Floats = np.linspace(0.005, 0.985, 99)
"""Correlations that are weighed against each other."""


@dataclass(frozen=True, slots=True)
class Correlation:
    """What a log says of the correlation of one kind of fall.

    Attributes
    ----------
    falls
        Falls of this kind in the log.
    belief, interval
        What is believed after; None if it was left alone.
    peak
        Where the composite likelihood alone is largest.
    """

    falls: int
    belief: Belief | None = None
    interval: tuple[float, float] | None = None
    peak: float | None = None


def learn_correlation(
    scenario: Scenario, falls: Sequence[LoggedFall], chances: Mapping[str, float], guess: Belief
) -> Correlation:
    """The correlation of one kind of fall after a log.

    Parameters
    ----------
    scenario
        Its parts.
    falls
        The falls of this kind.
    chances
        The chance of each part being struck, by part id; parts that are never or always struck tell nothing.
    guess
        The belief in the correlation before.
    """
    parts = [part for part in scenario.parts if 0.0 < chances[part.id] < 1.0]
    struck = np.array([[part.id in fall.struck for part in parts] for fall in falls], dtype=bool)
    exposed = np.array([[fall.tells_strikes_of(scenario, part) for part in parts] for fall in falls], dtype=bool)
    left_alone = Correlation(len(falls))
    if len(falls) < ENOUGH_FALLS or not 0.0 < guess.mean < 1.0:
        return left_alone
    by_fall = pair_log_likelihood(np.array([chances[part.id] for part in parts]), struck, exposed)
    total = by_fall.sum(axis=0)
    step = GRID[1] - GRID[0]
    peak = int(np.clip(total.argmax(), 1, GRID.size - 2))
    curvature = -(total[peak + 1] - 2.0 * total[peak] + total[peak - 1]) / step**2
    slopes = (by_fall[:, peak + 1] - by_fall[:, peak - 1]) / (2.0 * step)
    noise = float((slopes**2).sum())
    if curvature <= 0.0 or noise <= 0.0:
        return left_alone
    power = min(1.0, curvature / noise)
    prior = (guess.count - 1.0) * np.log(GRID) + (guess.out_of - guess.count - 1.0) * np.log1p(-GRID)
    weights = np.exp(power * (total - total.max()) + prior - prior.max())
    weights /= weights.sum()
    mean = float(weights @ GRID)
    below = np.cumsum(weights) - weights / 2.0
    low, high = np.interp([(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0], below, GRID)
    variance = float(weights @ (GRID - mean) ** 2)
    # A beta distribution with the mean and the spread of what was found.
    worth = mean * (1.0 - mean) / variance - 1.0
    belief = Belief(mean * worth, worth, is_rate=False)
    return Correlation(len(falls), belief, (float(low), float(high)), float(GRID[total.argmax()]))


def pair_log_likelihood(chances: Floats, struck: Bools, exposed: Bools) -> Floats:
    """``(falls, correlations)``: log-likelihood of what became of all pairs of exposed parts.

    Parameters
    ----------
    chances
        ``(parts,)``: the chance of being struck, strictly between 0 and 1.
    struck, exposed
        ``(falls, parts)`` each.
    """
    from scipy.special import ndtri

    limits = ndtri(chances)
    hit = (struck & exposed).astype(float)
    missed = (~struck & exposed).astype(float)
    first, second = np.triu_indices(chances.size, k=1)
    what_became = [one[:, first] * other[:, second] for one in (hit, missed) for other in (hit, missed)]
    logs = np.empty((4, first.size, GRID.size))
    for column, rho in enumerate(GRID):
        both = both_struck(limits[first], limits[second], rho)
        only_first, only_second = chances[first] - both, chances[second] - both
        neither = 1.0 - chances[first] - chances[second] + both
        logs[:, :, column] = np.log(np.clip([both, only_first, only_second, neither], 1e-300, 1.0))
    result: Floats = np.concatenate(what_became, axis=1) @ logs.reshape(-1, GRID.size)
    return result


def both_struck(h: Floats, k: Floats, rho: float) -> Floats:
    """Φ₂(h, k; ρ): the chance that two standard normals with correlation ρ, below 1, are below h and k.

    By the function T of D. B. Owen, Tables for computing bivariate normal probabilities, Annals of Mathematical
    Statistics 27:1075-1090, 1956, equation 2.1.
    """
    from scipy.special import ndtr, owens_t

    # At exactly 0 the slope below is 0/0; this near to it nothing else changes.
    h, k = (np.where(limit == 0.0, 1e-14, limit) for limit in (h, k))
    root = np.sqrt(1.0 - rho**2)
    result: Floats = (
        (ndtr(h) + ndtr(k)) / 2.0
        - owens_t(h, (k - rho * h) / (h * root))
        - owens_t(k, (h - rho * k) / (k * root))
        - np.where(h * k < 0.0, 0.5, 0.0)
    )
    return result
