"""Standard output and standard error as they may be: closed, full, or of an encoding that lacks letters."""

from __future__ import annotations

import codecs
import os
import sys
from pathlib import Path
from typing import TextIO

PLAIN = "guardopt.plain"
"""Name of the way to write letters that an encoding lacks."""

_IN_OTHER_LETTERS = {"…": "...", "−": "-", "–": "-", "±": "+-", "≥": ">=", "≤": "<=", "’": "'", "“": '"', "”": '"'}
"""The package's own signs; others are written as their code."""


def open_closed_streams() -> bool:
    """Put the null device where a standard stream is closed, or the next file opened would take its place.

    Returns
    -------
    bool
        Whether standard output was closed: then nobody can read an answer.
    """
    closed = []
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # The lowest number that is free is the one given out, so this is that of the stream.
            os.open(os.devnull, os.O_RDWR)
            closed.append(number)
    is_closed = 1 in closed or sys.stdout is None
    # Python has no object for a stream that was closed when it started.
    sys.stdout = sys.stdout or _nowhere()
    sys.stderr = sys.stderr or _nowhere()
    return is_closed


def _nowhere() -> TextIO:
    return Path(os.devnull).open("w", encoding="utf-8")


def allow_any_text() -> None:
    """Write what an encoding lacks in other letters, instead of failing half way through an answer."""
    codecs.register_error(PLAIN, _in_other_letters)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=PLAIN)


def _in_other_letters(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    missing = error.object[error.start : error.end]
    pieces = [_IN_OTHER_LETTERS.get(one, one.encode("ascii", "backslashreplace").decode()) for one in missing]
    return "".join(pieces), error.end


def is_unicode(stream: TextIO) -> bool:
    """Whether a stream can take any letter as it is."""
    return (getattr(stream, "encoding", None) or "utf-8").lower().replace("-", "").startswith(("utf", "ucs"))


def forget(stream: TextIO) -> None:
    """Let what is left of a stream go nowhere, so that the end of the process does not fail on it once more."""
    try:
        number = stream.fileno()
    except (OSError, ValueError):
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, number)
    os.close(nowhere)
