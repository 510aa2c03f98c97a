"""The budget curve is the best kit at every budget there is, and changes only where the best kit does."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import cache

import pytest
from random_scenarios import EveryKit, price_every_kit, random_limits, random_scenario, sample_of

from guardopt.model.aims import GAP, Aim, Limits
from guardopt.model.pieces import Cover, Guard, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.budgets import Step, curve

CASES = [(seed, aim) for seed in range(16) for aim in (Aim.BILLS, Aim.OUTLAY)] + [(s, Aim.WORST) for s in range(6)]


@cache
def solved(seed: int, aim: Aim) -> tuple[Scenario, tuple[Step, ...], EveryKit]:
    """A random scenario, its budget curve and the exhaustive search on the same falls."""
    scenario = random_scenario(seed, guards=6)
    sample = sample_of(scenario)
    return scenario, curve(Planner(scenario, sample), aim, Limits()), price_every_kit(scenario, sample)


def tolerance(measured: float) -> float:
    """How far a kit that counts as proven best may be from the best."""
    return 2 * GAP * max(1.0, abs(measured))


@pytest.mark.parametrize(("seed", "aim"), CASES)
def test_curve_is_the_exhaustive_best_at_every_budget(seed: int, aim: Aim) -> None:
    """At each spend that any kit has, and a cent below it, the step in force measures what the best kit does."""
    _, steps, every = solved(seed, aim)
    spends = {max(0, int(spend)) for spend in every.spend_cents}
    for budget in sorted(spends | {spend - 1 for spend in spends if spend}):
        least = every.least(aim, Limits(budget_cents=budget))
        in_force = [step for step in steps if step.budget_cents <= budget]
        assert bool(in_force) == (least is not None)
        if least is not None:
            assert in_force[-1].best.objective == pytest.approx(least, abs=tolerance(least))


@pytest.mark.parametrize(("seed", "aim"), CASES)
def test_every_step_costs_more_money_now_and_less_later(seed: int, aim: Aim) -> None:
    """Budgets rise and what is minimised falls from step to step, each kit costing just the budget it enters at."""
    scenario, steps, every = solved(seed, aim)
    for step in steps:
        assert scenario.spend_cents(step.best.kit) == step.spend_cents <= step.budget_cents
        assert step.budget_cents == max(0, step.spend_cents)
        assert step.best.objective == pytest.approx(every.of(aim, step.best.kit), rel=1e-9, abs=1e-7)
    for poorer, richer in itertools.pairwise(steps):
        assert richer.budget_cents > poorer.budget_cents
        costs = [every.of(Aim.BILLS, step.best.kit) for step in (richer, poorer)]
        alike = aim is Aim.WORST and richer.best.objective == pytest.approx(poorer.best.objective, rel=1e-9)
        assert richer.best.objective < poorer.best.objective or (alike and costs[0] < costs[1])


@pytest.mark.parametrize(("seed", "aim"), CASES)
def test_no_step_could_have_come_a_cent_earlier(seed: int, aim: Aim) -> None:
    """With one cent less than a step's budget no kit is as good, so the best kit really changes there."""
    _, steps, every = solved(seed, aim)
    for step in steps:
        less = Limits(budget_cents=step.budget_cents - 1)
        without = every.least(aim, less)
        if without is not None and step.budget_cents > 0:
            near = 1e-10 * max(1.0, abs(without))
            alike = every.allowed(less) & (every.measured[aim] <= step.best.objective + near)
            if aim is Aim.WORST and alike.any():
                without, dearer = every.measured[Aim.BILLS][alike].min(), every.of(Aim.BILLS, step.best.kit)
                assert without > dearer + 1e-10 * max(1.0, abs(dearer))
            else:
                assert without > step.best.objective + near


@pytest.mark.parametrize("seed", [4, 9181])
def test_among_kits_alike_in_the_worst_falls_the_curve_has_the_one_whose_falls_cost_least(seed: int) -> None:
    """At every budget, as a plan for that budget has it: guards may spare cheap falls alone."""
    scenario = random_scenario(seed, guards=4 + seed % 4, falls_sampled=50)
    sample = sample_of(scenario)
    every, steps = price_every_kit(scenario, sample), curve(Planner(scenario, sample), Aim.WORST, Limits())
    for budget in sorted({max(0, int(spend)) for spend in every.spend_cents}):
        allowed = every.allowed(Limits(budget_cents=budget))
        worst, costs = every.measured[Aim.WORST][allowed], every.measured[Aim.BILLS][allowed]
        least = costs[worst <= worst.min() * (1.0 + 1e-9)].min()
        in_force = [step for step in steps if step.budget_cents <= budget][-1]
        assert every.of(Aim.BILLS, in_force.best.kit) == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("seed", range(15))
def test_curve_keeps_guards_forced_in_and_out(seed: int) -> None:
    """Under what is forced, the curve is the exhaustive best of the kits that are left."""
    scenario = random_scenario(seed, guards=6)
    sample = sample_of(scenario)
    every = price_every_kit(scenario, sample)
    forced = random_limits(scenario, seed)
    steps = curve(Planner(scenario, sample), Aim.BILLS, forced)
    unlimited = Limits(must=forced.must, never=forced.never)
    least = every.least(Aim.BILLS, unlimited)
    assert bool(steps) == (least is not None)
    if least is not None:
        assert all(forced.must <= step.best.kit and not forced.never & step.best.kit for step in steps)
        assert steps[0].budget_cents == max(0, every.spend_cents[every.allowed(unlimited)].min())
        assert steps[-1].best.objective == pytest.approx(least, abs=tolerance(least))


def test_hand_made_curve(make_scenario: Callable[..., Scenario], planner_of: Callable[..., Planner]) -> None:
    """Guards at 10 and 20 that save 30 and 50, both for 25 as an offer: steps at 0, 10, 20 and 25."""
    scenario = make_scenario(
        parts=[Part("lever", "lever", Side.CENTRE, 30.0), Part("case", "case", Side.CENTRE, 50.0)],
        guards=[Guard("tip", "tip", Side.CENTRE, 1000), Guard("cover", "cover", Side.CENTRE, 2000)],
        covers=[Cover(("tip",), "lever", 1.0), Cover(("cover",), "case", 1.0)],
        offers=(Offer("set", frozenset({"tip", "cover"}), 2500),),
    )
    steps = curve(planner_of(scenario), Aim.BILLS, Limits())
    assert [(step.budget_cents, sorted(step.best.kit)) for step in steps] == [
        (0, []),
        (1000, ["tip"]),
        (2000, ["cover"]),
        (2500, ["cover", "tip"]),
    ]
    assert [step.best.objective for step in steps] == pytest.approx([80.0, 50.0, 30.0, 0.0])


def test_a_guard_that_saves_nothing_makes_no_step(
    make_scenario: Callable[..., Scenario], planner_of: Callable[..., Planner]
) -> None:
    """Money for a guard that covers nothing changes no bill, so the curve stays a single step at nothing spent."""
    scenario = make_scenario(
        parts=[Part("tank", "tank", Side.CENTRE, 400.0)], guards=[Guard("badge", "badge", Side.CENTRE, 900)]
    )
    steps = curve(planner_of(scenario), Aim.BILLS, Limits())
    assert [(step.budget_cents, step.best.kit) for step in steps] == [(0, frozenset())]
