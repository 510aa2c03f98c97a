"""Points are read with their sides, and what is wrong or odd about them is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from folders import SMALL_TWIN, problems_of, write_folder
from measured import FALLS, MEASURED, POINTS, measured_folder

from guardopt.loading.load import load
from guardopt.model.pieces import Point
from guardopt.reports.check_text import check_text

MM = "expected a number of millimetres from"


def test_points_stand_on_every_side_that_their_id_has(tmp_path: Path) -> None:
    """Both and pair and names of one's own are mirrored; left, right and centre are as measured."""
    extra = "lever.right,1000,-300,1000,,\n"
    scenario = load(measured_folder(tmp_path, points=POINTS + extra))
    outs: dict[str, list[float]] = {}
    for point in scenario.points:
        outs.setdefault(point.id, []).append(point.out)
    assert outs["lever.left"] == [385, 410]
    assert outs["lever.right"] == [-385, -410, -300]
    assert outs["engine_case"] == [235]
    assert outs["crash_bar"] == [430, -430, 415, -415]
    assert outs["peg"] == [330, -330]
    assert Point("lever_guard.right", 1150, -440, 1045, 1.5, 12) in scenario.points
    assert (scenario.centre.forward, scenario.centre.up) == (640, 520) if scenario.centre else False
    assert scenario.warnings == ()


def test_a_kind_of_fall_has_its_defaults(tmp_path: Path) -> None:
    """Blank cells stand for the spread, the tilt and the drag of the model."""
    tip_over, low_side = load(measured_folder(tmp_path)).falls
    assert (tip_over.bite, tip_over.bite_spread, tip_over.tilt, tip_over.speed, tip_over.drag) == (12, 0.5, 3, 0, 0.5)
    assert (low_side.bite, low_side.bite_spread, low_side.tilt, low_side.speed, low_side.drag) == (30, 0.6, 4, 50, 0.45)


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ("peg,430,330,365", "peg,x,330,365", f"line 9, column forward: found 'x', {MM} -5000 to 5000"),
        ("peg,430,330,365", "peg,430,,365", f"line 9, column out: nothing found, {MM} -5000 to 5000"),
        ("peg,430,330,365", "peg,430,330,-5", f"line 9, column up: found '-5', {MM} 0 to 5000"),
        (
            "peg,430",
            "engin_case.left,430",
            "line 9, column id: found 'engin_case.left', expected a part or a guard, or a name without a point; "
            "did you mean engine_case?",
        ),
        (
            "radiator,1060,190",
            "radiator.left,1060,190",
            "line 5, column id: found 'radiator.left', but radiator has no such side; expected radiator",
        ),
        (
            "engine_case,640,235",
            "engine_case,640,-235",
            "line 4, column out: found -235, but engine_case is measured on the left, where out is positive",
        ),
        (
            "lever_guard,1150,440",
            "lever_guard.right,1150,440",
            "line 17, column out: found 440, but lever_guard.right is on the right, where out is negative",
        ),
        ("0.4,8\ncrash", "-1,8\ncrash", "line 18, column wears: found '-1', expected a number of at least 0"),
        ("1.5,12", "1.5,thin", f"line 17, column thick: found 'thin', {MM} 0 to 1000"),
        ("id,forward", "id,ahead", "line 1, column ahead: unknown column"),
    ],
)
def test_a_mistake_in_the_points_is_told_in_one_line(old: str, new: str, problem: str, tmp_path: Path) -> None:
    """Each slip has this message."""
    assert POINTS.count(old) == 1
    found = problems_of(measured_folder(tmp_path, points=POINTS.replace(old, new)))
    assert any(line.startswith(f"points.csv, {problem}") for line in found), found


def test_mistakes_in_all_that_is_measured_are_told_at_once(tmp_path: Path) -> None:
    """Falls, settings and points in one go."""
    found = problems_of(
        measured_folder(
            tmp_path,
            scenario=MEASURED["scenario"].replace("centre_up = 520", "centre_upp = 520"),
            falls=FALLS.replace("30,0.6,4,50,0.45", "-1,9,90,4000,0"),
            points=POINTS.replace("peg,430,330,365", "peg,430,330,x"),
        )
    )
    assert [line.split(": ")[0] for line in found] == [
        "scenario.toml, line 21, [shape] centre_upp",
        *(f"falls.csv, line 3, column {name}" for name in ("bite", "bite_spread", "tilt", "speed", "drag")),
        "points.csv, line 9, column up",
    ]
    assert "did you mean centre_up?" in found[0]


def test_points_need_a_centre_of_mass(tmp_path: Path) -> None:
    """Without [shape] nothing can be laid down."""
    (problem,) = problems_of(measured_folder(tmp_path, scenario=SMALL_TWIN["scenario"]))
    assert problem == ("scenario.toml: the table [shape] is missing: points.csv needs its centre_forward and centre_up")


def test_a_centre_of_mass_outside_the_bike_is_an_error(tmp_path: Path) -> None:
    """No machine has its weight outside of itself."""
    (problem,) = problems_of(
        measured_folder(tmp_path, scenario=MEASURED["scenario"].replace("centre_up = 520", "centre_up = 1900"))
    )
    assert problem == (
        "scenario.toml, line 21, [shape] centre_up: the centre of mass, 640 mm forward and 1900 mm up, is outside all "
        "that was measured of the bare bike"
    )


