"""Chances from points are those of plain simulation, and rows give them back."""

from __future__ import annotations

from itertools import chain, combinations
from pathlib import Path

import pytest
from measured import MEASURED, POINTS, measured_folder

from guardopt.errors import InputError
from guardopt.loading.load import load
from guardopt.model.scenario import Scenario
from guardopt.questions.measured.estimate import Estimate, estimate
from guardopt.questions.measured.touchdown import ground_of, rocking_of, touchdown
from guardopt.shape.estimating import compatible_kits
from guardopt.shape.points import measured_bike
from guardopt.shape.rest import rest
from guardopt.shape.rocking import strikes


@pytest.fixture(scope="module")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The measured twin on few falls."""
    return load(measured_folder(tmp_path_factory.mktemp("twin")), {"scenario.sampling.falls": 400})


@pytest.fixture(scope="module")
def estimated(scenario: Scenario) -> Estimate:
    """Its chances from points."""
    return estimate(scenario)


def simulated(scenario: Scenario, kit: set[str], part: str, fall_id: str, *, is_left: bool) -> float:
    """How often falls to one side strike a part, by laying the bike down fall by fall."""
    fall = next(one for one in scenario.falls if one.id == fall_id)
    lying = rest(measured_bike(scenario, kit), is_left=is_left)
    struck = strikes(lying, ground_of(fall, fall.bite or 0.0), rocking_of(scenario, fall))
    return float(struck[lying.body.row[part]].mean())


def by_rows(estimated: Estimate, kit: set[str], part: str, fall: str) -> float:
    """How often the model of the tables strikes an exposed part: hits, exposes and covers, by their definition."""
    spared, unharmed = 1.0, 1.0 - estimated.measured.hits[fall, part]
    for row in estimated.measured.covers:
        if (row.part, row.fall) == (part, fall) and kit.issuperset(row.guards):
            spared *= 1.0 - row.chance
    for row in estimated.measured.exposes:
        if (row.part, row.fall) == (part, fall) and kit.issuperset(row.guards):
            unharmed *= 1.0 - row.chance
    return spared * (1.0 - unharmed)


def test_hits_of_sided_parts_are_those_of_their_side(scenario: Scenario, estimated: Estimate) -> None:
    """The bare bike, laid on the side the part is on."""
    for fall in ("tip_over", "low_side"):
        for part, is_left in (("lever.left", True), ("lever.right", False), ("engine_case", True)):
            chance = simulated(scenario, set(), part, fall, is_left=is_left)
            assert estimated.measured.hits[fall, part] == pytest.approx(chance)


def test_hits_of_centre_parts_weigh_both_sides(tmp_path: Path) -> None:
    """A radiator that stands out to the left only, in falls of which 60 in 100 go to the left."""
    points = POINTS.replace("radiator,1060,190", "radiator,1060,360")
    bike = load(measured_folder(tmp_path, points=points), {"scenario.sampling.falls": 400})
    left, right = (simulated(bike, set(), "radiator", "tip_over", is_left=one) for one in (True, False))
    assert left > right
    assert estimate(bike).measured.hits["tip_over", "radiator"] == pytest.approx(0.6 * left + 0.4 * right)


@pytest.mark.parametrize("guard", ["lever_guard.left", "crash_bar"])
def test_rows_of_single_guards_give_back_what_was_simulated(
    guard: str, scenario: Scenario, estimated: Estimate
) -> None:
    """To the least change that makes a row."""
    for fall in ("tip_over", "low_side"):
        for part in ("lever.left", "engine_case"):
            wanted = simulated(scenario, {guard}, part, fall, is_left=True)
            assert by_rows(estimated, {guard}, part, fall) == pytest.approx(wanted, abs=0.0051)


def test_the_worst_misfit_is_that_of_the_worst_kit(scenario: Scenario, estimated: Estimate) -> None:
    """No kit of the measured guards of one side is farther off than what is told."""
    worst = estimated.measured.worst
    assert worst is not None
    guards = ("lever_guard.left", "crash_bar")
    for kit in chain.from_iterable(combinations(guards, n) for n in range(3)):
        for fall in ("tip_over", "low_side"):
            for part in ("lever.left", "engine_case"):
                miss = by_rows(estimated, set(kit), part, fall) - simulated(
                    scenario, set(kit), part, fall, is_left=True
                )
                assert abs(miss) <= worst.size + 1e-9


def test_a_symmetric_bike_has_the_same_rows_on_both_sides(estimated: Estimate) -> None:
    """What holds for lever.left by lever_guard.left holds for lever.right by lever_guard.right."""
    rows = {(row.guards, row.part, row.fall): row.chance for row in estimated.measured.covers}
    levers = {key: chance for key, chance in rows.items() if key[1] == "lever.left"}
    assert levers
    for (guards, part, fall), chance in levers.items():
        other = tuple(name.replace(".left", ".right") for name in guards)
        assert rows[other, part.replace(".left", ".right"), fall] == chance


def test_a_guard_that_touches_nothing_has_no_rows(tmp_path: Path) -> None:
    """It lies within the bike, so it neither spares nor exposes anything."""
    bike = load(
        measured_folder(tmp_path, points=POINTS + "case_cover,640,100,400,,\n"), {"scenario.sampling.falls": 100}
    )
    found = estimate(bike).measured
    assert "case_cover" in found.guards
    assert not any("case_cover" in row.guards for row in (*found.covers, *found.exposes))


def test_three_guards_that_only_together_keep_a_part_off_the_road_are_told(tmp_path: Path) -> None:
    """A tripod: with any two of three sliders the bike still rests on a corner of its case."""
    guards = (
        "guard,side,price,fit_hours,slot\n"
        "lever_guard,both,25,0.2,\ncrash_bar,pair,180,1.5,\ncase_cover,left,60,0.5,\nradiator_grille,centre,45,0.4,\n"
    )
    covers = "guard,part,holds\nlever_guard,lever,0.5\ncrash_bar,tank,0.5\ncase_cover,engine_case,0.5\nradiator_grille,radiator,0.5\n"
    points = (
        "id,forward,out,up\n"
        "engine_case,0,300,0\nengine_case,1300,300,0\nengine_case,650,300,1000\n"
        "frame,0,-300,0\nframe,1300,-300,0\nframe,0,-300,1000\nframe,1300,-300,1000\n"
        "crash_bar,0,400,0\ncase_cover,1300,400,0\nradiator_grille,650,400,1000\n"
    )
    falls = "fall,per_year,bite,bite_spread,tilt\ntip_over,1,20,0.2,0\nlow_side,1,20,0.2,0\n"
    bike = load(
        measured_folder(
            tmp_path,
            guards=guards,
            covers=covers,
            offers=None,
            points=points,
            falls=falls,
            scenario=MEASURED["scenario"]
            .replace("centre_forward = 640", "centre_forward = 650")
            .replace("centre_up = 520", "centre_up = 400"),
        ),
        {"scenario.sampling.falls": 300},
    )
    assert set(touchdown(bike, ["crash_bar", "case_cover", "radiator_grille"]).lying.rests_on) == {
        "crash_bar",
        "case_cover",
        "radiator_grille",
    }
    together = estimate(bike).measured.together
    assert ("crash_bar", "case_cover", "radiator_grille") in {row.guards for row in together}
    assert all(row.chance > 0.99 for row in together if row.part == "engine_case" and len(row.guards) == 3)


def test_kits_are_the_sets_of_guards_that_go_together(scenario: Scenario) -> None:
    """Smaller ones first; guards of one mounting place are never in one kit."""
    kits, is_all = compatible_kits(scenario, ["lever_guard.left", "crash_bar", "case_cover"])
    assert is_all
    assert len(kits) == 8
    assert [len(kit) for kit in kits] == sorted(len(kit) for kit in kits)
    few, is_all = compatible_kits(scenario, [guard.id for guard in scenario.guards], most=3)
    assert not is_all
    assert max(len(kit) for kit in few) == 3


def test_nothing_can_be_estimated_without_a_bite(tmp_path: Path) -> None:
    """The one number that a tape does not give is asked for."""
    falls = "fall,per_year\ntip_over,0.6\nlow_side,0.2\n"
    with pytest.raises(InputError, match="no kind of fall has a bite"):
        estimate(load(measured_folder(tmp_path, falls=falls)))
