"""A kit of faults for whatever writes: a process killed at any step, a full or read-only disk, changed inputs, rivals.

Every change that the package makes on disk goes through a few functions of `os`. `Disk` counts them and makes one of
them fail, or all from one on, which is what a process that was killed leaves behind: no clean-up is done either.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from guardopt.cli import commands

STEPS = ("open", "write", "fsync", "mkdir", "rename", "replace", "link", "unlink", "rmdir", "ftruncate")

FULL, READ_ONLY, BROKEN, FORBIDDEN = errno.ENOSPC, errno.EROFS, errno.EIO, errno.EACCES


class Killed(BaseException):
    """The process is gone: nothing that follows on disk happens any more."""


@dataclass
class Disk:
    """What happens on disk below a folder, counted.

    Attributes
    ----------
    folder
        Changes elsewhere are no business of the test.
    fails_at
        The number of the step that fails, from 1 on; 0 for none.
    error
        With what; None for a process that is killed.
    lasts
        Whether every later step fails as well; after a kill they always do.
    """

    folder: Path
    fails_at: int = 0
    error: int | None = None
    lasts: bool = True
    steps: list[str] = field(default_factory=list)
    _held: set[int] = field(default_factory=set)

    @contextlib.contextmanager
    def watched(self) -> Iterator[Disk]:
        """Count, and fail where asked to."""
        before = {name: getattr(os, name) for name in STEPS}
        for name in STEPS:
            setattr(os, name, self._wrapped(name, before[name]))
        try:
            yield self
        finally:
            for name in STEPS:
                setattr(os, name, before[name])

    def _wrapped(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def step(*args: Any, **options: Any) -> Any:
            if not self._is_ours(name, args):
                return real(*args, **options)
            self.steps.append(name)
            number = len(self.steps)
            if self.fails_at and (number == self.fails_at or (number > self.fails_at and self.lasts)):
                if name == "write" and number == self.fails_at:
                    # A disk that is full, or a kill, cuts a write in two.
                    real(args[0], bytes(args[1])[: len(args[1]) // 2])
                if self.error is None:
                    raise Killed
                raise OSError(self.error, os.strerror(self.error))
            found = real(*args, **options)
            if name == "open":
                self._held.add(found)
            return found

        return step

    def _is_ours(self, name: str, args: tuple[Any, ...]) -> bool:
        if name in ("write", "fsync", "ftruncate"):
            return args[0] in self._held
        if not isinstance(args[0], str | os.PathLike):
            return False
        is_writing = name != "open" or args[1] & (os.O_CREAT | os.O_RDWR | os.O_WRONLY)
        # A name without a folder is one that is given to a descriptor, as `shutil.rmtree` does.
        is_below = str(args[0]).startswith(str(self.folder)) or os.sep not in str(args[0])
        return bool(is_writing and is_below)


@dataclass(frozen=True)
class Answer:
    """How a command ended and what it said."""

    status: int
    out: str
    err: str


def command(*args: object, encoding: str | None = None) -> Answer:
    """Run the command line within this process."""
    if encoding is None:
        out: Any = io.StringIO()
        err: Any = io.StringIO()
    else:
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True) for _ in range(2))
    argv, sys.argv = sys.argv, ["guardopt", *map(str, args)]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                commands.run()
                status = 0
            except SystemExit as ended:
                status = int(ended.code or 0)
    finally:
        sys.argv = argv
    # Where nothing but ASCII is asked for, click takes that for a slip of the system's and writes UTF-8.
    encoding = "utf-8" if encoding == "ascii" else encoding
    texts = [one.getvalue() if encoding is None else one.buffer.getvalue().decode(encoding) for one in (out, err)]
    return Answer(status, *texts)


def content(path: Path) -> dict[str, bytes] | bytes | None:
    """What is at a path: the bytes of a file, those of all files of a folder, or nothing."""
    if path.is_dir():
        return {str(one.relative_to(path)): one.read_bytes() for one in sorted(path.rglob("*")) if one.is_file()}
    return path.read_bytes() if os.path.lexists(path) else None


@dataclass
class Tally:
    """How many faults were tried, and which were not survived."""

    tried: int = 0
    failed: list[str] = field(default_factory=list)

    def survive(self, name: str, check: Callable[[], None]) -> None:
        """Try one fault."""
        self.tried += 1
        try:
            check()
        except Exception as error:
            self.failed.append(f"{name}: {type(error).__name__}: {error}"[:1000])

    def __str__(self) -> str:
        return f"faults tried: {self.tried}, survived: {self.tried - len(self.failed)}"
