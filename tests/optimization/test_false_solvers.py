"""Whatever a solver says, nothing wrong is called optimal: its points, duals and statuses are put to the test.

Each double stands where the linear relaxation does and lies in its own way. The search may stop early, and its status
says so; its kit is then allowed and priced truly, and its bound is below every kit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

import numpy as np
import pulp
import pytest
from random_scenarios import EveryKit, price_every_kit, random_scenario, sample_of

from guardopt.arrays import Floats
from guardopt.deadline import Deadline
from guardopt.errors import NoKitError, OutOfTimeError
from guardopt.model.aims import AIMS, Aim, Limits
from guardopt.model.scenario import Scenario
from guardopt.optimization import second_opinion, tree
from guardopt.optimization.benders import Planner
from guardopt.optimization.linear_rows import Row
from guardopt.optimization.master_problem import Answer, Program
from guardopt.optimization.relaxation import Relaxation, Relaxed
from guardopt.questions.bench import Bench
from guardopt.questions.plan import plan

GUARDS = 4
EFFORT = 100
SEEDS = range(7000, 7002)

Lie = Callable[[np.random.Generator, Relaxed, Floats, Floats], Relaxed]


class Liar:
    """A relaxation that has the real one solve the program and then says something else."""

    def __init__(self, lie: Lie, seed: int, lower: Floats, upper: Floats, scale: Floats) -> None:
        self._honest = Relaxation(lower, upper, scale)
        self._lie, self._rng = lie, np.random.default_rng(seed)
        self._lower, self._upper = lower, upper

    def set_cost(self, cost: Floats) -> None:
        """Told to the real one."""
        self._honest.set_cost(cost)

    def add(self, rows: Sequence[Row]) -> None:
        """Told to the real one."""
        self._honest.add(rows)

    def move_bounds(self, lower: Floats, upper: Floats) -> None:
        """Told to the real one, and kept to lie within."""
        self._honest.move_bounds(lower, upper)
        self._lower, self._upper = lower.copy(), upper.copy()

    def solve(self) -> Relaxed:
        """The lie."""
        return self._lie(self._rng, self._honest.solve(), self._lower, self._upper)


def inside(rng: np.random.Generator, lower: Floats, upper: Floats) -> Floats:
    """A random point within bounds."""
    return lower + rng.random(lower.size) * np.maximum(upper - lower, 0.0)


def random_point(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """Somewhere else, with the true dual values."""
    return Relaxed(inside(rng, lower, upper), honest.multipliers)


def whole_kit(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """A whole kit that costs nothing, whether it is allowed or not."""
    return Relaxed(np.where(rng.random(lower.size) < 0.5, lower, upper), honest.multipliers)


def far_outside(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """A point that no bound allows."""
    return Relaxed(rng.normal(size=lower.size) * 1e9, honest.multipliers)


def no_numbers(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """A point and dual values that are no numbers."""
    return Relaxed(np.full(lower.size, np.nan), np.full(honest.multipliers.size, np.nan))


def random_multipliers(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """The true point, with dual values from nowhere."""
    return Relaxed(honest.point, rng.exponential(size=honest.multipliers.size) * 10.0 ** rng.integers(-6, 9))


def huge_multipliers(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """The true point, with dual values a thousand times as large."""
    return Relaxed(honest.point, 1e3 * honest.multipliers)


def no_multipliers(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """The true point, without a word on why it is best."""
    return Relaxed(honest.point, np.zeros(honest.multipliers.size))


def infeasible(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """That there is no point, whatever there is."""
    return Relaxed(None, honest.multipliers)


def infeasible_with_a_ray(rng: np.random.Generator, honest: Relaxed, lower: Floats, upper: Floats) -> Relaxed:
    """That there is no point, half of the time, with a proof from nowhere."""
    if rng.random() < 0.5:
        return honest
    return Relaxed(None, rng.exponential(size=honest.multipliers.size))


LIES = [
    random_point,
    whole_kit,
    far_outside,
    no_numbers,
    random_multipliers,
    huge_multipliers,
    no_multipliers,
    infeasible,
    infeasible_with_a_ray,
]


@cache
def solved(seed: int) -> tuple[Scenario, EveryKit]:
    """A random bike, and every kit of it priced one by one."""
    scenario = random_scenario(seed, guards=GUARDS, falls_sampled=30)
    return scenario, price_every_kit(scenario, sample_of(scenario))


def check(lie: Lie, seed: int, aim: Aim, limits: Limits, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Ask a planner whose relaxation lies; whether it called its answer optimal, which is then right."""
    scenario, every = solved(seed)
    monkeypatch.setattr(tree, "Relaxation", lambda *args: Liar(lie, seed, *args))
    planner = Planner(scenario, sample_of(scenario))
    least = every.least(aim, limits)
    try:
        best = planner.best(aim, limits, deadline=Deadline(nodes=EFFORT))
    except NoKitError:
        assert least is None
        return True
    except OutOfTimeError:
        return False
    assert least is not None
    near = 1e-7 * max(1.0, abs(least))
    assert every.allowed(limits)[every.kits.index(best.kit)]
    assert best.objective == pytest.approx(every.of(aim, best.kit), rel=1e-9, abs=1e-7)
    assert best.bound <= least + near
    if best.proven:
        assert best.objective <= least + near
    return best.proven


