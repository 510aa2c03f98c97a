"""A scenario is the same as a folder, as a workbook, and as LibreOffice saves that workbook again."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from folders import write_folder
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shipped import FOLDER, NAMES
from workbooks import converted, needs_libreoffice

from guardopt.loading.load import load
from guardopt.model.chance_words import CHANCE_WORDS
from guardopt.model.scenario import Scenario
from guardopt.questions.plan import plan
from guardopt.writing.starter import copy_scenario, write_starter
from guardopt.writing.starter_kinds import KINDS


def warned(scenario: Scenario) -> list[str]:
    """What a scenario is warned of, wherever that stands."""
    return [warning.message for warning in scenario.warnings]


def assert_same(one: Scenario, other: Scenario) -> None:
    """Equal in every number and note."""
    assert replace(one, warnings=()) == replace(other, warnings=())
    assert one.words == other.words
    assert [guard.note for guard in one.guards] == [guard.note for guard in other.guards]
    assert warned(one) == warned(other)


@pytest.mark.parametrize("name", [*NAMES, "shop/roadster"])
def test_a_shipped_scenario_is_the_same_as_a_workbook_and_back(name: str, tmp_path: Path) -> None:
    """From folder to workbook to folder nothing changes."""
    copy_scenario(FOLDER / name, tmp_path / "mine.xlsx")
    copy_scenario(tmp_path / "mine.xlsx", tmp_path / "again")
    first = load(FOLDER / name)
    assert_same(load(tmp_path / "mine.xlsx"), first)
    assert_same(load(tmp_path / "again"), first)


@pytest.mark.parametrize("kind", [None, *KINDS])
def test_a_starter_is_the_same_as_a_workbook(kind: str | None, tmp_path: Path) -> None:
    """Whichever of the two somebody asks for."""
    write_starter(tmp_path / "mine.xlsx", kind)
    write_starter(tmp_path / "folder", kind)
    assert_same(load(tmp_path / "mine.xlsx"), load(tmp_path / "folder"))


@needs_libreoffice
@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_libreoffice_opens_it_and_saves_the_same(ending: str, tmp_path: Path) -> None:
    """Headless, as somebody would who opens it, looks and saves."""
    write_starter(tmp_path / "naked.xlsx", "naked")
    assert_same(load(converted(tmp_path / "naked.xlsx", ending, tmp_path / "out")), load(tmp_path / "naked.xlsx"))


@needs_libreoffice
def test_folder_and_both_kinds_of_workbook_give_the_same_plan_to_the_last_digit(tmp_path: Path) -> None:
    """The answer as JSON, numbers unrounded."""
    folder = write_folder(tmp_path / "twin")
    copy_scenario(folder, tmp_path / "twin.xlsx")
    ods = converted(tmp_path / "twin.xlsx", "ods", tmp_path / "out")
    answers = {json.dumps(plan(load(path)).to_json()) for path in (folder, tmp_path / "twin.xlsx", ods)}
    assert len(answers) == 1


def test_the_same_scenario_makes_the_same_file(tmp_path: Path) -> None:
    """Whenever it is written, so that versions can be compared."""
    for name in ("one.xlsx", "two.xlsx"):
        write_starter(tmp_path / name, "trail")
    assert (tmp_path / "one.xlsx").read_bytes() == (tmp_path / "two.xlsx").read_bytes()


IDS = st.text("abXY019_-éüя", min_size=1, max_size=6).filter(lambda text: text not in ("part", "note"))
AMOUNTS = st.decimals(0, 9999, places=2, allow_nan=False).map(str)
CHANCES = st.one_of(
    st.sampled_from(sorted(CHANCE_WORDS)), st.decimals(0, 1, places=5).map(str), st.sampled_from(["1e-3", ".5", "1."])
)
NOTES = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=12)


@st.composite
def tables(draw: st.DrawFn) -> dict[str, str]:
    """The tables of a sound scenario, as text; names and notes of every kind."""
    parts = draw(st.lists(IDS, min_size=1, max_size=4, unique=True))
    falls = draw(st.lists(IDS, min_size=1, max_size=3, unique=True))
    guards = draw(st.lists(IDS, min_size=1, max_size=3, unique=True))
    sides = st.sampled_from(["left", "right", "centre", "both"])
    return {
        "parts": _text(
            ["part", "side", "price", "hours", "break_chance", "note"],
            [[part, draw(sides), draw(AMOUNTS), draw(AMOUNTS), draw(CHANCES), draw(NOTES)] for part in parts],
        ),
        "falls": _text(["fall", "per_year"], [[fall, draw(AMOUNTS)] for fall in falls]),
        "hits": _text(["part", *falls], [[part, *(draw(CHANCES) for _ in falls)] for part in parts]),
        "guards": _text(
            ["guard", "side", "price", "owned", "note"],
            [[guard, draw(sides), draw(AMOUNTS), draw(st.sampled_from(["", "no"])), draw(NOTES)] for guard in guards],
        ),
        "covers": _text(
            ["guard", "part", "holds"],
            [[guards[0], part, draw(CHANCES)] for part in draw(st.lists(st.sampled_from(parts), unique=True))]
            or [[guards[0], parts[0], "0.5"]],
        ),
    }


def _text(heading: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    csv.writer(text).writerows([heading, *rows])
    return text.getvalue()


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(tables())
def test_any_scenario_written_as_a_workbook_loads_back_equal(found: dict[str, str]) -> None:
    """Whatever parts, falls and guards are called, and whatever is noted beside them."""
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        folder = write_folder(root / "folder", knock_on=None, offers=None, **found)
        copy_scenario(folder, root / "mine.xlsx")
        copy_scenario(root / "mine.xlsx", root / "again")
        assert_same(load(root / "mine.xlsx"), load(folder))
        assert_same(load(root / "again"), load(folder))
