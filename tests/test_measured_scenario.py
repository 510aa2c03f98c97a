"""The shipped scenario whose chances come from a tape measure: its tables are what its points say."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from shipped import FOLDER, MEASURED, NAMES

from guardopt.loading.load import load
from guardopt.questions.measured.estimate import estimate
from guardopt.questions.measured.touchdown import touchdown
from guardopt.writing.estimated_folder import write_estimated


def test_it_is_sound_invented_and_nothing_in_it_is_odd() -> None:
    """As the other shipped scenarios are."""
    scenario = load(FOLDER / MEASURED)
    assert scenario.warnings == ()
    assert "invented" in scenario.title
    assert (FOLDER / MEASURED / "scenario.toml").read_text(encoding="utf-8").startswith("# Invented data")


def test_its_tables_are_those_that_its_points_tell(tmp_path: Path) -> None:
    """Estimated again, every row comes out as it is shipped."""
    scenario = load(FOLDER / MEASURED)
    write_estimated(FOLDER / MEASURED, scenario, estimate(scenario).measured, tmp_path / "again")
    for name in ("hits.csv", "covers.csv", "exposes.csv"):
        shipped, again = (_rows(folder / name) for folder in (FOLDER / MEASURED, tmp_path / "again"))
        assert again == shipped


def _rows(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


@pytest.mark.parametrize("name", [*NAMES, MEASURED, "shop/dual_purpose", "shop/roadster"])
def test_every_shipped_bike_comes_to_lie_on_its_side(name: str) -> None:
    """Common practice, no source: bare, it rolls past sixty degrees and rests on what stands out low and high."""
    scenario = load(FOLDER / name)
    for side in ("left", "right"):
        answer = touchdown(scenario, [], side)
        assert 60.0 < answer.lying.roll_degrees < 100.0
        assert len(answer.lying.rests_on) >= 3


@pytest.mark.parametrize(
    ("name", "bars"), [("courier", ["engine_bar", "rear_bar"]), ("tourer", ["engine_bar", "pannier_bar"])]
)
def test_bars_keep_the_fork_off_the_road_and_bring_something_else_nearer(name: str, bars: list[str]) -> None:
    """Common practice, no source: what holds the bike up in two places turns it towards a third."""
    answer = touchdown(load(FOLDER / name), bars)
    assert set(bars) <= set(answer.lying.rests_on)
    assert answer.clearances["fork_leg.left"] > answer.bare_clearances["fork_leg.left"] + 100
    assert any(answer.clearances[one] < clear - 10 for one, clear in answer.bare_clearances.items())
