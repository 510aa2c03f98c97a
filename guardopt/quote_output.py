"""Writes quotes so that they appear whole or not at all, and so that an interruption costs next to nothing.

Two files stand beside the one to come. ``OUT.unfinished`` grows by one chunk of riders at a time. ``OUT.journal`` has a
line for everything that is done: each ladder found, each bike's kits priced, each chunk written and how far the file
then reached. A line is written only after what it tells of is safe on disk. To go on after an interruption, what lies
behind the last whole line is cut off, and the rest is done. At the end the unfinished file takes its name.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from io import BufferedRandom
from pathlib import Path
from typing import IO, Any

from guardopt.errors import InputError, Problem
from guardopt.ladders import Ladders, find_ladders
from guardopt.quote_columns import Quoted, Totals, arrow_schema
from guardopt.rider_sheets import need_parquet
from guardopt.spelling import escaped
from guardopt.tables import BESIDE_A_SCENARIO, READING_ORDER

ENDINGS = (".csv", ".parquet")

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
        problem = f"expected a name that ends in {' or '.join(ENDINGS)}"
    elif out.name.casefold() in (*READING_ORDER, *BESIDE_A_SCENARIO):
        problem = "is the name of a file that is read, expected another"
    elif not out.parent.is_dir():
        problem = "its folder does not exist"
    elif out.exists():
        problem = "is there already; remove it or choose another name"
    if problem:
        raise InputError([Problem(escaped(str(out)), problem)])
    if out.suffix.lower() == ".parquet":
        need_parquet(out)


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
        another question, or in the hands of another process.
    """

    def __init__(self, out: Path, question: str, *, resume: bool) -> None:
        self._out = out
        self._work_path = out.with_name(f"{out.name}.unfinished")
        self._journal_path = out.with_name(f"{out.name}.journal")
        self._is_parquet = out.suffix.lower() == ".parquet"
        left = [path for path in (self._journal_path, self._work_path) if path.exists()]
        if left and not resume:
            message = "is left of an earlier attempt; go on with it by --resume, or remove it"
            raise InputError([Problem(escaped(str(path)), message) for path in left])
        self._journal: IO[bytes] = self._journal_path.open("a+b")
        try:
            _lock(self._journal, self._journal_path)
            self.progress = self._read_journal(question)
            if out.exists() and self.progress.whole != _measure(out):
                check_output(out)
            self._work: BufferedRandom = self._open_work()
        except BaseException:
            self._journal.close()
            raise

    def close(self) -> None:
        """Let go of the files; what is unfinished stays for another attempt."""
        self._work.close()
        self._journal.close()

    def _read_journal(self, question: str) -> Progress:
        self._journal.seek(0)
        progress, kept = Progress(), 0
        for number, line in enumerate(self._journal):
            try:
                entry = json.loads(line) if line.endswith(b"\n") else None
            except ValueError:
                entry = None
            if entry is None:
                break
            if number == 0 and entry != {"question": question}:
                message = "was begun for other riders, bikes or options; remove it and what is unfinished beside it"
                raise InputError([Problem(escaped(str(self._journal_path)), message)])
            _take(progress, entry)
            kept += len(line)
        self._journal.truncate(kept)
        if not kept:
            self._note({"question": question})
        return progress

    def _note(self, entry: dict[str, Any]) -> None:
        self._journal.write(json.dumps(entry, separators=(",", ":")).encode() + b"\n")
        self._journal.flush()
        os.fsync(self._journal.fileno())

    def _open_work(self) -> BufferedRandom:
        self._work_path.touch()
        work = self._work_path.open("r+b")
        if _crc(work, self.progress.end) != self.progress.crc:
            # What the journal tells of is not there: the chunks are written again, the ladders are still good.
            self.progress.chunks = self.progress.end = self.progress.crc = 0
            self.progress.totals = Totals()
        work.truncate(self.progress.end)
        work.seek(self.progress.end)
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
        self._work.write(content)
        self._work.flush()
        os.fsync(self._work.fileno())
        progress = self.progress
        progress.chunks += 1
        progress.end += len(content)
        progress.crc = zlib.crc32(content, progress.crc)
        progress.totals += quoted.totals
        self._note(
            {
                "chunk": progress.chunks,
                "end": progress.end,
                "crc": progress.crc,
                "totals": progress.totals.to_list(),
            }
        )

    def finish(self) -> Totals:
        """Give the file its name.

        Raises
        ------
        InputError
            Another file has taken it in the meantime.
        """
        if not self.progress.chunks and not self._is_parquet:
            self._work.write(Quoted.csv_header())
            self._work.flush()
        final = self._work_path
        if self._is_parquet:
            final = self._work_path.with_name(f"{self._work_path.name}.parquet")
            self._work.seek(0)
            _write_parquet(self._work, final)
        if not self._out.exists():
            self._note({"whole": _measure(final)})
            _give_name(final, self._out)
        self.close()
        final.unlink(missing_ok=True)
        self._work_path.unlink(missing_ok=True)
        self._journal_path.unlink(missing_ok=True)
        return self.progress.totals


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


def _lock(journal: IO[bytes], path: Path) -> None:
    """Keep other processes off, where the system can; the lock ends with the process."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(journal.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise InputError([Problem(escaped(str(path)), "another process is at work on it")]) from error


def _crc(file: IO[bytes], size: int) -> int:
    crc = 0
    while size and (block := file.read(min(size, AT_ONCE))):
        crc, size = zlib.crc32(block, crc), size - len(block)
    return crc


def _measure(path: Path) -> tuple[int, int]:
    size = path.stat().st_size
    with path.open("rb") as file:
        return size, _crc(file, size)


def _give_name(work: Path, out: Path) -> None:
    """Rename without ever replacing a file that has come to be there."""
    try:
        os.link(work, out)
    except FileExistsError:
        check_output(out)
    except OSError:
        check_output(out)
        work.rename(out)


def _arrow_bytes(quoted: Quoted) -> bytes:
    import pyarrow as pa

    table = quoted.arrow()
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    return bytes(sink.getvalue())


def _write_parquet(work: IO[bytes], final: Path) -> None:
    """Turn the chunks of a work file into one Parquet file."""
    import pyarrow as pa

    pq = need_parquet(final)
    size = os.fstat(work.fileno()).st_size
    with pq.ParquetWriter(final, arrow_schema()) as writer:
        while work.tell() < size:
            with pa.ipc.open_stream(work) as stream:
                writer.write_table(stream.read_all())
    with final.open("rb") as file:
        os.fsync(file.fileno())
