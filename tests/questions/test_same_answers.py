"""The same question gets the same answer: after any other questions, on every run, however busy the machine."""

from __future__ import annotations

import itertools
import subprocess
import sys
from functools import lru_cache

import numpy as np
import pytest
from bench.catalogue import catalogue, mean_cost_cents
from random_scenarios import random_limits, random_scenario, sample_of

from guardopt.cuts.ties import TIE
from guardopt.deadline import Deadline
from guardopt.errors import NoKitError
from guardopt.model.aims import AIMS, Aim, Best, Limits, Status
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.plan import plan

QUESTIONS = 100

FEW = {"guards": 5, "falls_sampled": 10}
"""A bike small enough to make a hundred planners of."""


@lru_cache(maxsize=4)
def hundred_questions(seed: int) -> list[tuple[Aim, Limits]]:
    """Aims, budgets, and guards forced in and out, some of which no kit can meet."""
    scenario = random_scenario(seed, **FEW)
    rng = np.random.default_rng([seed, 3])
    asked = [(list(AIMS.values())[row % 3], random_limits(scenario, 1000 * seed + row)) for row in range(QUESTIONS)]
    return [asked[row] for row in rng.permutation(QUESTIONS)]


def answer(planner: Planner, aim: Aim, limits: Limits) -> Best | None:
    """What a planner says; None if it says that there is no kit."""
    try:
        return planner.best(aim, limits)
    except NoKitError:
        return None


def check_against_fresh_planners(seed: int) -> None:
    """Kits are the same, ties included, and so is what they measure."""
    scenario = random_scenario(seed, **FEW)
    sample = sample_of(scenario)
    asked = Planner(scenario, sample)
    for aim, limits in hundred_questions(seed):
        one, fresh = answer(asked, aim, limits), answer(Planner(scenario, sample), aim, limits)
        assert (one is None) == (fresh is None)
        if one is None or fresh is None:
            continue
        assert one.kit == fresh.kit
        assert one.objective == pytest.approx(fresh.objective, rel=1e-12)
        assert one.proven
        assert fresh.proven
        quick = asked.best_or_none(aim, limits)
        assert quick is not None
        assert quick.kit == fresh.kit
        free, most = Limits(None, limits.must, limits.never), one.objective + TIE * max(1.0, one.objective)
        assert asked.least_spend(most, free) == Planner(scenario, sample).least_spend(most, free)


def test_a_hundred_questions_to_one_planner_are_answered_as_by_a_hundred_planners() -> None:
    """Nothing that one question rules out, proves or finds changes what the next one is told."""
    check_against_fresh_planners(5)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(40, 60))
def test_a_hundred_questions_on_more_bikes(seed: int) -> None:
    """The same on twenty bikes."""
    check_against_fresh_planners(seed)


@pytest.fixture(scope="module")
def large() -> Scenario:
    """A catalogue too large for a handful of nodes."""
    return catalogue(slots=6, options=4, falls=60, kinds=3, parts=15, capped_share=1 / 3, seed=4)


def test_stopping_by_effort_gives_the_same_answer_on_every_run(large: Scenario) -> None:
    """Two nodes, alone and beside a process that keeps the machine busy: the same kit, bound and status."""
    budget = round(0.4 * mean_cost_cents(large, 6)) / 100
    answers = [plan(large, budget=budget, effort=2, time_limit=None, reasons=False).to_json()]
    busy = subprocess.Popen([sys.executable, "-c", "while True: pass"])
    try:
        answers += [plan(large, budget=budget, effort=2, time_limit=None, reasons=False).to_json() for _ in range(2)]
    finally:
        busy.kill()
        busy.wait()
    assert answers[0]["status"] == Status.EFFORT_LIMIT.value
    assert answers[0]["gap"] > 0.0
    assert answers == [answers[0]] * 3


def test_more_effort_is_never_worse(large: Scenario) -> None:
    """Bounds rise, and the kit gets no dearer, as more nodes are allowed, until it is proven."""
    limits = Limits(int(0.4 * mean_cost_cents(large, 6)))
    found = [
        Planner(large, sample_of(large)).best(Aim.BILLS, limits, deadline=Deadline(nodes=nodes))
        for nodes in (1, 2, 4, 1000)
    ]
    near = 1e-9 * found[-1].objective
    assert found[-1].proven
    assert not found[0].proven
    for less, more in itertools.pairwise(found):
        assert more.objective <= less.objective + near
        assert more.bound >= less.bound - near
        assert less.bound <= found[-1].objective + near
