"""A fact is true of every kit and exact at the kit it was found at."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from priced_bikes import GUARDS, TAIL, case, close
from random_scenarios import all_kits, sample_of

from guardopt.arrays import Bools, Floats
from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.tail_cuts import TailFinder
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price

SEEDS = st.integers(0, 10_000)
POINTS = st.lists(st.floats(0.0, 1.0), min_size=GUARDS, max_size=GUARDS)
"""Guards fitted in part, such as the relaxed program proposes."""


def said_by_kind(finder: FactFinder, says: Floats) -> Floats:
    """``(kinds of fall,)``: what facts about groups say that one fall of each kind costs at least, what waits aside."""
    costs = np.where(is_waiting(finder), 0.0, says)
    return finder.fixed_cost + np.bincount(finder.group_fall, costs, finder.fixed_cost.size)


def is_waiting(finder: FactFinder) -> Bools:
    """``(groups,)``: the group counts how often something comes about that waits."""
    return np.isin(finder.group_bundle, finder.waits) & ~finder.group_is_kept


def noted_by_kind(finder: FactFinder, says: Floats) -> Floats:
    """``(kinds of fall, items that wait)``: what facts say of how often what waits comes about in one fall."""
    return says[is_waiting(finder)].reshape(finder.fixed_cost.size, finder.waits.size)


@given(SEEDS, st.data())
@settings(max_examples=40)
def test_facts_found_at_a_kit_are_exact_there_and_true_of_every_kit(seed: int, data: st.DataObject) -> None:
    """Falls of no kind cost less than the facts say, whatever kit is fitted, and just as much with the facts' own."""
    one = case(seed)
    finder = FactFinder(one.bike, one.sample)
    own = data.draw(st.integers(0, len(one.kits) - 1), "kit")
    facts = finder.at(one.kits[own])
    assert close(said_by_kind(finder, facts.at(one.kits[own])), one.cost[own])
    assert close(noted_by_kind(finder, facts.at(one.kits[own])), one.noted[own])
    for kit, cost, noted in zip(one.kits, one.cost, one.noted, strict=True):
        assert (said_by_kind(finder, facts.at(kit)) <= cost + 1e-7).all()
        assert (noted_by_kind(finder, facts.at(kit)) <= noted + 1e-9).all()


@given(SEEDS, st.data())
@settings(max_examples=25)
def test_facts_are_true_of_every_group_by_itself(seed: int, data: st.DataObject) -> None:
    """Within each group of falls too a kit costs at least what facts found elsewhere say, and at least the floor."""
    one = case(seed)
    finder = FactFinder(one.bike, one.sample)
    elsewhere = one.kits[data.draw(st.integers(0, len(one.kits) - 1), "kit")]
    facts = finder.at(elsewhere)
    for kit in one.kits:
        exact = finder.at(kit).at(kit)
        assert (facts.at(kit) <= exact + 1e-7).all()
        assert (finder.group_floor(finder.least_costs()) <= exact + 1e-7).all()
        assert (exact <= finder.group_ceiling + 1e-7).all()


@given(SEEDS, POINTS, st.lists(st.booleans(), min_size=GUARDS, max_size=GUARDS))
@settings(max_examples=40)
def test_facts_made_for_guards_that_are_off_are_true_with_them_on(
    seed: int, point: list[float], off: list[bool]
) -> None:
    """A fact that says most where some guards are off says no more of any kit than it costs, falls and tail alike."""
    one = case(seed)
    without = np.array(off)
    at = np.where(without, 0.0, np.array(point))
    finder, tail_finder = FactFinder(one.bike, one.sample), TailFinder(one.bike, one.sample, TAIL)
    facts, tail_facts = finder.at(at, None, without), tail_finder.at(at, None, without)
    for kit in one.kits:
        assert (facts.at(kit) <= finder.at(kit).at(kit) + 1e-7).all()
        assert tail_facts.at(kit)[0] <= one.tail_mean(kit) + 1e-7


