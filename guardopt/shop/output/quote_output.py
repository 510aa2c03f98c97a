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

import os
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from guardopt.files.drafts import remove_old_drafts
from guardopt.files.held_files import AT_ONCE, ForeignFileError, is_file_at, new_file, open_own, sync_folder, write_all
from guardopt.files.whole_file import cannot_be_written, publish
from guardopt.shop.output.journal import JOURNAL, NOT_OURS, begun, note, open_left, problem_with, read_journal
from guardopt.shop.output.quote_formats import arrow_bytes, check_output, write_parquet, write_workbook
from guardopt.shop.quote_columns import Quoted, Totals
from guardopt.shop.rider_curves import Ladders, find_ladders
from guardopt.spelling import escaped

QUOTES, WHOLE = "quotes", "whole"


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
        left = open_left(self._folder)
        if left is not None and not resume:
            os.close(left)
            raise problem_with(self._folder, "is left of an earlier attempt; resume it or remove it")
        if left is None:
            check_output(out)
        else:
            # A process killed just after it began has left its draft, and no other is made on the way.
            remove_old_drafts(out.absolute().parent)
        with self._written():
            self._journal = begun(self._folder, question) if left is None else left
        try:
            with self._written():
                self.progress = read_journal(self._journal, self._folder, question)
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

    def _open_work(self) -> int:
        path, progress = self._folder / QUOTES, self.progress
        try:
            work = open_own(path)
        except FileNotFoundError:
            work = new_file(path)
        except ForeignFileError as error:
            raise problem_with(self._folder, NOT_OURS) from error
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
                    note(self._journal, {"job": name, "row": left[row], "found": record})
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
            content = arrow_bytes(quoted)
        else:
            content = quoted.csv() if self.progress.chunks else Quoted.csv_header() + quoted.csv()
        progress = self.progress
        end, crc = progress.end + len(content), zlib.crc32(content, progress.crc)
        totals = progress.totals + quoted.totals
        with self._written():
            write_all(self._work, content)
            os.fsync(self._work)
            note(self._journal, {"chunk": progress.chunks + 1, "end": end, "crc": crc, "totals": totals.to_list()})
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
            raise problem_with(self._folder, message)
        final, path = self._work, self._folder / QUOTES
        is_rewritten = self._is_parquet or self._out.suffix.lower() == ".xlsx"
        if is_rewritten:
            path = self._folder / WHOLE
            path.unlink(missing_ok=True)
            final = new_file(path)
            write = write_parquet if self._is_parquet else write_workbook
            write(self._work, final, self._out)
        elif not progress.chunks:
            write_all(final, Quoted.csv_header())
        os.fsync(final)
        note(self._journal, {"whole": _measure(final)})
        publish(final, path, self._out, escaped(str(self._out)))
        sync_folder(self._out.absolute().parent)
        if is_rewritten:
            os.close(final)


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
