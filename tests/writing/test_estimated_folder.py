"""Estimated chances go into a new folder that reads as they were; what was not measured stays as it was."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from folders import SMALL_TWIN
from measured import FALLS, MEASURED, POINTS, measured_folder

from guardopt.errors import InputError
from guardopt.loading.load import load
from guardopt.model.scenario import Scenario
from guardopt.questions.measured.estimate import Estimate, estimate
from guardopt.writing.estimated_folder import write_estimated

FEW = {"scenario.sampling.falls": 200}
HALF_MEASURED = FALLS.replace("30,0.6,4,50,0.45", ",,,,")


def estimated(folder: Path, into: Path, changes: dict[str, object] | None = None) -> tuple[Estimate, Scenario]:
    """Estimate a folder into another, and read that."""
    scenario = load(folder, {**FEW, **(changes or {})})
    answer = estimate(scenario)
    write_estimated(folder, scenario, answer.measured, into)
    return answer, load(into)


def rows(path: Path) -> list[dict[str, str]]:
    """A table as it stands in its file."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_new_folder_reads_as_it_was_estimated(tmp_path: Path) -> None:
    """Every chance to four decimals; parts, guards and falls as before."""
    folder = measured_folder(tmp_path / "old")
    answer, after = estimated(folder, tmp_path / "new")
    before = load(folder)
    assert (after.parts, after.guards, after.falls, after.points) == (
        before.parts,
        before.guards,
        before.falls,
        before.points,
    )
    for key, chance in answer.measured.hits.items():
        assert after.hits[key] == pytest.approx(chance, abs=0.00006)


def test_rows_about_what_was_not_measured_are_kept(tmp_path: Path) -> None:
    """The cover of the case and the radiator's grille have no points; the case and the crash bar have."""
    folder = measured_folder(tmp_path / "old")
    estimated(folder, tmp_path / "new")
    kept = [
        row
        for row in rows(tmp_path / "new" / "covers.csv")
        if {"case_cover", "radiator_grille"} & set(row["guard"].split(" + "))
    ]
    assert kept == [
        {"guard": "case_cover", "part": "engine_case", "holds": "0.6", "fall": ""},
        {"guard": "crash_bar + case_cover", "part": "engine_case", "holds": "0.5", "fall": "tip_over"},
        {"guard": "radiator_grille", "part": "radiator", "holds": "0.6", "fall": ""},
    ]


def test_a_row_for_all_falls_is_kept_for_those_without_a_bite(tmp_path: Path) -> None:
    """The lever guard's guess now stands for the low-side alone, on both sides in one row."""
    folder = measured_folder(tmp_path / "old", falls=HALF_MEASURED)
    answer, after = estimated(folder, tmp_path / "new")
    found = rows(tmp_path / "new" / "covers.csv")
    assert {"guard": "lever_guard", "part": "lever", "holds": "0.7", "fall": "low_side"} in found
    assert answer.measured.falls == ("tip_over",)
    assert {key: after.hits[key] for key in after.hits if key[0] == "low_side"} == {
        key: chance for key, chance in load(folder).hits.items() if key[0] == "low_side"
    }


def test_both_sides_share_a_row_where_they_agree_and_have_their_own_where_not(tmp_path: Path) -> None:
    """A symmetric bike keeps lever; a case that stands out on the left splits it."""
    estimated(measured_folder(tmp_path / "old"), tmp_path / "new")
    parts = [row["part"] for row in rows(tmp_path / "new" / "hits.csv")]
    assert parts == ["lever", "engine_case", "radiator", "tank"]
    points = POINTS.replace("engine_case,640,235", "engine_case,640,520")
    estimated(measured_folder(tmp_path / "odd", points=points), tmp_path / "odd_new")
    parts = [row["part"] for row in rows(tmp_path / "odd_new" / "hits.csv")]
    assert parts == ["lever.left", "lever.right", "engine_case", "radiator", "tank"]


