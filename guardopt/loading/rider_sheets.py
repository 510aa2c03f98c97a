"""Tables of riders as text, chunk by chunk, so that a book of any length fits into memory.

Nothing is interpreted here.
"""

from __future__ import annotations

import marshal
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import chain, islice
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from guardopt.errors import InputError, Place, Problem, missing_packages
from guardopt.files.cell_editing import separator_of
from guardopt.files.cells import Findings
from guardopt.files.limits import LONGEST_LINE, columns_fault, lines_of, open_text
from guardopt.files.sources import is_workbook_name
from guardopt.files.spreadsheet_safety import unsafe
from guardopt.files.tables import Table, named_columns, parse_table, record_blocks, wrong_width
from guardopt.files.workbooks.reading import open_workbook
from guardopt.loading.meaning.row_checking import check_columns
from guardopt.spelling import escaped, printable

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("rider", "bike", "riding", "budget", "times", "owned", "must", "never")

CHUNK = 50_000
"""Riders looked up at once: few enough for any memory, enough for arrays to pay."""


@dataclass(frozen=True)
class Sheet:
    """A chunk of a table of riders as found: cells as text, by column; blank where a column is missing.

    Attributes
    ----------
    counted
        The table as a whole, with what its rows are counted by.
    lines
        ``(riders,)``: the number of each row.
    broken
        Rows that could not be divided into cells, and why.
    """

    counted: Place
    cells: dict[str, list[str]]
    lines: list[int]
    broken: dict[int, str]

    @classmethod
    def empty(cls, name: str) -> Sheet:
        """A chunk of a CSV file before anything is read."""
        return cls(Place(name), {column: [] for column in COLUMNS}, [], {})

    def extend(self, other: Sheet) -> None:
        """Add the rows of another chunk behind those of this one."""
        self.broken.update({len(self.lines) + row: why for row, why in other.broken.items()})
        self.lines.extend(other.lines)
        for column, texts in other.cells.items():
            self.cells[column].extend(texts)

    def digest(self) -> bytes:
        """What tells this chunk from any other."""
        # Version 2 writes equal values alike, whichever objects hold them.
        return sha256(marshal.dumps((str(self.counted), self.cells, self.lines, self.broken), 2)).digest()

    def place(self, row: int) -> Place:
        """File and line of a row."""
        return replace(self.counted, line=self.lines[row])


def read_sheets(path: Path, rows: int = CHUNK) -> Iterator[Sheet]:
    """Read a table of riders chunk by chunk; its ending says what it is, ``.csv``, ``.parquet`` or a workbook.

    Raises
    ------
    InputError
        The table cannot be read, or its columns are not those of riders.
    """
    if path.suffix.lower() == ".parquet":
        yield from _parquet_sheets(path, rows)
        return
    if is_workbook_name(path):
        yield from _workbook_sheets(path, rows)
        return
    if path.suffix.lower() != ".csv":
        raise InputError([Problem(escaped(str(path)), "expected a name that ends in .csv, .parquet, .xlsx or .ods")])
    try:
        with open_text(path) as file:
            yield from _csv_sheets(path.name, file, rows)
    except OverflowError as error:
        message = f"has more than {LONGEST_LINE:,} characters, expected a line for each rider"
        raise InputError([Problem(f"{path.name}, {error}", message)]) from error
    except OSError as error:
        raise InputError([_unreadable(path, error)]) from error


def _unreadable(path: Path, error: OSError) -> Problem:
    if isinstance(error, FileNotFoundError):
        return Problem(escaped(str(path)), "no such file")
    return Problem(escaped(str(path)), f"cannot be read: {(error.strerror or str(error)).lower()}")


def _csv_sheets(name: str, file: IO[str], rows: int) -> Iterator[Sheet]:
    blank = 0
    lines_read = lines_of(file)
    first = next(lines_read, "")
    while first and not first.strip(' \t,;"\r\n'):
        blank += 1
        first = next(lines_read, "")
    header, separator = _header(name, first)
    sheet, unread = Sheet.empty(name), rows
    for width, lines, records in record_blocks(name, chain([first], lines_read), separator, blank, rows):
        sheet.extend(_sheet(name, header, width, separator, records, lines))
        unread -= len(records)
        if not unread:
            yield sheet
            sheet, unread = Sheet.empty(name), rows
    if unread < rows:
        yield sheet


def _header(name: str, first: str) -> tuple[Table, str]:
    findings = Findings()
    table = parse_table(name, first, findings, is_required=False)
    if table is not None:
        _check_header(table, findings)
    if findings.problems or table is None:
        raise InputError(findings.problems)
    return table, separator_of(first)


def _check_header(table: Table, findings: Findings) -> None:
    if fault := columns_fault(len(table.columns)):
        findings.error(table.header, fault)
        return
    check_columns(table, COLUMNS, ["rider"], findings)


