"""What a plan says of itself can be worked out again from outside, on bikes small enough to try every kit."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from random_scenarios import EveryKit, price_every_kit, random_scenario, sample_of

from guardopt.model.aims import Aim, Limits, aim_named
from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import bill
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price

SEEDS = range(3000, 3012)
NEAR = 1e-6

NEEDED = (3021, 3034)
"""Bikes on which taking a guard off, or making room for one, takes off others that need what goes."""

PRICED = (3012, 3014, 3019)
"""Bikes on which some guard would come in at a lower price, by either aim."""


@cache
def planned(seed: int, aim: str) -> tuple[Scenario, Plan, EveryKit]:
    """A random bike, its plan, and every kit priced one by one on the same falls."""
    scenario = random_scenario(seed, guards=4 + seed % 4, own_costs=False)
    return scenario, plan(scenario, aim=aim), price_every_kit(scenario, sample_of(scenario))


def records(made: Plan) -> dict[str, dict[str, Any]]:
    """What the plan says of each guard."""
    return {record["guard"]: record for record in made.to_json()["guards"]}


def cost_over_years(scenario: Scenario, kit: Kit) -> float:
    """Cost over the years on the falls that the plan was made on."""
    return price(Bike(scenario), sample_of(scenario), [kit]).bills[0].cost_over_years


@pytest.mark.parametrize("aim", ["bills", "outlay", "worst"])
@pytest.mark.parametrize("seed", SEEDS)
def test_losses_are_those_of_the_best_kits_without_and_with_each_guard(seed: int, aim: str) -> None:
    """Barring a picked guard, or forcing in one left out, loses what exhaustive search says, and never gains."""
    scenario, made, every = planned(seed, aim)
    for name, record in records(made).items():
        key = "loss_if_barred" if record["picked"] else "loss_if_forced"
        one = frozenset({name})
        budget = scenario.budget_cents
        limits = Limits(budget, never=one) if record["picked"] else Limits(budget, must=one)
        least = every.least(aim_named(aim), limits)
        if least is None:
            assert record[key] is None
        else:
            assert record[key] >= 0.0
            assert record[key] == pytest.approx(least - made.best.objective, abs=NEAR * max(1.0, abs(least)))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_guard_enters_at_the_least_budget_whose_best_kit_has_it(seed: int) -> None:
    """Every budget at which the best kit can change is tried."""
    scenario, made, every = planned(seed, "bills")
    budgets = sorted({max(0, spend) for spend in every.spend_cents.tolist()})
    having: dict[str, list[int]] = {guard.id: [] for guard in scenario.guards}
    for budget in budgets:
        allowed = every.allowed(Limits(budget))
        least = every.least(Aim.BILLS, Limits(budget))
        assert least is not None
        ties = allowed & (every.measured[Aim.BILLS] <= least + 1e-9 * max(1.0, abs(least)))
        cheapest = ties & (every.spend_cents == every.spend_cents[ties].min())
        for name in having:
            if all(name in kit for kit, best in zip(every.kits, cheapest, strict=True) if best):
                having[name].append(budget)
    for name, record in records(made).items():
        if not record["picked"] and scenario.guard[name].spend_cents > 0:
            expected = having[name][0] / 100 if having[name] else None
            assert record["enters_at_budget"] == expected


@pytest.mark.parametrize("seed", [*SEEDS, *NEEDED])
def test_dropping_takes_off_what_needs_the_guard_and_adding_takes_off_what_clashes(seed: int) -> None:
    """`loss_if_dropped` and `gain_if_added` compare the kit with one that differs in that guard only."""
    scenario, made, _ = planned(seed, "bills")
    kit = made.kit
    cost = cost_over_years(scenario, kit)
    are_needed = []
    for name, record in records(made).items():
        guard = scenario.guard[name]
        if record["picked"]:
            other = set(kit) - {name}
        else:
            other = {one for one in kit if not scenario.exclude_each_other(guard, scenario.guard[one])} | {name}
        while unmet := [one for one in other - {name} if any(not need & other for need in scenario.guard[one].needs)]:
            other -= set(unmet)
            are_needed.append(name)
        changed = cost_over_years(scenario, frozenset(other))
        if record["picked"]:
            assert record["loss_if_dropped"] == pytest.approx(changed - cost, abs=1e-7)
            yearly = (changed - cost) / scenario.annuity
            if guard.owned:
                assert record["pays_back_years"] == 0.0
            elif yearly > HALF_A_CENT:
                assert record["pays_back_years"] == pytest.approx(guard.spend_cents / 100 / yearly)
            else:
                assert record["pays_back_years"] is None
        else:
            assert record["gain_if_added"] == pytest.approx(cost - changed, abs=1e-7)
    assert are_needed or seed not in NEEDED


@pytest.mark.parametrize("aim", ["bills", "outlay"])
@pytest.mark.parametrize("seed", [*SEEDS, *PRICED])
def test_at_its_entry_price_a_guard_is_bought(seed: int, aim: str) -> None:
    """A guard left out that is said to come in at a price does come in at it, and not for a cent more."""
    scenario, made, _ = planned(seed, aim)
    priced = {name: one["enters_at_price"] for name, one in records(made).items() if one.get("enters_at_price")}
    assert priced or seed not in PRICED
    for name, entry in priced.items():
        cents = round(100 * entry)
        assert entry == cents / 100
        for asked, comes_in in ((cents, True), (cents + 1, False)):
            guards = tuple(replace(one, price_cents=asked) if one.id == name else one for one in scenario.guards)
            assert (name in plan(replace(scenario, guards=guards), aim=aim, reasons=False).kit) is comes_in


def test_plan_says_what_it_spends_and_how_far_from_proven_it_is() -> None:
    """The keys promised are there, and spend, gap and the reasons' codes agree with each other."""
    scenario, made, _ = planned(SEEDS[0], "bills")
    said = made.to_json()
    promised = "scenario currency aim budget kit spend status objective bound gap stock fitted guards"
    assert set(promised.split()) <= set(said)
    assert said["spend"] == scenario.spend_cents(frozenset(said["kit"])) / 100
    assert said["gap"] == (said["objective"] - said["bound"]) / max(1.0, abs(said["objective"]))
    assert set(said["fitted"]) >= {"yearly_cost", "yearly_cost_se", "cost_over_years", "cost_over_years_se"}
    for record in said["guards"]:
        assert record["picked"] == (record["guard"] in said["kit"])
        assert record["picked"] == (record["reason"] in ("picked", "owned", "forced_in"))
        assert record["text"].endswith(".")


