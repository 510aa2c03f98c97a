"""Writes quotes so that they appear whole or not at all, and so that an interruption costs next to nothing.

A folder of ours stands beside the file to come, ``OUT.unfinished``. In it ``quotes`` grows by one chunk of riders at a
time, and ``journal`` has a line for everything that is done: each ladder found, each bike's kits priced, each chunk
written and how far the file then reached. A line is written only after what it tells of is safe on disk. To go on after
an interruption, what lies behind the last whole line is cut off, and the rest is done. At the end the file takes its
name.

The first line of the journal is our mark: a folder without it is somebody else's and left alone. The lock on the
journal tells whether a process is still at work. What is published is what was held open all the time.
"""

from __future__ import annotations

import csv
import io
import json
import os
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from guardopt.errors import InputError, Problem
from guardopt.files.drafts import CONTENT, draft_beside
from guardopt.files.held_files import (
    ForeignFileError,
    HeldFile,
    is_file_at,
    lock,
    new_file,
    open_own,
    read_all,
    sync_folder,
    write_all,
)
from guardopt.files.spreadsheet_safety import unsafe
from guardopt.files.tables import BESIDE_A_SCENARIO, READING_ORDER
from guardopt.files.whole_file import cannot_be_written, publish
from guardopt.files.workbooks.writing import need_writer
from guardopt.loading.rider_sheets import need_parquet
from guardopt.shop.quote_columns import MONEY, TEXTS, Quoted, Totals, arrow_schema
from guardopt.shop.rider_curves import Ladders, find_ladders
from guardopt.spelling import escaped, listed

ENDINGS = (".csv", ".parquet", ".xlsx")

MOST_ROWS = 1_048_575
"""Rows of a sheet below its heading (ECMA-376)."""

KIND = "unfinished quotes"
JOURNAL, QUOTES, WHOLE = "journal", "quotes", "whole"

NOT_OURS = "is there already and is nothing that guardopt left; move it away, or choose another name for OUT"

AT_ONCE = 1 << 20
"""Bytes read at once where a file is gone through."""


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


@dataclass
class Progress:
    """How far an unfinished file has come."""

    found: dict[tuple[str, int], Any] = field(default_factory=dict)
    chunks: int = 0
    end: int = 0
    crc: int = 0
    totals: Totals = field(default_factory=Totals)
    whole: tuple[int, int] | None = None


