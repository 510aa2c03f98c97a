"""Every number of a verdict is what it says it is, worked out again from outside; every reason is given where it is due."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import pytest
from random_scenarios import EveryKit, price_every_kit, random_limits, random_scenario, sample_of

from guardopt.model.aims import Aim, Limits
from guardopt.model.pieces import HALF_A_CENT, Guard, Kit, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST
from guardopt.questions.explanation.verdicts import Reason
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import Bill, price

NEAR = 2e-6
"""Measures this close, relatively, may be told apart by a search that stops at a gap of one in a million, or not."""


@dataclass(frozen=True)
class Case:
    """A random question and the plain way to everything that its answer says."""

    scenario: Scenario
    aim: Aim
    limits: Limits
    every: EveryKit

    @cached_property
    def plan(self) -> Plan:
        """The plan, given all the time it needs."""
        budget = float("inf") if self.limits.budget_cents is None else self.limits.budget_cents / 100
        forced = {"must": self.limits.must, "never": self.limits.never}
        return plan(self.scenario, aim=self.aim, budget=budget, **forced, time_limit=None)

    @cached_property
    def verdicts(self) -> dict[str, dict[str, Any]]:
        """What the plan says of each guard, as it is printed."""
        return {record["guard"]: record for record in self.plan.to_json()["guards"]}

    @cached_property
    def bike(self) -> Bike:
        """The bike, to price kits on."""
        return Bike(self.scenario)

    def bill(self, kit: Kit) -> Bill:
        """A kit priced by itself on the planning sample."""
        return price(self.bike, sample_of(self.scenario), [kit], errors=False).bills[0]

    def without(self, guard: str) -> Kit:
        """The plan's kit without a guard, and without what needs it."""
        return met(self.scenario, self.plan.kit - {guard})

    def plus(self, guard: str) -> Kit:
        """The plan's kit with a guard, and without what clashes with it."""
        one = self.scenario.guard[guard]
        clashing = {name for name in self.plan.kit if clash(one, self.scenario.guard[name])}
        return met(self.scenario, (self.plan.kit - clashing) | {guard}, spare=guard)

    def near(self, measured: float) -> float:
        """How close to a measure another one is as good."""
        return NEAR * max(1.0, abs(measured))


def clash(one: Guard, other: Guard) -> bool:
    """Whether two guards share a mounting place or do not go together."""
    shared = (
        one.slot is not None
        and one.slot == other.slot
        and (one.side is other.side or Side.PAIR in (one.side, other.side))
    )
    centre = Side.CENTRE in (one.side, other.side) and one.side is not other.side
    return (shared and not centre) or other.id in one.not_with or one.id in other.not_with


def met(scenario: Scenario, kit: Kit, spare: str = "") -> Kit:
    """A kit without the guards whose needs it does not meet."""
    while True:
        unmet = {
            name for name in kit if name != spare and not all(needed & kit for needed in scenario.guard[name].needs)
        }
        if not unmet:
            return kit
        kit -= unmet


@lru_cache(maxsize=2)
def priced(seed: int, guards: int) -> tuple[Scenario, EveryKit]:
    """A random scenario with every kit of it priced."""
    scenario = random_scenario(seed, guards=guards, falls_sampled=40, own_costs=False)
    return scenario, price_every_kit(scenario, sample_of(scenario))


def cases(seed: int, aim: Aim, guards: int) -> list[Case]:
    """A random bike under its own budget, and under random limits where these leave any kit."""
    scenario, every = priced(seed, guards)
    limits = [Limits(scenario.budget_cents), random_limits(scenario, seed)]
    return [Case(scenario, aim, one, every) for one in limits if every.least(aim, one) is not None]


QUESTIONS = [
    *((seed, aim, 8 if seed == 3 else 6) for seed in range(10) for aim in (Aim.BILLS, Aim.OUTLAY)),
    *((seed, Aim.WORST, 5) for seed in (20, 21, 22)),
]


@pytest.fixture(scope="module", params=QUESTIONS, ids=lambda one: f"{one[0]}-{one[1].name}")
def asked(request: pytest.FixtureRequest) -> list[Case]:
    """Random questions, answered once for all the tests below."""
    return cases(*request.param)


def test_dropping_a_picked_guard_loses_what_is_said(asked: list[Case]) -> None:
    """loss_if_dropped is the cost over the years without the guard and what needs it, less that of the kit."""
    for case in asked:
        whole = case.bill(case.plan.kit).cost_over_years
        for guard in case.plan.kit:
            loss = case.bill(case.without(guard)).cost_over_years - whole
            assert case.verdicts[guard]["loss_if_dropped"] == pytest.approx(loss, abs=1e-6)


