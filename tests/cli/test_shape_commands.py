"""``touchdown`` and ``estimate`` at the command line: text, JSON, pages, and what they refuse."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from folders import write_folder
from measured import POINTS, measured_folder

from guardopt.cli.commands import main
from guardopt.errors import InputError


def run(*args: object) -> Result:
    """A command, with its errors left as they are."""
    return CliRunner().invoke(main, [str(arg) for arg in args], catch_exceptions=True)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The measured twin."""
    return measured_folder(tmp_path_factory.mktemp("twin") / "bike")


def test_touchdown_has_the_keys_of_its_contract(folder: Path) -> None:
    """Kit, side, what it rests on, the roll, every clearance and every chance."""
    found = json.loads(run("touchdown", folder, "--fit", "crash_bar", "--side", "right", "--json").stdout)
    assert {"scenario", "kit", "side", "rests_on", "roll_degrees", "clearances", "chances"} <= set(found)
    assert (found["kit"], found["side"]) == (["crash_bar"], "right")
    touching = {row["id"] for row in found["clearances"] if row["mm"] < 1e-3}
    assert touching == set(found["rests_on"])
    assert "crash_bar" in touching
    assert {row["id"] for row in found["clearances"]} >= {"lever.left", "lever.right", "peg", "front_tyre"}
    assert "lever_guard.left" not in {row["id"] for row in found["clearances"]}
    assert {(row["fall"], row["part"]) for row in found["chances"]} == {
        (fall, part)
        for fall in ("tip_over", "low_side")
        for part in ("lever.left", "lever.right", "engine_case", "radiator", "tank")
    }
    assert all(0.0 <= row["struck"] <= 1.0 for row in found["chances"])


def test_touchdown_says_what_holds_the_bike_and_what_it_rolls_onto(folder: Path) -> None:
    """The answer first, then the numbers, then what is ground off."""
    text = run("touchdown", folder, "--fit", "crash_bar").stdout
    assert "Pushed over to the left, the bike, with crash_bar, rolls to" in text
    assert "crash_bar holds it off the road." in text
    assert "Against the bare bike it lifts" in text
    assert "It rolls the bike towards" in text
    assert "fork_foot" in text
    assert " ".join(text.split()).count("crash_bar: 8 mm last 20.0 m, the slide from") == 1
    assert all(len(line) <= 80 for line in text.splitlines())


def test_touchdown_lies_as_the_bike_stands_or_bare(folder: Path) -> None:
    """No guard is owned, so both are the bare bike."""
    assert run("touchdown", folder).stdout == run("touchdown", folder, "--bare").stdout
    assert "the bike, bare, rolls to" in run("touchdown", folder).stdout


@pytest.mark.parametrize(
    ("args", "problem"),
    [
        (["--fit", "crash_barr"], "no guard 'crash_barr' in this scenario; did you mean crash_bar?"),
        (["--fit", "crash_bar", "--bare"], "cannot go with --fit"),
    ],
)
def test_touchdown_refuses_what_makes_no_kit(args: list[str], problem: str, folder: Path) -> None:
    """As `bill` does."""
    result = run("touchdown", folder, *args)
    assert isinstance(result.exception, InputError)
    assert problem in str(result.exception)


@pytest.mark.parametrize("command", [["touchdown"], ["estimate", "--into", "new"]])
def test_without_points_it_is_said_what_is_needed(command: list[str], tmp_path: Path) -> None:
    """The table and the settings are named."""
    result = run(command[0], write_folder(tmp_path / "bike"), *command[1:])
    assert isinstance(result.exception, InputError)
    assert "needs points.csv, and centre_forward and centre_up" in str(result.exception)


def test_estimate_writes_a_folder_and_says_what_changed(folder: Path, tmp_path: Path) -> None:
    """Changes, misfit and where the new folder is."""
    result = run("estimate", folder, "--into", tmp_path / "new")
    assert result.exit_code == 0, result.exception
    assert "Measured: 5 of 5 parts and 3 of 5 guards, both sides counted, in tip_over and low_side." in " ".join(
        result.stdout.split()
    )
    assert "Chances on the bare bike that changed most" in result.stdout
    assert "They are farthest off with" in " ".join(result.stdout.split())
    assert all(len(line) <= 80 for line in result.stdout.splitlines())
    assert f"Wrote the scenario with estimated chances to {tmp_path / 'new'}." in result.stderr
    assert run("check", tmp_path / "new").exit_code == 0


def test_estimate_prints_one_json_object(folder: Path, tmp_path: Path) -> None:
    """With the misfit, every chance before and now, and where it was written."""
    found = json.loads(run("estimate", folder, "--into", tmp_path / "new", "--json").stdout)
    assert {"fall", "part", "kit", "simulated", "by_rows"} == set(found["worst_misfit"])
    assert found["into"] == str(tmp_path / "new")
    assert {"fall", "part", "before", "now"} == set(found["hits"][0])
    assert found["mean_misfit"] <= abs(found["worst_misfit"]["simulated"] - found["worst_misfit"]["by_rows"])


def test_estimate_says_that_counts_of_real_falls_are_not_taken_along(tmp_path: Path) -> None:
    """They would be counts of other chances."""
    folder = measured_folder(tmp_path / "bike")
    (folder / "learned.csv").write_text("number,count,out_of\n")
    result = run("estimate", folder, "--into", tmp_path / "new")
    assert "learned.csv was not copied" in result.stderr
    assert not (tmp_path / "new" / "learned.csv").exists()


def test_a_page_shows_the_bike_bare_and_fitted_from_three_sides(folder: Path, tmp_path: Path) -> None:
    """Six drawings, with what touches marked and everything from the folder escaped."""
    pytest.importorskip("jinja2")
    bike = measured_folder(tmp_path / "bike", points=POINTS)
    title = (bike / "scenario.toml").read_text().replace("Small twin", "Small <twin>")
    (bike / "scenario.toml").write_text(title)
    result = run("touchdown", bike, "--fit", "crash_bar", "--page", tmp_path / "page.html")
    assert result.exit_code == 0, result.exception
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert page.count('<svg xmlns="http://www.w3.org/2000/svg"') == 6
    assert "Small &lt;twin&gt;" in page
    assert "<script" not in page
    bare = run("touchdown", bike, "--bare", "--page", tmp_path / "bare.html")
    assert bare.exit_code == 0, bare.exception
    assert (tmp_path / "bare.html").read_text(encoding="utf-8").count("<svg xmlns") == 3
