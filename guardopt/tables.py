"""The raw text of a scenario folder as cells that know where they came from. Nothing is interpreted here.

CSV files are read as spreadsheets save them: with or without a byte-order mark, separated by commas or semicolons,
with cells in quotation marks, blank rows and blank columns at the end.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from guardopt.cell_editing import separator_of
from guardopt.cells import SETTINGS_FILE, Cell, Findings, Row
from guardopt.errors import Problem
from guardopt.spelling import nearest, number_fault, printable
from guardopt.toml_cells import parse_settings

OPTIONAL_TABLES = ("knock_on", "offers", "riding")
TABLES = ("parts", "falls", "hits", "knock_on", "guards", "covers", "offers", "riding")
READING_ORDER = (SETTINGS_FILE, *(f"{name}.csv" for name in TABLES))

BESIDE_A_SCENARIO = ("riders.csv", "shop.toml")
"""Files that often lie in a scenario folder and are read by other questions."""

HEADINGS: Mapping[str, str] = {
    "parts.csv": "part,side,price,hours,break_chance,touch_up",
    "falls.csv": "fall,per_year,left_share,watched_years",
    "hits.csv": "part,tip_over,low_side, with the falls of falls.csv",
    "guards.csv": "guard,side,price,fit_hours,slot",
    "covers.csv": "guard,part,holds",
}
"""A line of column names to begin with; there are more columns."""

FIRST_ROWS: Mapping[str, str] = {
    "falls.csv": "; write a row for each kind of fall: count the scrapes, divide by the years you have ridden",
    "hits.csv": "; write a row for each part, by the order of contact: near 0.8 what touches first, near 0.05 the last",
    "guards.csv": "; write a row for each guard on offer: its side and price; ask the workshop for the hours to fit it",
}
"""What to put into a table that has nothing in it yet, and how others come by it (common practice, no source)."""

_DIVIDED_NUMBER = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]{1,2}|[+-]?[0-9]+,[0-9]{1,2}")


def in_reading_order(problems: list[Problem]) -> list[Problem]:
    """Problems as a reader of the files meets them: file by file, line by line."""

    def place(problem: Problem) -> tuple[int, int]:
        file = problem.where.partition(",")[0]
        rank = READING_ORDER.index(file) if file in READING_ORDER else len(READING_ORDER)
        line = re.search(r", line (\d+)", problem.where)
        return rank, int(line[1]) if line else 0

    return sorted(problems, key=place)


@dataclass(frozen=True, slots=True)
class Table:
    """One CSV file: its columns in order and its rows."""

    file: str
    header: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Sheets:
    """A scenario folder as found. A file that is missing or cannot be read is None.

    Attributes
    ----------
    settings
        The tables of ``scenario.toml`` by name; keys outside any table are under the empty name.
    tables
        CSV files by name without ``.csv``.
    """

    settings: Mapping[str, Row] | None
    tables: Mapping[str, Table | None]


def read_sheets(folder: Path, findings: Findings) -> Sheets:
    """Read every file of a scenario folder."""
    settings_text = read_text(folder, SETTINGS_FILE, findings)
    settings = None if settings_text is None else parse_settings(settings_text, findings)
    tables: dict[str, Table | None] = {}
    for name in TABLES:
        is_required = name not in OPTIONAL_TABLES
        text = read_text(folder, f"{name}.csv", findings, is_required=is_required)
        tables[name] = None if text is None else parse_table(f"{name}.csv", text, findings, is_required=is_required)
    return Sheets(settings, tables)


def read_text(folder: Path, file: str, findings: Findings, *, is_required: bool = True) -> str | None:
    """The text of a file, or None if it is not there or is not text; an optional file may be missing."""
    try:
        content = (folder / file).read_bytes()
    except FileNotFoundError:
        known = (*READING_ORDER, *BESIDE_A_SCENARIO)
        others = {
            path.stem: path.name
            for path in folder.iterdir()
            if path.suffix == Path(file).suffix and path.name not in known
        }
        close = others.get(nearest(Path(file).stem, others) or "")
        if is_required:
            findings.error(file, f"no such file in the folder{f'; {printable(close)} looks like it' if close else ''}")
        elif close:
            findings.warn(printable(close), f"is not read; did you mean {file}?")
        return None
    except OSError as error:
        findings.error(file, f"cannot be read: {(error.strerror or str(error)).lower()}")
        return None
    try:
        # Composed and decomposed accents look the same, so ids typed on different machines have to compare equal.
        return unicodedata.normalize("NFC", content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        findings.error(f"{file}, line {line}", "is not UTF-8 text; save the file with the encoding UTF-8")
        return None


def parse_table(file: str, text: str, findings: Findings, *, is_required: bool = True) -> Table | None:
    """Divide the text of a CSV file into located cells."""
    separator = separator_of(text)
    lines = _divided(file, text, separator, findings)
    if lines is None:
        return None
    header_line, heading = next(lines, (0, []))
    header = _without_blank_end(heading)
    if not header:
        such_as = f" such as {HEADINGS[file]}" if file in HEADINGS else ""
        findings.error(file, f"is empty, expected a line of column names{such_as}{FIRST_ROWS.get(file, '')}")
        return None
    place = f"{file}, line {header_line}"
    if len(header) == 1 and "\t" in header[0]:
        findings.error(place, "columns are separated by tabs; save the file with commas or semicolons between them")
        return None
    for number, column in enumerate(header, start=1):
        if not column:
            findings.error(place, f"column {number} has no name")
        elif column in header[: number - 1]:
            findings.error(place, f"column {printable(column)} appears twice")
    rows = tuple(_row(file, line, heading, cells, separator, findings) for line, cells in lines)
    if not rows and is_required:
        findings.error(file, f"has a line of column names but no rows{FIRST_ROWS.get(file, '')}")
        return None
    return Table(file, place, tuple(dict.fromkeys(column for column in header if column)), rows)


def _divided(file: str, text: str, separator: str, findings: Findings) -> Iterator[tuple[int, list[str]]] | None:
    """Rows that are not blank, each with the line it starts on."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True, strict=True)
    found: list[tuple[int, list[str]]] = []
    start = 1
    try:
        for record in reader:
            cells = [cell.strip() for cell in record]
            if any(cells):
                found.append((start, cells))
            start = reader.line_num + 1
    except csv.Error:
        message = 'quotation marks do not pair up; a cell that starts with " has to end with "'
        findings.error(f"{file}, line {start}", message)
        return None
    return iter(found)