def test_adding_a_guard_gains_what_is_said(asked: list[Case]) -> None:
    """gain_if_added is the cost over the years of the kit less that with the guard, clashing ones taken off."""
    for case in asked:
        whole = case.bill(case.plan.kit).cost_over_years
        for guard in case.scenario.guard.keys() - case.plan.kit:
            gain = whole - case.bill(case.plus(guard)).cost_over_years
            assert case.verdicts[guard]["gain_if_added"] == pytest.approx(gain, abs=1e-6)


def test_a_guard_left_out_would_save_what_is_said_where_it_goes(asked: list[Case]) -> None:
    """would_save is what it gains beside the kit; where that is nothing, what it saves with what clashes off in both."""
    for case in asked:
        for guard in case.scenario.guard.keys() - case.plan.kit:
            gain = case.verdicts[guard]["gain_if_added"]
            told = gain if gain > HALF_A_CENT else savings(case, guard)[1]
            assert case.verdicts[guard]["would_save"] == pytest.approx(told, abs=1e-6)


def test_losses_against_the_best_are_those_of_exhaustive_search(asked: list[Case]) -> None:
    """The best kit without a picked guard, or with one left out, is as much worse as is said.

    It is never better, but for guards that were forced: their losses stop at nothing.
    """
    for case in asked:
        best = case.every.least(case.aim, case.limits)
        assert best is not None
        for guard, verdict in case.verdicts.items():
            must, never = case.limits.must - {guard}, case.limits.never - {guard}
            if verdict["picked"]:
                other = case.every.least(case.aim, replace(case.limits, must=must, never=never | {guard}))
                loss = verdict["loss_if_barred"]
            else:
                other = case.every.least(case.aim, replace(case.limits, must=must | {guard}, never=never))
                loss = verdict["loss_if_forced"]
            if other is None:
                assert loss is None
                continue
            expected = other - best
            if guard in case.limits.must | case.limits.never:
                expected = max(0.0, expected)
            assert loss >= 0.0
            assert loss == pytest.approx(expected, abs=case.near(other))


def test_a_guard_enters_at_the_least_budget_whose_best_kit_has_it(asked: list[Case]) -> None:
    """At no smaller budget is the best kit one with the guard; at that one it is, or one as good has it."""
    for case in asked:
        budgets = sorted({max(0, spend) for spend in case.every.spend_cents.tolist()})
        for guard, verdict in case.verdicts.items():
            if verdict["picked"]:
                continue
            enters = verdict["enters_at_budget"]
            for budget in budgets:
                lead = lead_of(case, guard, budget)
                if lead is None:
                    continue
                best = case.every.least(case.aim, replace(case.limits, budget_cents=budget))
                assert best is not None
                if enters is None or budget < round(enters * 100):
                    assert lead <= case.near(best)
                elif budget == round(enters * 100):
                    assert lead >= -case.near(best)


def lead_of(case: Case, guard: str, budget_cents: int) -> float | None:
    """By how much the best kit with a guard is better than the best one without; None if no kit is allowed."""
    limits = replace(case.limits, budget_cents=budget_cents)
    with_it = None if guard in limits.never else case.every.least(case.aim, replace(limits, must=limits.must | {guard}))
    without = case.every.least(case.aim, replace(limits, never=limits.never | {guard}))
    if with_it is None and without is None:
        return None
    infinite = float("inf")
    return (infinite if without is None else without) - (infinite if with_it is None else with_it)


def test_a_guard_is_paid_back_when_its_yearly_saving_adds_up_to_what_was_spent(asked: list[Case]) -> None:
    """pays_back_years is spend over yearly saving; none if it saves nothing, at once if it was owned."""
    for case in asked:
        for guard in case.plan.kit:
            verdict, spend = case.verdicts[guard], case.scenario.guard[guard].spend_cents / 100
            yearly = case.bill(case.without(guard)).yearly_cost - case.bill(case.plan.kit).yearly_cost
            assert verdict["spend"] == spend
            if case.scenario.guard[guard].owned:
                assert verdict["pays_back_years"] == 0.0
            elif verdict["pays_back_years"] is None:
                assert yearly <= 2 * HALF_A_CENT
            else:
                assert verdict["pays_back_years"] * yearly == pytest.approx(spend)


def test_a_guard_left_out_comes_in_at_the_price_named(asked: list[Case]) -> None:
    """One cent below enters_at_price, all else being the same, the best kit has the guard."""
    for case in asked:
        for guard, verdict in case.verdicts.items():
            named = None if verdict["picked"] else verdict["enters_at_price"]
            if named is not None and named >= 0.02:
                assert named < case.scenario.guard[guard].price
                assert guard in kit_at_price(case, guard, int(named * 100) - 1)


def kit_at_price(case: Case, guard: str, price_cents: int) -> Kit:
    """The best kit, were a guard to be had at another price."""
    guards = [replace(one, price_cents=price_cents) if one.id == guard else one for one in case.scenario.guards]
    scenario = replace(case.scenario, guards=tuple(guards))
    return Planner(scenario, sample_of(scenario)).best(case.aim, case.limits).kit


