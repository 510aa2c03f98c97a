"""Writes files so that they appear whole or not at all, wherever an interruption falls.

What is to come grows in a draft: a hidden folder beside its place, with a mark of ours in it. When it is safe on disk,
it takes its name in one step. No link is followed on the way, and nothing that is there is replaced unless the caller
has found it to be its own. A process that was killed leaves its draft; the next one that writes into the same folder
removes it. Whether a draft is still in use its lock tells, which ends with the process.
"""

from __future__ import annotations

import errno
import io
import os
import re
import secrets
import shutil
import stat
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from guardopt.errors import InputError, Problem

MARK_FILE = "mark"
MARK = b"guardopt draft\n"
CONTENT = "content"

_DRAFT_NAME = re.compile(r"\.guardopt-[0-9a-f]{16}")
_TRIES = 100
_AT_ONCE = 1 << 20

# Files in a draft are new, so there is no link to follow; the flag says so to the system as well.
_NEW = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
_OLD = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)


class ForeignFileError(OSError):
    """Something is in the place of a file of ours that we cannot have made: a link, a pipe, a file of another user."""


def refuse_taken_file(path: Path, where: str) -> None:
    """Refuse a file that is there already, or whose folder is not.

    Parameters
    ----------
    path
        What is to be written.
    where
        How it was asked for, to be quoted.

    Raises
    ------
    InputError
        It cannot be a new file.
    """
    message = None
    if path.is_dir():
        message = "is a folder, expected a new file"
    elif os.path.lexists(path):
        message = "is there already; remove it or choose another name"
    elif not path.absolute().parent.is_dir():
        message = "its folder does not exist"
    if message:
        raise InputError([Problem(where, message)])


def write_file(
    content: bytes | Iterable[bytes],
    path: Path,
    where: str,
    check: Callable[[Path], None] = lambda _: None,
    *,
    replace: bool = False,
) -> None:
    """Write a file; it takes its name when it is whole and safe on disk.

    Parameters
    ----------
    content
        What stands in it, at once or piece by piece.
    path
        Where it goes.
    where
        How it was asked for, to be quoted.
    check
        Looks at what was written before it takes its name, and raises if it is not right.
    replace
        Whether a file that is there gives way; the caller has to have looked at it.

    Raises
    ------
    InputError
        Something is there already, or it cannot be written.
    """
    if not replace:
        refuse_taken_file(path, where)
    try:
        with draft_beside(path) as draft:
            whole = draft / CONTENT
            handle = new_file(whole)
            try:
                for block in (content,) if isinstance(content, bytes) else _blocks(content):
                    write_all(handle, block)
                os.fsync(handle)
                check(whole)
                if replace:
                    whole.replace(path)
                else:
                    publish(handle, whole, path, where)
            finally:
                os.close(handle)
        sync_folder(path.absolute().parent)
    except OSError as error:
        raise cannot_be_written(where, error) from error


def cannot_be_written(where: str, error: OSError) -> InputError:
    """The error for something that the system would not write."""
    return InputError([Problem(where, f"cannot be written: {(error.strerror or str(error)).lower()}")])


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


def lock(handle: int) -> bool | None:
    """Keep other processes off a file; the lock ends with the process.

    Returns
    -------
    bool or None
        Whether it was to be had; None where the system has no locks.
    """
    try:
        import fcntl
    except ImportError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def new_file(path: Path) -> int:
    """Open a file that is not there yet for reading and writing; it has no names but this one."""
    return os.open(path, _NEW, 0o666)


def open_own(path: Path) -> int:
    """Open a file that only this user can have made: no link, pipe or device, and under no other name.

    Raises
    ------
    ForeignFileError
        It is not such a file.
    OSError
        It is not there or cannot be opened.
    """
    try:
        handle = os.open(path, _OLD)
    except OSError as error:
        # A link, a socket and a folder are not even opened.
        if error.errno in (errno.ELOOP, errno.ENXIO, errno.EISDIR):
            raise ForeignFileError(error.errno, "it is not a file of this user") from error
        raise
    about = os.fstat(handle)
    is_ours = not hasattr(os, "getuid") or about.st_uid == os.getuid()
    if stat.S_ISREG(about.st_mode) and is_ours:
        return handle
    os.close(handle)
    raise ForeignFileError(errno.EPERM, "it is not a file of this user")


def write_all(handle: int, content: bytes | memoryview) -> None:
    """Write bytes, all of them."""
    rest = memoryview(content).cast("B")
    while rest:
        rest = rest[os.write(handle, rest) :]


def publish(handle: int, path: Path, target: Path, where: str) -> None:
    """Give a file that is held open its name; nothing that has come to be there is replaced.

    What is published is what is held open, not whatever bears its name by now.

    Parameters
    ----------
    handle
        The file, open for reading.
    path
        What it was called.
    target
        What it is to be called.
    where
        How it was asked for, to be quoted.

    Raises
    ------
    InputError
        Something has come to be there.
    OSError
        It cannot be written.
    """
    if not is_file_at(handle, path):
        write_file(_pieces(handle), target, where)
        return
    try:
        os.link(path, target, follow_symlinks=False)
    except FileExistsError:
        refuse_taken_file(target, where)
        raise
    except OSError:
        # Some file systems have one name for a file only.
        refuse_taken_file(target, where)
        path.rename(target)
    if not is_file_at(handle, target):
        raise OSError(None, "another program put something else into its place")


def is_file_at(handle: int, path: Path) -> bool:
    """Whether a file that is held open is the one at a path."""
    try:
        return os.path.samestat(os.fstat(handle), os.lstat(path))
    except OSError:
        return False


def _blocks(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The same bytes in fewer pieces."""
    block = bytearray()
    for piece in pieces:
        block += piece
        if len(block) >= _AT_ONCE:
            yield bytes(block)
            block.clear()
    yield bytes(block)


def read_all(handle: int) -> bytes:
    """All that is in a file, wherever its position is."""
    return b"".join(_pieces(handle))


class HeldFile(io.RawIOBase):
    """A file that is held open, for libraries that want an object to read from and write to; it stays open."""

    def __init__(self, handle: int) -> None:
        self._handle = handle

    def readable(self) -> bool:
        """Yes."""
        return True

    def writable(self) -> bool:
        """Yes."""
        return True

    def seekable(self) -> bool:
        """Yes."""
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a position."""
        return os.lseek(self._handle, offset, whence)

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer as far as there is something to read."""
        return os.readv(self._handle, [buffer])

    def write(self, content: Any) -> int:
        """Write all of it."""
        write_all(self._handle, memoryview(content))
        return memoryview(content).nbytes


def _pieces(handle: int) -> Iterator[bytes]:
    at = 0
    while piece := os.pread(handle, _AT_ONCE, at):
        at += len(piece)
        yield piece


def sync_folder(folder: Path) -> None:
    """Make a name safe on disk, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
