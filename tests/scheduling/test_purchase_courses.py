"""Courses of buying by dynamic programming, against going through every month for every lot, on invented numbers."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest

from guardopt.arrays import Floats
from guardopt.scheduling.joint_lots import JointLots
from guardopt.scheduling.lots import Known, Lot, Saving, as_bits, disjoint_offers, least_in_hand, sets_of
from guardopt.scheduling.purchase_courses import CourseProgram

GUARDS, MONTHS = 4, 4


def random_course(seed: int, rate: float, sold: int = 0) -> tuple[CourseProgram, list[Lot], Floats, Floats, Saving]:
    """A program of four guards and two offers, with its lots, resale, f and saving; the first guards are for sale."""
    rng = np.random.default_rng(seed)
    singles = [Lot(1 << number, int(rng.integers(0, 80_00))) for number in range(GUARDS)]
    singles[:sold] = [Lot(lot.guards, -1 - lot.cents) for lot in singles[:sold]]
    offers = [Lot(0b1100, 60_00)] if sold else [Lot(0b0011, 60_00), Lot(int(rng.choice([0b0110, 0b1100])), 45_00)]
    kits = np.array([number for number in range(2**GUARDS) if number == 0 or rng.random() < 0.6])
    cost = least_in_hand(kits, rng.uniform(0.0, 400.0, kits.size), GUARDS)[np.arange(2**GUARDS) ^ (2**sold - 1)]
    years = MONTHS / 12 + 1.5
    force = math.log1p(rate)
    edges = np.array([*(month / 12 for month in range(MONTHS)), years])
    until = edges if rate == 0.0 else -np.expm1(-force * edges)
    worth = (1.0 + rate) ** (-np.arange(MONTHS) / 12)
    saving = Saving(np.array([0, 50_00, 90_00, 170_00]), np.diff(until) / until[-1], worth)
    resale = np.array(
        [share * lot.cents / 100 for share, lot in zip(rng.uniform(0, 0.5, GUARDS), singles, strict=True)]
    )
    return CourseProgram(singles, offers, resale, saving), [*singles, *offers], resale, cost, saving


def least_of_all(lots: list[Lot], resale: Floats, cost: Floats, saving: Saving) -> float:
    """The least cost of every way to buy each lot in some month or never."""
    best = math.inf
    for when in product(range(MONTHS + 1), repeat=len(lots)):
        bought = [lot for lot, month in zip(lots, when, strict=True) if month < MONTHS]
        had = 0
        for lot in bought:
            had += lot.guards
        if had != int(np.bitwise_or.reduce([0, *(lot.guards for lot in bought)])):
            continue
        total, spent, had = 0.0, 0, 0
        for month in range(MONTHS):
            new = [lot for lot, one in zip(lots, when, strict=True) if one == month]
            spent += sum(lot.cents for lot in new)
            before = cost[had]
            had += sum(lot.guards for lot in new)
            if spent > saving.purse[month] or (any(lot.is_sale for lot in new) and cost[had] > before + 1e-6):
                break
            total += saving.weights[month] * cost[had] + saving.worth[month] * sum(lot.cents for lot in new) / 100
        else:
            best = min(best, total - sum(back for bit, back in enumerate(resale) if had >> bit & 1))
    return best


@pytest.mark.parametrize("rate", [0.0, 0.04, 0.6])
@pytest.mark.parametrize("seed", range(4))
def test_no_course_is_below_the_bound_and_joint_lots_meet_it(seed: int, rate: float) -> None:
    """Six lots in five months or never, all 15,625 ways; without interest the first bound is exact already."""
    program, lots, resale, cost, saving = random_course(seed, rate)
    least = least_of_all(lots, resale, cost, saving)
    solved = program.solve(Known(cost, cost))
    assert solved.bound <= least
    if rate == 0.0:
        assert solved.bound == pytest.approx(least, abs=1e-6)
    joint = JointLots(program, Known(cost, cost), least).solve()
    assert joint is not None
    assert joint.bound <= least
    assert joint.bound == pytest.approx(least, abs=1e-6)


@pytest.mark.parametrize("rate", [0.0, 0.6])
@pytest.mark.parametrize("seed", range(12))
def test_two_guards_for_sale_against_every_course(seed: int, rate: float) -> None:
    """Two owned guards, two to buy and an offer of these: no month with a sale may leave falls dearer."""
    program, lots, resale, cost, saving = random_course(seed, rate, sold=2)
    resale = np.where(np.arange(GUARDS) < 2, -np.abs(resale), resale)
    program = CourseProgram(lots[:GUARDS], lots[GUARDS:], resale, saving)
    least = least_of_all(lots, resale, cost, saving)
    known = Known(cost, cost)
    assert program.solve(known).bound <= least
    joint = JointLots(program, known, least).solve()
    assert joint is not None
    assert joint.bound == pytest.approx(least, abs=1e-6)


def test_what_is_worth_its_interest_only_together_is_bought_together() -> None:
    """By hand: two brackets are of no use one by one. Bought apart the first would cost two months' interest for nothing."""
    singles = [Lot(1, 10_000), Lot(2, 10_000)]
    worth = 1.2 ** (-np.arange(4) / 12)
    until = -np.expm1(-math.log(1.2) * np.array([0.0, 1 / 12, 2 / 12, 3 / 12, 3.0]))
    saving = Saving(np.array([0, 10_000, 10_000, 20_000]), np.diff(until) / until[-1], worth)
    cost = np.array([1000.0, 1000.0, 1000.0, 100.0])
    by_hand = 1000.0 - saving.rest[3] * 900.0 + worth[3] * 200.0
    joint = JointLots(CourseProgram(singles, [], np.zeros(2), saving), Known(cost, cost), by_hand).solve()
    assert joint is not None
    assert [dated.month for dated in joint.lots] == [3, 3]
    assert joint.bound == pytest.approx(by_hand)


def test_what_is_in_hand_costs_what_its_best_kit_does() -> None:
    """Three guards, by hand: the least over all kits that are part of what is in hand."""
    kits = np.array([[False, False, False], [True, False, False], [False, True, True]])
    least = least_in_hand(as_bits(kits), np.array([9.0, 5.0, 2.0]), 3)
    assert least.tolist() == [9.0, 5.0, 9.0, 5.0, 9.0, 5.0, 2.0, 2.0]


def test_offers_that_share_a_guard_are_not_both_taken() -> None:
    """Three offers, of which the first two share a guard: six sets of offers; and the sets of guards beside them."""
    offers = [Lot(0b00011, 1), Lot(0b00110, 1), Lot(0b11000, 1)]
    assert disjoint_offers(offers) == [frozenset(some) for some in ((), (0,), (1,), (2,), (0, 2), (1, 2))]
    assert sets_of(5, offers) == 32 + 3 * 8 + 2 * 2
