"""What `bill` says adds up when it is worked out again from the folder, and holds what its contract promises."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from folders import SMALL_TWIN, edited, write_folder
from random_scenarios import random_scenario

import guardopt
from guardopt.errors import InputError
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price
from guardopt.simulation.sampling import draw


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin, with an hour of fitting at 20."""
    folder = tmp_path_factory.mktemp("twin")
    scenario = edited("scenario", "[labour]\n", "[labour]\nfitting_rate = 20.0\n")
    return guardopt.load(write_folder(folder, **scenario))


@pytest.fixture(scope="module")
def report(twin: Scenario) -> dict[str, Any]:
    """The bike with the crash bar and the left lever guard, as JSON."""
    return guardopt.bill(twin, ["crash_bar", "lever_guard.left"]).to_json()


def test_json_holds_what_is_promised_in_plain_types(report: dict[str, Any]) -> None:
    """Every key is there, the object survives being written and read, and each kind of fall and each part has a row."""
    assert report.keys() >= {
        *("scenario", "currency", "fitted", "spend", "yearly_cost", "yearly_cost_se"),
        *("cost_over_years", "cost_over_years_se", "falls", "parts"),
    }
    assert json.loads(json.dumps(report, allow_nan=False)) == report
    assert report["scenario"] == "Small twin (invented)"
    assert report["currency"] == "EUR"
    assert [row["fall"] for row in report["falls"]] == ["tip_over", "low_side"]
    assert [row["part"] for row in report["parts"]] == ["lever.left", "lever.right", "engine_case", "radiator", "tank"]
    for row in report["falls"]:
        assert row.keys() >= {"fall", "per_year", "repair_bill", "owner_cost", "renewals", "write_off_chance"}
    for row in report["parts"]:
        assert row.keys() == {"part", "harmed_per_year", "bill_per_year"}


@pytest.mark.parametrize(
    ("fit", "spend"),
    [
        ([], 0.0),
        (["crash_bar"], 180 + 1.5 * 20),
        (["lever_guard"], 2 * (25 + 0.2 * 20)),
        (["lever_guard.right", "radiator_grille"], 25 + 45 + (0.2 + 0.4) * 20),
        (["crash_bar", "case_cover"], 210 + (1.5 + 0.5) * 20),
    ],
)
def test_spend_is_price_and_fitting_less_what_an_offer_saves(twin: Scenario, fit: list[str], spend: float) -> None:
    """Worked out by hand from guards.csv and offers.csv; the offer takes 30 off the crash bar with the case cover."""
    assert guardopt.bill(twin, fit).to_json()["spend"] == spend


def test_owned_guards_are_on_the_bike_as_it_stands_and_cost_nothing(tmp_path: Path) -> None:
    """Without ids the bike is priced with what its owner has; an empty list is the bare bike."""
    guards = edited("guards", "case_cover,left,60,0.5,,4,40,,,,", "case_cover,left,60,0.5,,4,40,,,yes,")
    scenario = guardopt.load(write_folder(tmp_path, **guards))
    as_it_stands, bare = guardopt.bill(scenario).to_json(), guardopt.bill(scenario, []).to_json()
    assert as_it_stands["fitted"] == ["case_cover"]
    assert as_it_stands["spend"] == 0.0
    assert bare["fitted"] == []
    assert as_it_stands["yearly_cost"] != bare["yearly_cost"]
    assert guardopt.bill(scenario, ["crash_bar", "case_cover"]).to_json()["spend"] == 180.0


def test_falls_add_up_to_the_yearly_cost_and_that_to_the_cost_over_the_years(report: dict[str, Any]) -> None:
    """Yearly cost = Σ λ (C + R); over n years at rate i it weighs (1 − (1+i)⁻ⁿ) / ln(1+i)."""
    yearly = sum(row["per_year"] * (row["owner_cost"] + row["renewals"]) for row in report["falls"])
    annuity = (1 - 1.03**-3) / math.log(1.03)
    assert report["yearly_cost"] == pytest.approx(yearly)
    assert report["cost_over_years"] == pytest.approx(annuity * yearly)
    assert report["cost_over_years_se"] == pytest.approx(annuity * report["yearly_cost_se"])


def test_parts_and_strip_downs_add_up_to_the_repair_bills(report: dict[str, Any]) -> None:
    """Over a year, and part by part within one fall of each kind but for strip-downs."""
    repairs = sum(row["per_year"] * row["repair_bill"] for row in report["falls"])
    parts = sum(row["bill_per_year"] for row in report["parts"])
    strip_downs = sum(row["bill_per_year"] for row in report["strip_down"])
    assert strip_downs > 0.0
    assert parts + strip_downs == pytest.approx(repairs)
    for row in report["falls"]:
        assert 0.0 <= row["repair_bill"] - sum(part["bill"] for part in row["parts"]) <= 0.8 * 50.0
    for part in report["parts"]:
        harmed = sum(
            row["per_year"] * one["harmed_chance"]
            for row in report["falls"]
            for one in row["parts"]
            if one["part"] == part["part"]
        )
        assert part["harmed_per_year"] == pytest.approx(harmed)


def test_parts_of_a_fall_are_listed_in_the_order_of_contact(report: dict[str, Any]) -> None:
    """The likelier the bare part is struck, the sooner it meets the road (common practice, no source)."""
    assert [part["part"] for part in report["falls"][0]["parts"]] == [
        *("lever.left", "lever.right", "engine_case", "tank", "radiator")
    ]


