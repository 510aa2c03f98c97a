"""How reports for a terminal are laid out: eighty columns wide, plain text, with the cautions at the end."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from guardopt.scenario import Scenario
from guardopt.wording import number

WIDTH = 80

CAUTIONS = (
    "Guards protect the machine, not the rider. The evidence on rider injury is old, small and mixed; nothing here is "
    "advice on injury.",
    "Fitting and repair of frame, fork, brakes and steering belong to a qualified mechanic.",
    "Local vehicle rules, the maker's instructions and the insurer's terms come first.",
    "The numbers are estimates from simulated falls, and no better than the prices, hours and chances put in.",
)


def wrapped(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """A paragraph as lines of at most eighty columns."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def table(header: Sequence[str], rows: Iterable[Sequence[str]], left: int = 1) -> list[str]:
    """Columns lined up: the first `left` to the left, the rest to the right.

    The first column gives way when the table would be too wide.
    """
    body = [list(row) for row in rows]
    widths = [max(len(row[i]) for row in [list(header), *body]) for i in range(len(header))]
    widths[0] = min(widths[0], WIDTH - 2 - sum(widths[1:]) - 2 * (len(widths) - 1))
    lines = []
    for row in [list(header), *body]:
        cells = [
            cell[: widths[i]].ljust(widths[i]) if i < left else cell.rjust(widths[i]) for i, cell in enumerate(row)
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return lines


def cautions() -> list[str]:
    """What every report has to say."""
    return ["", "Before you rely on this", *(line for one in CAUTIONS for line in wrapped(one, "    ", "  - "))]


def plus_minus(error: float | None) -> str:
    """A standard error as it stands behind a number."""
    return "(error unknown)" if error is None else f"± {number(error)}"


def title(scenario: Scenario) -> list[str]:
    """The scenario's title, underlined."""
    return [*wrapped(scenario.title), "=" * min(WIDTH, len(scenario.title))]
