"""What can be asked of a plan, and what is told of a question that is wrong or has no answer."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from folders import SMALL_TWIN, write_folder
from shipped import shipped

import guardopt
from guardopt.errors import InputError, NoKitError
from guardopt.model.aims import Status
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.plan import NO_LIMIT, plan


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


def test_the_scenarios_budget_holds_unless_another_is_named_or_the_limit_is_lifted(twin: Scenario) -> None:
    """None is the scenario's 300; a number is in units of the currency; NO_LIMIT buys all that saves anything."""
    own, smaller, lifted = (plan(twin, budget=budget, reasons=False) for budget in (None, 100, NO_LIMIT))
    assert own.to_json()["budget"] == 300.0
    assert smaller.to_json()["budget"] == 100.0
    assert lifted.to_json()["budget"] is None
    assert smaller.spend <= 100.0 < own.spend <= 300.0 < lifted.spend
    assert smaller.best.objective > own.best.objective > lifted.best.objective


def test_a_budget_is_kept_to_the_cent(make_scenario: Callable[..., Scenario]) -> None:
    """A guard at 19.99 is bought for 19.99 and not for 19.98, whatever binary fractions make of these."""
    part, guard = Part("tank", "tank", Side.CENTRE, 100.0), Guard("bar", "bar", Side.CENTRE, 1999)
    scenario = make_scenario([part], [guard], [Cover(("bar",), "tank", 1.0)])
    assert plan(scenario, budget=19.99).kit == {"bar"}
    assert plan(scenario, budget=19.98).kit == frozenset()
    assert plan(scenario, budget=0).kit == frozenset()


def test_guards_are_forced_by_ids_with_and_without_a_side(twin: Scenario) -> None:
    """An id without a side means both sides, in and out."""
    assert plan(twin, must=["lever_guard"], reasons=False).kit >= {"lever_guard.left", "lever_guard.right"}
    one_side = plan(twin, must=["lever_guard.right"], never=["lever_guard.left"], reasons=False)
    assert "lever_guard.right" in one_side.kit
    assert "lever_guard.left" not in one_side.kit
    assert not plan(twin, never=["lever_guard"], reasons=False).kit & {"lever_guard.left", "lever_guard.right"}
    assert plan(twin, never=twin.guard, reasons=False).kit == frozenset()


def test_everything_wrong_with_a_question_is_told_at_once(twin: Scenario) -> None:
    """Ids, budget, aim, shares and times, each in a line of its own."""
    with pytest.raises(InputError) as caught:
        plan(
            twin,
            budget=-1,
            aim="cheapest",
            must=["crash_baar"],
            never=["nothing_like_it"],
            tail=0.0,
            gap=1.0,
            time_limit=0.0,
            sure=0,
        )
    told = [str(problem) for problem in caught.value.problems]
    assert told == [
        "budget: found -1, expected an amount of at least 0",
        "aim: found 'cheapest', expected one of bills, outlay, worst",
        "tail: found 0, expected a share above 0 and at most 1",
        "gap: found 1, expected a share of at least 0 and below 1",
        "time_limit: found 0, expected seconds above 0",
        "sure: found 0, expected at least 1",
        "must: no guard 'crash_baar' in this scenario; did you mean crash_bar?",
        "never: no guard 'nothing_like_it' in this scenario"
        "; known: case_cover, crash_bar, lever_guard, lever_guard.left, lever_guard.right, radiator_grille",
    ]


@pytest.mark.parametrize(
    "asked", [{"budget": math.nan}, {"tail": math.nan}, {"gap": math.nan}, {"time_limit": math.nan}]
)
def test_not_a_number_is_no_number(twin: Scenario, asked: dict[str, float]) -> None:
    """It compares false with everything, so it has to be looked for."""
    with pytest.raises(InputError, match="found nan"):
        plan(twin, **asked)


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"must": ["crash_bar"], "budget": 179.99}, "a kit with crash_bar costs is 180.00"),
        ({"must": ["crash_bar"], "never": ["crash_bar"]}, "crash_bar is forced in and ruled out"),
        (
            {"must": ["crash_bar", "case_cover"], "budget": 209.99},
            "a kit with crash_bar and case_cover costs is 210.00",
        ),
    ],
)
def test_what_cannot_be_had_is_no_plan(twin: Scenario, asked: dict[str, Any], why: str) -> None:
    """Forced guards that are too dear, even with the offer taken, or forced out as well."""
    with pytest.raises(NoKitError, match=why):
        plan(twin, **asked)


def test_forced_guards_that_clash_or_are_too_heavy_are_no_plan(tmp_path: Path) -> None:
    """Two guards for one mounting place, and four kilograms where three are allowed."""
    guards = SMALL_TWIN["guards"].replace("radiator_grille,centre,45,0.4,,", "radiator_grille,centre,45,0.4,front,")
    guards += "other_grille,centre,30,0.4,front,,,,,,0.2,,\n"
    covers = SMALL_TWIN["covers"] + "other_grille,radiator,0.4,\n"
    scenario = guardopt.load(write_folder(tmp_path, guards=guards, covers=covers), {"scenario.owner.max_weight_kg": 3})
    for must in (["radiator_grille", "other_grille"], ["crash_bar"]):
        with pytest.raises(NoKitError):
            plan(scenario, must=must)


@pytest.mark.parametrize("name", ["courier", "tourer"])
def test_a_short_time_gives_a_kit_with_an_honest_gap(name: str) -> None:
    """The kit is allowed, the true optimum lies between bound and objective, and only what is proven is called so."""
    scenario = replace(shipped(name), falls_sampled=200)
    optimum = plan(scenario, reasons=False, time_limit=None).best.objective
    for time_limit in (1e-9, 0.05):
        hurried = plan(scenario, time_limit=time_limit)
        said = hurried.to_json()
        assert said["bound"] <= optimum + 1e-6 * optimum
        assert optimum <= said["objective"] + 1e-6 * optimum
        assert said["spend"] <= said["budget"]
        assert math.isfinite(said["gap"])
        assert (said["gap"] <= 1e-6) == (hurried.status is Status.OPTIMAL)
        assert json.loads(json.dumps(said, allow_nan=False)) == said
