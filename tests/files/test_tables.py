"""Files as spreadsheets save them become cells that know their line."""

import csv
import io
from pathlib import Path

import pytest
from folders import SMALL_TWIN, write_folder
from hypothesis import given
from hypothesis import strategies as st

from guardopt.errors import Place
from guardopt.files.cells import Findings
from guardopt.files.tables import Table, parse_table
from guardopt.files.telling import in_reading_order
from guardopt.files.toml_cells import parse_settings
from guardopt.loading.load import load

CSV_FILES = {name: text for name, text in SMALL_TWIN.items() if name != "scenario"}


def read(text: str) -> Table:
    """Read a table that has nothing wrong with it."""
    findings = Findings()
    table = parse_table("parts.csv", text, findings)
    assert table is not None
    assert findings.problems == []
    return table


def first_problem(text: str) -> str:
    """Read a table and give the one problem it has."""
    findings = Findings()
    parse_table("parts.csv", text, findings)
    (problem,) = findings.problems
    return str(problem)


def in_quotes(text: str) -> str:
    """Put every cell in quotation marks."""
    quoted = io.StringIO()
    csv.writer(quoted, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(csv.reader(text.splitlines()))
    return quoted.getvalue()


def with_reversed_columns(text: str) -> str:
    """Write the columns the other way round."""
    return "".join(",".join(reversed(line.split(","))) + "\n" for line in text.splitlines())


DIALECTS = {
    "byte-order mark": lambda text: "\ufeff" + text,
    "semicolons": lambda text: text.replace(",", ";"),
    "Windows line ends": lambda text: text.replace("\n", "\r\n"),
    "old line ends": lambda text: text.replace("\n", "\r"),
    "no line end at the end": lambda text: text.rstrip("\n"),
    "blank columns at the end": lambda text: text.replace("\n", ",,\n"),
    "blank rows at the end": lambda text: text + ",,,\n\n   \n,,\n",
    "blank rows on top": lambda text: "\n,,,\n" + text,
    "blanks round cells": lambda text: text.replace(",", " , "),
    "cells in quotation marks": in_quotes,
    "a blank before quotation marks": lambda text: in_quotes(text).replace(",", ", "),
    "columns in another order": with_reversed_columns,
}


NO_HEADING = "parts.csv: is empty, expected a line of column names such as part,side,price,hours,break_chance,touch_up"


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_spreadsheet_dialect_loads_to_the_same_scenario(dialect: str, tmp_path: Path) -> None:
    """How a spreadsheet saves a table says nothing about the bike."""
    varied = {name: DIALECTS[dialect](text) for name, text in CSV_FILES.items()}
    assert load(write_folder(tmp_path / "varied", **varied)) == load(write_folder(tmp_path / "plain"))


def test_accents_typed_on_different_machines_are_the_same_letter(tmp_path: Path) -> None:
    """A composed and a decomposed e-acute look alike, so they name the same part."""
    files = {name: text.replace("lever,", "b\u00e9quille,") for name, text in CSV_FILES.items()}
    files["hits"] = files["hits"].replace("\u00e9", "e\u0301")
    assert ("low_side", "b\u00e9quille.left") in load(write_folder(tmp_path, **files)).hits


def test_a_row_is_known_by_the_line_it_starts_on() -> None:
    """A line break inside a cell does not push the line numbers of messages out of step."""
    table = read('part,side\n"lever\nof the clutch",left\ntank,centre\n')
    assert [str(row.place) for row in table.rows] == ["parts.csv, line 2", "parts.csv, line 4"]
    assert str(table.rows[1].where("side")) == "parts.csv, line 4, column side"


def test_fewer_cells_than_columns_leave_the_rest_blank() -> None:
    """Nobody has to type the commas at the end of a row."""
    (row,) = read("part,side,price\nlever\n").rows
    assert [row.text(column) for column in ("part", "side", "price")] == ["lever", "", ""]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", NO_HEADING),
        (" \n,,\n", NO_HEADING),
        ("part,side\n", "parts.csv: has a line of column names but no rows"),
        ("part,side\n,\n", "parts.csv: has a line of column names but no rows"),
        ("part,side,part\nx,left,y\n", "parts.csv, line 1: column part appears twice"),
        ("part,,side\nx,,left\n", "parts.csv, line 1: column 2 has no name"),
        (
            "part\tside\nx\tleft\n",
            "parts.csv, line 1: columns are separated by tabs; save the file with commas or semicolons between them",
        ),
        (
            'part,side\n"x,left\n',
            'parts.csv, line 2: quotation marks do not pair up; a cell that starts with " has to end with "',
        ),
        (
            'part,side\nx,left\n"y"z,left\n',
            'parts.csv, line 3: quotation marks do not pair up; a cell that starts with " has to end with "',
        ),
        (
            "part,side\nx,left,3\n",
            "parts.csv, line 2: found 3 cells, expected 2; "
            "a cell with a separator in it needs quotation marks, and decimals a point",
        ),
        (
            "part,price\nx,12,50\n",
            "parts.csv, line 2: found 3 cells, expected 2; if 12,50 is one number, it has a decimal comma: write 12.50; "
            "otherwise a cell with a separator in it needs quotation marks, and decimals a point",
        ),
        (
            "part,price\nx,450,-\n",
            "parts.csv, line 2: found 3 cells, expected 2; if 450,- is one number, it has a dash in the place of cents: "
            "write 450; otherwise a cell with a separator in it needs quotation marks, and decimals a point",
        ),
        (
            "part,hits,price\nx,1,2,1.200,50\n",
            "parts.csv, line 2: found 5 cells, expected 3; if 1.200,50 is one number, it has a thousands separator and a "
            "decimal comma: write 1200.50; "
            "otherwise a cell with a separator in it needs quotation marks, and decimals a point",
        ),
        (
            "part;price\nx;12;50\n",
            "parts.csv, line 2: found 3 cells, expected 2; "
            "a cell with a separator in it needs quotation marks, and decimals a point",
        ),
    ],
)
def test_a_table_that_cannot_be_divided_is_explained(text: str, problem: str) -> None:
    """Every way a file can fail to be a table has one clear line."""
    assert first_problem(text) == problem