def test_what_guards_expose_is_written_by_guard_part_chance_and_fall(tmp_path: Path) -> None:
    """Each row has a chance above nothing for a kind of fall that has a bite."""
    points = POINTS.replace("tank,830,165,900", "tank,830,330,1000").replace("tank,830,-165,900", "tank,830,-330,1000")
    folder = measured_folder(tmp_path / "old", points=points)
    answer, _ = estimated(folder, tmp_path / "new")
    found = rows(tmp_path / "new" / "exposes.csv")
    assert answer.measured.exposes
    assert all(list(row) == ["guard", "part", "chance", "fall"] for row in found)
    assert all(0.0 < float(row["chance"]) <= 1.0 for row in found)
    assert {row["guard"] for row in found} >= {"crash_bar"}


def test_harm_that_was_not_measured_is_kept_as_it_was_written(tmp_path: Path) -> None:
    """Rows about unmeasured guards, parts and kinds of fall stay, words included; those about measured ones go."""
    exposes = (
        "guard,part,chance,fall,note\n"
        "case_cover,radiator,rarely,,a lug sticks out\n"
        "lever_guard,tank,0.3,,\n"
        "crash_bar,lever,0.2,tip_over,\n"
    )
    folder = measured_folder(tmp_path / "old", falls=HALF_MEASURED, exposes=exposes)
    answer, after = estimated(folder, tmp_path / "new")
    assert answer.measured.falls == ("tip_over",)
    found = rows(tmp_path / "new" / "exposes.csv")
    assert found[0] == {
        "guard": "case_cover",
        "part": "radiator",
        "chance": "rarely",
        "fall": "",
        "note": "a lug sticks out",
    }
    kept = [row for row in found if (row["guard"], row["part"]) == ("lever_guard", "tank")]
    assert {row["fall"]: row["chance"] for row in kept if row["fall"] != "tip_over"} == {"low_side": "0.3"}
    assert not any(row["chance"] == "0.2" for row in found)
    assert {one.chance for one in after.exposures if one.guards == ("case_cover",)} == {
        one.chance for one in load(folder).exposures if one.guards == ("case_cover",)
    }


def test_separators_line_ends_and_byte_order_marks_stay(tmp_path: Path) -> None:
    """A file that a spreadsheet wrote can be opened by it again."""
    hits = "\ufeff" + SMALL_TWIN["hits"].replace(",", ";").replace("\n", "\r\n")
    estimated(measured_folder(tmp_path / "old", hits=hits), tmp_path / "new")
    text = (tmp_path / "new" / "hits.csv").read_bytes()
    assert text.startswith(b"\xef\xbb\xbfpart;tip_over;low_side\r\nlever;")


def test_what_ifs_in_tables_are_written_and_those_in_the_settings_refused(tmp_path: Path) -> None:
    """The new folder says what the answer was asked of, or nothing is written."""
    folder = measured_folder(tmp_path / "old")
    _, after = estimated(folder, tmp_path / "new", {"falls.tip_over.bite": 20})
    assert after.falls[0].bite == 20
    with pytest.raises(InputError, match=r"changes scenario\.toml"):
        estimated(folder, tmp_path / "other", {"scenario.shape.centre_up": 500})
    assert not (tmp_path / "other").exists()


def test_nothing_is_written_over_and_the_old_folder_stays(tmp_path: Path) -> None:
    """The scenario is read only, and a folder with something in it is refused."""
    folder = measured_folder(tmp_path / "old")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    estimated(folder, tmp_path / "new")
    with pytest.raises(InputError, match="is not empty"):
        estimated(folder, tmp_path / "new")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_estimating_twice_changes_nothing_more(tmp_path: Path) -> None:
    """What points say does not depend on the guesses they replace."""
    folder = measured_folder(tmp_path / "old")
    scenario = load(folder, FEW)
    write_estimated(folder, scenario, estimate(scenario).measured, tmp_path / "one")
    again = load(tmp_path / "one", FEW)
    write_estimated(tmp_path / "one", again, estimate(again).measured, tmp_path / "two")
    for name in ("hits.csv", "covers.csv"):
        assert (tmp_path / "one" / name).read_text() == (tmp_path / "two" / name).read_text()
    assert MEASURED["points"] == (tmp_path / "two" / "points.csv").read_text()