class QuoteFile:
    """A file of quotes in the making.

    Parameters
    ----------
    out
        The file to come.
    question
        A digest of all that decides on its content.
    resume
        Whether to go on where an earlier attempt at the same question broke off, if there was one.

    Raises
    ------
    InputError
        There is such a file already; or there is an unfinished one, and it is not to be gone on with, or is about
        another question, or in the hands of another process, or not ours at all; or nothing can be written there.
    """

    def __init__(self, out: Path, question: str, *, resume: bool) -> None:
        self._out = out
        self._folder = out.with_name(f"{out.name}.unfinished")
        self._is_parquet = out.suffix.lower() == ".parquet"
        left = _open_left(self._folder)
        if left is not None and not resume:
            os.close(left)
            raise _problem(self._folder, "is left of an earlier attempt; go on with it by --resume, or remove it")
        if left is None:
            check_output(out)
        with self._written():
            self._journal = _begun(self._folder, question) if left is None else left
        try:
            with self._written():
                self.progress = self._read_journal(question)
                self._is_out = os.path.lexists(out)
                if self._is_out and self.progress.whole != _measured_at(out):
                    check_output(out)
                self._work = self._open_work()
        except BaseException:
            os.close(self._journal)
            raise

    @contextmanager
    def _written(self) -> Iterator[None]:
        """Say of what the system would not write that what is done is kept."""
        try:
            yield
        except OSError as error:
            raise cannot_be_written(escaped(str(self._folder)), error) from error

    def close(self) -> None:
        """Let go of the files; what is unfinished stays for another attempt."""
        os.close(self._work)
        os.close(self._journal)

    def discard(self) -> None:
        """Remove what is unfinished, if it is still ours."""
        if not is_file_at(self._journal, self._folder / JOURNAL):
            return
        with suppress(OSError):
            # The journal goes last: without it nobody would know whose the rest is.
            for name in (WHOLE, QUOTES, JOURNAL):
                (self._folder / name).unlink(missing_ok=True)
            self._folder.rmdir()

    def _read_journal(self, question: str) -> Progress:
        progress, kept = Progress(), 0
        for number, line in enumerate(read_all(self._journal).splitlines(keepends=True)):
            try:
                entry = json.loads(line) if line.endswith(b"\n") else None
            except ValueError:
                entry = None
            if entry is None:
                break
            if number == 0 and entry != _first_entry(question):
                raise _problem(self._folder, "was begun for other riders, bikes or options; remove it to begin anew")
            _take(progress, entry)
            kept += len(line)
        os.ftruncate(self._journal, kept)
        os.lseek(self._journal, kept, os.SEEK_SET)
        return progress

    def _note(self, entry: dict[str, Any]) -> None:
        write_all(self._journal, _line(entry))
        os.fsync(self._journal)

    def _open_work(self) -> int:
        path, progress = self._folder / QUOTES, self.progress
        try:
            work = open_own(path)
        except FileNotFoundError:
            work = new_file(path)
        except ForeignFileError as error:
            raise _problem(self._folder, NOT_OURS) from error
        is_known = _measure(work, progress.end) == (progress.end, progress.crc)
        if not self._is_out and (os.fstat(work).st_nlink > 1 or not is_known):
            # What the journal tells of is not there, or it has another name by now and is no longer ours alone: the
            # chunks are written again, the ladders are still good.
            os.close(work)
            path.unlink()
            work = new_file(path)
            progress.chunks = progress.end = progress.crc = 0
            progress.totals = Totals()
        if not self._is_out:
            os.ftruncate(work, progress.end)
            os.lseek(work, progress.end, os.SEEK_SET)
        return work

    def run(
        self, run: Callable[..., list[Any]], say: Callable[[str], None]
    ) -> Callable[[Callable[[Any], Any], Sequence[Any]], list[Any]]:
        """A way to do jobs that does none twice: what came out of each is kept in the journal.

        Parameters
        ----------
        run
            Does the jobs that are left: takes a function, jobs, and what to tell of each that is done.
        say
            Told how far it is.
        """

        def remembered(function: Callable[[Any], Any], jobs: Sequence[Any]) -> list[Any]:
            name = function.__name__
            left = [row for row in range(len(jobs)) if (name, row) not in self.progress.found]
            what = "finding the best kits of every budget" if function is find_ladders else "pricing kits"

            def tell() -> None:
                say(f"{what}: {sum((name, row) in self.progress.found for row in range(len(jobs)))} of {len(jobs)}")

            def done(row: int, found: Any) -> None:
                record = [one.to_json() for one in found] if function is find_ladders else found
                self.progress.found[name, left[row]] = record
                with self._written():
                    self._note({"job": name, "row": left[row], "found": record})
                tell()

            if left:
                tell()
            run(function, [jobs[row] for row in left], done)
            records = [self.progress.found[name, row] for row in range(len(jobs))]
            if function is find_ladders:
                return [[Ladders.from_json(one) for one in record] for record in records]
            return records

        return remembered

    def add(self, quoted: Quoted) -> None:
        """Write one chunk and, when it is safe, say so in the journal."""
        if self._is_parquet:
            content = _arrow_bytes(quoted)
        else:
            content = quoted.csv() if self.progress.chunks else Quoted.csv_header() + quoted.csv()
        progress = self.progress
        end, crc = progress.end + len(content), zlib.crc32(content, progress.crc)
        totals = progress.totals + quoted.totals
        with self._written():
            write_all(self._work, content)
            os.fsync(self._work)
            self._note({"chunk": progress.chunks + 1, "end": end, "crc": crc, "totals": totals.to_list()})
        progress.chunks, progress.end, progress.crc, progress.totals = progress.chunks + 1, end, crc, totals

    def finish(self) -> Totals:
        """Give the file its name.

        Raises
        ------
        InputError
            Another file has taken it in the meantime, or another program has changed what was written.
        """
        if not self._is_out:
            with self._written():
                self._publish()
        self.discard()
        return self.progress.totals

    def _publish(self) -> None:
        progress = self.progress
        if _measure(self._work) != (progress.end, progress.crc):
            message = "another program changed what is in it; nothing was published, remove it and begin anew"
            raise _problem(self._folder, message)
        final, path = self._work, self._folder / QUOTES
        is_rewritten = self._is_parquet or self._out.suffix.lower() == ".xlsx"
        if is_rewritten:
            path = self._folder / WHOLE
            path.unlink(missing_ok=True)
            final = new_file(path)
            write = _write_parquet if self._is_parquet else _write_workbook
            write(self._work, final, self._out)
        elif not progress.chunks:
            write_all(final, Quoted.csv_header())
        os.fsync(final)
        self._note({"whole": _measure(final)})
        publish(final, path, self._out, escaped(str(self._out)))
        sync_folder(self._out.absolute().parent)
        if is_rewritten:
            os.close(final)


