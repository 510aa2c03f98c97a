"""What is wrong with a scenario is found, told in one line each, and told all at once."""

from itertools import pairwise
from pathlib import Path

import pytest
from folders import SMALL_TWIN, edited, problems_of, write_folder
from hypothesis import given
from hypothesis import strategies as st
from mistakes_in_settings import SETTINGS_MISTAKES
from mistakes_in_tables import TABLE_MISTAKES

from guardopt.errors import InputError
from guardopt.loading.load import load
from guardopt.loading.part_checking import loops

EACH_PART = "; each part of parts.csv has one: its chance of being struck in each fall"
EACH_FALL = (
    "; each kind of fall of falls.csv has one: the chance that it strikes each part; "
    "copy the column of the fall that is most like it and change what differs"
)


@pytest.mark.parametrize(("old", "new", "problem"), SETTINGS_MISTAKES)
def test_a_mistake_in_the_settings_is_told_in_one_line(old: str, new: str, problem: str, tmp_path: Path) -> None:
    """Each slip in scenario.toml has exactly this one message and no others in its wake."""
    assert problems_of(write_folder(tmp_path, **edited("scenario", old, new))) == [f"scenario.toml, {problem}"]


@pytest.mark.parametrize(("name", "old", "new", "problem"), TABLE_MISTAKES)
def test_a_mistake_in_a_table_is_told_in_one_line(name: str, old: str, new: str, problem: str, tmp_path: Path) -> None:
    """Each slip in a table has exactly this one message and no others in its wake."""
    found = problems_of(write_folder(tmp_path, **edited(name, old, new)))
    follow_ups = [line for line in found if line.startswith("hits.csv: no row for ")]
    assert [line for line in found if line not in follow_ups] == [f"{name}.csv, {problem}"]


@pytest.mark.parametrize(
    ("name", "old", "new", "problems"),
    [
        ("hits", "tank,0.05,0.2\n", "", [f"hits.csv: no row for tank{EACH_PART}"]),
        ("hits", "lever,", "lever.left,", [f"hits.csv: no row for lever.right{EACH_PART}"]),
        ("falls", ",,5\n", ",,5\nhigh_side,1,,,,\n", [f"hits.csv, line 1: column high_side is missing{EACH_FALL}"]),
        ("guards", "guard,side,price,", "guard,side,zebra,", ["guards.csv, line 1: column price is missing"]),
        ("covers", "guard,part,holds", "guard,zebra,holds", ["covers.csv, line 1: column part is missing"]),
    ],
)
def test_what_is_missing_is_told_once_and_not_for_every_row(
    name: str, old: str, new: str, problems: list[str], tmp_path: Path
) -> None:
    """A column or row that is not there is one mistake, however many cells it would have had."""
    found = problems_of(write_folder(tmp_path, **edited(name, old, new)))
    assert [line for line in found if "unknown column" not in line] == problems


def test_a_value_that_cannot_be_read_does_not_hide_what_else_is_wrong(tmp_path: Path) -> None:
    """Whoever mends a file wants to hear of all of it, not of the next slip after each."""
    settings = SMALL_TWIN["scenario"]
    for old, new in (
        ('"EUR"', "EUR"),
        ("value = 4000.0", "value = 4.000"),
        ("salvage = 800.0", "salvage = 800,00"),
        ("years = 3.0", "years = three"),
        ("discount_rate = 0.03", "discount_rate ="),
        ("budget = 300.0", "budgett = 300.0"),
        ("left_fairing = 0.8", "left_fairing = 0,4 / 0,6 / 0,8"),
        ("falls = 200", "falls = 0"),
    ):
        settings = settings.replace(old, new)
    parts = SMALL_TWIN["parts"].replace("both,30", "both,-30")
    text = 'cannot be read: expected a number, or text in quotation marks, "like this"'
    blank = "cannot be read: nothing stands behind the =; leave the line out for the default"
    thousands = "a point that may divide thousands or decimals: write 4000 or 4.00"
    assert problems_of(write_folder(tmp_path, scenario=settings, parts=parts)) == [
        f"scenario.toml, line 2: {text}",
        f"scenario.toml, line 5, [bike] value: found 4.000, {thousands}",
        "scenario.toml, line 6: cannot be read: it has a decimal comma: write 800.00",
        f"scenario.toml, line 9: {text}",
        f"scenario.toml, line 10: {blank}",
        "scenario.toml, line 11, [owner] budgett: unknown key; did you mean budget?",
        "scenario.toml, line 17: cannot be read: something stands behind the value; a comment begins with #",
        "scenario.toml, line 20, [sampling] falls: found 0, expected a whole number from 1 to 1000000",
        "parts.csv, line 2, column price: found '-30', expected a number of at least 0",
    ]


def test_two_owned_guards_in_one_mounting_place_are_an_error(tmp_path: Path) -> None:
    """The bike as it stands cannot have two guards on one bolt."""
    guards = SMALL_TWIN["guards"].replace(",no,4", ",yes,4").replace("45,0.4,,,,,,,", "45,0.4,,,,,crash_bar,yes,")
    assert problems_of(write_folder(tmp_path, guards=guards)) == [
        "guards.csv, line 5, column owned: crash_bar and radiator_grille cannot both be fitted, but both are owned"
    ]