def test_a_stray_decimal_comma_cannot_shift_a_row_unnoticed() -> None:
    """With 12,50 for 12.50 all later cells move right by one; a blank last cell must not hide that."""
    problem = first_problem("part,side,price,hours,touch_up\nlever,left,12,50,0.2,\n")
    assert problem.startswith("parts.csv, line 2: found 6 cells, expected 5")


@given(
    st.lists(
        st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0")), min_size=3, max_size=3), max_size=6
    ),
    st.sampled_from(",;"),
)
def test_whatever_a_spreadsheet_writes_is_read_back(rows: list[list[str]], separator: str) -> None:
    """Cells come back as they were typed but for blanks round them; blank rows do not come back."""
    written = io.StringIO()
    csv.writer(written, delimiter=separator, quoting=csv.QUOTE_ALL).writerows([["part", "side", "note"], *rows])
    table = parse_table("parts.csv", written.getvalue(), Findings(), is_required=False)
    assert table is not None
    stripped = [[cell.strip() for cell in row] for row in rows]
    found = [[row.text(column) for column in table.columns] for row in table.rows]
    assert found == [row for row in stripped if any(row)]


def test_settings_know_the_line_of_each_key() -> None:
    """The same key in two tables is told apart."""
    rows = parse_settings('title = "x"\n\n[bike]\nvalue = 1\n[owner]\n# years\nvalue = 2\n', Findings())
    assert rows is not None
    assert str(rows[""].where("title")) == "scenario.toml, line 1, title"
    assert str(rows["bike"].where("value")) == "scenario.toml, line 4, [bike] value"
    assert str(rows["owner"].where("value")) == "scenario.toml, line 7, [owner] value"
    assert str(rows["owner"].where("years")) == "scenario.toml, line 5, [owner] years"


def test_every_number_that_toml_has_no_notation_for_is_told_at_once() -> None:
    """Whoever writes decimals with a comma does so throughout, and wants to hear of all of them."""
    text = "[bike]\nvalue = 3.800,50\nsalvage = 400,00\n[labour]\nrepair_rate = 72,50\n"
    findings = Findings()
    rows = parse_settings(text, findings)
    assert rows is not None
    assert all(cell.is_refused for row in rows.values() for cell in row.cells.values())
    assert [str(found).partition(": ")[0] for found in findings.problems] == [
        "scenario.toml, line 2",
        "scenario.toml, line 3",
        "scenario.toml, line 5",
    ]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "scenario.toml: is empty"),
        ("[bike]\nvalue = 12,50\n", "scenario.toml, line 2: cannot be read: it has a decimal comma: write 12.50"),
        (
            "[bike]\nvalue = 3.800,50  # 3.800\n",
            "scenario.toml, line 2: cannot be read: it has a thousands separator and a decimal comma: write 3800.50",
        ),
        ("[bike]\nvalue = 3 800\n", "scenario.toml, line 2: cannot be read: it has a thousands separator: write 3800"),
        (
            "[owner]\ndiscount_rate = 3 %\n",
            "scenario.toml, line 2: cannot be read: it has a percent sign: write 0.03",
        ),
        (
            "title = My bike\n",
            'scenario.toml, line 1: cannot be read: expected a number, or text in quotation marks, "like this"',
        ),
        ("[bike]\nvalue = 1\nvalue = 2\n", "scenario.toml, line 3: cannot be read: a key or a table is there twice"),
        ("[bike]\n[bike]\n", "scenario.toml, line 2: cannot be read: a key or a table is there twice"),
        (
            "value 3\n",
            "scenario.toml, line 1: cannot be read: a key and its value are joined by =, as in years = 3; the name of "
            "a table stands in brackets, [owner]",
        ),
        ("value = " + "9" * 5000, "scenario.toml: cannot be read: a value in it is too large or too deep"),
        ("value = " + "[" * 100_000, "scenario.toml, line 1: cannot be read: brackets stand more than 10 deep"),
    ],
)
def test_settings_that_cannot_be_read_are_explained(text: str, problem: str) -> None:
    """The usual slips of somebody new to the format are named in plain words."""
    findings = Findings()
    parse_settings(text, findings)
    assert [str(found) for found in findings.problems] == [problem]


def test_problems_are_told_in_the_order_of_the_files() -> None:
    """A reader fixes a folder from its first file to its last and each file from the top."""
    findings = Findings()
    places = [Place("covers.csv", 2), Place("parts.csv", 10), Place("parts.csv", 9), Place("scenario.toml")]
    for where in ("change a.b.c", *places):
        findings.error(where, "")
    assert [str(problem.where) for problem in in_reading_order(findings.problems)] == [
        "scenario.toml",
        "parts.csv, line 9",
        "parts.csv, line 10",
        "covers.csv, line 2",
        "change a.b.c",
    ]
