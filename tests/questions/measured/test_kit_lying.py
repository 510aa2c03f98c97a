"""Kits priced by how the bike lies with them, beside what the tables say."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from folders import write_folder
from measured import FALLS, measured_folder

from guardopt.loading.load import load
from guardopt.model.pieces import Exposure
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import bill
from guardopt.questions.measured.estimate import estimate
from guardopt.questions.measured.kit_lying import kit_lying, yearly_cost_lying
from guardopt.questions.plan import plan
from guardopt.reports.plan_text import plan_text
from guardopt.reports.touchdown_text import lying_sentences
from guardopt.writing.estimated_folder import write_estimated

CHANGES = {"scenario.sampling.falls": 1500, "falls.low_side.tumble": 0, "scenario.strip_down.left_fairing": 0}


def estimated(tmp_path: Path) -> Scenario:
    """The measured twin with the tables that its points tell, and no knock-ons."""
    folder = measured_folder(tmp_path / "old", knock_on=None)
    scenario = load(folder)
    write_estimated(folder, scenario, estimate(scenario).measured, tmp_path / "new")
    return load(tmp_path / "new", CHANGES)


@pytest.mark.parametrize("kit", [[], ["lever_guard"], ["crash_bar"]])
def test_costs_that_add_up_over_parts_are_those_of_estimated_tables(kit: list[str], tmp_path: Path) -> None:
    """Below the cap a bill is a sum over parts, so that only the chance of each counts, which the tables give back."""
    scenario = estimated(tmp_path)
    if any(name in (row.split(",")[0]) for name in kit for row in exposes(tmp_path)):
        pytest.skip("what this guard exposes is in a table of its own")
    report = bill(scenario, kit)
    yearly, error, _ = yearly_cost_lying(scenario, report.bill.kit)
    assert error is not None
    assert report.yearly_cost_se is not None
    assert yearly == pytest.approx(
        report.bill.yearly_cost, abs=4 * math.hypot(error, report.yearly_cost_se) + 0.005 * 3 * report.bill.yearly_cost
    )


def exposes(tmp_path: Path) -> list[str]:
    """Rows of what guards expose, if there are any."""
    path = tmp_path / "new" / "exposes.csv"
    return path.read_text().splitlines()[1:] if path.exists() else []


def test_a_plan_says_how_the_bike_lies_with_its_kit(tmp_path: Path) -> None:
    """On either side, with the price, in the report and in JSON."""
    scenario = load(measured_folder(tmp_path))
    made = plan(scenario, reasons=False)
    assert made.lying is not None
    record = made.to_json()["lying"]
    assert record["left"]["rests_on"] == list(made.lying.left.rests_on)
    assert record["more_than_tables"] == pytest.approx(record["yearly_cost"] - made.fitted.yearly_cost)
    assert record["differs"] is made.lying.is_telling
    text = " ".join(plan_text(made).split())
    assert "How it lies with this kit" in text
    assert all(sentence in text for sentence in lying_sentences(made))


def test_guesses_far_from_the_points_are_told_of_by_how_much(tmp_path: Path) -> None:
    """A lever that always strikes the road, and a guess that says it hardly ever does."""
    hits = "part,tip_over,low_side\nlever,0.01,0.01\nengine_case,0,0\nradiator,0,0\ntank,0,0\n"
    scenario = load(measured_folder(tmp_path, hits=hits))
    report = bill(scenario, [])
    lying = kit_lying(scenario, report.bill.kit, report.bill, report.yearly_cost_se)
    assert lying is not None
    assert lying.is_telling
    assert lying.difference is not None
    assert lying.difference > 5.0


def test_nothing_is_said_of_a_bike_that_was_not_measured(tmp_path: Path) -> None:
    """Plans without points are as they were."""
    made = plan(load(write_folder(tmp_path)), reasons=False)
    assert made.lying is None
    assert "lying" not in made.to_json()
    assert lying_sentences(made) == []


def test_without_a_bite_only_the_place_of_rest_is_told(tmp_path: Path) -> None:
    """There is nothing to price by."""
    falls = FALLS.replace("5,12,,,,", "5,,,,,").replace("30,0.6,4,50,0.45", ",,,,")
    made = plan(load(measured_folder(tmp_path, falls=falls)), reasons=False)
    assert made.lying is not None
    assert made.lying.yearly_cost is None
    assert not made.lying.is_telling
    assert len(lying_sentences(made)) == 1


def test_only_what_was_not_measured_does_harm_by_the_tables(tmp_path: Path) -> None:
    """Struck on the bare bike by its points or else exposed: p + (1 − p) c, by addition of exclusive events.

    The points tell what measured guards roll the bike onto, so a row of theirs about a measured part counts nothing.
    """
    plain = replace(load(measured_folder(tmp_path, knock_on=None), CHANGES), covers=())
    unmeasured = next(one.id for one in plain.guards if one.id not in {point.id for point in plain.points})
    rows = {part.id: row for row, part in enumerate(plain.parts)}
    per_year = sum(fall.per_year for fall in plain.falls)
    exposed = replace(
        plain, exposures=(Exposure((unmeasured,), "tank", 0.3), Exposure(("crash_bar",), "radiator", 0.9))
    )
    kit = frozenset({unmeasured})
    before, after = yearly_cost_lying(plain, kit)[2], yearly_cost_lying(exposed, kit)[2]
    struck = before[rows["tank"]] / per_year
    assert after[rows["tank"]] / per_year == pytest.approx(struck + (1.0 - struck) * 0.3, abs=0.02)
    assert yearly_cost_lying(exposed, frozenset())[2] == pytest.approx(before)
    with_bar = frozenset({"crash_bar"})
    assert yearly_cost_lying(exposed, with_bar)[2] == pytest.approx(yearly_cost_lying(plain, with_bar)[2])


def test_the_parts_that_make_the_difference_are_named(tmp_path: Path) -> None:
    """The lever, which the tables hardly ever have struck, is named with how often it is damaged by either."""
    hits = "part,tip_over,low_side\nlever,0.01,0.01\nengine_case,0,0\nradiator,0,0\ntank,0,0\n"
    made = plan(load(measured_folder(tmp_path, hits=hits)), reasons=False, budget=0.0)
    assert made.lying is not None
    named = {one.part: one for one in made.lying.parts}
    assert {"lever.left", "lever.right"} <= set(named)
    for name, one in named.items():
        row = [part.id for part in made.scenario.parts].index(name)
        assert one.tables == pytest.approx(made.fitted.part_harmed_per_year[row])
    assert "lever.left (damaged" in " ".join(lying_sentences(made))
    assert made.to_json()["lying"]["parts"][0]["part"] == made.lying.parts[0].part