def _take(progress: Progress, entry: dict[str, Any]) -> None:
    """Take one line of a journal into account."""
    if "job" in entry:
        progress.found[entry["job"], entry["row"]] = entry["found"]
    elif "chunk" in entry:
        progress.chunks, progress.end, progress.crc = entry["chunk"], entry["end"], entry["crc"]
        progress.totals = Totals(*entry["totals"])
    elif "whole" in entry:
        size, crc = entry["whole"]
        progress.whole = size, crc


def _problem(path: Path, message: str) -> InputError:
    return InputError([Problem(escaped(str(path)), message)])


def _line(entry: dict[str, Any]) -> bytes:
    return json.dumps(entry, separators=(",", ":")).encode() + b"\n"


def _first_entry(question: str) -> dict[str, Any]:
    return {"guardopt": KIND, "question": question}


def _begun(folder: Path, question: str) -> int:
    """A new folder for what is unfinished, and its journal, locked."""
    journal = None
    try:
        with draft_beside(folder) as draft:
            content = draft / CONTENT
            content.mkdir()
            journal = new_file(content / JOURNAL)
            lock(journal)
            write_all(journal, _line(_first_entry(question)))
            os.fsync(journal)
            content.rename(folder)
    except BaseException:
        if journal is not None:
            os.close(journal)
        raise
    return journal


def _open_left(folder: Path) -> int | None:
    """The journal, locked, of what an earlier attempt left; None if it left nothing.

    Raises
    ------
    InputError
        What is there is not ours, or another process is at work on it.
    """
    while os.path.lexists(folder):
        if folder.is_symlink() or not folder.is_dir():
            raise _problem(folder, NOT_OURS)
        try:
            journal = open_own(folder / JOURNAL)
        except FileNotFoundError:
            if not folder.is_dir():
                # The process that was at work on it has just finished.
                continue
            if any(folder.iterdir()):
                raise _problem(folder, NOT_OURS) from None
            return None
        except ForeignFileError as error:
            raise _problem(folder, NOT_OURS) from error
        except OSError as error:
            raise cannot_be_written(escaped(str(folder)), error) from error
        try:
            if lock(journal) is False:
                raise _problem(folder, "another process is at work on it")
            if is_file_at(journal, folder / JOURNAL):
                _refuse_foreign(journal, folder)
                return journal
        except BaseException:
            os.close(journal)
            raise
        os.close(journal)
    return None


def _refuse_foreign(journal: int, folder: Path) -> None:
    mark = _line(_first_entry("")).removesuffix(b'""}\n')
    if os.pread(journal, len(mark), 0) != mark:
        raise _problem(folder, NOT_OURS)


def _measure(handle: int, size: int | None = None) -> tuple[int, int]:
    """How long a file is and what its bytes add up to, or only its beginning."""
    crc = at = 0
    while block := os.pread(handle, AT_ONCE if size is None else min(AT_ONCE, size - at), at):
        crc, at = zlib.crc32(block, crc), at + len(block)
    return at, crc


def _measured_at(path: Path) -> tuple[int, int] | None:
    """The measure of a file by its name; None if it is not a file of this user."""
    try:
        handle = open_own(path)
    except OSError:
        return None
    try:
        return _measure(handle)
    finally:
        os.close(handle)


def _arrow_bytes(quoted: Quoted) -> bytes:
    import pyarrow as pa

    table = quoted.arrow()
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    return bytes(sink.getvalue())


def _write_workbook(work: int, final: int, out: Path) -> None:
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


def _write_parquet(work: int, final: int, out: Path) -> None:
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
