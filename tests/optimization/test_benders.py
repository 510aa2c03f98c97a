"""The plan is the best of all kits, whatever the bike, the falls, the guards and the limits."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pytest
from random_scenarios import EveryKit, price_every_kit, random_limits, random_scenario, sample_of

from guardopt.deadline import Deadline
from guardopt.errors import NoKitError
from guardopt.model.aims import AIMS, GAP, Aim, Best, Limits
from guardopt.model.pieces import Cover, Guard, Kit, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST, SPEND
from guardopt.optimization.nodes import Earlier

SEEDS = range(48)
MANY_GUARDS = range(1000, 1012)
MORE_SEEDS = range(2000, 2600)

LOST_BY_PRESOLVE = 2369
"""The presolve of HiGHS 1.16 took this bike's tie-breaking program, which has an answer, for infeasible."""

TIED = 1e-6
"""Measures this close, relatively, are ties that the search need not tell apart."""


def guards_for(seed: int) -> int:
    """How many guards the scenario of a seed has."""
    return 10 if seed in MANY_GUARDS else 4 + seed % 5


@lru_cache(maxsize=4)
def solved(seed: int) -> tuple[Scenario, Planner, EveryKit]:
    """A random scenario, its planner and the exhaustive search on the same falls."""
    scenario = random_scenario(seed, guards=guards_for(seed))
    sample = sample_of(scenario)
    return scenario, Planner(scenario, sample), price_every_kit(scenario, sample)


def near(measured: float) -> float:
    """How far apart two measures may be and still be a tie."""
    return TIED * max(1.0, abs(measured))


def check_against_exhaustive_search(seed: int, aim: Aim, limits: Limits) -> None:
    """The plan's kit measures what it is said to, is allowed, and no kit is better; ties go as the aim says."""
    scenario, planner, every = solved(seed)
    least = every.least(aim, limits)
    if least is None:
        with pytest.raises(NoKitError):
            planner.best(aim, limits)
        return
    best = planner.best(aim, limits)
    assert every.allowed(limits)[every.kits.index(best.kit)]
    assert best.objective == pytest.approx(every.of(aim, best.kit), rel=1e-9, abs=1e-7)
    assert best.objective <= least + near(least)
    assert best.bound <= least + 1e-7 * max(1.0, abs(least))
    assert best.proven
    assert best.gap <= GAP
    ties = every.allowed(limits) & (every.measured[aim] <= best.objective + 1e-10 * max(1.0, abs(best.objective)))
    if aim is Aim.WORST:
        bills = every.measured[Aim.BILLS]
        assert every.of(Aim.BILLS, best.kit) <= bills[ties].min() + near(bills[ties].min())
    else:
        assert scenario.spend_cents(best.kit) == every.spend_cents[ties].min()


@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
@pytest.mark.parametrize("seed", [*SEEDS, *MANY_GUARDS, LOST_BY_PRESOLVE])
def test_plan_is_the_best_of_all_kits_within_the_budget(seed: int, aim: Aim) -> None:
    """No kit that the budget, the weight limit and the mounting places allow is better than the plan."""
    scenario, _, _ = solved(seed)
    check_against_exhaustive_search(seed, aim, Limits(budget_cents=scenario.budget_cents))


@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
@pytest.mark.parametrize("seed", SEEDS)
def test_plan_is_the_best_of_all_kits_with_guards_forced_in_or_out(seed: int, aim: Aim) -> None:
    """The same planner, asked again under other limits, finds the best of the kits that these leave."""
    scenario, _, _ = solved(seed)
    check_against_exhaustive_search(seed, aim, random_limits(scenario, seed))


@pytest.mark.slow
@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
@pytest.mark.parametrize("seed", MORE_SEEDS)
def test_plan_is_the_best_of_all_kits_at_length(seed: int, aim: Aim) -> None:
    """The same claims on many more bikes."""
    scenario, _, _ = solved(seed)
    check_against_exhaustive_search(seed, aim, Limits(budget_cents=scenario.budget_cents))
    check_against_exhaustive_search(seed, aim, random_limits(scenario, seed))


