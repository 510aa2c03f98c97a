"""What a budget cannot reach: no kit within it costs less than the bound of a single fall, and facts may lean on that."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.kit_lists import spends
from guardopt.cuts.knapsack_bound import Reach
from guardopt.cuts.tail_cuts import TailFinder
from guardopt.model.pieces import Cover, Fall, Guard, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import cost_at_once
from guardopt.simulation.reduction import reduce_falls
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.roots import cover_literals

GUARDS = 6
TAIL = 0.15
SEEDS = st.integers(0, 10_000)
BUDGETS = st.integers(0, 60_000)


class Case:
    """A random bike, all its kits with their spends, and what each fall costs with each of them."""

    def __init__(self, seed: int) -> None:
        self.scenario: Scenario = random_scenario(seed, guards=GUARDS, falls_sampled=25)
        self.sample = sample_of(self.scenario)
        self.bike = Bike(self.scenario)
        self.kits = np.array([self.bike.kit_array(kit) for kit in all_kits(self.scenario)], dtype=bool)
        self.spend = spends(self.scenario, self.kits)
        self.reduced = reduce_falls(self.bike, self.sample, keep_all=True)
        self.reach = Reach(self.scenario, cover_literals(self.bike), self.reduced.kept_items, self.reduced.kept)
        self.costs = np.array(
            [np.concatenate([cost_at_once(self.bike, one, kit) for one in self.sample]) for kit in self.kits]
        )


@lru_cache(maxsize=64)
def case(seed: int) -> Case:
    """The random bike of a seed."""
    return Case(seed)


@given(SEEDS, BUDGETS)
@settings(max_examples=60)
def test_no_kit_within_the_budget_gets_a_fall_below_the_bound(seed: int, budget: int) -> None:
    """Fall by fall, every kit that the budget pays for costs at least the bound."""
    one = case(seed)
    least = one.reach.least(budget)
    for costs in one.costs[one.spend <= budget]:
        assert (least <= costs + 1e-7).all()


@given(SEEDS, BUDGETS, BUDGETS)
@settings(max_examples=30)
def test_more_money_reaches_further(seed: int, one_budget: int, other_budget: int) -> None:
    """A larger budget has no higher bound, but for the few multipliers that are tried; without limit it is lowest."""
    reach = case(seed).reach
    small, large = sorted((one_budget, other_budget))
    assert reach.least(large).mean() <= reach.least(small).mean() + 1e-2 * abs(reach.least(small).mean()) + 1e-7
    assert (reach.least(None) <= reach.least(small) + 1e-7).all()


@given(SEEDS, BUDGETS, st.data())
@settings(max_examples=40)
def test_facts_within_a_budget_are_exact_at_their_kit_and_true_of_the_kits_it_pays_for(
    seed: int, budget: int, data: st.DataObject
) -> None:
    """Within the budget they were found for, facts say no more than is so, and exactly what is so at their own kit."""
    one = case(seed)
    within = np.flatnonzero(one.spend <= budget)
    if not within.size:
        return
    finder = FactFinder(one.bike, one.sample)
    least = finder.least_costs(budget)
    own = within[data.draw(st.integers(0, within.size - 1), "kit")]
    facts = finder.at(one.kits[own].astype(float), least)
    exact = finder.at(one.kits[own].astype(float))
    assert np.allclose(facts.at(one.kits[own]), exact.at(one.kits[own]), rtol=1e-9, atol=1e-7)
    for row in within:
        kit = one.kits[row].astype(float)
        assert (facts.at(kit) <= finder.at(kit).at(kit) + 1e-7).all()


@given(SEEDS, BUDGETS, st.lists(st.floats(0.0, 1.0), min_size=GUARDS, max_size=GUARDS))
@settings(max_examples=40)
def test_facts_between_kits_hold_within_the_budget(seed: int, budget: int, point: list[float]) -> None:
    """The same of facts about the cost and about the worst falls that were found with guards fitted in part."""
    one = case(seed)
    finder, tail_finder = FactFinder(one.bike, one.sample), TailFinder(one.bike, one.sample, TAIL)
    facts = finder.at(np.array(point), finder.least_costs(budget))
    tail_facts = tail_finder.at(np.array(point), tail_finder.least_costs(budget))
    rates = np.array([fall.per_year for fall in one.scenario.falls])
    chance = np.concatenate([np.full(s.falls, rates[s.fall] / rates.sum() * s.share / s.falls) for s in one.sample])
    for row in np.flatnonzero(one.spend <= budget):
        kit = one.kits[row].astype(float)
        assert (facts.at(kit) <= finder.at(kit).at(kit) + 1e-7).all()
        assert tail_facts.at(kit)[0] <= worst_mean(one.costs[row], chance, TAIL) + 1e-7


def reach_of(scenario: Scenario) -> Reach:
    """The bounds of a scenario on its own sample."""
    bike = Bike(scenario)
    reduced = reduce_falls(bike, sample_of(scenario), keep_all=True)
    return Reach(scenario, cover_literals(bike), reduced.kept_items, reduced.kept)


@pytest.fixture
def three_pads(make_scenario) -> Scenario:  # type: ignore[no-untyped-def]
    """Three parts at 100, each always struck and saved for certain by a pad at 10, 20 or 30; the cap is 250."""
    parts = [Part(f"part{i}", f"part{i}", Side.CENTRE, 100.0) for i in range(3)]
    guards = [Guard(f"pad{i}", f"pad{i}", Side.CENTRE, 1000 * (i + 1)) for i in range(3)]
    return make_scenario(
        value=250.0,
        salvage=0.0,
        parts=parts,
        falls=[Fall("slide", 1.0)],
        hits={("slide", part.id): 1.0 for part in parts},
        guards=guards,
        covers=[Cover((f"pad{i}",), f"part{i}", 1.0) for i in range(3)],
    )


@pytest.mark.parametrize(
    ("budget", "least"),
    [
        (0, 250.0),
        (999, 250.0),
        (1000, 200.0),
        (1999, 200.0),
        (2900, 300.0 - 100.0 - 19 / 20 * 100.0),
        (3000, 100.0),
        (5800, 300.0 - 200.0 - 28 / 30 * 100.0),
        (6000, 0.0),
        (None, 0.0),
    ],
)
def test_bound_worked_out_by_hand(three_pads: Scenario, budget: int | None, least: float) -> None:
    """Money left over buys a part of the next pad, if the budget pays for the whole of it; the cap holds below 10.

    The bound is that of the knapsack in fractions (G. B. Dantzig, Discrete-variable extremum problems, Operations
    Research 5, 1957): the pads in the order of what they spare for their price, the last one in part.
    """
    assert reach_of(three_pads).least(budget) == pytest.approx(least)


def test_an_offer_lets_the_budget_reach_further(three_pads: Scenario) -> None:
    """With all three at half price, 30 pays for all of them."""
    from dataclasses import replace

    cheaper = replace(three_pads, offers=(Offer("lot", frozenset({"pad0", "pad1", "pad2"}), 3000),))
    assert reach_of(cheaper).least(3000) == pytest.approx(0.0)
    assert (reach_of(three_pads).least(3000) > 99.0).all()
