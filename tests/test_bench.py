"""The contenders of the benchmark answer the same question: those that prove agree, and no heuristic beats them."""

from __future__ import annotations

import pytest
from bench.catalogue import catalogue, mean_cost_cents
from bench.contenders import Case, exhaustive, greedy, greedy_with_swaps, ours, plain_program

CASES = [(seed, capped, share) for seed in (1, 2, 3) for capped in (0.0, 1 / 3) for share in (0.2, 0.5)]


@pytest.mark.parametrize(("seed", "capped", "share"), CASES)
def test_facts_and_the_plain_program_find_what_trying_every_kit_finds(seed: int, capped: float, share: float) -> None:
    """On a small catalogue three ways that have nothing in common but the falls come to the same least cost."""
    scenario = catalogue(slots=4, options=2, falls=12, kinds=3, parts=8, capped_share=capped, seed=seed)
    case = Case(scenario, int(share * mean_cost_cents(scenario, 4)))
    least = exhaustive(case)
    assert least is not None
    for found in (ours(case), plain_program(case)):
        assert found is not None
        assert case.allows(found.kit)
        assert found.cost == pytest.approx(least.cost, rel=2e-6)
        assert found.bound <= least.cost * (1.0 + 2e-6)
        assert found.gap <= 2e-6
    by_price, swapped = greedy(case), greedy_with_swaps(case)
    assert case.allows(by_price.kit)
    assert case.allows(swapped.kit)
    assert least.cost <= swapped.cost * (1.0 + 1e-9)
    assert swapped.cost <= by_price.cost


@pytest.mark.parametrize("capped", [0.0, 0.2, 0.5])
def test_catalogue_has_the_share_of_capped_falls_it_was_asked_for(capped: float) -> None:
    """About that share of falls costs the bare bike more than the most that a fall can cost its owner."""
    from guardopt.simulation.compiled import Bike
    from guardopt.simulation.outcomes import outcome

    scenario = catalogue(slots=4, options=3, falls=400, capped_share=capped, seed=5)
    case, bike = Case(scenario, 0), Bike(scenario)
    bare = bike.kit_array(frozenset())
    over = [(outcome(bike, one, bare).repair_bill > scenario.cap).mean() for one in case.sample]
    assert sum(over) / len(over) == pytest.approx(capped, abs=0.01)
    assert len(scenario.guards) == 12