def test_totals_are_priced_on_other_falls_than_the_plan_was_made_on() -> None:
    """A plan is not judged by the luck it was picked for: `fitted` is what `bill` says of the kit."""
    scenario, made, _ = planned(SEEDS[1], "bills")
    report = bill(scenario, sorted(made.kit))
    assert report.bill.yearly_cost == made.fitted.yearly_cost
    assert report.yearly_cost_se == pytest.approx(made.prices.standard_error(2))
    assert report.bill.cost_over_years != cost_over_years(scenario, made.kit)


def test_bill_adds_up() -> None:
    """Parts and strip-downs add up to the repair bills of a year, and falls to the yearly cost."""
    scenario = random_scenario(SEEDS[2], own_costs=False)
    said = bill(scenario).to_json()
    repairs = sum(fall["per_year"] * fall["repair_bill"] for fall in said["falls"])
    parts = sum(part["bill_per_year"] for part in said["parts"])
    strips = sum(group["bill_per_year"] for group in said["strip_down"])
    assert repairs == pytest.approx(parts + strips)
    yearly = sum(fall["per_year"] * (fall["owner_cost"] + fall["renewals"]) for fall in said["falls"])
    assert said["yearly_cost"] == pytest.approx(yearly)
    assert said["cost_over_years"] == pytest.approx(scenario.annuity * yearly)
    assert said["cost_over_years_se"] == pytest.approx(scenario.annuity * said["yearly_cost_se"])
