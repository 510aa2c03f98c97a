"""The journal of an unfinished file: a folder that is marked as ours, and a line for everything that is done."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from guardopt.errors import InputError, Problem
from guardopt.files.drafts import CONTENT, draft_beside
from guardopt.files.held_files import ForeignFileError, is_file_at, lock, new_file, open_own, read_all, write_all
from guardopt.files.whole_file import cannot_be_written
from guardopt.shop.quote_columns import Totals
from guardopt.spelling import escaped

KIND = "unfinished quotes"
JOURNAL = "journal"

NOT_OURS = "is there already and is nothing that guardopt left; move it away, or choose another name for OUT"


@dataclass
class Progress:
    """How far an unfinished file has come."""

    found: dict[tuple[str, int], Any] = field(default_factory=dict)
    chunks: int = 0
    end: int = 0
    crc: int = 0
    totals: Totals = field(default_factory=Totals)
    whole: tuple[int, int] | None = None


def read_journal(journal: int, folder: Path, question: str) -> Progress:
    """How far an attempt has come; what lies behind the last whole line of its journal is cut off.

    Raises
    ------
    InputError
        It was begun for another question.
    """
    progress, kept = Progress(), 0
    for number, line in enumerate(read_all(journal).splitlines(keepends=True)):
        try:
            entry = json.loads(line) if line.endswith(b"\n") else None
        except ValueError:
            entry = None
        if entry is None:
            break
        if number == 0 and entry != _first_entry(question):
            raise problem_with(folder, "was begun for other riders, bikes or options; remove it to begin anew")
        _take(progress, entry)
        kept += len(line)
    os.ftruncate(journal, kept)
    os.lseek(journal, kept, os.SEEK_SET)
    return progress


def note(journal: int, entry: dict[str, Any]) -> None:
    """Add a line; what it tells of is safe on disk already."""
    write_all(journal, _line(entry))
    os.fsync(journal)


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


def problem_with(path: Path, message: str) -> InputError:
    """The error about a folder of unfinished quotes."""
    return InputError([Problem(escaped(str(path)), message)])


def _line(entry: dict[str, Any]) -> bytes:
    return json.dumps(entry, separators=(",", ":")).encode() + b"\n"


def _first_entry(question: str) -> dict[str, Any]:
    return {"guardopt": KIND, "question": question}


def begun(folder: Path, question: str) -> int:
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


def open_left(folder: Path) -> int | None:
    """The journal, locked, of what an earlier attempt left; None if it left nothing.

    Raises
    ------
    InputError
        What is there is not ours, or another process is at work on it.
    """
    while os.path.lexists(folder):
        if folder.is_symlink() or not folder.is_dir():
            raise problem_with(folder, NOT_OURS)
        try:
            journal = open_own(folder / JOURNAL)
        except FileNotFoundError:
            if not folder.is_dir():
                # The process that was at work on it has just finished.
                continue
            if any(folder.iterdir()):
                raise problem_with(folder, NOT_OURS) from None
            return None
        except ForeignFileError as error:
            raise problem_with(folder, NOT_OURS) from error
        except OSError as error:
            raise cannot_be_written(escaped(str(folder)), error) from error
        try:
            if lock(journal) is False:
                raise problem_with(folder, "another process is at work on it")
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
        raise problem_with(folder, NOT_OURS)