@pytest.mark.parametrize("tail", [0.02, 0.5, 1.0])
@pytest.mark.parametrize("seed", range(6))
def test_worst_falls_of_any_share_can_be_planned_for(seed: int, tail: float) -> None:
    """The kit for the worst share of falls is the best of all kits, whatever the share."""
    scenario = random_scenario(seed, guards=6)
    sample = sample_of(scenario)
    limits = Limits(budget_cents=scenario.budget_cents)
    every = price_every_kit(scenario, sample, tail)
    best = Planner(scenario, sample, tail=tail).best(Aim.WORST, limits)
    assert best.objective == pytest.approx(every.least(Aim.WORST, limits), rel=TIED, abs=TIED)


@pytest.mark.parametrize("seed", range(20))
def test_more_budget_never_costs_more(seed: int) -> None:
    """Whatever a smaller budget buys, a larger one buys too."""
    scenario = random_scenario(seed, guards=7)
    planner = Planner(scenario, sample_of(scenario))
    costs = [planner.best(Aim.BILLS, Limits(budget_cents=budget)).objective for budget in range(0, 40_001, 4_000)]
    assert all(richer <= poorer + near(poorer) for poorer, richer in itertools.pairwise(costs))
    assert costs[-1] <= planner.measure("cost", scenario.stock) + near(costs[-1])


@pytest.mark.parametrize("seed", range(20))
def test_what_is_forced_in_is_fitted_and_what_is_barred_is_not(seed: int) -> None:
    """A forced guard is in the kit, a barred one is not, and with everything barred the bike is bare."""
    scenario, planner, every = solved(seed)
    for guard in scenario.guards:
        for limits in (Limits(must=frozenset({guard.id})), Limits(never=frozenset({guard.id}))):
            if every.least(Aim.BILLS, limits) is not None:
                kit = planner.best(Aim.BILLS, limits).kit
                assert limits.must <= kit
                assert not limits.never & kit
    bare = planner.best(Aim.BILLS, Limits(never=frozenset(scenario.guard)))
    assert bare.kit == frozenset()
    assert bare.objective == pytest.approx(every.of(Aim.BILLS, frozenset()))


@pytest.mark.parametrize("seed", range(12))
def test_plan_is_the_better_of_those_with_and_without_a_guard(seed: int) -> None:
    """The best kit has a guard or it has not, so the better of the two forced plans is the plan."""
    scenario, planner, every = solved(seed)
    least = planner.best(Aim.OUTLAY).objective
    for guard in scenario.guards:
        sides = (Limits(must=frozenset({guard.id})), Limits(never=frozenset({guard.id})))
        forced = [
            planner.best(Aim.OUTLAY, limits).objective
            for limits in sides
            if every.least(Aim.OUTLAY, limits) is not None
        ]
        assert min(forced) == pytest.approx(least, rel=TIED, abs=TIED)


def two_levers(make_scenario: Callable[..., Scenario], *prices: int) -> Scenario:
    """Parts of 100 that are always struck, and for each a guard at a price in cents that always holds."""
    parts = [Part(f"part{row}", f"part{row}", Side.CENTRE, 100.0) for row in range(len(prices))]
    guards = [Guard(f"guard{row}", f"guard{row}", Side.CENTRE, price) for row, price in enumerate(prices)]
    covers = [Cover((f"guard{row}",), f"part{row}", 1.0) for row in range(len(prices))]
    return make_scenario(parts, guards, covers)


@pytest.mark.parametrize("prices", [(10, 20), (1, 2), (110, 220), (4_999_999, 1), (1990, 2995), (7, 1_000_000_007)])
def test_budget_is_kept_to_the_cent(
    make_scenario: Callable[..., Scenario], best_kit: Callable[..., Best], prices: tuple[int, int]
) -> None:
    """A budget that both guards meet exactly buys both; with one cent less only one is bought."""
    scenario = two_levers(make_scenario, *prices)
    both = best_kit(scenario, budget_cents=sum(prices))
    assert both.kit == {"guard0", "guard1"}
    assert scenario.spend_cents(both.kit) == sum(prices)
    assert best_kit(scenario, budget_cents=sum(prices) - 1).kit == {f"guard{np.argmin(prices)}"}


