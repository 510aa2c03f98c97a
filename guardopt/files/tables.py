"""The raw text of a table as cells that know where they came from. Nothing is interpreted here.

CSV files are read as spreadsheets save them: with or without a byte-order mark, separated by commas or semicolons,
with cells in quotation marks, blank rows and blank columns at the end.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise

from guardopt.errors import InputError, Place, Problem
from guardopt.files.cell_editing import separator_of
from guardopt.files.cells import SETTINGS_FILE, Cell, Findings, Row
from guardopt.files.limits import LONGEST_CELL, MOST_COLUMNS, columns_fault, rows_fault
from guardopt.files.spreadsheet_safety import unsafe
from guardopt.number_faults import PLAIN_NUMBER, number_fault
from guardopt.spelling import printable, shown

OPTIONAL_TABLES = ("knock_on", "exposes", "offers", "riding", "points")
TABLES = ("parts", "falls", "hits", "knock_on", "guards", "covers", "exposes", "offers", "riding", "points")
HEADED_BY_FALLS = ("hits", "riding")
"""Tables in which kinds of fall head columns."""
READING_ORDER = (SETTINGS_FILE, *(f"{name}.csv" for name in TABLES))

BESIDE_A_SCENARIO = ("riders.csv", "shop.toml")
"""Files that often lie in a scenario folder and are read by other questions."""

NOTE_COLUMN = "note"
"""A column that any table may have; it is for people and changes no answer."""

HEADINGS: Mapping[str, str] = {
    "parts": "part,side,price,hours,break_chance,touch_up",
    "falls": "fall,per_year,left_share,watched_years",
    "hits": "part,tip_over,low_side, with the falls of falls.csv",
    "guards": "guard,side,price,fit_hours,slot",
    "covers": "guard,part,holds",
    "knock_on": "part,takes,chance",
    "offers": "offer,guards,price",
}
"""Column names to begin with, by table; there are more columns."""

FIRST_ROWS: Mapping[str, str] = {
    "falls": "; write a row for each kind of fall: count the scrapes, divide by the years you have ridden",
    "hits": "; write a row for each part, by the order of contact: near 0.8 what touches first, near 0.05 the last",
    "guards": "; write a row for each guard on offer: its side and price; ask the workshop for the hours to fit it",
}
"""What to put into a table that has nothing in it yet, and how others come by it (common practice, no source)."""

BLOCK = 2_000
"""Rows divided into cells at once: as many as a processor's cache holds, which makes it twice as fast."""

_DIVIDED_NUMBER = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]{1,2}|[+-]?[0-9]+,(?:[0-9]{1,2}|-{1,2})")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its columns in order, where they are named, and its rows."""

    header: Place
    columns: tuple[str, ...]
    rows: tuple[Row, ...]

    def texts(self) -> list[list[str]]:
        """Its cells as text, row by row."""
        return [[row.text(column) for column in self.columns] for row in self.rows]


def parse_table(file: str, text: str, findings: Findings, *, is_required: bool = True) -> Table | None:
    """Divide the text of a CSV file into located cells."""
    separator = separator_of(text)
    whole, name = Place(file), file.removesuffix(".csv")
    lines = _divided(whole, text, separator, findings)
    if lines is None:
        return None
    header_line, heading = next(lines, (0, []))
    header = _without_blank_end(heading)
    if not header:
        such_as = f" such as {HEADINGS[name]}" if name in HEADINGS else ""
        findings.error(whole, f"is empty, expected a line of column names{such_as}{FIRST_ROWS.get(name, '')}")
        return None
    place = replace(whole, line=header_line)
    if len(header) == 1 and "\t" in header[0]:
        findings.error(place, "columns are separated by tabs; save the file with commas or semicolons between them")
        return None
    if fault := columns_fault(len(header)):
        findings.error(place, fault)
        return None
    if not is_heading(name, header):
        message = f"found {shown(separator.join(header))}, expected a line of column names such as {HEADINGS[name]}"
        findings.error(place, message)
        return None
    columns = named_columns(header, place, findings)
    divided = list(lines)
    if fault := rows_fault(name, len(divided)):
        findings.error(whole, fault)
        return None
    # Who separates cells by semicolons may write decimals with a comma; who does so anywhere means it throughout.
    commas = separator == ";" and any(_DECIMAL_COMMA.fullmatch(cell) for _, cells in divided for cell in cells)
    rows = tuple(
        _row(replace(whole, line=line), heading, cells, separator, commas, findings) for line, cells in divided
    )
    if not rows and is_required:
        findings.error(whole, f"has a line of column names but no rows{FIRST_ROWS.get(name, '')}")
        return None
    return Table(place, columns, rows)