def test_reasons_are_given_where_they_are_due(asked: list[Case]) -> None:
    """Each reason holds when it is looked into from outside, and goes with being picked or not."""
    for case in asked:
        for guard, verdict in case.verdicts.items():
            holds = {
                Reason.PICKED: picked,
                Reason.OWNED: owned,
                Reason.FORCED_IN: forced_in,
                Reason.FORCED_OUT: forced_out,
                Reason.CANNOT_BE_FITTED: cannot_be_fitted,
                Reason.WEARS_OUT: wears_out,
                Reason.ADDS_NOTHING: adds_nothing,
                Reason.BEATEN: beaten,
                Reason.OVER_BUDGET: over_budget,
                Reason.NOT_WORTH_IT: not_worth_it,
            }[Reason(verdict["reason"])]
            assert verdict["picked"] == (guard in case.plan.kit)
            assert holds(case, guard), f"{guard} is not {verdict['reason']}"


def picked(case: Case, guard: str) -> bool:
    """In the kit, of the plan's own will."""
    return guard in case.plan.kit - case.limits.must - case.scenario.stock


def owned(case: Case, guard: str) -> bool:
    """In the kit, and the owner's before."""
    return guard in case.plan.kit & case.scenario.stock


def forced_in(case: Case, guard: str) -> bool:
    """In the kit because it was asked for."""
    return guard in case.plan.kit & case.limits.must


def forced_out(case: Case, guard: str) -> bool:
    """Ruled out."""
    return guard in case.limits.never


def cannot_be_fitted(case: Case, guard: str) -> bool:
    """No kit has it at any budget."""
    forced = replace(case.limits, budget_cents=None, must=case.limits.must | {guard})
    return guard not in case.limits.never and case.every.least(case.aim, forced) is None


def savings(case: Case, guard: str) -> tuple[float, float]:
    """What a guard left out saves over the years where it would go, before and after its renewals are paid."""
    plus = case.plus(guard)
    with_it, without = case.bill(plus), case.bill(plus - {guard})
    damage = case.scenario.annuity * with_it.rates @ (without.owner_cost - with_it.owner_cost)
    return float(damage), without.cost_over_years - with_it.cost_over_years


def wears_out(case: Case, guard: str) -> bool:
    """It spares something, but not what its renewals cost."""
    damage, net = savings(case, guard)
    return damage > HALF_A_CENT >= net


def adds_nothing(case: Case, guard: str) -> bool:
    """It spares nothing."""
    return savings(case, guard)[0] <= HALF_A_CENT


def beaten(case: Case, guard: str) -> bool:
    """It would save something, but a guard of the kit clashes with it."""
    one = case.scenario.guard[guard]
    return savings(case, guard)[1] > HALF_A_CENT and any(
        clash(one, case.scenario.guard[name]) for name in case.plan.kit
    )


def over_budget(case: Case, guard: str) -> bool:
    """A larger budget would have it, or a kit as good has it there."""
    budgets = set(case.every.spend_cents[case.every.spend_cents > (case.limits.budget_cents or 0)].tolist())
    leads = [lead_of(case, guard, budget) for budget in budgets]
    return any(lead is not None and lead >= -1e-3 for lead in leads)


def not_worth_it(case: Case, guard: str) -> bool:
    """It would save something and nothing of the kit is in its way, yet the best kit does without at any budget."""
    return savings(case, guard)[1] > HALF_A_CENT and not beaten(case, guard)


def test_what_saves_less_than_it_costs_leaves_less_than_nothing() -> None:
    """The sentence and the table agree: a guard called a loss has nothing left once paid, and no other has.

    A guard that others need saves for them too, so their prices come off as well. Bikes without offers, whose savings
    belong to no single guard.
    """
    with_others = losses = 0
    for seed in range(60):
        scenario = replace(random_scenario(seed), offers=())
        made = plan(scenario)
        for one, _ in made.verdicts:
            if not one.picked or one.reason is Reason.OWNED:
                continue
            assert (one.left_once_paid < -HALF_A_CENT) == (one.guard in made.losing), (seed, one.guard)
            with_others += bool(one.swap.off)
            losses += one.guard in made.losing
    assert with_others > 1
    assert losses > 3


def test_the_kit_to_fall_back_on_is_as_much_worse_as_is_said() -> None:
    """The best kit without a guard has not got it, and is worse by what the verdict says."""
    for seed in range(10):
        scenario = random_scenario(seed)
        made, planner = plan(scenario), Planner(scenario, sample_of(scenario))
        for one, _ in made.verdicts:
            if not one.picked or one.loss_if_barred is None:
                continue
            assert one.kit_if_barred is not None
            assert one.guard not in one.kit_if_barred
            behind = planner.measure(COST, one.kit_if_barred) - made.best.objective
            assert behind == pytest.approx(one.loss_if_barred, abs=1e-6 * max(1.0, made.best.objective))