def _without_blank_end(cells: list[str]) -> list[str]:
    return cells[: max((number for number, cell in enumerate(cells, start=1) if cell), default=0)]


def wrong_width(cells: Sequence[str], expected: int, separator: str) -> str:
    """What to say of a row with more cells than columns, above all where a decimal comma has divided a number."""
    message = f"found {len(cells)} cells, expected {expected}; "
    pairs = [f"{one},{other}" for one, other in pairwise(map(str.strip, cells))] if separator == "," else []
    divided = [pair for pair in pairs if _DIVIDED_NUMBER.fullmatch(pair)]
    if divided:
        likeliest = next((pair for pair in divided if "." in pair), divided[0])
        message += f"if {likeliest} is one number, it has {number_fault(likeliest)}; otherwise "
    return f"{message}a cell with a separator in it needs quotation marks, and decimals a point"


def _row(file: str, line: int, heading: list[str], cells: list[str], separator: str, findings: Findings) -> Row:
    place = f"{file}, line {line}"
    header = _without_blank_end(heading)
    # Blank cells beyond a header that ends earlier count too: a stray decimal comma would shift the row unnoticed.
    is_whole = len(cells) <= len(heading) and not any(cells[len(header) :])
    if not is_whole:
        findings.error(place, wrong_width(cells, len(header), separator))
    padded = cells + [""] * (len(header) - len(cells))
    located: dict[str, Cell] = {}
    for column, text in zip(header, padded, strict=False):
        located.setdefault(column, Cell(text, f"{place}, column {printable(column)}"))
    return Row(place, "column ", located, is_whole)
