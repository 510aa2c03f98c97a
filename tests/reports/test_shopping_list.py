"""A shopping list says what to buy, what comes off and what will be renewed, and adds up to the cent."""

from __future__ import annotations

import csv
import random
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from folders import SMALL_TWIN, write_folder
from hypothesis import given
from hypothesis import strategies as st
from random_scenarios import random_scenario

from guardopt.cli.commands import main
from guardopt.errors import InputError
from guardopt.loading.load import load
from guardopt.model.scenario import Scenario
from guardopt.reports.shopping_list import check_list, list_text, shopping_list


@pytest.fixture
def twin(tmp_path: Path) -> Scenario:
    """The small twin; one guard is owned, another has a note."""
    guards = SMALL_TWIN["guards"].replace("5,12,,,,0.1,,", "5,12,,,yes,0.1,,").replace("share\n", "share,note\n")
    guards = guards.replace("20,0.3\n", "20,0.3,=ask in town\n")
    rates = SMALL_TWIN["scenario"].replace("repair_rate = 50.0", "repair_rate = 50.0\nfitting_rate = 20.0")
    return load(write_folder(tmp_path / "twin", guards=guards, scenario=rates))


def test_every_line_says_what_to_do(twin: Scenario) -> None:
    """Prices, the offer, fitting at 20 an hour, what comes off, what will be renewed: worked out by hand."""
    lines = shopping_list(twin, frozenset({"crash_bar", "case_cover", "lever_guard.left"}))
    assert [line.cells() for line in lines] == [
        ("buy", "crash bar", "1", "180.00", "180.00", "=ask in town"),
        ("buy", "case cover, left", "1", "60.00", "60.00", ""),
        ("offer", "engine set, off the single prices", "", "", "-30.00", ""),
        ("fit", "2 hours of fitting", "", "", "40.00", ""),
        ("pay", "in all, now", "", "", "250.00", ""),
        ("take off", "lever guard, right", "1", "", "", ""),
        ("renew", "lever guard, left, each after 5 falls", "1", "12.00", "", ""),
        ("renew", "case cover, left, each after 4 falls", "1", "40.00", "", ""),
    ]


@given(st.integers(0, 10_000), st.integers(0, 255))
def test_the_lines_add_up_to_what_the_kit_costs(seed: int, chosen: int) -> None:
    """To the cent, whatever offers overlap: `shopping_list` raises if they do not."""
    scenario = random_scenario(seed, falls_sampled=1)
    kit = frozenset(guard.id for number, guard in enumerate(scenario.guards) if chosen >> number & 1)
    lines = {line.do: line for line in shopping_list(scenario, kit)}
    assert lines["pay"].amount_cents == scenario.spend_cents(kit)
    assert ("sell" in lines) == (scenario.sold_cents(kit) > 0)


def test_what_is_sold_pays_for_what_is_bought(twin: Scenario) -> None:
    """An owned guard that comes off and fetches something stands above the sum; one that fetches nothing below it."""
    sold = tuple(replace(one, sells_cents=450) if one.id == "lever_guard.right" else one for one in twin.guards)
    lines = [line.cells() for line in shopping_list(replace(twin, guards=sold), frozenset({"crash_bar"}))]
    assert ("sell", "lever guard, right, which you have", "1", "-4.50", "-4.50", "") in lines
    assert ("pay", "in all, now", "", "", "205.50", "") in lines
    assert ("take off", "lever guard, left", "1", "", "", "") in lines


def written(tmp_path: Path, ending: str) -> Path:
    """The shopping list of the best plan for the small twin, with one guard forced in."""
    path = tmp_path / f"buy.{ending}"
    arguments = ["plan", str(tmp_path / "twin"), "--must", "crash_bar", "--budget", "none", "--no-reasons"]
    result = CliRunner().invoke(main, [*arguments, "--list", str(path)])
    assert result.exit_code == 0, result.output
    return path


def test_the_name_says_how_it_is_written(twin: Scenario, tmp_path: Path) -> None:
    """Text to print, CSV for other programs, a workbook to go on with; all three say the same."""
    import openpyxl

    assert twin.guard["crash_bar"].note
    sheet = openpyxl.load_workbook(written(tmp_path, "xlsx"))["shopping list"]
    first, *rows = sheet.iter_rows(values_only=True)
    lines = list(csv.DictReader(written(tmp_path, "csv").read_text().splitlines()))
    assert list(first) == list(lines[0])
    assert [row[1] for row in rows] == [line["what"] for line in lines]
    assert [row[4] or 0 for row in rows] == [float(line["amount"] or 0) for line in lines]
    text = written(tmp_path, "txt").read_text()
    assert text.startswith("Shopping list: Small twin (invented)\n")
    assert all(line["what"] in text for line in lines)


