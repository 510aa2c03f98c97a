"""Optimality cuts: linear inequalities that say what falls cost at least, whatever kit is fitted.

For any choice of one root r_k for each item k, and of one guard g(j) for each cover j that holds against that root,
every kit x has

    bill(x) ≥ L(x) = Σ_k c_k (1 − Σ_{j against r_k} x_g(j))           each guard counted once a root       (1)

    min(bill(x), cap) ≥ m + s (L(x) − m)                                                                   (2)

where m ≤ cap is no more than the least bill that can be reached within the budget (`knapsack_bound`) and (2) is the
chord of min(·, cap) from m to L₀ = max L, of slope s = (cap − m) / (L₀ − m), used for a fall with L₀ > cap; otherwise
s = 1. Chosen at a kit x̄ (roots not spared, guards not in x̄) both are exact there. Summed over a group they are one
fact about it:

    θ_g ≥ constant_g − Σ_i slope_gi x_i                                                                    (3)

A root that guards expose a part to has as further covers the absence of each of these guards, for which 1 − x_i stands
(`roots`), so that x_i makes it dearer. Below, x is written z = (x, 1 − x) until a fact is finished.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats, Ints, distinct
from guardopt.cuts.lifting import Lifting
from guardopt.simulation.item_arrays import Items, sums
from guardopt.simulation.reduction import reaches

CHORDS = 2.0**40
"""Slopes of chords are multiples of 1 / CHORDS, so that they are short numbers where they are checked exactly."""


@dataclass(frozen=True)
class Facts:
    """Facts found at one kit (3): one about each group, θ ≥ constant − slope · x.

    Attributes
    ----------
    constant, slope
        ``(groups,)`` and ``(groups, guards)``.
    """

    constant: Floats
    slope: Floats

    def at(self, kit: Floats) -> Floats:
        """``(groups,)``: what the facts say at a kit."""
        return self.constant - self.slope @ kit

    @classmethod
    def of_absence_too(cls, constant: Floats, slope: Floats) -> Facts:
        """Facts from slopes of z, ``(groups, 2 × guards)``: constant − a (1 − x) is constant − a + a x."""
        present, absent = np.split(slope, 2, axis=1)
        return cls(constant - absent.sum(axis=1), present - absent)


class Chosen:
    """The choice of roots and guards made at one kit, given as z, for a list of items.

    Attributes
    ----------
    cost
        ``(items,)``: cost of the items that are incurred, at least in part; the others are left out of the facts.
    item, guard
        ``(pairs,)`` each: an item and an entry of z, a guard or an absence, that holds against its chosen root.
    """

    def __init__(self, items: Items, literals: Sequence[tuple[int, ...]], kit: Floats) -> None:
        guard_of = np.array([min(entries, key=lambda one: kit[one]) for entries in literals], dtype=np.int64)
        fitted = kit[guard_of][items.against_cover]
        is_whole = bool(((kit == 0.0) | (kit == 1.0)).all())
        root = _first_unspared(items, fitted) if is_whole else _least_spared(items, fitted)
        self.cost = np.zeros_like(items.cost)
        incurred = items.strike_item[root]
        self.cost[incurred] = items.cost[incurred]
        is_root = np.zeros(items.strike_item.size, dtype=bool)
        is_root[root] = True
        taken = np.flatnonzero(is_root[items.against_strike])
        item, guard = items.strike_item[items.against_strike[taken]], guard_of[items.against_cover[taken]]
        doubtful = items.may_repeat[taken]
        if doubtful.any():
            # Two covers of a root may have come down to one guard, which is counted once.
            pairs = distinct(item[doubtful] * kit.size + guard[doubtful])
            item = np.concatenate([item[~doubtful], pairs // kit.size])
            guard = np.concatenate([guard[~doubtful], pairs % kit.size])
        self.item, self.guard = item, guard


def _first_unspared(items: Items, fitted: Floats) -> Ints:
    """With a whole kit: of each item that is incurred, the first strike that no cover spares."""
    spared = np.zeros(items.strike_item.size, dtype=bool)
    spared[items.against_strike[fitted > 0.0]] = True
    unspared = np.flatnonzero(~spared)
    item = items.strike_item[unspared]
    return unspared[np.diff(item, prepend=-1) > 0]


def _least_spared(items: Items, fitted: Floats) -> Ints:
    """With guards fitted in part: of each item that is incurred in part, the first of the strikes spared least."""
    unspared = 1.0 - sums(items.against_strike, fitted, items.strike_item.size)
    root = items.first_strike
    if items.strike_item.size > root.size:
        most = np.maximum.reduceat(unspared, root)
        is_most = np.flatnonzero(unspared == most[items.strike_item])
        root = is_most[np.diff(items.strike_item[is_most], prepend=-1) > 0]
    return root[unspared[root] > 0.0]


def off_in_z(off: Bools | None) -> Bools | None:
    """The guards that are off as entries of z; no absence is."""
    return None if off is None else np.concatenate([off, np.zeros_like(off)])


@dataclass(frozen=True)
class CappedFacts:
    """Facts (2) fall by fall: cost ≥ constant − Σ slope x, the sum over pairs of a fall and a guard."""

    constant: Floats
    fall: Ints
    guard: Ints
    slope: Floats


def capped_facts(
    items: Items, base: Floats, chosen: Chosen, cap: float, least: Floats, lifting: Lifting, off: Bools | None
) -> CappedFacts:
    """The facts (2) of some falls, made tighter where some guards are known to be off.

    Parameters
    ----------
    items, base
        Items by fall, and ``(falls,)`` what of each bill no guard can spare.
    chosen
        The choice of roots and guards.
    cap, least
        The cap, and ``(falls,)`` m.
    lifting, off
        How, and ``(entries of z,)`` which guards are off; None if none is.
    """
    most = base + sums(items.owner, chosen.cost, base.size)
    if off is not None and off.any():
        least = np.maximum(least, lifting.least(off))
    # Falls that stay above the cap, within the budget and with what is off, are constants.
    settled = reaches(least, cap)
    over = reaches(most, cap) & ~settled
    chord = np.where(settled, 0.0, 1.0)
    chord[over] = _rounded_up((cap - least[over]) / (most[over] - least[over]))
    fall, guard = items.owner[chosen.item], chosen.guard
    slope = chord[fall] * chosen.cost[chosen.item]
    if off is not None and off.any():
        is_lifted = over | settled
        kept = ~(is_lifted[fall] & off[guard])
        more = lifting.spared(off, is_lifted)
        fall, guard, slope = (
            np.concatenate([one[kept], two]) for one, two in zip((fall, guard, slope), more, strict=True)
        )
    return CappedFacts(np.minimum(np.where(settled, least, most), cap), fall, guard, slope)


def _rounded_up(chord: Floats) -> Floats:
    """Slopes as multiples of 1 / `CHORDS`, one more than it takes to make up for rounding, and 1 at most."""
    return np.minimum((np.floor(chord * CHORDS) + 2.0) / CHORDS, 1.0)