def _sheet(
    name: str, table: Table, width: int, separator: str, records: list[list[str]], lines: Sequence[int]
) -> Sheet:
    """Columns of text; rows that are blank throughout are left out."""
    broken: dict[int, str] = {}
    if {*map(len, records)} != {width} or not all(map(any, records)):
        filled = [(line, record) for line, record in zip(lines, records, strict=True) if any(map(str.strip, record))]
        lines = [line for line, _ in filled]
        records = []
        for row, (_, record) in enumerate(filled):
            # Blank cells too many count as well: a stray decimal comma would shift the row unnoticed.
            if len(record) > width or any(cell.strip() for cell in record[len(table.columns) :]):
                broken[row] = wrong_width(record, len(table.columns), separator)
            records.append((record + [""] * width)[:width])
    columns = dict(zip(table.columns, zip(*records, strict=True), strict=False))
    cells = {}
    for column in COLUMNS:
        texts = columns.get(column)
        stripped = [""] * len(records) if texts is None else [text.strip() for text in texts]
        has_apostrophe = "'" in "".join(stripped)
        cells[column] = [unsafe(text) for text in stripped] if has_apostrophe else stripped
    _refuse_other_encodings(cells, broken)
    return Sheet(Place(name), cells, [*lines], broken)


def _refuse_other_encodings(cells: dict[str, list[str]], broken: dict[int, str]) -> None:
    for column, texts in cells.items():
        try:
            "".join(texts).encode()
        except UnicodeEncodeError:
            for row, text in enumerate(texts):
                if any("\udc80" <= letter <= "\udcff" for letter in text):
                    broken[row] = f"column {column} is not UTF-8 text; save the file with the encoding UTF-8"
                    texts[row] = printable(text)


def _parquet_sheets(path: Path, rows: int) -> Iterator[Sheet]:
    pq = need_parquet(path)
    try:
        file = pq.ParquetFile(path)
    except OSError as error:
        raise InputError([_unreadable(path, error)]) from error
    except ValueError as error:
        raise InputError([Problem(escaped(str(path)), "is not a Parquet file")]) from error
    with file:
        _refuse_columns(path.name, file.schema_arrow.names)
        row = 1
        for batch in file.iter_batches(batch_size=rows):
            columns = {name: batch.column(name).to_pylist() for name in batch.schema.names}
            yield sheet_of_values(path.name, columns, batch.num_rows, row)
            row += batch.num_rows


def _workbook_sheets(path: Path, rows: int) -> Iterator[Sheet]:
    findings = Findings(is_workbook=True)
    if not path.exists():
        raise InputError([Problem(escaped(str(path)), "no such file")])
    found = open_workbook(path).text_rows("riders", findings)
    if found is None:
        raise InputError(findings.problems)
    line, heading = next(found, (1, []))
    while heading and not heading[-1]:
        heading.pop()
    whole = Place("riders", counted="row")
    table = Table(replace(whole, line=line), named_columns(heading, replace(whole, line=line), findings), ())
    _check_header(table, findings)
    if findings.problems:
        raise InputError(findings.problems)
    while part := list(islice(found, rows)):
        columns = {name: [cells[number] for _, cells in part] for number, name in enumerate(heading)}
        cells = {column: columns.get(column, [""] * len(part)) for column in COLUMNS}
        broken = {
            number: "found a cell in a column without a name"
            for number, (_, texts) in enumerate(part)
            if any(texts[len(heading) :])
        }
        yield Sheet(whole, cells, [line for line, _ in part], broken)


def need_parquet(path: Path) -> Any:
    """The module that reads and writes Parquet.

    Raises
    ------
    InputError
        It is not installed.
    """
    try:
        import pyarrow.parquet as pq
    except ImportError as error:
        raise missing_packages(escaped(str(path)), "pyarrow", "parquet") from error
    return pq


def _refuse_columns(name: str, columns: Iterable[str]) -> None:
    findings = Findings()
    _check_header(Table(Place(name), tuple(columns), ()), findings)
    if findings.problems:
        raise InputError(findings.problems)


def sheet_of_values(name: str, columns: Mapping[str, Sequence[Any]], size: int, first: int) -> Sheet:
    """A chunk whose cells are values rather than text; the rows are numbered from `first` on."""
    cells = {
        column: [_as_text(value) for value in columns[column]] if column in columns else [""] * size
        for column in COLUMNS
    }
    return Sheet(Place(name, counted="row"), cells, [*range(first, first + size)], {})


def _as_text(value: Any) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, list | tuple | np.ndarray):
        return " ".join(map(str, value))
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def sheets_of_frame(frame: pd.DataFrame, rows: int = CHUNK) -> Iterator[Sheet]:
    """A table of riders in memory, chunk by chunk; its rows are counted from 1.

    Raises
    ------
    InputError
        Its columns are not those of riders.
    """
    _refuse_columns("riders", map(str, frame.columns))
    for start in range(0, len(frame), rows):
        part = frame.iloc[start : start + rows]
        columns = {str(name): part[name].tolist() for name in part.columns}
        yield sheet_of_values("riders", columns, len(part), start + 1)