@given(SEEDS, POINTS)
@settings(max_examples=40)
def test_facts_found_between_kits_are_true_of_every_kit(seed: int, point: list[float]) -> None:
    """A fact found with guards fitted in part says no more of any whole kit than that kit costs."""
    one = case(seed)
    finder = FactFinder(one.bike, one.sample)
    facts = finder.at(np.array(point))
    for kit, cost in zip(one.kits, one.cost, strict=True):
        assert (said_by_kind(finder, facts.at(kit)) <= cost + 1e-7).all()


@given(SEEDS, st.data())
@settings(max_examples=25)
def test_tail_facts_are_exact_at_their_kit_and_true_of_every_kit(seed: int, data: st.DataObject) -> None:
    """The mean of the worst falls is at least what the fact says of every kit, and just that with the fact's own."""
    one = case(seed)
    finder = TailFinder(one.bike, one.sample, TAIL)
    own = data.draw(st.integers(0, len(one.kits) - 1), "kit")
    facts = finder.at(one.kits[own])
    assert close(facts.at(one.kits[own]), np.array([one.tail_mean(one.kits[own])]))
    for kit in one.kits:
        assert facts.at(kit)[0] <= one.tail_mean(kit) + 1e-7


@given(SEEDS, POINTS)
@settings(max_examples=30)
def test_tail_facts_found_between_kits_are_true_of_every_kit(seed: int, point: list[float]) -> None:
    """A tail fact found with guards fitted in part says no more of any whole kit than is so."""
    one = case(seed)
    facts = TailFinder(one.bike, one.sample, TAIL).at(np.array(point))
    for kit in one.kits:
        assert facts.at(kit)[0] <= one.tail_mean(kit) + 1e-7


@given(SEEDS)
@settings(max_examples=25)
def test_renewals_are_linear_in_the_kit(seed: int) -> None:
    """The renewals of a kit are the sum of those of its guards, kind of fall by kind of fall."""
    one = case(seed)
    renewals = FactFinder(one.bike, one.sample).renewals
    bills = price(one.bike, one.sample, all_kits(one.scenario)).bills
    assert close(np.array([bill.renewals for bill in bills]), one.kits @ renewals.T)


def bare_fact(
    make_scenario: Callable[..., Scenario], covers: list[Cover], **terms: float
) -> Callable[[list[int]], float]:
    """What the facts found on the bare bike say of each kit, for parts of 100 and 200 and guards a and b."""
    parts = [Part("lever", "lever", Side.CENTRE, 100.0), Part("tank", "tank", Side.CENTRE, 200.0)]
    guards = [Guard(name, name, Side.CENTRE, 1) for name in "ab"]
    scenario = make_scenario(parts, guards, covers, **terms)
    finder = FactFinder(Bike(scenario), sample_of(scenario))
    facts = finder.at(np.zeros(2))
    return lambda kit: float(said_by_kind(finder, facts.at(np.array(kit, dtype=float)))[0])


def test_fact_about_a_fall_above_the_cap_is_the_chord_to_its_least_bill(
    make_scenario: Callable[..., Scenario],
) -> None:
    """A bill of 300 under a cap of 100 sinks by a third of what is spared, so that nothing is left with all spared."""
    says = bare_fact(make_scenario, [Cover(("a",), "lever", 1.0), Cover(("b",), "tank", 1.0)], value=100.0)
    assert [says([0, 0]), says([1, 0]), says([0, 1]), says([1, 1])] == pytest.approx(
        [100.0, 200 / 3, 100 / 3, 0.0],
        abs=1e-9,  # slopes are rounded up to multiples of 2^-40
    )


def test_a_guard_that_holds_twice_against_a_strike_counts_once(make_scenario: Callable[..., Scenario]) -> None:
    """A tank that a saves by itself and again together with b costs nothing with a, and not less than nothing."""
    says = bare_fact(make_scenario, [Cover(("a",), "tank", 1.0), Cover(("a", "b"), "tank", 1.0)])
    assert [says([0, 0]), says([1, 0]), says([1, 1])] == pytest.approx([300.0, 100.0, 100.0])
