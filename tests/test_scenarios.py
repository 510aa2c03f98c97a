"""The shipped scenarios are sound, invented, different from each other and worth planning."""

from __future__ import annotations

import csv
import io
import tomllib
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import pytest
from shipped import FALLS, FOLDER, MEASURED, NAMES, shipped, shipped_plan

from guardopt.loading.load import load
from guardopt.model.aims import Aim, Limits, Status
from guardopt.optimization.benders import Planner
from guardopt.questions.bench import Bench
from guardopt.questions.bill import bill
from guardopt.questions.measured.touchdown import touchdown
from guardopt.questions.plan import plan
from guardopt.reports.plan_text import plan_text
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price
from guardopt.simulation.sampling import draw
from guardopt.writing.starter import STARTERS, write_starter
from guardopt.writing.starter_kinds import KINDS

COLUMNS = {
    "parts": {"part", "side", "price", "hours", "break_chance", "touch_up", "strip_down", "waits", "days", "x", "y"},
    "falls": {
        *("fall", "per_year", "left_share", "tumble", "correlation", "watched_years"),
        *("bite", "bite_spread", "tilt", "speed", "drag"),
    },
    "knock_on": {"part", "takes", "chance"},
    "guards": {
        *("guard", "side", "price", "fit_hours", "slot", "lasts_falls", "renew_price", "needs", "not_with", "owned"),
        *("weight_kg", "dislike", "resale_share", "sells_for"),
    },
    "covers": {"guard", "part", "holds", "fall"},
    "exposes": {"guard", "part", "chance", "fall"},
    "offers": {"offer", "guards", "price"},
    "points": {"id", "forward", "out", "up", "wears", "thick"},
}
"""Every column of every table but hits.csv, whose columns are the kinds of fall."""

SETTINGS = {
    "": {"title", "currency"},
    "bike": {"value", "salvage"},
    "owner": {
        *("years", "discount_rate", "budget", "max_weight_kg"),
        *("repair_every", "day_without", "recovery"),
    },
    "labour": {"repair_rate", "fitting_rate"},
    "insurance": {"excess", "premium_rise", "write_off_share"},
    "sampling": {"falls", "seed"},
    "shape": {"centre_forward", "centre_up"},
}


def rows_of(scenario: str, table: str) -> list[dict[str, str]]:
    """A table of a shipped scenario, read with nothing but the standard library."""
    text = (FOLDER / scenario / f"{table}.csv").read_text(encoding="utf-8-sig")
    return list(csv.DictReader(io.StringIO(text), delimiter=";" if ";" in text else ","))


def test_these_scenarios_are_shipped_and_no_others() -> None:
    """A folder that is added is tested as well; the shop and the measured one have tests of their own."""
    folders = [path.name for path in FOLDER.iterdir() if path.is_dir()]
    assert sorted(folders) == sorted([*NAMES, MEASURED, "shop"])


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_scenario_is_sound_and_nothing_in_it_is_odd(name: str) -> None:
    """It loads, without a warning."""
    assert shipped(name).warnings == ()


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_scenario_says_that_it_is_invented(name: str) -> None:
    """Whoever sees the title, and whoever opens the file, is told."""
    assert "invented" in shipped(name).title
    assert (FOLDER / name / "scenario.toml").read_text(encoding="utf-8").startswith("# Invented data")


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_scenario_has_the_size_of_a_real_question(name: str) -> None:
    """It has 20 to 35 parts and 12 to 20 guards to choose from, both sides counted."""
    assert 20 <= len(shipped(name).parts) <= 35
    assert 12 <= len(shipped(name).guards) <= 20


@pytest.mark.parametrize("name", NAMES)
def test_a_head_on_is_a_write_off_whatever_is_fitted(name: str) -> None:
    """Even with every guard on the bike at once, more than could be fitted, each simulated head-on writes it off."""
    scenario = replace(shipped(name), falls_sampled=FALLS)
    (row,) = (row for row, fall in enumerate(scenario.falls) if fall.id == "head_on")
    strata = (stratum for stratum in draw(scenario, FALLS, scenario.seed, "price") if stratum.fall == row)
    everything = frozenset(scenario.guard)
    assert price(Bike(scenario), strata, [everything]).bills[0].write_off_chance[row] == 1.0


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_says_that_no_guard_helps_in_a_head_on(name: str) -> None:
    """It costs the owner the same bare and fitted, and the report has it in words (common practice, no source)."""
    made = shipped_plan(name)
    row = [fall.id for fall in made.scenario.falls].index("head_on")
    assert made.bare.owner_cost[row] == pytest.approx(made.fitted.owner_cost[row])
    assert "head_on: writes the bike off, whatever is fitted." in plan_text(made)


