"""At every budget of a curve a guard is spoken of as the plan for that budget does, only shorter."""

from __future__ import annotations

import pytest
from random_scenarios import random_scenario
from shipped import FOLDER, NAMES

from guardopt.loading.load import load
from guardopt.model.aims import GAP, Limits, aim_named
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.budgets import budgets
from guardopt.questions.explanation.question import Question
from guardopt.questions.explanation.verdicts import Reason, explain_briefly
from guardopt.questions.plan import plan

SHARED = ("guard", "picked", "reason", "spend", "enters_at_budget", "next_entry_budget")
CLOSE = ("loss_if_dropped", "pays_back_years", "gain_if_added", "left_once_paid")


def check(scenario: Scenario, aim: str, every: int) -> int:
    """How many verdicts were compared, at so many of the steps."""
    bench, compared = Bench(scenario), 0
    curve = budgets(bench, aim=aim)
    impossible = None
    for step in curve.steps[::every]:
        made = plan(bench, budget=step.budget_cents / 100, aim=aim)
        if impossible is None:
            told = (one for one, _ in made.verdicts if one.reason is Reason.CANNOT_BE_FITTED)
            impossible = frozenset(one.guard for one in told)
        if made.kit != step.best.kit:
            continue
        limits = Limits(step.budget_cents)
        question = Question(bench.planner, aim_named(aim), limits, step.best, curve.steps, GAP, impossible=impossible)
        for brief, (whole, _) in zip(explain_briefly(question), made.verdicts, strict=True):
            assert [getattr(brief, name) for name in SHARED] == [getattr(whole, name) for name in SHARED]
            for name in CLOSE:
                expected = getattr(whole, name)
                if name == "left_once_paid" and not whole.picked:
                    continue
                near = (
                    None
                    if expected is None
                    else pytest.approx(expected, rel=1e-6, abs=1e-6 * max(1.0, abs(made.best.objective)))
                )
                assert getattr(brief, name) == near, (brief.guard, name)
            assert brief.swap.damage_saving == pytest.approx(
                whole.swap.damage_saving, rel=1e-6, abs=1e-6 * max(1.0, abs(made.best.objective))
            )
            assert brief.loss_if_barred is brief.loss_if_forced is brief.enters_at_price is None
            compared += 1
    return compared


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_bike_at_some_of_its_budgets(name: str) -> None:
    """On few falls, every twelfth step of the curve."""
    assert check(load(FOLDER / name, {"scenario.sampling.falls": 100}), "bills", 12) >= 40


@pytest.mark.parametrize("aim", ["bills", "outlay"])
@pytest.mark.parametrize("seed", range(300, 312))
def test_random_bikes_at_all_their_budgets(seed: int, aim: str) -> None:
    """With needs, slots, offers, weight, wear, harm and guards that are owned."""
    assert check(random_scenario(seed, guards=5, falls_sampled=40), aim, 1) > 0
