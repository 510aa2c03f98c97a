"""How large a file may be, and reading it without ever taking in more than that.

The limits are far above what a real bike or shop needs. They are checked before any work begins, so that a file that is
something else altogether, or was made to do harm, costs a moment and a message. `scenarios/README.md` states them.
"""

from __future__ import annotations

import errno
import os
import re
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO

MOST_BYTES = 4_000_000
"""Of a table or of settings."""

MOST_SETTINGS_BYTES = 250_000
"""Of a file of settings."""

MOST_ROWS: Mapping[str, int] = {
    "parts": 500,
    "falls": 100,
    "hits": 500,
    "guards": 500,
    "knock_on": 2_000,
    "covers": 5_000,
    "offers": 500,
    "riding": 500,
    "points": 1_000,
    "exposes": 5_000,
}
"""Of the tables of a scenario."""

MOST_OTHER_ROWS = 20_000
"""Of any other table, that of riders aside, which may have any number."""

MOST_COLUMNS = 200
"""Of any table."""

MOST_PROBLEMS = 1_000
"""Told of at once."""

MOST_IDS = 100
"""Ids in a list of ids."""

MOST_JOINED = 8
"""Ids joined by ``+``: guards that only protect together."""

LONGEST_CHAIN = 50
"""Knock-ons one after the other."""

LONGEST_LINE = 1_000_000
"""Characters of a line in a table of riders."""

LONGEST_CELL = 131_072
"""Characters of a cell."""

DEEPEST = 10
"""Brackets within brackets, and names joined by points, in a file of settings."""

_KINDS = (
    (stat.S_ISDIR, errno.EISDIR, "it is a folder, expected a file"),
    (stat.S_ISFIFO, errno.EINVAL, "it is a pipe, expected a file"),
    (stat.S_ISSOCK, errno.EINVAL, "it is a socket, expected a file"),
    (stat.S_ISCHR, errno.EINVAL, "it is a device, expected a file"),
    (stat.S_ISBLK, errno.EINVAL, "it is a device, expected a file"),
)

# So that a pipe with nobody at its other end does not hold us up before we have seen what it is.
_FLAGS = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)


def open_file(path: Path) -> int:
    """Open a file to be read, if it is one: no pipe, device, socket or folder.

    Raises
    ------
    OSError
        It is not there, may not be read or is no file.
    """
    for is_kind, number, why in _KINDS:
        # A socket cannot even be opened, and some devices do something when they are.
        if is_kind(path.stat().st_mode):
            raise OSError(number, why)
    handle = os.open(path, _FLAGS)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(errno.EINVAL, "it is not a file")
    return handle


def open_text(path: Path) -> IO[str]:
    """Open a file to be read as text, line ends as they are; bytes that are not UTF-8 come as surrogates."""
    return os.fdopen(open_file(path), encoding="utf-8-sig", errors="surrogateescape", newline="")


def read_whole(path: Path, most: int = MOST_BYTES) -> bytes:
    """The bytes of a file.

    Raises
    ------
    OSError
        It cannot be read, is no file or is longer than `most` bytes.
    """
    with os.fdopen(open_file(path), "rb") as file:
        content = file.read(most + 1)
    if len(content) > most:
        raise OSError(errno.EFBIG, f"it is longer than {most:,} bytes")
    return content


def lines_of(file: IO[str], first: int = 1) -> Iterator[str]:
    """The lines of a file, none of them longer than `LONGEST_LINE`.

    Raises
    ------
    OverflowError
        One is; its number is in the message.
    """
    number = first
    while line := file.readline(LONGEST_LINE + 1):
        if len(line) > LONGEST_LINE:
            raise OverflowError(f"line {number}")
        yield line
        number += 1


def rows_fault(name: str, rows: int) -> str | None:
    """What to say of a table with so many rows, if they are too many."""
    most = MOST_ROWS.get(name, MOST_OTHER_ROWS)
    return f"has more than {most:,} rows" if rows > most else None


def columns_fault(columns: int) -> str | None:
    """What to say of a table with so many columns, if they are too many."""
    return f"has more than {MOST_COLUMNS} columns" if columns > MOST_COLUMNS else None


def settings_fault(text: str) -> tuple[int, str] | None:
    """The line at which settings nest deeper than any need to, and what to say of it."""
    depth = joined = 0
    line = 1
    for token in _TOKENS.finditer(text):
        piece = token[0]
        if piece in _UNCLOSED:
            # Text that does not end is the first thing that whoever reads the settings will say.
            return None
        if piece in "[{":
            depth += 1
        elif piece in "]}":
            depth = max(0, depth - 1)
        elif piece == ".":
            joined += 1
        elif piece == "\n":
            joined = 0
        if piece in "=,[]{}":
            joined = 0
        if depth > DEEPEST:
            return line, f"brackets stand more than {DEEPEST} deep"
        if joined > DEEPEST:
            return line, f"more than {DEEPEST} names are joined by points"
        line += piece.count("\n")
    return None


_UNCLOSED = ('"""', "'''", '"', "'")

_TOKENS = re.compile(
    r'''"""(?:[^"\\]|\\.|"(?!""))*"""|"""|"(?:[^"\\\n]|\\.)*"|"|'''
    r"'''(?:[^']|'(?!''))*'''|'''|'[^'\n]*'|'|"
    r"#[^\n]*|[\[\]{}.=,\n]",
    re.DOTALL,
)
"""Text, comments and what settings are nested by; the rest of a file is skipped."""
