"""What a workbook holds, looked at before any of it is taken: sizes, merged cells, errors, formulas without a result.

A workbook (``.xlsx``: ECMA-376; ``.ods``: OASIS OpenDocument 1.3) is a zip archive of XML files. A few kilobytes can
unfold to more than any memory holds, by compression or by a single cell in the last corner of a sheet. So everything is
unpacked first (`zip_archive`), up to a limit that no scenario comes near, and what the reading library passes over in
silence (an error in a cell, a formula that was never computed) is noted.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

from guardopt.files.workbooks.zip_archive import UnfitWorkbookError, parse, refuse_other_kinds, unpacked

MOST_CELLS = 2_000_000
"""The used corner of a sheet may span so many cells."""

_REFERENCE = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]{1,7})")


@dataclass
class SheetSurvey:
    """What there is to know about one sheet beside its values. Rows and columns are counted from 0.

    Attributes
    ----------
    rows, columns
        How far the cells with something in them reach.
    merged
        First row, first column, last row and last column of each range of merged cells.
    errors
        Cells whose formula ended in an error, and the error.
    uncomputed
        Cells with a formula whose result is not in the file.
    is_ods
        Whether it is of an ``.ods`` workbook, which counts days from another one.
    """

    rows: int = 0
    columns: int = 0
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    uncomputed: list[tuple[int, int]] = field(default_factory=list)
    is_ods: bool = False

    def reach(self, rows: int, columns: int) -> None:
        """Note that something stands in a cell."""
        self.rows, self.columns = max(self.rows, rows), max(self.columns, columns)

    @property
    def is_too_large(self) -> bool:
        """True if the table that spans all its cells would not fit into a modest memory."""
        return self.rows * self.columns > MOST_CELLS


def survey(content: bytes) -> dict[str, SheetSurvey]:
    """Look through the bytes of a workbook.

    Returns
    -------
    dict[str, SheetSurvey]
        The sheets by name, in their order.

    Raises
    ------
    UnfitWorkbookError
        It is none, has a password or macros, is damaged, or unpacks to more than `MOST_BYTES`.
    """
    refuse_other_kinds(content)
    try:
        members = unpacked(content)
        if "content.xml" in members:
            return _sheets_of_ods(members)
        return _sheets_of_xlsx(members)
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, OverflowError, NotImplementedError) as error:
        raise UnfitWorkbookError("is damaged or no workbook; open it in a spreadsheet and save it again") from error


def _plain(attributes: Mapping[str, str]) -> dict[str, str]:
    return {name.rpartition(":")[2]: value for name, value in attributes.items()}


def _sheets_of_xlsx(members: Mapping[str, bytes]) -> dict[str, SheetSurvey]:
    targets: dict[str, str] = {}
    names: dict[str, str] = {}

    def relation(name: str, attributes: dict[str, str]) -> None:
        if name == "Relationship":
            targets[attributes["Id"]] = attributes["Target"]

    def sheet(name: str, attributes: dict[str, str]) -> None:
        if name == "sheet":
            names[attributes["name"]] = _plain(attributes)["id"]

    def ignore(_: str) -> None:
        return

    parse(members["xl/_rels/workbook.xml.rels"], relation, ignore, ignore)
    parse(members["xl/workbook.xml"], sheet, ignore, ignore)
    found: dict[str, SheetSurvey] = {}
    for name, relation_id in names.items():
        target = targets[relation_id]
        path = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        if "worksheets/" in path:
            found[name] = _XlsxSheet(members[path]).found
    return found


class _XlsxSheet:
    """Surveys the XML of one sheet of an ``.xlsx`` workbook."""

    def __init__(self, xml: bytes) -> None:
        self.found = SheetSurvey()
        self._row = self._column = -1
        self._kind = ""
        self._has_formula = self._has_value = self._is_in_value = False
        self._value: list[str] = []
        parse(xml, self._start, self._end, self._text)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "row":
            self._row = int(attributes["r"]) - 1 if "r" in attributes else self._row + 1
            self._column = -1
        elif name == "c":
            self._column += 1
            if "r" in attributes:
                self._row, self._column = _cell_of(attributes["r"])
            self._kind = attributes.get("t", "n")
            self._has_formula = self._has_value = False
            self._value = []
        elif name in ("v", "is"):
            self._has_value = self._is_in_value = True
        elif name == "f":
            self._has_formula = True
        elif name == "mergeCell":
            first, _, last = attributes["ref"].partition(":")
            self.found.merged.append((*_cell_of(first), *_cell_of(last or first)))

    def _text(self, text: str) -> None:
        if self._is_in_value:
            self._value.append(text)

    def _end(self, name: str) -> None:
        if name in ("v", "is"):
            self._is_in_value = False
        elif name == "c" and (self._has_value or self._has_formula):
            here, text = (self._row, self._column), "".join(self._value)
            self.found.reach(self._row + 1, self._column + 1)
            if self._kind == "e":
                self.found.errors[here] = text
            # A formula whose result is an empty text has the kind "str".
            elif self._has_formula and not text and self._kind != "str":
                self.found.uncomputed.append(here)


def _cell_of(reference: str) -> tuple[int, int]:
    match = _REFERENCE.fullmatch(reference)
    if match is None:
        raise ValueError(f"{reference} is no cell")
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - ord("A") + 1
    return int(match[2]) - 1, column - 1


def _sheets_of_ods(members: Mapping[str, bytes]) -> dict[str, SheetSurvey]:
    sheets = _OdsSheets(members["content.xml"]).found
    # The library unfolds all sheets of this kind at once.
    if any(sheet.is_too_large for sheet in sheets.values()):
        raise UnfitWorkbookError(f"has a sheet that spans more than {MOST_CELLS:,} cells; delete what is far out")
    return sheets


class _OdsSheets:
    """Surveys the XML of all sheets of an ``.ods`` workbook, where equal rows and cells are written once."""

    def __init__(self, xml: bytes) -> None:
        self.found: dict[str, SheetSurvey] = {}
        self._sheet = SheetSurvey()
        self._row = self._column = 0
        self._row_repeats = self._cell_repeats = 1
        self._is_error = False
        self._error: list[str] = []
        parse(xml, self._start, self._end, self._text)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "table":
            self._sheet = self.found.setdefault(attributes["table:name"], SheetSurvey(is_ods=True))
            self._row = 0
        elif name == "table-row":
            self._row_repeats = int(attributes.get("table:number-rows-repeated", "1"))
            self._column = 0
        elif name in ("table-cell", "covered-table-cell"):
            self._cell_repeats = int(attributes.get("table:number-columns-repeated", "1"))
            here = (self._row, self._column)
            has_value = "office:value-type" in attributes
            if has_value or "table:formula" in attributes:
                self._sheet.reach(self._row + self._row_repeats, self._column + self._cell_repeats)
            if not has_value and "table:formula" in attributes:
                self._sheet.uncomputed.append(here)
            self._is_error = attributes.get("calcext:value-type") == "error"
            self._error = []
            tall = int(attributes.get("table:number-rows-spanned", "1"))
            wide = int(attributes.get("table:number-columns-spanned", "1"))
            if tall > 1 or wide > 1:
                self._sheet.merged.append((*here, here[0] + tall - 1, here[1] + wide - 1))

    def _text(self, text: str) -> None:
        if self._is_error:
            self._error.append(text)

    def _end(self, name: str) -> None:
        if name in ("table-cell", "covered-table-cell"):
            if self._is_error:
                self._sheet.errors[self._row, self._column] = "".join(self._error).strip() or "an error"
                self._is_error = False
            self._column += self._cell_repeats
        elif name == "table-row":
            self._row += self._row_repeats
