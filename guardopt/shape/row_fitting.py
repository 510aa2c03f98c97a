"""Rows for `covers.csv` and `exposes.csv` that give back how often parts are struck with any kit.

With p the chance of a strike on the bare bike, h_r the holds and e_r the harms of the rows r whose guards are all in
the kit K, the model of single falls gives

    q_K = A_K · (1 − (1 − p) · U_K),    A_K = Π_r (1 − h_r),    U_K = Π_r (1 − e_r):

an exposed part is struck from the road with chance p, or else by a row that does harm, and spared if any row holds.
Rows are found for one guard after the other, then for pairs, then for threes: each makes good what the rows of fewer
guards leave. Chances that two rows multiply to less than they are together cannot be made good by a row that holds; a
row that does harm then brings them up, as far as the others let it. What the model cannot give back at all is shared
out: rows of pairs and of threes are moved until the squared misfit over all kits is least, kits of each size counting
alike. Rows of single guards stay, so that a kit of one guard is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats

MOST_TOGETHER = 3
"""Guards in one row."""

LEAST_CHANGE = 0.005
"""A row is left out if it would change no chance by more."""

MOST_ROUNDS = 15
"""Rounds through the rows of one cell."""

SETTLED = 1e-3
"""Move of a chance below which rows have come to rest."""

SMALLEST = 1e-9
"""Least share that a row leaves, so that its effect can be taken back."""

Guards = frozenset[str]


@dataclass(frozen=True)
class FittedRow:
    """What guards do together that fewer of them do not.

    Attributes
    ----------
    guards
        Fitted together.
    holds, harms
        ``(cells,)``: chances that a struck part is spared, and that one not struck on the bare bike is struck.
    """

    guards: Guards
    holds: Floats
    harms: Floats


@dataclass(frozen=True)
class Fit:
    """Rows, and what they give.

    Attributes
    ----------
    rows
        Those that matter, of fewer guards first.
    chances
        ``(kits, cells)``: q_K by the rows.
    """

    rows: tuple[FittedRow, ...]
    chances: Floats


def fit(bare: Floats, kits: Sequence[Guards], chances: Floats, least: float = LEAST_CHANGE) -> Fit:
    """Find rows so that the model gives back chances of being struck.

    Parameters
    ----------
    bare
        ``(cells,)``: p of each cell, a part in a kind of fall.
    kits
        Sets of guards, each of up to three of them before any larger one that contains it.
    chances
        ``(kits, cells)``: what the model is to give.
    least
        Changes of a chance that are not worth a row.
    """
    fitted_guards = sorted(frozenset().union(*kits))
    is_fitted = np.array([[name in kit for name in fitted_guards] for kit in kits], dtype=bool).reshape(len(kits), -1)
    column = {name: index for index, name in enumerate(fitted_guards)}
    spared = np.ones_like(chances)
    unharmed = np.ones_like(chances)
    rows: list[FittedRow] = []
    small = [row for row, kit in enumerate(kits) if 0 < len(kit) <= MOST_TOGETHER]
    for row in sorted(small, key=lambda one: len(kits[one])):
        holds, harms = _made_good(bare, spared[row], unharmed[row], chances[row], least)
        if not holds.any() and not harms.any():
            continue
        rows.append(FittedRow(kits[row], holds, harms))
        has_all = is_fitted[:, [column[name] for name in kits[row]]].all(axis=1)
        spared[has_all] *= 1.0 - holds
        unharmed[has_all] *= 1.0 - harms
    given = spared * (1.0 - (1.0 - bare) * unharmed)
    members: list[Bools] = [np.asarray(is_fitted[:, [column[name] for name in row.guards]].all(axis=1)) for row in rows]
    sizes = np.array([len(kit) for kit in kits])
    weights = 1.0 / np.bincount(sizes)[sizes]
    for cell in np.flatnonzero(np.abs(given - chances).max(axis=0) > least):
        given[:, cell] = _shared_out(float(bare[cell]), int(cell), rows, members, weights, chances[:, cell])
    return Fit(tuple(row for row in rows if row.holds.any() or row.harms.any()), given)


def _shared_out(
    bare: float, cell: int, rows: Sequence[FittedRow], members: Sequence[Bools], weights: Floats, wanted: Floats
) -> Floats:
    """Move the rows of several guards, in one cell, to the least squared misfit; the chances that they give then.

    One row after the other is set to its best, the others as they are (coordinate descent): q_K is linear in 1 − h_r
    and in 1 − e_r, so each has its least squares in closed form.

    Returns
    -------
    Floats
        ``(kits,)``.
    """
    spared, unharmed = np.ones_like(wanted), np.ones_like(wanted)
    for row, has_all in zip(rows, members, strict=True):
        for chances, factor in ((row.holds, spared), (row.harms, unharmed)):
            chances[cell] = min(chances[cell], 1.0 - SMALLEST)
            factor[has_all] *= 1.0 - chances[cell]
    joint = [(row, has_all) for row, has_all in zip(rows, members, strict=True) if len(row.guards) > 1]
    for _ in range(MOST_ROUNDS):
        moved = 0.0
        for row, has_all in joint:
            a, u, weight, target = spared[has_all], unharmed[has_all], weights[has_all], wanted[has_all]
            if row.holds[cell] > 0.0:
                without = a / (1.0 - row.holds[cell])
                slope = without * (1.0 - (1.0 - bare) * u)
                keep = _least_squares(weight, slope, target)
                spared[has_all] = without * keep
                moved = max(moved, abs(1.0 - keep - row.holds[cell]))
                row.holds[cell] = 1.0 - keep
            elif row.harms[cell] > 0.0:
                without = u / (1.0 - row.harms[cell])
                slope = a * (1.0 - bare) * without
                keep = _least_squares(weight, slope, a - target)
                unharmed[has_all] = without * keep
                moved = max(moved, abs(1.0 - keep - row.harms[cell]))
                row.harms[cell] = 1.0 - keep
        if moved < SETTLED:
            break
    given: Floats = spared * (1.0 - (1.0 - bare) * unharmed)
    return given


def _least_squares(weight: Floats, slope: Floats, target: Floats) -> float:
    """The k from 0 to 1 with the least Σ w (k · slope − target)²."""
    size = float((weight * slope) @ slope)
    best = float((weight * slope) @ target) / size if size > 0.0 else 1.0
    return min(1.0, max(SMALLEST, best))


def _made_good(bare: Floats, spared: Floats, unharmed: Floats, wanted: Floats, least: float) -> tuple[Floats, Floats]:
    """Holds and harms, ``(cells,)`` each, that bring the chances of one kit as near as they can to those wanted."""
    now = spared * (1.0 - (1.0 - bare) * unharmed)
    is_less, is_more = wanted < now - least, wanted > now + least
    holds = np.where(is_less, 1.0 - wanted / np.where(is_less, now, 1.0), 0.0)
    can_be_harmed = is_more & ((1.0 - bare) * unharmed * spared > 0.0)
    missed = (1.0 - wanted / np.where(can_be_harmed, spared, 1.0)) / np.where(
        can_be_harmed, (1.0 - bare) * unharmed, 1.0
    )
    harms = np.where(can_be_harmed, 1.0 - np.clip(missed, 0.0, 1.0), 0.0)
    return holds, harms
