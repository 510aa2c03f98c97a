"""No text in a CSV file that goes out is run by a spreadsheet, and all of them are read back as they were."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from faults import command
from folders import write_folder
from hypothesis import given
from hypothesis import strategies as st
from shops import write_riders

from guardopt.files.spreadsheet_safety import STARTS, has_formulas, safe, unsafe
from guardopt.loading.rider_sheets import read_sheets
from guardopt.number_faults import PLAIN_NUMBER

FORMULAS = (
    *("=1+1", "=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(A1)", "=HYPERLINK(\"//example.invalid\",\"x\")", "-", "+", "=", "@"),
    *("'=1+1", "''=1+1", "＝1+1", "＋1", "－1", "＠x", "-2+3+cmd|' /C calc'!A0", "=a,b;c", "+49 30 1234"),
)  # fmt: skip
"""Texts that have been run by spreadsheets, and some that look alike (OWASP Foundation, "CSV Injection")."""

texts = st.one_of(st.text(), st.text(alphabet="'=+-@＝ab1.\t", max_size=5))


@given(texts)
def test_any_text_is_made_safe_and_read_back_as_it_was(text: str) -> None:
    """Whatever it begins with, apostrophes included."""
    made = safe(text)
    assert unsafe(made) == text
    assert made[:1] not in STARTS or made == "" or PLAIN_NUMBER.fullmatch(made)
    assert has_formulas([text]) or made == text


@pytest.mark.parametrize("number", ["-12.50", "+3", "-1e5", "0", "12"])
def test_numbers_stay_numbers(number: str) -> None:
    """A loss has a minus sign, and is no danger."""
    assert safe(number) == number


def test_riders_called_like_formulas_are_quoted_safely_and_read_back(tmp_path: Path) -> None:
    """In quotes and in the list of who gets which kit; what is wrong with a row is told as text, too."""
    folder = write_folder(tmp_path / "twin")
    quoted = ['"' + name.replace('"', '""') + '"' for name in FORMULAS]
    lines = [f"{name},,,none,,,," for name in quoted] + ['"=1+1",,"=town","=5",,,,']
    riders = write_riders(tmp_path / "book.csv", lines)
    # What stands in a file that a spreadsheet wrote begins with an apostrophe already: it is read without.
    (sheet,) = read_sheets(riders)
    read = sheet.cells["rider"]
    out, who = tmp_path / "q.csv", tmp_path / "who.csv"
    assert command("quote", folder, riders, "--falls", 20, "-o", out).status == 0
    assert command("kits", folder, riders, "--count", 1, "--falls", 20, "-o", who).status == 0
    for path in (out, who):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        assert len(rows) == len(lines) + 1
        cells = [cell for row in rows for cell in row]
        assert [cell for cell in cells if cell[:1] in STARTS and cell and not PLAIN_NUMBER.fullmatch(cell)] == []
        assert [unsafe(row[0]) for row in rows[1:]] == read
