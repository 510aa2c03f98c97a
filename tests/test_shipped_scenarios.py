"""The four shipped scenarios, all invented, are sound, rich and plan well."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest

import guardopt
from guardopt.planned import Plan
from guardopt.text import plan_text

SCENARIOS = Path(__file__).parents[1] / "scenarios"
NAMES = ("courier", "riding_school", "tourer", "track_day")


@lru_cache
def planned(name: str) -> Plan:
    """The plan of a shipped scenario as it stands."""
    return guardopt.plan(guardopt.load(SCENARIOS / name))


@pytest.mark.parametrize("name", NAMES)
def test_it_is_sound_of_the_size_promised_and_says_it_is_invented(name: str) -> None:
    """20 to 35 parts and 12 to 20 guards, both sides counted; no warnings."""
    scenario = guardopt.load(SCENARIOS / name)
    assert scenario.warnings == ()
    assert 20 <= len(scenario.parts) <= 35
    assert 12 <= len(scenario.guards) <= 20
    assert "invented" in scenario.title


@pytest.mark.parametrize("name", NAMES)
def test_no_guard_helps_in_a_head_on(name: str) -> None:
    """A head-on bends the frame and ends the bike, whatever is fitted (common practice, no source)."""
    made = planned(name)
    row = [fall.id for fall in made.scenario.falls].index("head_on")
    assert made.bare.write_off_chance[row] == made.fitted.write_off_chance[row] == 1.0
    assert made.bare.owner_cost[row] == pytest.approx(made.fitted.owner_cost[row])
    assert "head_on: writes the bike off, whatever is fitted." in plan_text(made)


@pytest.mark.parametrize("name", NAMES)
def test_its_plan_is_proven_and_saves_more_than_noise(name: str) -> None:
    """The kit is proven best to 1e-6, keeps the budget and saves on falls it was not made on."""
    made = planned(name)
    assert made.status == "optimal"
    assert made.best.gap <= 1e-6
    assert made.budget_cents is not None
    assert made.scenario.spend_cents(made.kit) <= made.budget_cents
    assert made.saving_se is not None
    assert made.saving > 5 * made.saving_se


def test_together_they_show_every_reason_but_those_that_a_user_brings_about() -> None:
    """A reader of the examples meets each way in which a guard is left out."""
    reasons = {verdict.reason.value for name in NAMES for verdict, _ in planned(name).verdicts}
    assert reasons >= {
        "picked",
        "owned",
        "wears_out_faster_than_it_saves",
        "adds_nothing",
        "beaten_in_its_slot",
        "over_budget",
        "not_worth_its_price",
    }


@pytest.mark.parametrize("name", NAMES)
def test_tables_for_notebooks_have_one_row_for_each_thing(name: str) -> None:
    """`plan.guards`, `plan.falls` and `plan.parts` agree with the JSON."""
    made = planned(name)
    assert list(made.guards["guard"]) == [guard.id for guard in made.scenario.guards]
    assert list(made.falls["fall"]) == [fall.id for fall in made.scenario.falls]
    assert sorted(made.parts["part"]) == sorted(part.id for part in made.scenario.parts)
    assert made.guards["text"].tolist() == [record["text"] for record in made.to_json()["guards"]]
    assert made.bought[0] in made._repr_html_()
