"""The list of all kits and the integer program are two proofs of the same optimum, and each checks the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_scenarios import all_kits, price_every_kit, random_limits, random_scenario, sample_of

from guardopt.arrays import Bools
from guardopt.cuts import kit_lists
from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.kit_lists import legal_kits, spends
from guardopt.errors import NoKitError
from guardopt.model.aims import AIMS, GAP, Aim, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price

SEEDS = st.integers(0, 10_000)


def listed(scenario: Scenario) -> Bools:
    """The list of kits, which for so few guards there is."""
    kits = legal_kits(scenario)
    assert kits is not None
    return kits


def named(scenario: Scenario, kits: Bools) -> list[Kit]:
    """Kits as sets of ids."""
    names = [guard.id for guard in scenario.guards]
    return [frozenset(name for name, fitted in zip(names, kit, strict=True) if fitted) for kit in kits]


@given(SEEDS)
@settings(max_examples=50)
def test_the_list_holds_every_kit_that_can_be_fitted_once(seed: int) -> None:
    """Slots, needs, not-withs and the weight limit leave the same kits as looking at every subset does."""
    scenario = random_scenario(seed, guards=7)
    kits = named(scenario, listed(scenario))
    assert len(kits) == len(set(kits))
    assert set(kits) == set(all_kits(scenario))


@given(SEEDS)
@settings(max_examples=50)
def test_the_list_knows_what_every_kit_costs_to_the_cent(seed: int) -> None:
    """Spends of all kits at once, offers included, are those of each kit by itself."""
    scenario = random_scenario(seed, guards=7)
    kits = listed(scenario)
    assert spends(scenario, kits).tolist() == [scenario.spend_cents(kit) for kit in named(scenario, kits)]


@given(SEEDS)
@settings(max_examples=25)
def test_merged_costs_of_all_kits_are_their_prices_where_no_cap_can_bind(seed: int) -> None:
    """On a bike too dear to write off, merged items and fixed costs are the whole cost of each kind of fall."""
    scenario = random_scenario(seed, guards=6, falls_sampled=30)
    uncapped = replace(scenario, value=1e9, insurance=None)
    kits, sample = listed(uncapped), sample_of(uncapped)
    finder = FactFinder(Bike(uncapped), sample)
    bills = price(Bike(uncapped), sample, named(uncapped, kits)).bills
    costs = np.repeat(finder.fixed_cost[:, np.newaxis], len(kits), axis=1)
    for one in finder.merged_costs(kits):
        if one.name not in finder.waits:
            costs[one.kind] += one.cost[one.which]
    np.testing.assert_allclose(costs.T, [bill.owner_cost + bill.off_road for bill in bills], rtol=1e-9, atol=1e-7)


@pytest.mark.parametrize("aim", [Aim.BILLS, Aim.OUTLAY])
@pytest.mark.parametrize("seed", range(16))
def test_list_program_and_exhaustive_search_agree(seed: int, aim: Aim) -> None:
    """Asked eight questions in a row, the list and the program find the least that any kit allowed measures."""
    scenario = random_scenario(seed, guards=7)
    sample = sample_of(scenario)
    every = price_every_kit(scenario, sample)
    by_list, by_program = Planner(scenario, sample), Planner(scenario, sample)
    for question in range(8):
        limits = random_limits(scenario, 100 * seed + question)
        least = every.least(aim, limits)
        found = by_list.best_or_none(aim, limits)
        if least is None:
            assert found is None
            with pytest.raises(NoKitError):
                by_program.best(aim, limits)
            continue
        assert found is not None
        assert every.allowed(limits)[every.kits.index(found.kit)]
        assert found.objective == pytest.approx(every.of(aim, found.kit), rel=1e-9, abs=1e-7)
        tolerance = 2 * GAP * max(1.0, abs(least))
        assert found.bound <= least + tolerance
        assert found.objective <= least + tolerance
        assert by_program.best(aim, limits).objective == pytest.approx(found.objective, abs=tolerance)


@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
@pytest.mark.parametrize("seed", range(8))
def test_where_kits_are_too_many_to_list_the_program_answers(
    seed: int, aim: Aim, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the list the same questions get the same answers."""
    scenario = random_scenario(seed, guards=7)
    sample = sample_of(scenario)
    questions = [random_limits(scenario, 100 * seed + question) for question in range(4)]
    listed_planner = Planner(scenario, sample)
    by_list = [listed_planner.best_or_none(aim, limits) for limits in questions]
    monkeypatch.setattr(kit_lists, "MOST_KITS", 3)
    assert legal_kits(scenario) is None
    planner = Planner(scenario, sample)
    for limits, expected in zip(questions, by_list, strict=True):
        found = planner.best_or_none(aim, limits)
        assert (found is None) == (expected is None)
        if found is not None and expected is not None:
            assert found.objective == pytest.approx(expected.objective, rel=2 * GAP, abs=2 * GAP)


def test_a_kit_that_no_limit_allows_is_told_as_none() -> None:
    """A guard both needed and barred leaves no kit, for the list as for the program."""
    scenario = random_scenario(0, guards=5)
    name = scenario.guards[0].id
    limits = Limits(must=frozenset({name}), never=frozenset({name}))
    planner = Planner(scenario, sample_of(scenario))
    assert all(planner.best_or_none(aim, limits) is None for aim in AIMS.values())


@pytest.mark.parametrize("seed", range(10))
def test_a_planner_with_other_rates_is_as_good_as_a_new_one(seed: int) -> None:
    """With other fall rates the same sample and facts give what a planner made for these rates gives."""
    scenario = random_scenario(seed, guards=7)
    sample = sample_of(scenario)
    planner = Planner(scenario, sample)
    limits = Limits(budget_cents=scenario.budget_cents)
    planner.best(Aim.BILLS, limits)
    rates = np.random.default_rng(seed).uniform(0.1, 3.0, len(scenario.falls)).tolist()
    falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(scenario.falls, rates, strict=True))
    every = price_every_kit(replace(scenario, falls=falls), sample)
    other = planner.with_rates(rates)
    for aim in AIMS.values():
        for found in (other.best(aim, limits), other.best_or_none(aim, limits)):
            assert found is not None
            assert found.objective == pytest.approx(every.least(aim, limits), rel=2 * GAP, abs=2 * GAP)
    assert planner.best(Aim.BILLS, limits).objective == pytest.approx(
        price_every_kit(scenario, sample).least(Aim.BILLS, limits), rel=2 * GAP, abs=2 * GAP
    )
