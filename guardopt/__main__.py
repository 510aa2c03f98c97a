"""``guardopt`` and ``python -m guardopt``: an interrupt ends either in one word, however early it comes."""

from __future__ import annotations

import sys


def run() -> None:
    """Run the command line."""
    try:
        from guardopt.cli import run as run_command

        run_command()
    except (KeyboardInterrupt, ImportError) as error:
        # Packages that are interrupted while they load may say that they cannot be imported.
        if not _is_interrupt(error):
            raise
        sys.stderr.write("interrupted\n")
        sys.exit(130)


def _is_interrupt(error: BaseException | None) -> bool:
    return error is not None and (
        isinstance(error, KeyboardInterrupt) or _is_interrupt(error.__cause__ or error.__context__)
    )


if __name__ == "__main__":
    run()
