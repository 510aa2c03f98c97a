"""Guesses given as ranges, and columns multiplied by a factor, on the small twin."""

from __future__ import annotations

from pathlib import Path

import pytest
from folders import write_folder

import guardopt
from guardopt.errors import InputError
from guardopt.loading.changes import parse_change
from guardopt.model.ranges import Range
from guardopt.model.scenario import Scenario


def changed(folder: Path, **changes: str) -> Scenario:
    """The small twin with changes, dots written as double underscores."""
    write_folder(folder)
    return guardopt.load(folder, {address.replace("__", "."): value for address, value in changes.items()})


@pytest.mark.parametrize(
    ("address", "likely"),
    [
        ("covers.case_cover.engine_case.holds", 0.6),
        ("falls.low_side.per_year", 0.2),
        ("parts.tank.price", 500.0),
        ("hits.lever.tip_over", 0.5),
        ("knock_on.radiator.tank.chance", 0.1),
        ("scenario.strip_down.left_fairing", 0.8),
    ],
)
def test_a_range_is_read_as_its_likely_value_and_kept(tmp_path: Path, address: str, likely: float) -> None:
    """Everything else is as if the likely value stood there alone."""
    write_folder(tmp_path)
    low, high = 0.8 * likely, 1.25 * likely
    plain = guardopt.load(tmp_path, {address: f"{likely:.4f}0"})
    given = guardopt.load(tmp_path, {address: f"{low:.4f}0 / {likely:.4f}0 / {high:.4f}0"})
    assert given.ranges == {address: Range(pytest.approx(low), pytest.approx(likely), pytest.approx(high))}
    assert (given.hits, given.parts, given.falls, given.covers) == (
        plain.hits,
        plain.parts,
        plain.falls,
        plain.covers,
    )
    assert given.change({}) == given
    assert not given.warnings


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ("0.8 / 0.6 / 0.9", "that rise"),
        ("0.1 / 0.6 / 1", "below 1"),
        ("a / 0.6 / 0.9", "expected three numbers"),
        ("0.5 / 0.51 / 0.9", "too near to one end"),
        ("0.5 / 0.9", "found '0.5 / 0.9'"),
    ],
)
def test_a_range_that_is_none_is_one_clear_error(tmp_path: Path, value: str, told: str) -> None:
    """With what was found and what would do."""
    with pytest.raises(InputError, match=told) as caught:
        changed(tmp_path, covers__case_cover__engine_case__holds=value)
    assert len(caught.value.problems) == 1


def test_a_whole_column_is_multiplied(tmp_path: Path) -> None:
    """All holds a third lower, all rates doubled, all prices a fifth up; ranges with them; blanks by their default."""
    plain = changed(tmp_path)
    write_folder(tmp_path)
    asked = ["covers.holds*0.7", "falls.per_year*2", "parts.price*1.2", "parts.break_chance*0.5", "guards.price*1.2"]
    harsh = guardopt.load(tmp_path, dict(parse_change(one) for one in asked))
    assert [cover.holds for cover in harsh.covers] == pytest.approx([0.7 * cover.holds for cover in plain.covers])
    assert [fall.per_year for fall in harsh.falls] == [2.0 * fall.per_year for fall in plain.falls]
    for new, old in zip(harsh.parts, plain.parts, strict=True):
        assert (new.price, new.break_chance) == (pytest.approx(1.2 * old.price), pytest.approx(0.5 * old.break_chance))
    assert [guard.price for guard in harsh.guards] == pytest.approx([1.2 * guard.price for guard in plain.guards])
    given = guardopt.load(tmp_path, {"hits.lever.low_side": "0.2/0.4/0.6", "hits.low_side*": "0.5"})
    assert given.ranges == {"hits.lever.low_side": Range(0.1, 0.2, 0.3)}
    assert given.hits["low_side", "radiator"] == 0.5 * plain.hits["low_side", "radiator"]


def test_words_for_chances_are_multiplied_as_the_numbers_they_stand_for(tmp_path: Path) -> None:
    """Also where the settings say what a word stands for, and whichever change comes first."""
    write_folder(tmp_path)
    address = "covers.case_cover.engine_case.holds"
    found = guardopt.load(tmp_path, {"covers.holds*": "0.5", address: "often"})
    plain = guardopt.load(tmp_path, {address: "often"})
    assert [cover.holds for cover in found.covers] == pytest.approx([0.5 * cover.holds for cover in plain.covers])


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("covers.holds*2", "expected a chance from 0 to 1"),
        ("covers.holds*some", "expected a factor of at least 0"),
        ("covers.hods*2", "did you mean holds"),
        ("parts.side*2", "expected a number to multiply"),
        ("holds*2", "expected FILE.COLUMN"),
        ("covers.case_cuver.holds*2", "did you mean case_cover"),
        ("covers.holds", "FILE.COLUMN"),
    ],
)
def test_a_column_that_cannot_be_multiplied_is_told(tmp_path: Path, change: str, told: str) -> None:
    """With what would do."""
    write_folder(tmp_path)
    with pytest.raises(InputError, match=told):
        guardopt.load(tmp_path, dict([parse_change(change)]))