@pytest.mark.parametrize("name", NAMES)
def test_head_ons_are_the_rarest_falls_and_cost_the_most(name: str) -> None:
    """Common practice, no source: riders drop a bike far more often than they write it off."""
    scenario, report = shipped(name), shipped_plan(name).bare
    rates = [fall.per_year for fall in scenario.falls]
    assert scenario.falls[-1].id == "head_on"
    assert min(rates) == rates[-1]
    assert report.repair_bill.argmax() == len(rates) - 1


@pytest.mark.parametrize("table", COLUMNS)
def test_together_they_use_every_column(table: str) -> None:
    """Each column is filled in somewhere, with more than one value, so that there is an example of it to copy."""
    values: dict[str, set[str]] = defaultdict(set)
    for name in NAMES:
        if (FOLDER / name / f"{table}.csv").exists():
            for row in rows_of(name, table):
                for column, value in row.items():
                    values[column].add(value.strip())
    assert {column for column, found in values.items() if len(found) > 1} == COLUMNS[table]


def test_together_they_use_every_setting() -> None:
    """Each key of scenario.toml is there in one of them, groups to strip down included."""
    used: dict[str, set[str]] = defaultdict(set)
    for name in NAMES:
        with (FOLDER / name / "scenario.toml").open("rb") as file:
            for key, value in tomllib.load(file).items():
                used[key if isinstance(value, dict) else ""] |= set(value) if isinstance(value, dict) else {key}
    assert used.pop("strip_down")
    assert used == SETTINGS


def test_together_they_have_every_kind_of_side_and_rule() -> None:
    """Every side, an owned guard, a need, a clash, joint covers, offers, knock-ons, insured and uninsured bikes."""
    parts = {row["side"] for name in NAMES for row in rows_of(name, "parts")}
    guards = {row["side"] for name in NAMES for row in rows_of(name, "guards")}
    assert parts == {"left", "right", "centre", "both"}
    assert guards == {"left", "right", "centre", "both", "pair"}
    scenarios = [shipped(name) for name in NAMES]
    every = [guard for scenario in scenarios for guard in scenario.guards]
    assert any(guard.owned for guard in every)
    assert any(guard.needs for guard in every)
    assert any(guard.not_with for guard in every)
    assert any(len(cover.guards) == 2 for scenario in scenarios for cover in scenario.covers)
    assert all(scenario.offers and scenario.knock_ons for scenario in scenarios)
    assert {scenario.insurance is None for scenario in scenarios} == {True, False}
    assert len({scenario.currency for scenario in scenarios}) == 2


def test_one_is_saved_as_a_spreadsheet_saves_it() -> None:
    """Semicolons and a byte-order mark are shown to be fine."""
    for file in (FOLDER / "riding_school").glob("*.csv"):
        assert file.read_bytes().startswith(b"\xef\xbb\xbf")
        assert ";" in file.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_its_plan_is_proven_best_and_saves(name: str) -> None:
    """The gap closes to one in a million, the budget is kept and the saving is beyond the luck of the sample."""
    made = shipped_plan(name)
    assert made.status is Status.OPTIMAL
    assert made.best.gap <= 1e-6
    assert made.buy
    assert made.scenario.spend_cents(made.kit) <= made.scenario.budget_cents
    assert made.saving_over_years > 5 * made.saving_over_years_se > 0.0


@pytest.mark.parametrize("name", NAMES)
def test_another_way_finds_the_same_kit(name: str) -> None:
    """Listing every kit there is, without the integer program, comes to the kit of the plan."""
    made = shipped_plan(name)
    bench = Bench(made.scenario)
    planner = Planner(bench.scenario, bench.sample)
    listed = planner.best_or_none(Aim.BILLS, Limits(made.scenario.budget_cents))
    assert made.scenario.falls_sampled == FALLS
    assert listed is not None
    assert listed.kit == made.kit
    assert listed.objective == pytest.approx(made.best.objective, rel=1e-9)


