"""What is clear is taken, what may mean two things is refused, and every message says how to write it instead."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import pytest
from badly_written import CELLS, PRICES, SETTINGS
from folders import SMALL_TWIN, edited, write_folder

from guardopt.errors import InputError
from guardopt.loading.load import load

TABLES = [name for name in SMALL_TWIN if name != "scenario"]


def told(folder: Path) -> list[str]:
    """The problems of a folder, line by line; none if it is sound."""
    try:
        load(folder)
    except InputError as error:
        return str(error).split("\n")
    return []


def semicolons(*names: str, **more: str) -> Mapping[str, str]:
    """Tables as spreadsheets save them where decimals are written with a comma."""
    return {name: SMALL_TWIN[name].replace(",", ";").replace(".", ",") for name in names} | more


def test_there_are_enough_of_them() -> None:
    """A corpus of a few examples would show nothing."""
    assert len(PRICES) + len(CELLS) + len(SETTINGS) >= 60


@pytest.mark.parametrize(("price", "message"), PRICES)
def test_a_price_is_taken_or_explained(price: str, message: str | None, tmp_path: Path) -> None:
    """One message, with the place."""
    cell = f'both,"{price}"'
    expected = [] if message is None else [f"parts.csv, line 2, column price: {message}"]
    assert told(write_folder(tmp_path, **edited("parts", "both,30", cell))) == expected


@pytest.mark.parametrize(("name", "old", "new", "message"), CELLS)
def test_a_cell_is_taken_or_explained(name: str, old: str, new: str, message: str | None, tmp_path: Path) -> None:
    """One message, with the place."""
    found = [line.split(": ", 1)[1] for line in told(write_folder(tmp_path, **edited(name, old, new)))]
    assert found == ([] if message is None else [message])


@pytest.mark.parametrize(("old", "new", "message"), SETTINGS)
def test_a_line_of_the_settings_is_explained(old: str, new: str, message: str, tmp_path: Path) -> None:
    """One message, with the line."""
    assert told(write_folder(tmp_path, **edited("scenario", old, new))) == [f"scenario.toml, {message}"]


@pytest.mark.parametrize(("price", "message"), [one for one in PRICES if one[1] and ": write " in one[1]])
def test_what_a_message_suggests_is_taken(price: str, message: str, tmp_path: Path) -> None:
    """A suggestion that is refused itself sends people round in circles."""
    choices = re.split(" or ", message.split(": write ")[1].split(";")[0])
    for number, choice in enumerate(choices):
        folder = write_folder(tmp_path / str(number), **edited("parts", "both,30", f"both,{choice}"))
        assert told(folder) == [], price


@pytest.mark.parametrize(("name", "old", "new", "message"), [one for one in CELLS if one[3] and ": write " in one[3]])
def test_what_a_message_suggests_for_other_cells_is_taken(
    name: str, old: str, new: str, message: str, tmp_path: Path
) -> None:
    """Likewise."""
    wrong = next(piece for piece in new.split(",") if piece not in old.split(","))
    choice = message.split(": write ")[1]
    assert told(write_folder(tmp_path, **edited(name, old, new.replace(wrong, choice)))) == []


def test_decimal_commas_are_decimals_where_semicolons_divide_the_cells(tmp_path: Path) -> None:
    """A spreadsheet of such a country saves a scenario that means what its owner sees."""
    points = load(write_folder(tmp_path / "points"))
    commas = load(write_folder(tmp_path / "commas", **semicolons(*TABLES)))
    assert commas == points
    assert commas.warnings == ()


def test_a_point_before_three_digits_stays_an_error_among_decimal_commas(tmp_path: Path) -> None:
    """1.200 may be twelve hundred there; 1.200,50 cannot be anything else."""
    parts = semicolons("parts")["parts"]
    hours = parts.replace("both;30;0,2", "both;30;1.200")
    assert told(write_folder(tmp_path / "hours", parts=hours)) == [
        "parts.csv, line 2, column hours: found '1.200', a point that may divide thousands or decimals: "
        "write 1200 or 1,200"
    ]
    price = parts.replace("both;30;", "both;1.200,50;")
    assert load(write_folder(tmp_path / "price", parts=price)).parts[0].price == 1200.5


def test_a_point_is_a_decimal_where_no_cell_has_a_comma(tmp_path: Path) -> None:
    """Semicolons alone say nothing about decimals."""
    parts = SMALL_TWIN["parts"].replace(",", ";")
    assert load(write_folder(tmp_path / "a", parts=parts)) == load(write_folder(tmp_path / "b"))


def test_the_same_mistake_in_a_whole_file_is_one_line(tmp_path: Path) -> None:
    """Whoever writes 0,1 writes it everywhere and is told once, with how often."""
    rows = [
        f'{name},"{one}","{two}"'
        for name, one, two in (
            ("lever", "0,5", "0,8"),
            ("engine_case", "0,3", "0,6"),
            ("radiator", "0,02", "0,15"),
            ("tank", "0,05", "0,2"),
        )
    ]
    hits = "\n".join(["part,tip_over,low_side", *rows, ""])
    assert told(write_folder(tmp_path, hits=hits)) == [
        "hits.csv, line 2, column tip_over: found '0,5', a decimal comma: write 0.5; "
        "the same in 7 more cells of hits.csv"
    ]


def test_a_column_left_blank_is_one_line(tmp_path: Path) -> None:
    """Likewise."""
    hits = "part,tip_over,low_side\nlever,,0.8\nengine_case,,0.6\nradiator,,0.15\ntank,,0.2\n"
    assert told(write_folder(tmp_path, hits=hits)) == [
        "hits.csv, line 2, column tip_over: nothing found, expected a chance from 0 to 1; "
        "the same in 3 more cells of its column"
    ]


@pytest.mark.parametrize(
    ("name", "row", "cause"),
    [
        (
            "parts",
            "engine_case",
            "no row for engine_case, though 4 cells name it (hits.csv, line 3; "
            "covers.csv, lines 3 and 5-6); put the row back, or delete those rows of hits.csv and covers.csv, the lowest first, too",
        ),
        (
            "guards",
            "crash_bar",
            "no row for crash_bar, though 4 cells name it (covers.csv, lines 3-4 and 6; offers.csv, line 2); "
            "put the row back, or delete those rows of covers.csv and offers.csv, the lowest first, too",
        ),
        (
            "falls",
            "tip_over",
            "no row for tip_over, though 2 cells name it (hits.csv, line 1; covers.csv, line 6); "
            "put the row back, with per_year 0 if you never fall that way, or delete those rows of covers.csv, the "
            "lowest first (a blank fall would mean every fall), and delete that column of hits.csv too",
        ),
    ],
)
def test_a_row_that_was_deleted_is_told_once(name: str, row: str, cause: str, tmp_path: Path) -> None:
    """The cause is named, not every place that suffers from it."""
    lines = [line for line in SMALL_TWIN[name].splitlines(keepends=True) if not line.startswith(row)]
    assert told(write_folder(tmp_path, **{name: "".join(lines)})) == [f"{name}.csv: {cause}"]


def test_a_guard_that_others_need_is_taken_out_of_their_cells(tmp_path: Path) -> None:
    """Their own rows stay."""
    guards = "".join(
        line for line in SMALL_TWIN["guards"].splitlines(keepends=True) if not line.startswith("crash_bar")
    )
    guards = guards.replace("radiator_grille,centre,45,0.4,,,,", "radiator_grille,centre,45,0.4,,,,crash_bar")
    (problem,) = (line for line in told(write_folder(tmp_path, guards=guards)) if "no row for crash_bar" in line)
    assert problem.endswith(
        "put the row back, or delete those rows of covers.csv and offers.csv, the lowest first, and take the name out of those cells of "
        "guards.csv too"
    )


def test_a_row_that_was_renamed_is_told_with_the_new_name(tmp_path: Path) -> None:
    """The old name may be mended everywhere, or the row put back under it."""
    falls = SMALL_TWIN["falls"].replace("tip_over", "tipping_over")
    (problem,) = (line for line in told(write_folder(tmp_path, falls=falls)) if line.startswith("falls.csv"))
    assert "; did you mean tipping_over? If not, put the row back, with per_year 0" in problem


def test_of_very_many_places_some_are_named(tmp_path: Path) -> None:
    """A line of a terminal is no place for a whole table."""
    covers = "guard,part,holds,fall\n" + "".join(
        f"crash_bar,{part},0.5,{'high_side' if number % 2 else 'low_side'}\n"
        for number, part in enumerate(["lever.left", "lever.right", "engine_case", "radiator", "tank"] * 5)
    )
    problem = next(line for line in told(write_folder(tmp_path, covers=covers)) if line.startswith("falls.csv"))
    assert "though 12 cells name it (covers.csv, lines 3, 5, 7, 9, 11, 13, 15, 17, 19, 21 and 2 more)" in problem


@pytest.mark.parametrize("name", ["parts", "falls", "hits", "guards", "covers", "knock_on", "offers"])
def test_a_heading_that_was_deleted_is_told_once(name: str, tmp_path: Path) -> None:
    """The first row of numbers is not taken for column names."""
    (problem,) = told(write_folder(tmp_path, **{name: SMALL_TWIN[name].split("\n", 1)[1]}))
    assert problem.startswith(f"{name}.csv, line 1: found '")
    assert "expected a line of column names such as" in problem


@pytest.mark.parametrize("name", ["parts", "falls", "hits", "guards", "covers", "knock_on", "offers"])
def test_a_title_above_the_heading_is_told_once(name: str, tmp_path: Path) -> None:
    """However many columns have no name then."""
    blanks = "," * SMALL_TWIN[name].partition("\n")[0].count(",")
    (problem,) = told(write_folder(tmp_path, **{name: f"My {name}{blanks}\n{SMALL_TWIN[name]}"}))
    assert problem.startswith(f"{name}.csv, line 1: found 'My {name}")
    assert "expected a line of column names such as" in problem


def test_text_of_old_programs_is_taken_with_a_warning(tmp_path: Path) -> None:
    """Windows-1252 is what they write in most of Europe; the warning shows how it was understood."""
    files = {
        name: SMALL_TWIN[name].replace("tip_over", "béquille").encode("windows-1252")
        for name in ("falls", "hits", "covers")
    }
    scenario = load(write_folder(tmp_path, **files))
    assert scenario.falls[0].id == "béquille"
    assert str(scenario.warnings[0]) == (
        "falls.csv, line 2: is not UTF-8 text, taken as Windows-1252: béquille,0.6,0.6,,0.4,5"
    )
    assert len(scenario.warnings) == 3


def test_any_table_may_have_a_note(tmp_path: Path) -> None:
    """It changes no answer, and guards keep it for the shopping list."""
    files = {
        name: "\n".join(
            f"{line},{'note' if number == 0 else 'mine'}" for number, line in enumerate(text.split("\n")[:-1])
        )
        for name, text in SMALL_TWIN.items()
        if name not in ("scenario", "guards")
    }
    guards = SMALL_TWIN["guards"].replace("share\n", "share,note\n").replace("0.3\n", "0.3,shop in town\n")
    scenario = load(write_folder(tmp_path / "a", guards=guards, **files))
    assert scenario == load(write_folder(tmp_path / "b"))
    assert scenario.guard["crash_bar"].note == "shop in town"


@pytest.mark.parametrize(
    ("lies", "hint"),
    [
        ("parts.xlsx", "parts.xlsx lies there instead; save it as parts.csv"),
        ("parts.csv.txt", "parts.csv.txt lies there instead; save it as parts.csv"),
        ("Parts.CSV", "Parts.CSV lies there instead; save it as parts.csv"),
        ("part.csv", "part.csv looks like it"),
    ],
)
def test_a_file_beside_the_one_that_is_missing_is_named(lies: str, hint: str, tmp_path: Path) -> None:
    """It is nearly always the one that was meant."""
    folder = write_folder(tmp_path, parts=None)
    (folder / lies).write_text(SMALL_TWIN["parts"])
    assert told(folder)[0] == f"parts.csv: no such file in the folder; {hint}"


@pytest.mark.parametrize("content", [b"PK\x03\x04 and so on", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and so on"])
def test_a_workbook_that_was_only_renamed_is_recognised(content: bytes, tmp_path: Path) -> None:
    """Renaming a file does not make text of it."""
    assert told(write_folder(tmp_path, parts=content)) == [
        "parts.csv: is a workbook under the name of a text file; open it in a spreadsheet and save it as parts.csv"
    ]


@pytest.mark.parametrize(
    ("edits", "warning"),
    [
        (
            edited("parts", "centre,500", "centre,5000"),
            "parts.csv, line 5, column price: found 5000, more than the whole bike is worth, 4000",
        ),
        (
            edited("guards", "pair,180", "pair,9000"),
            "guards.csv, line 3, column price: found 9000, more than the whole bike is worth, 4000",
        ),
        (
            edited("falls", "low_side,0.2", "low_side,300"),
            "falls.csv, line 3, column per_year: found 300: such falls cost some",
        ),
    ],
)
def test_absurd_numbers_are_warned_about(edits: dict[str, str], warning: str, tmp_path: Path) -> None:
    """They are legal, and nobody means them."""
    assert str(load(write_folder(tmp_path, **edits)).warnings[0]).startswith(warning)