@pytest.mark.parametrize("seed", range(50, 56))
def test_no_fall_costs_its_owner_more_than_its_bill_or_the_cap(seed: int) -> None:
    """owner_cost ≤ min(repair_bill, cap), and a chance is a chance, on random bikes."""
    scenario = replace(random_scenario(seed, own_costs=False), exposures=())
    for fit in ([], None):
        for row in guardopt.bill(scenario, fit).to_json()["falls"]:
            assert row["owner_cost"] <= min(row["repair_bill"], scenario.cap) + 1e-9
            assert row["renewals"] >= 0.0
            assert 0.0 <= row["write_off_chance"] <= 1.0


@pytest.mark.parametrize("seed", range(50, 56))
def test_a_guard_more_never_makes_a_repair_bill_dearer(seed: int) -> None:
    """Every guard spares some parts and harms none; only renewals can cost more (common practice, no source)."""
    scenario = random_scenario(seed, own_costs=False)
    for guard in scenario.guards:
        if not guard.needs:
            bare, fitted = (guardopt.bill(scenario, fit).bill for fit in ([], [guard.id]))
            assert (fitted.repair_bill <= bare.repair_bill + 1e-9).all()
            assert (fitted.write_off_chance <= bare.write_off_chance).all()
            assert (bare.renewals == 0.0).all()


def test_it_is_priced_on_a_fresh_sample_four_times_as_large(twin: Scenario) -> None:
    """The falls are not those that plans are made on, and are the same at every call."""
    kit = frozenset({"crash_bar"})
    said = guardopt.bill(twin, kit)
    fresh = price(Bike(twin), draw(twin, 4 * 200, 1, "price"), [kit])
    planning = price(Bike(twin), draw(twin, 200, 1, "plan"), [kit])
    assert said.bill.yearly_cost == fresh.bills[0].yearly_cost
    assert said.yearly_cost_se == fresh.standard_error(0)
    assert said.bill.yearly_cost != planning.bills[0].yearly_cost
    assert said.yearly_cost_se is not None
    assert abs(said.bill.yearly_cost - planning.bills[0].yearly_cost) < 10 * said.yearly_cost_se
    assert guardopt.bill(twin, kit).to_json() == said.to_json()


def test_guards_may_be_named_with_and_without_their_side(twin: Scenario) -> None:
    """An id without a side stands for both sides, and naming a guard twice changes nothing."""
    both = guardopt.bill(twin, ["lever_guard.right", "lever_guard.left"]).to_json()
    assert both["fitted"] == ["lever_guard.left", "lever_guard.right"]
    assert guardopt.bill(twin, ["lever_guard"]).to_json() == both
    assert guardopt.bill(twin, ["lever_guard", "lever_guard.left"]).to_json() == both


def test_a_workbench_says_what_its_scenario_says(twin: Scenario) -> None:
    """Passing the bench saves time and changes no number."""
    assert guardopt.bill(guardopt.Bench(twin), ["crash_bar"]).to_json() == guardopt.bill(twin, ["crash_bar"]).to_json()


def test_all_unknown_ids_are_told_with_the_nearest_known_ones(twin: Scenario) -> None:
    """Not only the first."""
    with pytest.raises(InputError) as caught:
        guardopt.bill(twin, ["crash_baar", "crash_bar", "lever_guard.centre"])
    assert [str(problem) for problem in caught.value.problems] == [
        "fit: no guard 'crash_baar' in this scenario; did you mean crash_bar?",
        "fit: no guard 'lever_guard.centre' in this scenario; did you mean lever_guard.left?",
    ]


def test_a_kit_that_cannot_be_on_the_bike_is_refused_with_every_clash(tmp_path: Path) -> None:
    """A need that is not met and a mounting place taken twice are both named."""
    guards = SMALL_TWIN["guards"].replace(
        "case_cover,left,60,0.5,,4,40,,", "case_cover,left,60,0.5,engine,4,40,lever_guard,"
    )
    scenario = guardopt.load(
        write_folder(
            tmp_path,
            guards=guards,
            covers=SMALL_TWIN["covers"].replace("crash_bar + case_cover,engine_case,0.5,tip_over\n", ""),
            offers=None,
        )
    )
    with pytest.raises(InputError) as caught:
        guardopt.bill(scenario, ["case_cover", "crash_bar"])
    assert [str(problem) for problem in caught.value.problems] == [
        "fit: case_cover needs lever_guard.left",
        "fit: crash_bar and case_cover cannot both be fitted",
    ]


def test_tables_have_one_row_for_each_thing_and_agree_with_the_json(twin: Scenario) -> None:
    """`falls` in the scenario's order, `parts` with the dearest first."""
    made = guardopt.bill(twin, ["crash_bar"])
    said = made.to_json()
    falls = [{key: value for key, value in row.items() if key != "parts"} for row in said["falls"]]
    assert made.falls.to_dict("records") == falls
    dearest_first = sorted(said["parts"], key=lambda row: -row["bill_per_year"])
    assert made.parts.to_dict("records") == dearest_first


def test_a_notebook_shows_it_as_tables(twin: Scenario) -> None:
    """Kinds of fall and parts are in the HTML."""
    shown = guardopt.bill(twin)._repr_html_()
    assert shown.count("<table") == shown.count("</table>") == 2
    assert all(f"<td>{name}</td>" in shown for name in ("tip_over", "low_side", "lever.left", "tank"))