def test_the_four_plans_show_most_of_the_reasons() -> None:
    """Among them guards are picked, owned, beaten, worn out, useless, too dear for the budget or for what they do."""
    reasons = {verdict.reason.value for name in NAMES for verdict, _ in shipped_plan(name).verdicts}
    assert reasons >= {
        "picked",
        "owned",
        "beaten_in_its_slot",
        "wears_out_faster_than_it_saves",
        "adds_nothing",
        "over_budget",
        "not_worth_its_price",
    }


@pytest.mark.parametrize("name", NAMES)
def test_tables_for_notebooks_have_one_row_for_each_thing(name: str) -> None:
    """`plan.guards`, `plan.falls` and `plan.parts` agree with the JSON."""
    made = shipped_plan(name)
    assert list(made.guards["guard"]) == [guard.id for guard in made.scenario.guards]
    assert list(made.falls["fall"]) == [fall.id for fall in made.scenario.falls]
    assert sorted(made.parts["part"]) == sorted(part.id for part in made.scenario.parts)
    assert made.guards["text"].tolist() == [record["text"] for record in made.to_json()["guards"]]
    assert made.buy[0] in made._repr_html_()


@pytest.mark.parametrize("kind", ["small", *KINDS])
def test_a_starter_says_that_it_is_invented(kind: str) -> None:
    """Like the others, in its title and at its head."""
    settings = (STARTERS / kind / "scenario.toml").read_text()
    assert "invented" in tomllib.loads(settings)["title"]
    assert "INVENTED" in settings


@pytest.mark.parametrize("kind", ["small", *KINDS])
def test_a_fall_while_turning_slowly_comes_between_a_drop_and_a_slide(kind: str) -> None:
    """Rarer than the first and commoner than the second; dearer than the first and cheaper than the second, bare or not."""
    scenario = load(STARTERS / kind, {"scenario.sampling.falls": 1000})
    rates = {fall.id: fall.per_year for fall in scenario.falls}
    assert rates["tip_over"] > rates["slow_turn"] > rates["low_side"]
    for kit in ([], plan(scenario, reasons=False).kit):
        cost = bill(scenario, kit).falls.set_index("fall")["owner_cost"]
        assert cost["tip_over"] < cost["slow_turn"] < cost["low_side"]


def test_every_shipped_part_has_its_place_and_both_sides_share_it() -> None:
    """A drawing can show them all; the two parts of one row are seen at one place from the side."""
    for name in NAMES:
        places: dict[str, set[tuple[float | None, float | None]]] = defaultdict(set)
        for part in shipped(name).parts:
            places[part.row].add((part.x, part.y))
        assert all(len(found) == 1 and (None, None) not in found for found in places.values())


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_starter_lies_down_on_what_stands_out(kind: str, side: str, tmp_path: Path) -> None:
    """Common practice, no source: a bike on its side rests on bar end or mirror, peg, case or luggage, fork foot or wheel."""
    write_starter(tmp_path / kind, kind)
    scenario = load(tmp_path / kind)
    assert scenario.warnings == ()
    lying = touchdown(scenario, [], side)
    rows = {name.partition(".")[0] for name in lying.to_json()["rests_on"]}
    assert rows & {"bar_end", "mirror"}
    assert rows & {"foot_peg", "floor_panel", "pannier"}
    assert rows <= {
        *("bar_end", "mirror", "foot_peg", "floor_panel", "pannier", "cylinder_cover", "fork_leg"),
        *("front_tyre", "silencer", "kickstart_lever"),
    }
    assert 60.0 < lying.to_json()["roll_degrees"] < 90.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_starter_has_the_costs_of_its_owner_and_tables_near_its_points(kind: str) -> None:
    """Parts that wait, days without the bike, and points that come to about what its chances in words do."""
    scenario = load(STARTERS / kind, {"scenario.sampling.falls": 1000})
    assert scenario.day_without > 0.0
    assert {True, False} == {part.waits for part in scenario.parts}
    assert any(part.days for part in scenario.parts)
    made = plan(scenario, reasons=False)
    assert made.lying is not None
    assert made.lying.difference is not None
    assert abs(made.lying.difference) < 0.15 * made.fitted.yearly_cost
