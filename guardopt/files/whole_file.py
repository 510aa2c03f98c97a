"""Writes files so that they appear whole or not at all, wherever an interruption falls.

What is to come grows in a draft: a hidden folder beside its place, with a mark of ours in it. When it is safe on disk,
it takes its name in one step. No link is followed on the way, and nothing that is there is replaced unless the caller
has found it to be its own. A process that was killed leaves its draft; the next one that writes into the same folder
removes it. Whether a draft is still in use its lock tells, which ends with the process.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.drafts import CONTENT, draft_beside
from guardopt.files.held_files import AT_ONCE, is_file_at, new_file, pieces_of, sync_folder, write_all


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
        write_file(pieces_of(handle), target, where)
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


def _blocks(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The same bytes in fewer pieces."""
    block = bytearray()
    for piece in pieces:
        block += piece
        if len(block) >= AT_ONCE:
            yield bytes(block)
            block.clear()
    yield bytes(block)
