"""What knowing a number before buying would be worth, from draws of all numbers.

With costs V_d of kits d under draws θ, the expected value of partial perfect information on a number or a group φ is

    EVPPI = min_d E[V_d] − E[min_d E[V_d | φ]],

and the conditional means are found by regression of V_d on φ over the draws (M. Strong, J. E. Oakley, A. Brennan,
Estimating multiparameter partial expected value of perfect information from a probabilistic sensitivity analysis
sample: a nonparametric regression approach, Medical Decision Making 34(3):311-326, 2014). What is regressed is the
advantage of each kit over the chosen one. A single number is regressed by polynomials, as many terms as the Bayesian
information criterion allows (G. Schwarz, Annals of Statistics 6:461-464, 1978); a group by ridge regression, whose
penalty is chosen by leaving out one draw at a time. As numbers are drawn independently, what the others do to the
costs is taken off first (a control variate), by a ridge regression on draws that leave out the one looked at.

The standard error has two parts: that of the regression, by resampling its residuals with random signs (the wild
bootstrap, C. F. J. Wu, Annals of Statistics 14:1261-1295, 1986), and that of the mean over the draws.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.simulation.sampling import named_generator

FEWEST = 50
"""With fewer draws nothing is said of what numbers are worth: luck would pass for worth."""

Smoother = tuple[Floats, Floats]
"""A linear smoother as two matrices: ``(draws, terms)`` times ``(terms, draws)``."""

FOLDS = 10
REPLICATES = 60
PENALTIES = np.geomspace(1e-3, 1e4, 22)
FEW_NUMBERS = 8
"""A group of no more numbers is regressed on their squares and products as well."""


@dataclass(frozen=True, slots=True)
class Worth:
    """An expected value of information and its standard error, in the aim's measure."""

    value: float
    error: float


class Information:
    """What it is worth to know numbers.

    Parameters
    ----------
    values
        ``(draws, numbers)``: the draws.
    costs
        ``(draws, kits)``: the objective of each kit under each draw; the first kit is the chosen one.
    """

    def __init__(self, values: Floats, costs: Floats) -> None:
        self._advantage = costs[:, :1] - costs
        spread = values.std(axis=0)
        self._is_drawn = spread > 0.0
        self._standard = (values - values.mean(axis=0)) / np.where(self._is_drawn, spread, 1.0)
        self._signs = named_generator("signs").choice([-1.0, 1.0], size=(REPLICATES, len(costs)))

    def of_number(self, column: int) -> Worth:
        """What it is worth to know the number in this column of the draws."""
        if not self._is_drawn[column]:
            return Worth(0.0, 0.0)
        mine = np.zeros(len(self._is_drawn), dtype=bool)
        mine[column] = True
        response = self._without_others(mine)
        bases = _bases(self._standard[:, column])
        chosen = _fewest_terms(bases, response)
        if not any(chosen):
            return Worth(0.0, 0.0)
        return self._worth(response, [(bases[terms], bases[terms].T) for terms in chosen])

    def of_group(self, columns: Sequence[int]) -> Worth:
        """What it is worth to know all numbers in these columns."""
        mine = np.zeros(len(self._is_drawn), dtype=bool)
        mine[list(columns)] = True
        mine &= self._is_drawn
        if not mine.any():
            return Worth(0.0, 0.0)
        ridge = _Ridge(_features(self._standard[:, mine]))
        response = self._without_others(mine)
        return self._worth(response, [ridge.smoother(column) for column in response.T])

    @cached_property
    def _slopes(self) -> list[tuple[Bools, Floats]]:
        """For each fold, the draws in it and slopes ``(numbers, kits)`` found on the other draws."""
        draws = len(self._standard)
        found = []
        for fold in range(min(FOLDS, draws)):
            inside = np.arange(draws) % FOLDS == fold
            found.append((inside, _Ridge(self._standard[~inside]).slopes(self._advantage[~inside])))
        return found

    def _without_others(self, mine: Bools) -> Floats:
        """``(draws, kits)``: the advantages, less what numbers other than these do to them."""
        response = self._advantage.copy()
        for inside, slopes in self._slopes:
            response[inside] -= self._standard[inside][:, ~mine] @ slopes[~mine]
        # What was taken off has mean nought; what it has by chance is put back.
        response += self._advantage.mean(axis=0) - response.mean(axis=0)
        return response

    def _worth(self, response: Floats, smoothers: Sequence[Smoother]) -> Worth:
        """EVPPI from a linear smoother for each kit, with its standard error."""
        groups: dict[int, list[int]] = {}
        for kit, (left, _) in enumerate(smoothers):
            groups.setdefault(id(left), []).append(kit)
        fitted = np.empty_like(response)
        replicates = np.empty((REPLICATES, *response.shape))
        for kits in groups.values():
            left, right = smoothers[kits[0]]
            fitted[:, kits] = left @ (right @ response[:, kits])
            noise = self._signs[:, :, np.newaxis] * (response[:, kits] - fitted[:, kits])
            replicates[:, :, kits] = fitted[:, kits] + left @ (right @ noise)
        value, gains = _value(fitted)
        best = replicates.mean(axis=1).argmax(axis=1)
        spread = (replicates.max(axis=2) - replicates[np.arange(REPLICATES), :, best]).mean(axis=1).std(ddof=1)
        return Worth(value, math.hypot(float(spread), float(gains.std(ddof=1)) / math.sqrt(len(gains))))


