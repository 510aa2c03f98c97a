"""Commands take workbooks and write them: new, check, learn, quote, and riders and logs on sheets."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner, Result
from folders import SMALL_TWIN, write_folder
from logs import Rider, simulated_log, write_log
from shops import COLUMNS, RIDING, some_riders, write_riders, write_shop

from guardopt.cli.commands import main
from guardopt.errors import GuardoptError
from guardopt.learning.learned_folder import read_beliefs
from guardopt.loading.load import load
from guardopt.writing.starter import copy_scenario


def run(*args: object) -> Result:
    """Run the command line."""
    return CliRunner().invoke(main, [str(one) for one in args])


def complaint(*args: object) -> str:
    """What is wrong with a command that is refused."""
    result = run(*args)
    assert isinstance(result.exception, GuardoptError), result.output
    return str(result.exception)


def as_workbook(path: Path, **tables: Path) -> Path:
    """CSV files as sheets of one workbook."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, source in tables.items():
        sheet = book.create_sheet(name)
        for row in csv.reader(source.read_text().splitlines()):
            sheet.append(row)
    book.save(path)
    return path


def test_new_writes_a_workbook_that_checks(tmp_path: Path) -> None:
    """It names what to fill in, and is not written over."""
    mine = tmp_path / "mine.xlsx"
    result = run("new", mine, "--like", "scooter")
    assert "Put in your own first, 41 cells:" in result.output
    assert "  parts: price (30)" in result.output
    assert "\nIf you are insured for damage to your own bike: excess and premium_rise" in result.output
    assert "  guards: price, owned and renew_price where it is given (27)\n  offers: price (1)\n" in result.output
    assert json.loads(run("check", mine, "--json").stdout)["guards"] > 12
    assert complaint("new", mine) == f"{mine}: is there already; remove it or choose another name"
    assert complaint("new", tmp_path / "mine.ods").endswith(
        "workbooks are written as .xlsx, expected such a name or a new folder"
    )
    assert complaint("new", tmp_path / "x", "--like", "naked", "--from", mine).startswith(
        "--like: cannot go with --from"
    )


@pytest.mark.parametrize("kind", ["naked", "faired", "tourer", "trail", "scooter"])
def test_a_starter_asks_for_some_forty_cells(kind: str, tmp_path: Path) -> None:
    """25 to 35 parts; with the settings and the falls that is an evening's work at most."""
    result = run("new", tmp_path / kind, "--like", kind)
    scenario = load(tmp_path / kind)
    assert 25 <= len({part.row for part in scenario.parts}) <= 35
    number = int(result.output.partition("first, ")[2].partition(" cells")[0])
    assert 38 <= number <= 43
    assert scenario.warnings == ()
    assert scenario.words


