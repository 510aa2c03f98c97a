"""``guardopt`` and ``python -m guardopt``: an interrupt ends either in one word, however early it comes."""

from __future__ import annotations

import signal
import sys
from types import FrameType

_interrupts: list[int] = []


def run() -> None:
    """Run the command line."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _interrupt)
        sys.unraisablehook = _unless_interrupted
    try:
        from guardopt.cli.commands import run as run_command

        run_command(was_interrupted=lambda: bool(_interrupts))
    except (KeyboardInterrupt, Exception):
        # Packages that are interrupted while they load may fail in any way.
        if not _interrupts:
            raise
        sys.stderr.write("interrupted\n")
        sys.exit(130)


def _interrupt(number: int, _frame: FrameType | None) -> None:
    """Note it, since packages that are loading may swallow the exception, and go on or fail later in another way."""
    _interrupts.append(number)
    raise KeyboardInterrupt


def _unless_interrupted(failure: sys.UnraisableHookArgs) -> None:
    """Say nothing of an interrupt where Python cannot raise it; progress asks for it."""
    if not isinstance(failure.exc_value, KeyboardInterrupt):
        sys.__unraisablehook__(failure)


if __name__ == "__main__":
    run()
