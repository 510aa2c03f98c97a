"""Sheets become the same cells as files; what is lost or hostile in a workbook is one clear line."""

from __future__ import annotations

import resource
import subprocess
import sys
import zipfile
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from folders import write_folder
from workbooks import rewritten, small_workbook

from guardopt.errors import InputError
from guardopt.files.workbooks import zip_archive
from guardopt.files.workbooks.zip_archive import MOST_BYTES
from guardopt.loading.load import load

SHEET = "xl/worksheets/sheet2.xml"
"""The sheet ``parts`` in the archive that openpyxl writes."""


def told(path: Path) -> list[str]:
    """The problems of a workbook, line by line."""
    with pytest.raises(InputError) as caught:
        load(path)
    return str(caught.value).split("\n")


def refused(path: Path) -> str:
    """The one line about a workbook that cannot be read, without its name."""
    (line,) = told(path)
    assert line.startswith(f"{path}: ")
    return line.removeprefix(f"{path}: ")


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
            "found '2026-05-01', a date: write 1.5 or 5.1; spreadsheets make dates of numbers, so "
            "format the cells as numbers first",
        ),
        ("A3", "lever", "found 'lever' again, first in parts, row 2"),
        ("J2", "x", "found 'x' in a column without a name"),
    ],
)
def test_a_mistake_is_told_as_sheet_and_cell(cell: str, value: object, message: str, tmp_path: Path) -> None:
    """So that it is found by looking, not by counting."""

    def change(book: Any) -> None:
        book["parts"][cell] = value

    found = told(small_workbook(tmp_path / "mine.xlsx", change))
    assert f"parts!{cell}: {message}" in found


def test_settings_are_told_by_cell_and_key(tmp_path: Path) -> None:
    """A missing one has no cell, so it is told by its key."""

    def change(book: Any) -> None:
        book["scenario"]["B6"] = "4 Jahre"
        book["scenario"]["B3"] = None
        book["scenario"]["A8"] = "owner.budgt"

    assert told(small_workbook(tmp_path / "mine.xlsx", change)) == [
        "scenario!B3: nothing found, expected one line of text",
        "scenario!B6: found '4 Jahre', a word behind the number: write 4",
        "scenario!B8: unknown key; did you mean budget?",
    ]


def test_messages_name_sheets_and_not_files(tmp_path: Path) -> None:
    """Nobody has to think of files that are not there."""

    def change(book: Any) -> None:
        book["covers"]["B2"] = "levr"
        del book["knock_on"]

    (line,) = told(small_workbook(tmp_path / "mine.xlsx", change))
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
    assert any(line.startswith(message) for line in told(small_workbook(tmp_path / "mine.xlsx", change)))


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

    assert told(small_workbook(tmp_path / "mine.xlsx", change)) == [
        "parts!D2: the formula has no result in the file; open it in a spreadsheet and save it again"
    ]


def test_an_error_in_a_cell_is_told(tmp_path: Path) -> None:
    """The reading library takes it for blank as well."""

    def change(book: Any) -> None:
        book["parts"]["D2"] = "#DIV/0!"
        book["parts"]["D2"].data_type = "e"

    assert told(small_workbook(tmp_path / "mine.xlsx", change)) == ["parts!D2: the formula ended in an error, #DIV/0!"]


def test_merged_cells_are_told(tmp_path: Path) -> None:
    """All but the first of them are blank, whatever is seen on the screen."""

    def change(book: Any) -> None:
        book["parts"].merge_cells("B1:D1")
        book["parts"].merge_cells("E3:E4")

    assert told(small_workbook(tmp_path / "mine.xlsx", change)) == [
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


def test_what_is_no_workbook_is_one_line(tmp_path: Path) -> None:
    """Text, an old workbook, a cut-off file, an archive of something else."""
    mine = tmp_path / "mine.xlsx"
    mine.write_bytes(b"part,side\n")
    assert refused(mine) == "is not a workbook, whatever its name says; save it as .xlsx or .ods"
    mine.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
    assert refused(mine) == "is a workbook of the old kind .xls; save it as .xlsx or .ods"
    mine.write_bytes(small_workbook(tmp_path / "whole.xlsx").read_bytes()[:-700])
    assert refused(mine) == "is damaged or no workbook; open it in a spreadsheet and save it again"
    with zipfile.ZipFile(mine, "w") as archive:
        archive.writestr("letter.txt", "dear me")
    assert refused(mine) == "is damaged or no workbook; open it in a spreadsheet and save it again"
    assert [line.partition(": ")[2] for line in told(tmp_path / "nowhere.xlsx")] == ["no such workbook"]


def test_a_workbook_with_a_password_is_one_line(tmp_path: Path) -> None:
    """Whether the whole of it is encrypted (MS-OFFCRYPTO) or its parts are (OpenDocument 1.3, part 2)."""
    stream = "EncryptedPackage".encode("utf-16-le")
    (tmp_path / "mine.xlsx").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600) + stream)
    assert refused(tmp_path / "mine.xlsx") == "is locked with a password; save it without one"
    with zipfile.ZipFile(tmp_path / "mine.ods", "w") as archive:
        archive.writestr("content.xml", "?")
        archive.writestr("META-INF/manifest.xml", "<m:file-entry><m:encryption-data/></m:file-entry>")
    assert refused(tmp_path / "mine.ods") == "is locked with a password; save it without one"


