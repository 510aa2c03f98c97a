"""Rows of a linear program, Σ_j a_j v_j ≤ b, and the bound that follows from them whatever a solver says.

For any multipliers λ ≥ 0 of the rows A v ≤ b, every v within its bounds l ≤ v ≤ u that keeps the rows has

    c·v ≥ c·v + λ·(A v − b) ≥ Σ_j min(d_j l_j, d_j u_j) − λ·b,     d = c + Aᵀλ                               (1)

which is a bound however λ was found (A. Neumaier and O. Shcherbina, Safe bounds in linear and mixed-integer linear
programming, Mathematical Programming 99, 2004, 283–296). With c = 0, a bound above 0 proves that no v keeps the rows.
Sums are rounded, so (1) is lowered by more than they can be off: a sum of n products in floating point is within
n u Σ |a_i b_i| of the true one, to first order (N. J. Higham, Accuracy and Stability of Numerical Algorithms, 2nd
edition, SIAM 2002, section 3.1), and four times that is taken off.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from guardopt.arrays import Floats, Ints

UNIT_ROUNDOFF = 2.0**-53

MARGIN = 4.0
"""By how many times the first-order rounding error a bound is lowered."""


class RowKind(StrEnum):
    """Where a row comes from."""

    BUDGET = "budget"
    WEIGHT = "weight"
    PLACE = "place"
    NEED = "need"
    NOT_WITH = "not_with"
    OFFER = "offer"
    CUT = "cut"
    CEILING = "ceiling"
    OTHER_THAN = "other_than"


@dataclass(frozen=True)
class Row:
    """One row, Σ coefficient · variable ≤ at_most.

    Attributes
    ----------
    kind
        Where it comes from.
    columns, coefficients
        ``(entries,)`` each: the variables of the row and what they are multiplied by.
    about
        What it is about: of a place the guards that fit it, of a cut the number of the cut.
    """

    kind: RowKind
    columns: Ints
    coefficients: Floats
    at_most: float
    about: tuple[str | int, ...] = ()


class Rows:
    """Rows of one program, to which more are added.

    Parameters
    ----------
    columns
        Number of variables.
    """

    def __init__(self, columns: int) -> None:
        self.rows: list[Row] = []
        self._matrix = np.zeros((64, columns))
        self._at_most = np.zeros(64)

    def __len__(self) -> int:
        return len(self.rows)

    def add(self, rows: Sequence[Row]) -> None:
        """Add rows at the end."""
        needed = len(self.rows) + len(rows)
        if needed > len(self._matrix):
            self._matrix = np.concatenate([self._matrix, np.zeros((needed, self._matrix.shape[1]))])
            self._at_most = np.concatenate([self._at_most, np.zeros(needed)])
        for number, row in enumerate(rows, start=len(self.rows)):
            self._matrix[number, row.columns] = row.coefficients
            self._at_most[number] = row.at_most
        self.rows.extend(rows)

    def bound(self, cost: Floats, lower: Floats, upper: Floats, multipliers: Floats) -> float:
        """A value that no point within the bounds which keeps the rows is below (1), however it is rounded.

        Parameters
        ----------
        cost, lower, upper
            ``(columns,)``: c, l and u, all finite.
        multipliers
            ``(rows,)``, none below 0 (`usable`).
        """
        used = np.flatnonzero(multipliers)
        matrix, taken, at_most = self._matrix[used], multipliers[used], self._at_most[used]
        reduced = cost + taken @ matrix
        size = np.abs(cost) + taken @ np.abs(matrix)
        least = np.minimum(reduced * lower, reduced * upper)
        reach = np.maximum(np.abs(lower), np.abs(upper))
        terms = float(size @ reach + taken @ np.abs(at_most))
        rounding = MARGIN * (used.size + cost.size + 4) * UNIT_ROUNDOFF * terms
        return float(least.sum() - taken @ at_most) - rounding

    def plain_multipliers(
        self, cost: Floats, lower: Floats, upper: Floats, rows: Sequence[int] | None = None
    ) -> Iterator[Floats]:
        """Multipliers that need no solver where all is fixed but costs which cuts bound from below.

        For each of some rows: 1 for the row itself, and for every variable that it or the cost counts the cut that
        says most of it, if that is more than its lower bound.

        Parameters
        ----------
        cost, lower, upper
            As for `bound`.
        rows
            The rows to begin with, one a time. Default: each that is not a cut; none: the cost alone.
        """
        cuts = np.array([number for number, row in enumerate(self.rows) if row.kind is RowKind.CUT], dtype=np.int64)
        others = [number for number, row in enumerate(self.rows) if row.kind is not RowKind.CUT]
        at = np.where(lower == upper, lower, 0.0)
        bounded = np.array([int(self.rows[number].columns[0]) for number in cuts], dtype=np.int64)
        says = self._matrix[cuts] @ at - self._at_most[cuts]
        best: dict[int, int] = {}
        most = dict(enumerate(lower.tolist()))
        for number, column, least in zip(cuts.tolist(), bounded.tolist(), says.tolist(), strict=True):
            if least > most[column]:
                best[column], most[column] = number, least
        for start in [None] if rows is not None and not rows else (others if rows is None else rows):
            multipliers = np.zeros(len(self.rows))
            counted = cost.copy()
            if start is not None:
                multipliers[start] = 1.0
                counted = counted + self._matrix[start]
            for column, number in best.items():
                if counted[column] > 0.0:
                    multipliers[number] = counted[column]
            yield multipliers


def usable(multipliers: Floats) -> Floats:
    """Multipliers for a bound from whatever a solver called its dual values: what is no number or below 0 becomes 0."""
    known: Floats = np.nan_to_num(multipliers, nan=0.0, posinf=0.0, neginf=0.0)
    return np.maximum(known, 0.0)
