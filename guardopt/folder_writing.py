"""Writes a new folder whole: an interruption leaves nothing half made, and nothing that is there is written over."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path

from guardopt.errors import InputError, Problem


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
    if folder.exists() and not folder.is_dir():
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
    path = folder.resolve()
    draft = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    try:
        refuse_if_taken(folder, where)
        draft.mkdir()
        for name, content in contents.items():
            (draft / name).write_bytes(content)
        check(draft)
        if path.is_dir():
            path.rmdir()
        draft.rename(path)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError([Problem(where, f"cannot be written: {reason}")]) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
