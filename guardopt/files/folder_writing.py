"""Writes a new folder whole: an interruption leaves nothing half made, and nothing that is there is written over."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.drafts import CONTENT, draft_beside
from guardopt.files.held_files import new_file, sync_folder, write_all
from guardopt.files.whole_file import cannot_be_written


def refuse_if_taken(folder: Path, where: str) -> None:
    """Refuse anything but a new or empty folder.

    Parameters
    ----------
    folder
        What is to be written.
    where
        How it was asked for, to be quoted.

    Raises
    ------
    InputError
        Something is there already.
    """
    message = None
    if folder.is_symlink():
        message = "is a link, expected a new or empty folder"
    elif folder.exists() and not folder.is_dir():
        message = "is a file, expected a new or empty folder"
    elif folder.is_dir() and any(folder.iterdir()):
        message = "is not empty, expected a new or empty folder"
    elif folder.is_dir() and folder.resolve() == Path.cwd():
        message = "is the folder you are in, expected the name of a new one"
    if message is not None:
        raise InputError([Problem(where, message)])


def write_folder(
    contents: Mapping[str, bytes], folder: Path, where: str, check: Callable[[Path], None] = lambda _: None
) -> None:
    """Write files into a new or empty folder, all of them or nothing.

    They are written to a folder next to it, which then takes its place.

    Parameters
    ----------
    contents
        Files by name.
    folder
        Where they go.
    where
        How it was asked for, to be quoted.
    check
        Looks at what was written before it takes its place, and raises if it is not right.

    Raises
    ------
    InputError
        Something is there already, or it cannot be written.
    """
    path = folder.absolute()
    try:
        refuse_if_taken(folder, where)
        with draft_beside(path) as draft:
            whole = draft / CONTENT
            whole.mkdir()
            for name, content in contents.items():
                _write(whole / name, content)
            sync_folder(whole)
            check(whole)
            # An empty folder gives way, anything else that has come to be there does not.
            if os.name == "nt" and path.is_dir():
                path.rmdir()
            whole.rename(path)
        sync_folder(path.parent)
    except OSError as error:
        refuse_if_taken(folder, where)
        raise cannot_be_written(where, error) from error


def _write(path: Path, content: bytes) -> None:
    handle = new_file(path)
    try:
        write_all(handle, content)
        os.fsync(handle)
    finally:
        os.close(handle)
