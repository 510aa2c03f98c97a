"""How reports for a terminal are laid out: eighty columns wide, plain text, with the cautions at the end."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import accumulate

from guardopt.model.scenario import Scenario
from guardopt.words import WIDTH, number, wrapped

NARROWEST = 8
"""Columns of a terminal that the first column of a table keeps."""

CAUTIONS = (
    "Guards protect the machine, not the rider. The evidence on rider injury is old, small and mixed; nothing here is "
    "advice on injury.",
    "Fitting and repair of frame, fork, brakes and steering belong to a qualified mechanic.",
    "Local vehicle rules, the maker's instructions and the insurer's terms come first.",
    "The numbers are estimates from simulated falls, and no better than the prices, hours and chances put in.",
)

IN_SHORT = (
    "Guards protect the machine, not the rider; evidence on rider injury is mixed. Frame, fork, brakes and steering "
    "are for a qualified mechanic; vehicle rules, maker and insurer come first. All numbers are estimates. More: plan "
    "--full."
)


def table(
    header: Sequence[str],
    rows: Iterable[Sequence[str]],
    left: int = 1,
    above: Sequence[tuple[str, int]] = (),
) -> list[str]:
    """Columns lined up: the first `left` to the left, the rest to the right.

    Nothing is cut off: where the table would be too wide, headings stand on several lines, then the last and at length
    the first of the columns to the left.

    Parameters
    ----------
    header, rows
        One cell for each column.
    left
        Number of columns lined up to the left.
    above
        Headings over several columns each: the heading and the number of columns, from the first on.
    """
    body = [list(row) for row in [header, *rows]]
    widths = [max(width_of(row[i]) for row in body) for i in range(len(header))]
    ends = accumulate(columns for _, columns in above)
    spans = [(heading, slice(end - columns, end)) for (heading, columns), end in zip(above, ends, strict=True)]
    for heading, span in spans:
        widths[span.stop - 1] += max(0, width_of(heading) - _across(widths[span]))
    _narrow(widths, body, left, may_fold_headings=not above)
    lines = (
        ["  " + "  ".join(padded(heading, _across(widths[span]), left=False) for heading, span in spans)]
        if above
        else []
    )
    for place, row in enumerate(body):
        cells = [
            folded(cell, width) if column < left or place == 0 else [cell]
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        height = max(map(len, cells))
        # Headings stand on the rows below them, and rows hang from their first line.
        stacked = [_stacked(cell, height, is_low=place == 0) for cell in cells]
        for line in zip(*stacked, strict=True):
            texts = [
                padded(text, width, left=column < left)
                for column, (text, width) in enumerate(zip(line, widths, strict=True))
            ]
            lines.append(("  " + "  ".join(texts)).rstrip())
    return lines


def _narrow(widths: list[int], body: Sequence[Sequence[str]], left: int, *, may_fold_headings: bool) -> None:
    """Make columns of a table narrower until it fits, in place."""

    def give_way(column: int, least: int) -> None:
        over = max(0, _across(widths) + 2 - WIDTH)
        widths[column] = max(min(least, widths[column]), widths[column] - over)

    def longest(column: int, rows: Sequence[Sequence[str]]) -> int:
        return max(width_of(word) for row in rows for word in row[column].split(" "))

    if may_fold_headings:
        least = [max(longest(i, body[:1]), *(width_of(row[i]) for row in body[1:]), 0) for i in range(len(widths))]
        for column in sorted(range(left, len(widths)), key=lambda i: least[i] - widths[i]):
            give_way(column, least[column])
    for column in reversed(range(left)):
        give_way(column, longest(column, body) if column else NARROWEST)


def _stacked(lines: Sequence[str], height: int, *, is_low: bool) -> list[str]:
    """Lines of a cell with blank ones above or below them."""
    blank = [""] * (height - len(lines))
    return [*blank, *lines] if is_low else [*lines, *blank]


def folded(text: str, width: int) -> list[str]:
    """A text on lines of a width, broken at blanks, after underscores and before points, and else where it must.

    >>> folded("engine_case.left does more", 16), folded("engine_case.left", 12)
    (['engine_case.left', 'does more'], ['engine_case', '.left'])
    """
    lines = [""]
    for piece in re.split(r"(?<=[ _])|(?=\.[^0-9])", text):
        if lines[-1] and width_of((lines[-1] + piece).rstrip()) > width:
            lines.append("")
        for letter in piece:
            if width_of((lines[-1] + letter).rstrip()) > width:
                lines.append("")
            lines[-1] += letter
    return [line.rstrip() for line in lines]


def width_of(text: str) -> int:
    """How many columns of a terminal a text takes: East Asian letters take two, combining marks none.

    >>> width_of("EUR"), width_of("円"), width_of("a\u0301")
    (3, 2, 1)
    """
    if text.isascii():
        return len(text)
    from wcwidth import wcswidth

    width = wcswidth(text)
    return len(text) if width < 0 else width


def padded(text: str, width: int, *, left: bool) -> str:
    """A text with blanks up to a width, lined up to the left or to the right."""
    blanks = " " * (width - width_of(text))
    return text + blanks if left else blanks + text


def _across(widths: Sequence[int]) -> int:
    """Width of several columns and the blanks between them."""
    return sum(widths) + 2 * (len(widths) - 1)


def shortened(name: str, width: int) -> str:
    """A name that fits a width; the side behind its point stays, so that left and right can be told apart.

    >>> shortened("engine_case.left", 12), shortened("tank", 12)
    ('engine….left', 'tank')
    """
    if width_of(name) <= width:
        return name
    stem, point, side = name.rpartition(".")
    tail = point + side if point and width_of(side) + 3 <= width else ""
    kept = stem if tail else name
    while width_of(kept) > width - 1 - width_of(tail):
        kept = kept[:-1]
    return f"{kept}…{tail}"


def cautions() -> list[str]:
    """What every report has to say, in short."""
    return ["", *wrapped(IN_SHORT)]


def whole_cautions() -> list[str]:
    """What every report has to say, in full."""
    return ["", "Before you rely on this", *(line for one in CAUTIONS for line in wrapped(one, "    ", "  - "))]


def plus_minus(error: float | None) -> str:
    """A standard error as it stands behind a number."""
    return "(error unknown)" if error is None else f"± {number(error)}"


def title(scenario: Scenario) -> list[str]:
    """The scenario's title, underlined."""
    return [*wrapped(scenario.title), "=" * min(WIDTH, width_of(scenario.title))]
