"""Notices when what is read more than once was changed in between, so that two versions are never mixed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.limits import read_whole
from guardopt.spelling import escaped


@contextmanager
def taken_once(paths: Iterable[Path]) -> Iterator[Callable[[], None]]:
    """Take note of files; what is given is to be called before anything that rests on them is published.

    An error on the way is put down to a change, if there was one.

    Parameters
    ----------
    paths
        The files; those that are not there count as well.

    Raises
    ------
    InputError
        They are others by now; each is named.
    """
    before = {path: _digest(path) for path in paths}

    def refuse_if_changed() -> None:
        message = "was changed while it was being read; nothing was written, run the command again"
        changed = [path for path, digest in before.items() if _digest(path) != digest]
        if changed:
            raise InputError([Problem(escaped(str(path)), message) for path in changed])

    try:
        yield refuse_if_changed
    except Exception:
        refuse_if_changed()
        raise


def _digest(path: Path) -> str | None:
    """What tells the content of a file from any other; None if it cannot be read."""
    try:
        return sha256(read_whole(path)).hexdigest()
    except OSError:
        return None