def test_points_in_one_plane_are_an_error(tmp_path: Path) -> None:
    """A flat machine has no side to lie on."""
    flat = "id,forward,out,up\ntank,0,0,0\ntank,500,0,900\ntank,900,0,500\ntank,900,0,0\n"
    (problem,) = problems_of(measured_folder(tmp_path, points=flat))
    assert problem.startswith("points.csv, line 2: the points of the bare bike lie in one plane")


def test_points_of_a_guard_that_was_deleted_are_counted_with_what_else_names_it(tmp_path: Path) -> None:
    """They would go on to carry the bike, as something of one's own that is always there."""
    guards = "".join(
        line for line in SMALL_TWIN["guards"].splitlines(keepends=True) if not line.startswith("crash_bar")
    )
    assert problems_of(measured_folder(tmp_path, guards=guards)) == [
        "guards.csv: no row for crash_bar, though 6 cells name it (covers.csv, lines 3-4 and 6; offers.csv, line 2; "
        "points.csv, lines 18-19); put the row back, or delete those rows of covers.csv, offers.csv and points.csv, the lowest first, too"
    ]


def test_names_of_ones_own_are_told_as_what_is_always_there(tmp_path: Path) -> None:
    """So that the points of something that is no longer on the bike are noticed, if nothing else names it."""
    report = " ".join(check_text(load(measured_folder(tmp_path))).split())
    named = "peg, fork_foot, mirror, tail, front_tyre and rear_tyre"
    assert f"Points of neither a part nor a guard: {named}. They count as always on the bike" in report
    assert "Points of neither" not in check_text(load(write_folder(tmp_path / "unmeasured")))


def test_a_name_that_is_part_and_guard_is_an_error(tmp_path: Path) -> None:
    """It could not be told what a point belongs to."""
    guards = SMALL_TWIN["guards"].replace("radiator_grille,", "radiator,")
    covers = SMALL_TWIN["covers"].replace("radiator_grille,", "radiator,")
    found = problems_of(measured_folder(tmp_path, guards=guards, covers=covers))
    assert (
        "points.csv, line 5, column id: found 'radiator', which is a part and a guard; give one of them another id"
        in found
    )


@pytest.mark.parametrize(
    ("overrides", "warning"),
    [
        (
            {"points": POINTS + "case_cover,640,100,400,,\n"},
            "points.csv, line 20, column id: case_cover can touch nothing: all its points lie within what was measured "
            "of the bike",
        ),
        (
            {"points": POINTS.replace("peg,430", "tanck,430")},
            "points.csv, line 9, column id: tanck is neither a part nor a guard; did you mean tank?",
        ),
        (
            {"points": POINTS + "engine_case,640,-30,400,,\n"},
            "points.csv, line 20, column out: found -30, beyond the centre plane, but engine_case is measured on the left, "
            "where out is positive",
        ),
        (
            {"points": POINTS.replace("tank,830,-165,900,,\n", "")},
            "points.csv, line 7, column out: tank has points on the left only; it is not mirrored, so add those with "
            "negative out",
        ),
        (
            {"points": POINTS.replace("1.5,12", "1.5,")},
            "points.csv, line 17, column wears: a point that wears but is not thick has nothing to grind",
        ),
        (
            {"points": POINTS.replace("1.5,12", ",12")},
            "points.csv, line 17, column thick: a point that is thick but does not wear lasts for ever",
        ),
        (
            {"falls": FALLS.replace("30,0.6,4,50,0.45", ",,4,,")},
            "falls.csv, line 3, column tilt: found 4, which has no effect without bite",
        ),
        (
            {"scenario": MEASURED["scenario"].replace("centre_up = 520", "centre_up = 30")},
            "scenario.toml, line 21, [shape] centre_up: pushed over, the bike comes back onto its wheels (roll 0 degrees)",
        ),
    ],
)
def test_what_looks_like_a_slip_is_a_warning(overrides: dict[str, str], warning: str, tmp_path: Path) -> None:
    """It is told and stops nothing."""
    assert [str(one) for one in load(measured_folder(tmp_path, **overrides)).warnings] == [warning]


def test_what_needs_points_has_no_effect_without_them(tmp_path: Path) -> None:
    """A centre of mass and bites alone are told of."""
    folder = write_folder(tmp_path, scenario=MEASURED["scenario"], falls=FALLS)
    assert [str(one).partition(":")[0] for one in load(folder).warnings] == [
        "scenario.toml, line 19",
        "falls.csv, line 2, column bite",
        "falls.csv, line 3, column bite",
    ]


def test_points_can_be_asked_what_if(tmp_path: Path) -> None:
    """An address names all points of an id."""
    scenario = load(measured_folder(tmp_path), {"points.lever_guard.out": 500, "scenario.shape.centre_up": 540})
    assert [point.out for point in scenario.points if point.id == "lever_guard.left"] == [500]
    assert scenario.centre is not None
    assert scenario.centre.up == 540