@pytest.mark.parametrize("lie", LIES)
def test_a_lying_relaxation_never_gets_a_wrong_plan_called_optimal(lie: Lie, monkeypatch: pytest.MonkeyPatch) -> None:
    """Random points, wrong whole kits, duals that are random, huge or no numbers, and "there is none" where there is."""
    proven = 0
    for seed in SEEDS:
        scenario, _ = solved(seed)
        first = scenario.guards[0].id
        for aim in AIMS.values():
            for limits in (
                Limits(scenario.budget_cents),
                Limits(scenario.budget_cents, must=frozenset({first})),
                Limits(0, must=frozenset({first})),
            ):
                proven += check(lie, seed, aim, limits, monkeypatch)
    # With so few guards the tree can do without any relaxation; most lies cost no more than nodes.
    assert proven


@pytest.mark.slow
@pytest.mark.parametrize("lie", LIES)
@pytest.mark.parametrize("seed", range(7100, 7160))
def test_a_lying_relaxation_at_length(lie: Lie, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same on many more bikes."""
    scenario, _ = solved(seed)
    for aim in AIMS.values():
        check(lie, seed, aim, Limits(scenario.budget_cents), monkeypatch)


def wrong_kit(rng: np.random.Generator, honest: Answer) -> Answer:
    """Another kit, called as good."""
    return Answer(None if honest.kit is None else (rng.random(honest.kit.size) < 0.5).astype(float), honest.bound)


def wrong_bound(rng: np.random.Generator, honest: Answer) -> Answer:
    """A bound above the optimum."""
    return Answer(honest.kit, 1e6 if honest.bound is None else 2.0 * abs(honest.bound) + 1e3)


def bound_is_no_number(rng: np.random.Generator, honest: Answer) -> Answer:
    """A bound that is no number."""
    return Answer(honest.kit, float("nan"))


def nothing_found(rng: np.random.Generator, honest: Answer) -> Answer:
    """No kit and no bound."""
    return Answer(None, None)


def no_kit(rng: np.random.Generator, honest: Answer) -> Answer:
    """That there is none."""
    raise NoKitError("no kit")


@pytest.mark.skipif("PULP_CBC_CMD" not in pulp.listSolvers(onlyAvailable=True), reason="PuLP brings no CBC here")
@pytest.mark.parametrize("lie", [wrong_kit, wrong_bound, bound_is_no_number, nothing_found, no_kit])
def test_a_lying_second_opinion_changes_no_plan(
    lie: Callable[[np.random.Generator, Answer], Answer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kits and bounds that another solver invents leave the plan as it is, and what contradicts it is told."""

    class LyingProgram(Program):
        def solve(self, *args: Any, **options: Any) -> Answer:
            return lie(rng, super().solve(*args, **options))

    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        scenario, every = solved(seed)
        monkeypatch.setattr(second_opinion, "Program", LyingProgram)
        told = plan(Bench(scenario, solver="PULP_CBC_CMD"), reasons=False)
        least = every.least(Aim.BILLS, Limits(scenario.budget_cents))
        assert least is not None
        assert told.status.value == "optimal"
        assert told.best.objective == pytest.approx(least, rel=1e-9, abs=1e-7)
        assert told.best.bound <= least + 1e-7 * max(1.0, least)
        said = told.to_json()["second_opinion"]
        if lie in (wrong_bound, no_kit):
            assert said["agrees"] is False
