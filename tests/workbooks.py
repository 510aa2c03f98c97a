"""Workbooks for tests, made by another library than the one that reads them, and by LibreOffice where it is there."""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from folders import SMALL_TWIN

SHEET = "xl/worksheets/sheet2.xml"
"""The sheet ``parts`` in the archive that openpyxl writes."""

SOFFICE = shutil.which("soffice")

needs_libreoffice = pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed")


def converted(path: Path, ending: str, folder: Path) -> Path:
    """A workbook opened by LibreOffice and saved again, in a folder of its own."""
    assert SOFFICE is not None
    profile = folder / "profile"
    command = [SOFFICE, f"-env:UserInstallation=file://{profile}", "--headless", "--convert-to", ending]
    subprocess.run([*command, "--outdir", str(folder), str(path)], check=True, capture_output=True, timeout=120)  # noqa: S603
    return folder / f"{path.stem}.{ending}"


SETTINGS = [
    ("title", "Small twin (invented)"),
    ("currency", "EUR"),
    ("bike.value", 4000.0),
    ("bike.salvage", 800.0),
    ("owner.years", 3),
    ("owner.discount_rate", 0.03),
    ("owner.budget", 300),
    ("labour.repair_rate", 50),
    ("strip_down.left_fairing", 0.8),
    ("sampling.falls", 200),
    ("sampling.seed", 1),
]
"""The settings of the tiny scenario as rows of a sheet."""


def _typed(text: str) -> object:
    try:
        return float(text)
    except ValueError:
        return text or None


def small_workbook(path: Path, change: Callable[[Any], None] = lambda _: None, **tables: str) -> Path:
    """The tiny scenario as a workbook, typed into cells by openpyxl, with something changed before it is saved."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "scenario"
    sheet.append(["key", "value"])
    for row in SETTINGS:
        sheet.append(row)
    for name, text in {**SMALL_TWIN, **tables}.items():
        if name != "scenario":
            page = book.create_sheet(name)
            for cells in csv.reader(io.StringIO(text)):
                page.append([_typed(cell) for cell in cells])
    change(book)
    book.save(path)
    return path


def rewritten(source: Path, target: Path, edits: Mapping[str, Callable[[bytes], bytes]]) -> Path:
    """A workbook with some members of its archive changed."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            content = old.read(info)
            new.writestr(info, edits.get(info.filename, lambda one: one)(content))
    return target