def test_a_written_workbook_looks_cared_for(tmp_path: Path) -> None:
    """Headings explained, drop-down lists, frozen headings, formats, what to fill in marked: read by another library."""
    run("new", tmp_path / "mine.xlsx", "--like", "naked")
    book = openpyxl.load_workbook(tmp_path / "mine.xlsx")
    tables = ["parts", "falls", "hits", "knock_on", "guards", "covers", "offers", "points"]
    assert book.sheetnames == ["start", "scenario", *tables]
    assert "invented" in book["start"]["A1"].value
    words = "never, rarely, sometimes, as often as not, often, almost always and always"
    assert any(words in str(cell.value) for cell in book["start"]["A"])
    assert any(
        "insured for damage to your own bike: insurance.excess" in str(cell.value) for cell in book["start"]["A"]
    )
    parts = book["parts"]
    headings = {cell.value: cell for cell in parts[1]}
    assert all(cell.comment for cell in headings.values())
    assert "Unit: money." in headings["touch_up"].comment.text
    assert "Blank means: 0." in headings["touch_up"].comment.text
    assert "note" in headings
    assert parts.freeze_panes == "B2"
    lists = {str(rule.sqref).partition(":")[0]: rule for rule in parts.data_validations.dataValidation}
    assert lists["B2"].formula1 == '"left,right,centre,both"'
    assert lists["B2"].showErrorMessage
    assert "often" in lists["E2"].formula1
    assert not lists["E2"].showErrorMessage
    assert parts["C2"].number_format == "#,##0.00"
    assert parts["C2"].fill.bgColor.rgb != parts["D2"].fill.bgColor.rgb
    assert parts["C2"].value == 16
    yellow = parts["C2"].fill.bgColor.rgb
    guards = {cell.value: cell.column_letter for cell in book["guards"][1]}
    for name, row in (("price", 2), ("owned", 2), ("renew_price", 2)):
        assert book["guards"][f"{guards[name]}{row}"].fill.bgColor.rgb == yellow
    assert book["guards"][f"{guards['renew_price']}3"].value is None
    assert book["guards"][f"{guards['renew_price']}3"].fill.bgColor.rgb != yellow
    assert book["offers"]["C2"].fill.bgColor.rgb == yellow
    settings = {row[0].value: row[1] for row in book["scenario"].iter_rows(min_row=2)}
    marked = {key for key, cell in settings.items() if cell.fill.bgColor.rgb == yellow}
    assert {key for key in marked if key.startswith("insurance.")} == {"insurance.excess", "insurance.premium_rise"}
    assert load(tmp_path / "mine.xlsx").insurance is None
    covers = {
        str(rule.sqref).partition(":")[0]: rule.formula1 for rule in book["covers"].data_validations.dataValidation
    }
    assert covers["B2"].startswith("parts!$A$2:")
    assert 9 <= parts.column_dimensions["A"].width <= 44


def test_folder_and_workbook_become_each_other(tmp_path: Path) -> None:
    """What is not a table of the scenario stays where it is."""
    folder = write_folder(tmp_path / "twin")
    assert "Copied the 8 tables" in run("new", tmp_path / "mine.xlsx", "--from", folder).output
    assert "Copied the 8 tables" in run("new", tmp_path / "again", "--from", tmp_path / "mine.xlsx").output
    assert load(tmp_path / "again") == load(folder) == load(tmp_path / "mine.xlsx")


def test_check_says_what_words_stand_for(tmp_path: Path) -> None:
    """In the report and as JSON; the settings may say otherwise."""
    hits = SMALL_TWIN["hits"].replace("0.5,0.8", "often,almost always")
    own = SMALL_TWIN["scenario"] + '\n[words]\noften = 0.6\n"every second time" = 0.5\n'
    folder = write_folder(tmp_path, hits=hits.replace("0.3,0.6", "Every second time,0.6"), scenario=own)
    words = json.loads(run("check", folder, "--json").stdout)["words"]
    assert words == {"every second time": 0.5, "often": 0.6, "almost always": 0.917}
    text = " ".join(run("check", folder).output.split())
    assert "Chances in words: every second time 0.5, often 0.6, almost always 0.917." in text
    assert "but your own for every second time, often" in text


def test_a_wrong_word_of_ones_own_is_told(tmp_path: Path) -> None:
    """Its number is a chance like any other."""
    own = SMALL_TWIN["scenario"] + "\n[words]\noften = 60\n"
    assert complaint("check", write_folder(tmp_path, scenario=own)).startswith(
        "scenario.toml, line 24, [words] often: found 60, expected a chance from 0 to 1 (a chance is written 0.60"
    )


@pytest.fixture
def twin(tmp_path: Path) -> Path:
    """The small twin as a folder and a workbook, and a log of it as both."""
    folder = write_folder(tmp_path / "twin")
    copy_scenario(folder, tmp_path / "twin.xlsx")
    scenario = load(folder)
    write_log(tmp_path / "log", scenario, simulated_log(scenario, [Rider("red", 1461)], seed=3))
    as_workbook(tmp_path / "log.xlsx", log=tmp_path / "log" / "log.csv", watched=tmp_path / "log" / "watched.csv")
    return tmp_path


