"""Drafts: hidden folders of ours in which files grow, known by their mark and in use while it is locked."""

from __future__ import annotations

import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from guardopt.files.held_files import lock, new_file, open_own, write_all

MARK_FILE = "mark"
MARK = b"guardopt draft\n"
CONTENT = "content"

_DRAFT_NAME = re.compile(r"\.guardopt-[0-9a-f]{16}")
_TRIES = 100


@contextmanager
def draft_beside(path: Path) -> Iterator[Path]:
    """A new hidden folder of ours beside a path; it is removed afterwards, with what is still in it.

    Drafts that killed processes left in the same folder are removed first.

    Raises
    ------
    OSError
        It cannot be made.
    """
    parent = path.absolute().parent
    remove_old_drafts(parent)
    draft, mark = _new_draft(parent)
    try:
        yield draft
    finally:
        _remove_and_unlock(draft, mark)


def _new_draft(parent: Path) -> tuple[Path, int]:
    for _ in range(_TRIES):
        draft = parent / f".guardopt-{secrets.token_hex(8)}"
        mark = None
        try:
            draft.mkdir(0o700)
            mark = new_file(draft / MARK_FILE)
            if lock(mark) is not False and os.fstat(mark).st_nlink:
                write_all(mark, MARK)
                return draft, mark
        except FileNotFoundError:
            # Another process took the bare folder for one that was left behind, unless there is no place for it at all.
            if not parent.is_dir():
                raise
        except BaseException:
            _remove_and_unlock(draft, mark)
            raise
        if mark is not None:
            os.close(mark)
    raise OSError(None, "other processes remove every draft that is made")


def remove_old_drafts(parent: Path) -> None:
    """Remove what processes that were killed left in a folder, and nothing else.

    A draft is known by its name, its mark and by no process holding the lock on it. Where the system has no locks
    nothing is removed.
    """
    try:
        found = [Path(entry.path) for entry in os.scandir(parent) if _DRAFT_NAME.fullmatch(entry.name)]
    except OSError:
        return
    for draft in found:
        if draft.is_symlink() or not draft.is_dir():
            continue
        with suppress(OSError):
            try:
                mark = open_own(draft / MARK_FILE)
            except FileNotFoundError:
                # Killed before there was a mark: then the folder is bare, and else it stays.
                draft.rmdir()
                continue
            try:
                # Killed while it wrote the mark, a process left the beginning of it.
                if lock(mark) and MARK.startswith(os.pread(mark, len(MARK) + 1, 0)):
                    _remove(draft)
            finally:
                os.close(mark)


def _remove(draft: Path) -> None:
    """Take a draft away; what is not of its making stays, and so does the draft then."""
    content = draft / CONTENT
    with suppress(OSError):
        if content.is_dir() and not content.is_symlink():
            shutil.rmtree(content, ignore_errors=True)
        else:
            content.unlink(missing_ok=True)
        if {entry.name for entry in os.scandir(draft)} <= {MARK_FILE}:
            (draft / MARK_FILE).unlink(missing_ok=True)
            draft.rmdir()


def _remove_and_unlock(draft: Path, mark: int | None) -> None:
    try:
        _remove(draft)
    finally:
        if mark is not None:
            os.close(mark)