def test_a_note_is_never_run_as_a_formula(twin: Scenario, tmp_path: Path) -> None:
    """An apostrophe makes text of it in CSV; in a workbook its cell is marked as text."""
    import openpyxl

    assert twin.guard["crash_bar"].note == "=ask in town"
    assert ",'=ask in town" in written(tmp_path, "csv").read_text()
    sheet = openpyxl.load_workbook(written(tmp_path, "xlsx"))["shopping list"]
    (note,) = [cell for row in sheet for cell in row if cell.value == "=ask in town"]
    assert note.data_type == "s"


def test_the_list_for_the_bike_as_it_stands_is_nothing_to_pay(twin: Scenario) -> None:
    """Only what it will renew is left."""
    lines = shopping_list(twin, twin.stock)
    assert [(line.do, line.amount_cents) for line in lines] == [("pay", 0), ("renew", None)]
    assert "in all, now" in list_text(twin, lines)


KEPT = "is there already and is no shopping list as guardopt wrote it; remove it or choose another name"


@pytest.mark.parametrize("ending", ["csv", "xlsx", "txt"])
def test_an_earlier_list_gives_way_to_a_newer_one(ending: str, twin: Scenario, tmp_path: Path) -> None:
    """Whoever changes a price and plans again wants the new list under the old name."""
    path = written(tmp_path, ending)
    before = path.read_bytes()
    guards = tmp_path / "twin" / "guards.csv"
    guards.write_text(guards.read_text().replace("pair,180", "pair,190"))
    assert written(tmp_path, ending).read_bytes() != before
    assert [one.name for one in tmp_path.iterdir() if one.name != "twin"] == [path.name]


@pytest.mark.parametrize("ending", ["csv", "txt"])
def test_a_list_in_which_somebody_wrote_is_kept(ending: str, twin: Scenario, tmp_path: Path) -> None:
    """What was ticked off or noted is not to be had again."""
    path = written(tmp_path, ending)
    text = path.read_text()
    for changed in (text.replace("buy", "bought", 1), text + "call the shop\n", text.replace("180.00", "170", 1), ""):
        path.write_text(changed)
        with pytest.raises(InputError, match=KEPT):
            check_list(path)
    path.write_text(text)
    assert check_list(path)


def test_a_workbook_that_was_saved_by_somebody_is_kept(twin: Scenario, tmp_path: Path) -> None:
    """A spreadsheet notes when it saves."""
    import openpyxl

    path = written(tmp_path, "xlsx")
    assert check_list(path)
    book = openpyxl.load_workbook(path)
    book["shopping list"]["F2"] = "ordered"
    book.save(path)
    with pytest.raises(InputError, match=KEPT):
        check_list(path)


@pytest.mark.parametrize("ending", ["csv", "xlsx", "txt"])
def test_a_list_that_is_damaged_is_kept_or_replaced_and_no_more(ending: str, twin: Scenario, tmp_path: Path) -> None:
    """Nothing that lies there can stop the command in another way than in one line."""
    path = written(tmp_path, ending)
    whole = path.read_bytes()
    chance = random.Random(1)  # noqa: S311
    for _ in range(60):
        spoilt = bytearray(whole[: chance.randint(0, len(whole))])
        for _ in range(min(3, len(spoilt))):
            spoilt[chance.randrange(len(spoilt))] = chance.randrange(256)
        path.write_bytes(spoilt)
        with suppress(InputError):
            check_list(path)
        assert path.read_bytes() == spoilt


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("buy.doc", "expected a name that ends in .csv, .xlsx or .txt"),
        ("offers.csv", "is the name of a file that is read, expected another"),
        ("there.csv", KEPT),
        ("link.csv", KEPT),
        ("folder.csv", "is a folder, expected a new file"),
        ("nowhere/buy.csv", "its folder does not exist"),
    ],
)
def test_a_name_that_will_not_do_is_refused_before_anything_is_planned(name: str, message: str, tmp_path: Path) -> None:
    """Nothing is written over."""
    (tmp_path / "there.csv").write_text("mine")
    (tmp_path / "link.csv").symlink_to(tmp_path / "there.csv")
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(InputError) as caught:
        check_list(tmp_path / name)
    assert str(caught.value) == f"list {tmp_path / name}: {message}"