@pytest.mark.parametrize("name", ["scenario", "parts", "falls", "hits", "guards", "covers"])
def test_a_required_file_that_is_not_there_is_the_only_problem(name: str, tmp_path: Path) -> None:
    """Nothing that refers to a missing file is held against the files that are there."""
    file = f"{name}.toml" if name == "scenario" else f"{name}.csv"
    assert problems_of(write_folder(tmp_path, **{name: None})) == [f"{file}: no such file in the folder"]


def test_a_file_under_a_similar_name_is_pointed_out(tmp_path: Path) -> None:
    """fall.csv is looked past otherwise, since other files in the folder are left alone."""
    folder = write_folder(tmp_path)
    (folder / "falls.csv").rename(folder / "fall.csv")
    assert problems_of(folder) == ["falls.csv: no such file in the folder; fall.csv looks like it"]


def test_a_folder_in_the_place_of_a_file_is_an_error(tmp_path: Path) -> None:
    """What cannot be read is told as the system tells it."""
    folder = write_folder(tmp_path, falls=None)
    (folder / "falls.csv").mkdir()
    assert problems_of(folder) == ["falls.csv: cannot be read: it is a folder, expected a file"]


def test_text_in_another_encoding_is_told_once(tmp_path: Path) -> None:
    """Some programs save other encodings; the message says what to choose."""
    falls = SMALL_TWIN["falls"].replace("tip_over", "b\u00e9quille").encode("utf-16")
    (problem,) = problems_of(write_folder(tmp_path, falls=falls))
    assert problem.endswith("is not UTF-8 text; save the file with the encoding UTF-8")


def test_ten_mistakes_in_a_folder_are_ten_problems(tmp_path: Path) -> None:
    """Nobody has to run the check ten times to find ten slips."""
    folder = write_folder(
        tmp_path,
        **edited("scenario", "years = 3.0", "years = -3.0"),
        parts=SMALL_TWIN["parts"].replace("both,30", 'both,"30,50"').replace("left_fairing", "left_faring"),
        **edited("falls", "0.6,0.6", "0.6,60"),
        **edited("hits", "0.5,0.8", "0.5,"),
        **edited("knock_on", "radiator,tank", "radiator,radiator"),
        guards=SMALL_TWIN["guards"].replace("guard,both,25", "guard,bth,25").replace(",no,", ",maybe,"),
        **edited("covers", "lever,0.7", "levr,0.7"),
        **edited("offers", "crash_bar case_cover", "crash_bar;case_cover"),
    )
    assert problems_of(folder) == [
        "scenario.toml, line 9, [owner] years: found -3.0, expected a number above 0",
        "parts.csv, line 2, column price: found '30,50', a decimal comma: write 30.50",
        "parts.csv, line 3, column strip_down: found 'left_faring', expected a key of [strip_down]; "
        "did you mean left_fairing?",
        "falls.csv, line 2, column left_share: found '60', expected a share from 0 to 1 "
        "(a share is written 0.60, not 60)",
        "hits.csv, line 2, column low_side: nothing found, expected a chance from 0 to 1",
        "knock_on.csv, line 2: found a loop, radiator takes radiator; expected knock-ons that come to an end",
        "guards.csv, line 2, column side: found 'bth', expected left, right, both, pair or centre; did you mean both?",
        "guards.csv, line 3, column owned: found 'maybe'; write yes or no (blank means no)",
        "covers.csv, line 2, column part: found 'levr', expected a part of parts.csv; did you mean lever?",
        "offers.csv, line 2, column guards: found 'crash_bar;case_cover', ids are separated by spaces",
    ]


@given(st.sets(st.tuples(st.sampled_from("abcdef"), st.sampled_from("abcdef")), max_size=12))
def test_a_loop_is_found_exactly_if_there_is_one(pairs: set[tuple[str, str]]) -> None:
    """Parts can be put in an order in which each only takes later ones, or else a true loop is named."""
    found = loops(sorted(pairs))
    for loop in found:
        assert loop[0] == loop[-1]
        assert set(pairwise(loop)) <= pairs
    if not found:
        rest = set(pairs)
        while rest:
            ends = {taken for _, taken in rest} - {part for part, _ in rest}
            assert ends
            rest = {pair for pair in rest if pair[1] not in ends}


@given(st.sampled_from(sorted(SMALL_TWIN)), st.text(st.characters(codec="utf-8"), max_size=80), st.integers(0, 400))
def test_no_text_in_a_file_breaks_the_reader(
    tmp_path_factory: pytest.TempPathFactory, name: str, text: str, start: int
) -> None:
    """Whatever stands in a file, it is read or refused in whole lines a terminal can show."""
    content = SMALL_TWIN[name]
    folder = write_folder(tmp_path_factory.mktemp("any"), **{name: content[:start] + text + content[start + 20 :]})
    try:
        load(folder)
    except InputError as error:
        assert error.problems
        assert all(str(problem).isprintable() for problem in error.problems)
