"""Files held open: made new or opened only if our own, locked, read and written whole."""

from __future__ import annotations

import errno
import io
import os
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

AT_ONCE = 1 << 20
"""Bytes read or written at once where a file is gone through."""

# Files in a draft are new, so there is no link to follow; the flag says so to the system as well.
_NEW = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
_OLD = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)


class ForeignFileError(OSError):
    """Something is in the place of a file of ours that we cannot have made: a link, a pipe, a file of another user."""


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


def is_file_at(handle: int, path: Path) -> bool:
    """Whether a file that is held open is the one at a path."""
    try:
        return os.path.samestat(os.fstat(handle), os.lstat(path))
    except OSError:
        return False


def read_all(handle: int) -> bytes:
    """All that is in a file, wherever its position is."""
    return b"".join(pieces_of(handle))


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


def pieces_of(handle: int) -> Iterator[bytes]:
    """All that is in a file, piece by piece, wherever its position is."""
    at = 0
    while piece := os.pread(handle, AT_ONCE, at):
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