def test_equal_bills_are_settled_by_the_smaller_spend(
    make_scenario: Callable[..., Scenario], best_kit: Callable[..., Best]
) -> None:
    """Of two guards that spare the same part alike the cheaper is bought, and one that spares nothing is not."""
    scenario = two_levers(make_scenario, 5000, 4999, 1)
    covers = (Cover(("guard0",), "part0", 1.0), Cover(("guard1",), "part0", 1.0))
    assert best_kit(make_scenario(scenario.parts, scenario.guards, covers)).kit == {"guard1"}


def test_outlay_weighs_a_guard_against_what_it_costs_and_fetches(
    make_scenario: Callable[..., Scenario], best_kit: Callable[..., Best]
) -> None:
    """A guard of 120 that saves 100 is not worth it, unless a fifth of its price and more is got back."""
    part = Part("tank", "tank", Side.CENTRE, 100.0)
    cover = Cover(("bar",), "tank", 1.0)

    def plan(resale_share: float) -> Best:
        bar = Guard("bar", "bar", Side.CENTRE, 12_000, resale_share=resale_share)
        return best_kit(make_scenario([part], [bar], [cover]), aim=Aim.OUTLAY)

    assert plan(0.0).kit == frozenset()
    assert plan(0.0).objective == pytest.approx(100.0)
    assert plan(0.3).kit == {"bar"}
    assert plan(0.3).objective == pytest.approx(120.0 * 0.7)


@pytest.mark.parametrize("seed", range(12))
def test_time_limit_leaves_an_honest_gap(seed: int) -> None:
    """With no time left the kit is priced truly, the bound is below every kit, and nothing unproven is called proven."""
    scenario = random_scenario(seed, guards=8)
    sample = sample_of(scenario)
    every = price_every_kit(scenario, sample)
    planner = Planner(scenario, sample)
    planner.measure("cost", frozenset())
    best = planner.best(Aim.BILLS, Limits(budget_cents=scenario.budget_cents), deadline=Deadline.after(0.0))
    least = every.least(Aim.BILLS, Limits(budget_cents=scenario.budget_cents))
    assert least is not None
    assert best.objective == pytest.approx(every.of(Aim.BILLS, best.kit))
    assert best.bound <= least + near(least)
    assert least <= best.objective + near(least)
    assert not best.proven or best.objective <= least + near(least)


def test_a_planner_gives_the_same_answer_whatever_it_was_asked_before() -> None:
    """Facts found for other questions change how fast the answer comes, not the answer."""
    scenario = random_scenario(3, guards=8)
    sample = sample_of(scenario)
    limits = Limits(budget_cents=scenario.budget_cents)
    fresh = Planner(scenario, sample).best(Aim.BILLS, limits)
    asked = Planner(scenario, sample)
    kits: set[Kit] = {
        asked.best(aim, Limits(budget_cents=budget)).kit for aim in AIMS.values() for budget in (0, 5_000, None)
    }
    assert len(kits) > 1
    assert asked.best(Aim.BILLS, limits).objective == pytest.approx(fresh.objective, rel=TIED)


@pytest.mark.parametrize("seed", range(3000, 3024))
def test_a_search_after_another_finds_what_it_would_find_alone(seed: int) -> None:
    """The least spend among kits that cost at most so much: the tree of the costs leaves little to look at."""
    scenario, planner, every = solved(seed)
    limits = Limits(scenario.budget_cents)
    if every.least(AIMS["bills"], limits) is None:
        pytest.skip("no kit is allowed")
    found = planner.search(COST, limits)
    for looser in (1e-9, 0.02, 0.5):
        most = found.value * (1.0 + looser)
        tied = Limits(scenario.budget_cents, at_most={COST: most})
        after, alone = planner.search(SPEND, tied, earlier=Earlier(found, most)), planner.search(SPEND, tied)
        allowed = every.allowed(limits) & (every.measured[AIMS["bills"]] <= most)
        assert after.is_complete
        assert after.value == alone.value == every.spend_cents[allowed].min()
        assert after.bound <= after.value