def _value(fitted: Floats) -> tuple[float, Floats]:
    """Mean over the draws of what the best kit gains on the one that is best on average, and these gains."""
    gains = fitted.max(axis=1) - fitted[:, int(fitted.mean(axis=0).argmax())]
    return float(gains.mean()), gains


def _bases(standard: Floats) -> list[Floats]:
    """Orthonormal columns ``(draws, terms)`` for polynomials of degree 0 to 3, lowest degree first."""
    powers = np.stack([standard**degree for degree in range(4)], axis=1)
    columns, triangle = np.linalg.qr(powers)
    size = np.abs(np.diag(triangle))
    degrees = 1 + int(np.argmin(np.append(size > 1e-8 * size.max(), False)[1:]))
    return [columns[:, :terms] for terms in range(1, degrees + 1)]


def _fewest_terms(bases: Sequence[Floats], response: Floats) -> list[int]:
    """For each kit the number of the basis with the least n ln(RSS/n) + terms · ln n."""
    draws = len(response)
    total = np.square(response).sum(axis=0)
    left = np.array([total - np.square(basis.T @ response).sum(axis=0) for basis in bases])
    least = 1e-12 * np.maximum(total, 1e-12)
    terms = np.array([basis.shape[1] for basis in bases])[:, np.newaxis]
    criterion = draws * np.log(np.maximum(left, least)) + terms * math.log(draws)
    found: list[int] = criterion.argmin(axis=0).tolist()
    return found


def _features(standard: Floats) -> Floats:
    """The numbers of a group; of few numbers squares and products as well, each with spread 1."""
    count = standard.shape[1]
    if count > FEW_NUMBERS:
        return standard
    products = np.stack([standard[:, i] * standard[:, j] for i in range(count) for j in range(i + 1)], axis=1)
    spread = products.std(axis=0)
    return np.concatenate([standard, (products - products.mean(axis=0)) / np.where(spread > 0.0, spread, 1.0)], axis=1)


class _Ridge:
    """Ridge regression with an intercept that is not penalised; penalties by leaving out one draw at a time.

    With X = U S Vᵀ the smoother is 1/n + U S²/(S² + penalty) Uᵀ, and the residual of a draw left out is its residual
    over 1 less its leverage (Golub, Heath and Wahba, Technometrics 21:215-223, 1979, section 1).
    """

    def __init__(self, features: Floats) -> None:
        centred = features - features.mean(axis=0)
        self._u, self._s, self._vt = np.linalg.svd(centred, full_matrices=False)
        self._known: dict[float, Smoother] = {}

    def slopes(self, response: Floats) -> Floats:
        """``(features, kits)``."""
        found = []
        for column in response.T:
            shrunk = self._s / (self._s**2 + self._penalty(column))
            found.append(self._vt.T @ (shrunk * (self._u.T @ (column - column.mean()))))
        return np.stack(found, axis=1)

    def smoother(self, column: Floats) -> Smoother:
        """Two matrices by which a column of responses is multiplied, one after the other, to give the fitted values."""
        penalty = self._penalty(column)
        if penalty not in self._known:
            kept = self._s**2 / (self._s**2 + penalty)
            mean = np.full((len(self._u), 1), len(self._u) ** -0.5)
            self._known[penalty] = np.hstack([self._u * kept, mean]), np.hstack([self._u, mean]).T
        return self._known[penalty]

    def _penalty(self, column: Floats) -> float:
        """The penalty with which draws left out are told best."""
        draws = len(column)
        centred = column - column.mean()
        rotated = self._u.T @ centred
        errors = []
        for penalty in draws * PENALTIES:
            kept = self._s**2 / (self._s**2 + penalty)
            leverage = np.square(self._u) @ kept + 1.0 / draws
            errors.append(float(np.square((centred - self._u @ (kept * rotated)) / (1.0 - leverage)).sum()))
        return float(draws * PENALTIES[int(np.argmin(errors))])
