"""Sheets become the same cells as files; what would be lost of a workbook is told."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from folders import problems_of, write_folder
from workbooks import SHEET, converted, needs_libreoffice, rewritten, small_workbook

from guardopt.loading.load import load
from guardopt.model.pieces import Side


def test_a_workbook_is_the_same_scenario_as_a_folder(tmp_path: Path) -> None:
    """Typed into cells by another program."""
    scenario = load(small_workbook(tmp_path / "mine.xlsx"))
    assert scenario == load(write_folder(tmp_path / "folder"))
    assert scenario.warnings == ()


@pytest.mark.parametrize(
    ("cell", "value", "message"),
    [
        ("C2", "abc", "found 'abc', expected a number of at least 0"),
        ("C2", None, "nothing found, expected a number of at least 0"),
        ("B3", "nowhere", "found 'nowhere', expected left, right, centre or both"),
        ("E2", 40, "found '40', expected a chance from 0 to 1 (a chance is written 0.40, not 40)"),
        (
            "C2",
            date(2026, 5, 1),
            "found '2026-05-01', a date, perhaps from typing 1/5: format the cell as a number and write 0.2 "
            "(or 1.5 or 5.1 if that was meant)",
        ),
        (
            "C2",
            date(1900, 2, 28),
            "found '1900-02-28', a date: write 59 or 60; spreadsheets make dates of numbers, so format the cells as "
            "numbers first",
        ),
        (
            "E2",
            time(1, 4),
            "found '01:04:00', a time of day, perhaps from typing 1:4: format the cell as a number and write 0.25 "
            "(or 0.0444444 if that was meant)",
        ),
        (
            "D2",
            time(1, 30),
            "found '01:30:00', a time of day, perhaps from typing 1:30: format the cell as a number and write 1.5 "
            "(or 0.0625 if that was meant)",
        ),
        ("A3", "lever", "found 'lever' again, first in parts, row 2"),
        ("J2", "x", "found 'x' in a column without a name"),
    ],
)
def test_a_mistake_is_told_as_sheet_and_cell(cell: str, value: object, message: str, tmp_path: Path) -> None:
    """So that it is found by looking, not by counting."""

    def change(book: Any) -> None:
        book["parts"][cell] = value

    found = problems_of(small_workbook(tmp_path / "mine.xlsx", change))
    assert f"parts!{cell}: {message}" in found


def test_settings_are_told_by_cell_and_key(tmp_path: Path) -> None:
    """A missing one has no cell, so it is told by its key."""

    def change(book: Any) -> None:
        book["scenario"]["B6"] = "4 Jahre"
        book["scenario"]["B3"] = None
        book["scenario"]["A8"] = "owner.budgt"

    assert problems_of(small_workbook(tmp_path / "mine.xlsx", change)) == [
        "scenario!B3: nothing found, expected one line of text",
        "scenario!B6: found '4 Jahre', a word behind the number: write 4",
        "scenario!B8: unknown key; did you mean budget?",
    ]


def test_messages_name_sheets_and_not_files(tmp_path: Path) -> None:
    """Nobody has to think of files that are not there."""

    def change(book: Any) -> None:
        book["covers"]["B2"] = "levr"
        del book["knock_on"]

    (line,) = problems_of(small_workbook(tmp_path / "mine.xlsx", change))
    assert line == "covers!B2: found 'levr', expected a part of the sheet parts; did you mean lever?"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda book: book.__delitem__("falls"), "mine.xlsx: no sheet falls"),
        (lambda book: setattr(book["falls"], "title", "fals"), "mine.xlsx: no sheet falls; fals looks like it"),
        (lambda book: book["falls"].delete_rows(1, 9), "falls: is empty, expected a row of column names such as"),
        (lambda book: book["falls"].delete_rows(2, 9), "falls: has a row of column names but no rows"),
        (lambda book: book["scenario"].__setitem__("B1", "amount"), "scenario, row 1: column value is missing"),
        (lambda book: book.create_sheet("falls.csv"), "mine.xlsx: has two sheets for falls"),
    ],
)
def test_a_sheet_that_is_missing_or_empty_is_told(change: Callable[[Any], None], message: str, tmp_path: Path) -> None:
    """With the sheet that may have been meant for it."""
    assert any(line.startswith(message) for line in problems_of(small_workbook(tmp_path / "mine.xlsx", change)))


def test_other_sheets_are_left_alone_and_names_may_be_in_other_letters(tmp_path: Path) -> None:
    """People keep notes and bills in the same workbook."""

    def change(book: Any) -> None:
        book.create_sheet("my bills").append(["anything", 1])
        book["parts"].title = "other"
        book["other"].title = "Parts"

    assert load(small_workbook(tmp_path / "mine.xlsx", change)).warnings == ()


def test_formulas_are_read_as_their_values(tmp_path: Path) -> None:
    """As a spreadsheet saved them: here the result of 15*2 stands beside the formula."""
    plain = small_workbook(tmp_path / "plain.xlsx")
    formula = rewritten(
        plain,
        tmp_path / "mine.xlsx",
        {SHEET: lambda xml: xml.replace(b'<c r="C2" t="n"><v>30</v>', b'<c r="C2" t="n"><f>15*2</f><v>30</v>')},
    )
    assert load(formula) == load(plain)


def test_a_formula_without_its_result_is_told(tmp_path: Path) -> None:
    """The reading library takes it for blank, and a blank cell would stand for a default."""

    def change(book: Any) -> None:
        book["parts"]["D2"] = "=0.1*2"

    assert problems_of(small_workbook(tmp_path / "mine.xlsx", change)) == [
        "parts!D2: the formula has no result in the file; open it in a spreadsheet and save it again"
    ]


def test_an_error_in_a_cell_is_told(tmp_path: Path) -> None:
    """The reading library takes it for blank as well."""

    def change(book: Any) -> None:
        book["parts"]["D2"] = "#DIV/0!"
        book["parts"]["D2"].data_type = "e"

    assert problems_of(small_workbook(tmp_path / "mine.xlsx", change)) == [
        "parts!D2: the formula ended in an error, #DIV/0!"
    ]


def test_merged_cells_are_told(tmp_path: Path) -> None:
    """All but the first of them are blank, whatever is seen on the screen."""

    def change(book: Any) -> None:
        book["parts"].merge_cells("B1:D1")
        book["parts"].merge_cells("E3:E4")

    assert problems_of(small_workbook(tmp_path / "mine.xlsx", change)) == [
        "parts!B1: is merged down to D1; every cell has to stand for itself",
        "parts!E3: is merged down to E4; every cell has to stand for itself",
    ]


def test_logical_values_and_dates_are_what_they_say(tmp_path: Path) -> None:
    """TRUE is yes; a date with midnight in it is that day."""

    def change(book: Any) -> None:
        book["guards"]["J3"] = False
        book["guards"]["N1"] = "note"
        book["guards"]["N3"] = datetime(2026, 3, 31)

    scenario = load(small_workbook(tmp_path / "mine.xlsx", change))
    assert not scenario.guard["crash_bar"].owned
    assert scenario.guard["crash_bar"].note == "2026-03-31"


SHOWN = {("falls", "B2"): 1.4, ("parts", "E2"): 0.25, ("parts", "C2"): 61, ("parts", "C3"): 59, ("parts", "C4"): 1.205}
"""Numbers in cells that were dates or times once, whose format stays."""


@pytest.mark.parametrize("number_format", ["d.m.yy", "hh:mm", "[h]:mm:ss", "yyyy-mm-dd hh:mm"])
@pytest.mark.parametrize("ending", ["xlsx", pytest.param("ods", marks=needs_libreoffice)])
def test_a_number_shown_as_a_date_or_a_time_is_that_number(ending: str, number_format: str, tmp_path: Path) -> None:
    """A spreadsheet shows 0.25 as six in the morning; from day 61 on it counts a leap day that 1900 did not have."""

    def change(book: Any) -> None:
        for (sheet, cell), number in SHOWN.items():
            # 59 and 60 are the same day, so 59 is left as it is where days are counted that way.
            book[sheet][cell] = number
            if number != 59 or ending == "ods" or number_format == "[h]:mm:ss":
                book[sheet][cell].number_format = number_format

    path = small_workbook(tmp_path / "mine.xlsx", change)
    scenario = load(converted(path, ending, tmp_path / "out") if ending == "ods" else path)
    assert scenario.falls[0].per_year == 1.4
    assert scenario.parts[0].break_chance == 0.25
    assert [part.price for part in scenario.parts if part.side is not Side.RIGHT][:3] == [61, 59, 1.205]
    # A time is told, since times are typed as well; no date before 1901 is typed.
    is_told = any("a time of day; taken for the number the cell holds" in str(one) for one in scenario.warnings)
    assert is_told is (ending == "xlsx" or number_format in ("hh:mm", "[h]:mm:ss"))


def test_a_number_is_no_text_in_which_a_point_may_divide_thousands(tmp_path: Path) -> None:
    """1.205 in a cell of numbers is 1.205, however it is shown."""

    def change(book: Any) -> None:
        book["parts"]["C2"] = 1.205

    assert load(small_workbook(tmp_path / "mine.xlsx", change)).parts[0].price == 1.205


def test_an_id_that_looks_like_a_number_stays_one(tmp_path: Path) -> None:
    """A part may be called 12, typed as a number here and as text there."""

    def change(book: Any) -> None:
        for sheet, cell in (("parts", "A4"), ("hits", "A4"), ("covers", "B7"), ("knock_on", "A2")):
            book[sheet][cell] = 12 if sheet != "hits" else "12"

    assert "12" in [part.id for part in load(small_workbook(tmp_path / "mine.xlsx", change)).parts]