def test_a_workbook_with_macros_is_one_line(tmp_path: Path) -> None:
    """They would not be run; whoever has them cannot know that."""
    mine = small_workbook(tmp_path / "mine.xlsx")
    with zipfile.ZipFile(mine, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"macro")
    assert refused(mine) == "has macros in it; save it as .xlsx or .ods without them"
    mine.rename(tmp_path / "mine.xlsm")
    assert refused(tmp_path / "mine.xlsm") == "is a workbook of a kind that is not read; save it as .xlsx or .ods"


def test_a_document_type_declaration_is_refused(tmp_path: Path) -> None:
    """Entities that unfold to entities have no place in a workbook."""
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    mine = rewritten(
        small_workbook(tmp_path / "plain.xlsx"),
        tmp_path / "mine.xlsx",
        {SHEET: lambda xml: bomb + xml},
    )
    assert refused(mine) == "is damaged or no workbook; open it in a spreadsheet and save it again"


def _within_memory(path: Path, megabytes: int) -> str:
    """What is said of a workbook by a process that may not use more memory than that."""
    code = f"from guardopt.loading.load import load; load({str(path)!r})"
    limit = megabytes * 1_000_000

    def bound() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))

    done = subprocess.run(  # noqa: S603
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=bound,
        timeout=60,
    )
    assert done.returncode == 1
    return done.stderr.splitlines()[-1].removeprefix("guardopt.errors.InputError: ")


def test_a_hundred_thousand_empty_rows_are_nothing(tmp_path: Path) -> None:
    """Formatting below the table is common, and costs no memory."""

    def change(book: Any) -> None:
        import openpyxl

        for row in range(6, 100_006, 50):
            book["parts"].cell(row, 3).font = openpyxl.styles.Font(bold=True)

    scenario = load(small_workbook(tmp_path / "mine.xlsx", change))
    assert len(scenario.parts) == 5


def test_a_cell_in_the_last_corner_does_not_fill_the_memory(tmp_path: Path) -> None:
    """A table from A1 to it would have seventeen thousand million cells."""
    mine = small_workbook(tmp_path / "mine.xlsx", lambda book: book["parts"].__setitem__("XFD1048576", "x"))
    assert told(mine)[0] == "parts: spans more than 2,000,000 cells; delete what stands far out, or save it as CSV"


def test_repeated_rows_of_an_ods_do_not_fill_the_memory(tmp_path: Path) -> None:
    """OpenDocument writes equal rows and cells once, with how often they come."""
    cell = '<table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="16384"/>'
    content = (
        '<office:document-content xmlns:office="o" xmlns:table="t"><office:body><office:spreadsheet>'
        f'<table:table table:name="parts"><table:table-row table:number-rows-repeated="1048576">{cell}'
        "</table:table-row></table:table></office:spreadsheet></office:body></office:document-content>"
    )
    with zipfile.ZipFile(tmp_path / "mine.ods", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
    assert refused(tmp_path / "mine.ods") == "has a sheet that spans more than 2,000,000 cells; delete what is far out"


def test_an_archive_that_says_how_large_it_is_is_refused_as_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Compression is not what is wrong with it."""
    monkeypatch.setattr(zip_archive, "MOST_BYTES", 3_000_000)
    mine = small_workbook(tmp_path / "mine.xlsx")
    with zipfile.ZipFile(mine, "a") as archive:
        archive.writestr("xl/media/photo.png", bytes(4_000_000))
    assert refused(mine) == "unpacks to more than 3 MB, which no scenario needs"


def test_a_zip_bomb_is_one_line_and_little_memory(tmp_path: Path) -> None:
    """Less than a megabyte that unpacks to three hundred, with a header that claims a hundred bytes."""
    mine = small_workbook(tmp_path / "mine.xlsx")
    block = bytes(1 << 20)
    with zipfile.ZipFile(mine, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        with archive.open("xl/media/a.xml", "w", force_zip64=True) as member:
            for _ in range(3 * MOST_BYTES // len(block)):
                member.write(block)
        size = archive.getinfo("xl/media/a.xml").file_size
    content = mine.read_bytes()
    assert size.to_bytes(4, "little") in content
    mine.write_bytes(content.replace(size.to_bytes(4, "little"), (100).to_bytes(4, "little")))
    assert _within_memory(mine, 500) == f"{mine}: unpacks to more than 100 MB, which no scenario needs"
