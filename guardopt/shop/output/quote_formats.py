"""What a file of quotes may be, and how a work file becomes a workbook or a Parquet file."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.held_files import AT_ONCE, HeldFile
from guardopt.files.spreadsheet_safety import unsafe
from guardopt.files.tables import BESIDE_A_SCENARIO, READING_ORDER
from guardopt.files.workbooks.writing import need_writer
from guardopt.loading.rider_sheets import need_parquet
from guardopt.shop.quote_columns import MONEY, TEXTS, Quoted, arrow_schema
from guardopt.spelling import escaped, listed

ENDINGS = (".csv", ".parquet", ".xlsx")

MOST_ROWS = 1_048_575
"""Rows of a sheet below its heading (ECMA-376)."""


def check_output(out: Path) -> None:
    """Refuse a file to write that is there already, cannot be there, or is one that questions read.

    Raises
    ------
    InputError
        Its name will not do.
    """
    problem = None
    if out.suffix.lower() not in ENDINGS:
        problem = f"expected a name that ends in {listed(ENDINGS)}"
    elif out.name.casefold() in (*READING_ORDER, *BESIDE_A_SCENARIO):
        problem = "is the name of a file that is read, expected another"
    elif not out.parent.is_dir():
        problem = "its folder does not exist"
    elif os.path.lexists(out):
        problem = "is there already; remove it or choose another name"
    if problem:
        raise InputError([Problem(escaped(str(out)), problem)])
    if out.suffix.lower() == ".parquet":
        need_parquet(out)
    if out.suffix.lower() == ".xlsx":
        need_writer(escaped(str(out)))


def check_size(out: Path, riders: int) -> None:
    """Refuse a workbook for more riders than a sheet has rows.

    Raises
    ------
    InputError
        There are too many.
    """
    if out.suffix.lower() == ".xlsx" and riders > MOST_ROWS:
        message = (
            f"a sheet holds {MOST_ROWS:,} rows, expected a name that ends in .csv or .parquet for {riders:,} riders"
        )
        raise InputError([Problem(escaped(str(out)), message)])


def arrow_bytes(quoted: Quoted) -> bytes:
    """One chunk as it stands in the work file of a Parquet file."""
    import pyarrow as pa

    table = quoted.arrow()
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    return bytes(sink.getvalue())


def write_workbook(work: int, final: int, out: Path) -> None:
    """Turn the lines of a work file into one sheet, row by row."""
    target = HeldFile(final)
    book = need_writer(escaped(str(out))).Workbook(target, {"constant_memory": True, "strings_to_formulas": False})
    page = book.add_worksheet("quotes")
    page.freeze_panes(1, 1)
    heading, money = book.add_format({"bold": True}), book.add_format({"num_format": "#,##0.00"})
    names = Quoted.names()
    numbers = {number for number, name in enumerate(names) if name in MONEY and name not in TEXTS}
    page.set_column(0, len(names) - 1, 14)
    for column, name in enumerate(names):
        page.write_string(0, column, name, heading)
    lines = HeldFile(work)
    lines.seek(0)
    rows = csv.reader(io.TextIOWrapper(io.BufferedReader(lines), encoding="utf-8", newline=""))
    next(rows, None)
    for row, cells in enumerate(rows, start=1):
        for column, cell in enumerate(cells):
            if column in numbers and cell:
                page.write_number(row, column, float(cell), money)
            else:
                page.write_string(row, column, unsafe(cell))
    book.close()


def write_parquet(work: int, final: int, out: Path) -> None:
    """Turn the chunks of a work file into one Parquet file."""
    import pyarrow as pa

    pq = need_parquet(out)
    size = os.fstat(work).st_size
    chunks = HeldFile(work)
    chunks.seek(0)
    # The library writes by a few bytes; each write to the file itself would cost more than what it writes.
    target = io.BufferedWriter(HeldFile(final), AT_ONCE)
    with pq.ParquetWriter(target, arrow_schema()) as writer:
        while chunks.tell() < size:
            with pa.ipc.open_stream(chunks) as stream:
                writer.write_table(stream.read_all())
    target.flush()