def is_heading(name: str, cells: Sequence[str]) -> bool:
    """Whether the first row of a table may be its heading: no title above it, and no numbers below a lost one."""
    known = HEADINGS.get(name, "").partition(", ")[0].split(",")
    has_number = any(PLAIN_NUMBER.fullmatch(cell) for cell in cells)
    is_title = sum(map(bool, cells)) == 1
    return name not in HEADINGS or not (has_number or is_title) or any(cell.casefold() in known for cell in cells)


def named_columns(header: Sequence[str], place: Place, findings: Findings) -> tuple[str, ...]:
    """The column names of a heading; blank ones and repeats are reported."""
    for number, column in enumerate(header, start=1):
        if not column:
            findings.error(place, f"column {number} has no name")
        elif column in header[: number - 1]:
            findings.error(place, f"column {printable(column)} appears twice")
    return tuple(dict.fromkeys(column for column in header if column))


def _divided(whole: Place, text: str, separator: str, findings: Findings) -> Iterator[tuple[int, list[str]]] | None:
    """Rows that are not blank, each with the line it starts on."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True, strict=True)
    found: list[tuple[int, list[str]]] = []
    start = 1
    try:
        for record in reader:
            cells = [unsafe(cell.strip()) for cell in record]
            if any(cells):
                found.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        findings.error(replace(whole, line=start), cell_fault(error))
        return None
    return iter(found)


def record_blocks(
    name: str, lines: Iterable[str], separator: str, before: int, rows: int
) -> Iterator[tuple[int, Sequence[int], list[list[str]]]]:
    """The rows below the heading of a CSV file of any length, divided into cells block by block.

    Parameters
    ----------
    name
        What the file is called.
    lines
        Its lines from the heading on.
    before
        How many lines come before the heading.
    rows
        A block ends wherever a multiple of so many rows does.

    Yields
    ------
    The width of the heading, the line that each row of the block starts on, and the cells of each.

    Raises
    ------
    InputError
        A row cannot be divided into cells.
    """
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=True, strict=True)
    width, unread = len(next(reader, [])), rows
    while True:
        line = before + reader.line_num + 1
        try:
            records = list(islice(reader, min(BLOCK, unread)))
        except csv.Error as error:
            message = cell_fault(error).replace("do not pair up;", "do not pair up at or before it;")
            raise InputError([Problem(Place(name, before + reader.line_num), message)]) from error
        if not records:
            return
        is_a_line_each = before + reader.line_num + 1 - line == len(records)
        yield width, range(line, line + len(records)) if is_a_line_each else _starts(records, line), records
        unread = unread - len(records) or rows


def _starts(records: list[list[str]], line: int) -> list[int]:
    """The line each record starts on, where cells may hold line breaks."""
    lines = []
    for record in records:
        lines.append(line)
        line += 1 + sum(len(re.findall(r"\r\n|\r|\n", cell)) for cell in record)
    return lines


def cell_fault(error: csv.Error) -> str:
    """What keeps a row from being divided into cells."""
    if "field limit" in str(error):
        hint = 'if it starts with ", the one that ends it may be missing'
        return f"a cell has more than {LONGEST_CELL:,} characters; {hint}"
    return 'quotation marks do not pair up; a cell that starts with " has to end with "'


def _without_blank_end(cells: list[str]) -> list[str]:
    return cells[: max((number for number, cell in enumerate(cells, start=1) if cell), default=0)]


def wrong_width(cells: Sequence[str], expected: int, separator: str) -> str:
    """What to say of a row with more cells than columns, above all where a decimal comma has divided a number."""
    message = f"found {len(cells)} cells, expected {expected}; "
    looked_at = cells[:MOST_COLUMNS] if separator == "," else []
    pairs = [f"{one},{other}" for one, other in pairwise(map(str.strip, looked_at))]
    divided = [pair for pair in pairs if _DIVIDED_NUMBER.fullmatch(pair)]
    if divided:
        likeliest = next((pair for pair in divided if "." in pair), divided[0])
        message += f"if {likeliest} is one number, it has {number_fault(likeliest)}; otherwise "
    return f"{message}a cell with a separator in it needs quotation marks, and decimals a point"


def _row(place: Place, heading: list[str], cells: list[str], separator: str, commas: bool, findings: Findings) -> Row:
    header = _without_blank_end(heading)
    # Blank cells beyond a header that ends earlier count too: a stray decimal comma would shift the row unnoticed.
    is_whole = len(cells) <= len(heading) and not any(cells[len(header) :])
    if not is_whole:
        findings.error(place, wrong_width(cells, len(header), separator), kind="too many cells")
    padded = cells + [""] * (len(header) - len(cells))
    located: dict[str, Cell] = {}
    for column, text in zip(header, padded, strict=False):
        located.setdefault(column, Cell(text, replace(place, item=f"column {printable(column)}"), commas))
    return Row(place, "column ", located, is_whole)
