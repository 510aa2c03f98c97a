"""What is bought at once, how money comes in, and the sets of guards that can have been bought.

A set of guards is one number, guard i being bit i.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario

MOST_SETS = 2**22
"""Above this many sets of guards in hand, courses are too many to go through."""

ROUNDING = 1e-12
"""By this share of what it is made of a bound is lowered, far more than its sums can be off."""

TIE = 1e-9
"""Relative difference below which two costs are the same."""


@dataclass(frozen=True)
class Saving:
    """How money comes in, and what time is worth.

    Attributes
    ----------
    purse
        ``(months,)``: cents saved by each month, never falling.
    weights
        ``(months,)``: w_t, the share of the years' present value in each month; the last stands for all that follows.
    worth
        ``(months,)``: v_t, what one unit of money paid in each month counts; 0 where only the cost of falls does.
    """

    purse: Ints
    weights: Floats
    worth: Floats

    @cached_property
    def rest(self) -> Floats:
        """``(months,)``: the share of the years that each month and all after it have."""
        left: Floats = np.cumsum(self.weights[::-1])[::-1]
        return left


def money_in_months(scenario: Scenario, months: int) -> Floats:
    """``(months,)``: v_t, the present value of one unit of money paid in each month, from now on."""
    worth: Floats = (1.0 + scenario.discount_rate) ** (-np.arange(months) / 12.0)
    return worth


@dataclass(frozen=True)
class Lot:
    """What changes hands at once: a guard, the guards of an offer that are not owned, or an owned guard that is sold.

    Attributes
    ----------
    guards
        The guards as bits of one number: of a guard to buy, that it is in hand; of an owned one, that it is sold.
    cents
        What it costs, fitting included; below 0 for what is sold.
    """

    guards: int
    cents: int

    @property
    def is_sale(self) -> bool:
        """Whether it is a guard that is sold."""
        return self.cents < 0


Move = tuple[Lot, ...]
"""Lots that change hands in one month, what is sold first."""


def is_dearer(rise: float, cost: float) -> bool:
    """Whether falls that cost so much before cost more after a rise, and not only by rounding."""
    return rise > TIE * max(1.0, abs(cost))


@dataclass(frozen=True)
class Dated:
    """A lot and the month in which it is bought."""

    month: int
    lot: Lot


State = tuple[frozenset[int], int]
"""The numbers of the offers taken, and the guards bought and sold as bits."""


@dataclass(frozen=True)
class Solved:
    """A course, and a value that no course costs less than, rounded downward."""

    lots: tuple[Dated, ...]
    bound: float


@dataclass(frozen=True)
class Course:
    """For each month what has been bought and sold by then, and what is on the bike.

    What was owned before counts as bought, sold or not.
    """

    bought: tuple[Kit, ...]
    sold: tuple[Kit, ...]
    fitted: tuple[Kit, ...]


@dataclass(frozen=True)
class FoundCourse:
    """A course and a value that no course is below.

    Attributes
    ----------
    start
        What is best on the bike before anything is bought.
    """

    course: Course
    start: Kit
    bound: float


@dataclass(frozen=True)
class Known:
    """What is known of f for every set of guards in hand.

    Attributes
    ----------
    least, most
        ``(sets,)``: what it is at least and at most.
    """

    least: Floats
    most: Floats


def is_barred(known: Known, before: Ints, after: Ints) -> Bools:
    """Whether falls are known to cost more with one set in hand than with another, and not only by rounding."""
    most = known.most[before]
    barred: Bools = known.least[after] - most > TIE * np.maximum(1.0, np.abs(most))
    return barred


def disjoint_offers(offers: Sequence[Lot]) -> list[frozenset[int]]:
    """Sets of offers of which no two share a guard, as numbers; smaller sets first."""
    found = [
        frozenset(some)
        for size in range(len(offers) + 1)
        for some in combinations(range(len(offers)), size)
        if not any(offers[one].guards & offers[other].guards for one, other in combinations(some, 2))
    ]
    return sorted(found, key=lambda some: (len(some), sorted(some)))


def sets_of(guards: int, offers: Sequence[Lot]) -> int:
    """How many sets of guards in hand and offers taken there are."""
    if len(offers) > 12:
        return MOST_SETS + 1
    taken = [sum(offers[one].guards for one in some) for some in disjoint_offers(offers)]
    return sum(2 ** (guards - base.bit_count()) for base in taken)


def least_in_hand(kits: Ints, cost: Floats, guards: int, fitted: int = 0) -> Floats:
    """``(sets,)``: f, the least cost of a kit of guards that are in hand, for every set of them.

    Where there is none it is infinite.

    Parameters
    ----------
    kits
        ``(kits,)``: the guards of each kit that have to be bought, as bits.
    cost
        ``(kits,)``.
    guards
        How many can be bought.
    fitted
        Guards, as bits, that are on the bike wherever they are in hand.
    """
    least = np.full(2**guards, np.inf)
    np.minimum.at(least, kits, cost)
    for bit in range(guards):
        if fitted >> bit & 1:
            continue
        halves = least.reshape(-1, 2, 2**bit)
        np.minimum(halves[:, 1], halves[:, 0], out=halves[:, 1])
    return least


def as_bits(kits: Bools) -> Ints:
    """``(kits,)``: rows of ``(kits, guards)`` as numbers, guard i being bit i."""
    bits: Ints = kits @ (np.int64(1) << np.arange(kits.shape[1], dtype=np.int64))
    return bits
