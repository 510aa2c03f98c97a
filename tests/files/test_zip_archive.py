"""A workbook that is none, is locked, or unfolds to more than any scenario needs is one clear line."""

from __future__ import annotations

import resource
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest
from folders import problems_of
from workbooks import SHEET, rewritten, small_workbook

from guardopt.files.workbooks import zip_archive
from guardopt.files.workbooks.zip_archive import MOST_BYTES
from guardopt.loading.load import load


def refused(path: Path) -> str:
    """The one line about a workbook that cannot be read, without its name."""
    (line,) = problems_of(path)
    assert line.startswith(f"{path}: ")
    return line.removeprefix(f"{path}: ")


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
    assert [line.partition(": ")[2] for line in problems_of(tmp_path / "nowhere.xlsx")] == ["no such workbook"]


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
    assert (
        problems_of(mine)[0] == "parts: spans more than 2,000,000 cells; delete what stands far out, or save it as CSV"
    )


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