def test_learning_from_and_into_workbooks_learns_the_same(twin: Path) -> None:
    """Whichever of scenario, log and result is a workbook; what is learned is known to the next one."""
    run("learn", twin / "twin", twin / "log", "--into", twin / "a")
    run("learn", twin / "twin.xlsx", twin / "log.xlsx", "--into", twin / "b.xlsx")
    run("learn", twin / "twin.xlsx", twin / "log", "--into", twin / "c")
    run("learn", twin / "twin", twin / "log.xlsx", "--into", twin / "d.xlsx")
    first = load(twin / "a")
    assert first != load(twin / "twin")
    for name in ("b.xlsx", "c", "d.xlsx"):
        assert load(twin / name) == first
        assert read_beliefs(twin / name) == read_beliefs(twin / "a")
    assert complaint("learn", twin / "twin", twin / "log", "--into", twin / "b.xlsx").endswith("choose another name")


def test_a_mistake_in_a_log_is_told_by_cell(twin: Path) -> None:
    """As in any workbook."""
    book = openpyxl.load_workbook(twin / "log.xlsx")
    book["log"]["C2"] = "side_low"
    book.save(twin / "log.xlsx")
    told = complaint("learn", twin / "twin.xlsx", twin / "log.xlsx", "--into", twin / "b.xlsx")
    assert told.startswith("log!C2: found 'side_low', expected a fall of the sheet falls")


def test_quotes_are_the_same_from_and_into_workbooks(tmp_path: Path) -> None:
    """Bikes, riders and quotes as files or workbooks, in any mixture."""
    shop = write_shop(tmp_path / "shop")
    riders = write_riders(tmp_path / "riders.csv", some_riders(30))
    books = tmp_path / "books"
    books.mkdir()
    for bike in ("twin", "single"):
        copy_scenario(shop / bike, books / f"{bike}.xlsx")
    asked = as_workbook(books / "riders.xlsx", riders=riders)
    run("quote", shop, riders, "-o", tmp_path / "plain.csv")
    run("quote", books, asked, "-o", tmp_path / "book.csv")
    assert (tmp_path / "book.csv").read_text() == (tmp_path / "plain.csv").read_text()
    result = run("quote", books, riders, "-o", tmp_path / "quotes.xlsx")
    assert result.exit_code == 0, result.output
    first, *rows = csv.reader((tmp_path / "plain.csv").read_text().splitlines())
    sheet = openpyxl.load_workbook(tmp_path / "quotes.xlsx")["quotes"]
    cells = [["" if cell is None else cell for cell in row] for row in sheet.iter_rows(values_only=True)]
    assert cells[0] == first
    assert [
        [float(text) if isinstance(cell, float | int) else text for text, cell in zip(row, found, strict=True)]
        for row, found in zip(rows, cells[1:], strict=True)
    ] == cells[1:]
    assert not list(tmp_path.glob("quotes.xlsx.*"))


def test_a_rider_who_is_called_like_a_formula_is_none(tmp_path: Path) -> None:
    """In CSV an apostrophe goes before it, and comes off again where riders are read."""
    folder = write_folder(tmp_path / "twin", riding=RIDING)
    riders = tmp_path / "riders.csv"
    riders.write_text(f'{COLUMNS}\n"=HYPERLINK(""x"")",,,300,,,,\n@sum,,,-5,,,,\n')
    run("quote", folder, riders, "-o", tmp_path / "quotes.csv")
    lines = (tmp_path / "quotes.csv").read_text().splitlines()
    assert lines[1].startswith('"\'=HYPERLINK(""x"")",')
    assert lines[2].startswith("'@sum,,,,-5,")
    again = [f"{line.partition(',,')[0]},,,300,,,," for line in lines[1:2]]
    riders.write_text("\n".join([COLUMNS, *again, ""]))
    run("quote", folder, riders, "-o", tmp_path / "again.csv")
    assert (tmp_path / "again.csv").read_text().splitlines()[1] == lines[1]


def test_two_scenarios_of_one_bike_are_told(tmp_path: Path) -> None:
    """A folder and a workbook of the same name, and nobody knows which is meant."""
    shop = write_shop(tmp_path / "shop")
    copy_scenario(shop / "twin", shop / "twin.xlsx")
    riders = write_riders(tmp_path / "riders.csv", some_riders(3))
    assert complaint("quote", shop, riders, "-o", tmp_path / "out.csv") == (
        f"{shop / 'twin.xlsx'}: is the bike twin again, first in twin"
    )
