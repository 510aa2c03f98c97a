"""What the text of a cell is taken for where that is clear: words for chances, decimal commas, spellings of choices.

What may mean two things is refused (`UnclearCellError`), never guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from guardopt.errors import Place
from guardopt.files.cells import Findings
from guardopt.model.chance_words import chance_word
from guardopt.number_faults import (
    A_TIME,
    DECIMAL_COMMA,
    POINT_AND_THREE_DIGITS,
    POINTS_AND_A_COMMA,
    NumberFault,
    date_or_time,
    thousands_fault,
)
from guardopt.spreadsheet_dates import part_of_day, typed_as_hours, typed_as_odds

_SPELLINGS = {"true": "yes", "y": "yes", "1": "yes", "false": "no", "n": "no", "0": "no", "center": "centre"}
"""What else a choice may be called: logical values of spreadsheets, and the other spelling of English."""


class UnclearCellError(ValueError):
    """A cell that may mean two things."""

    def __init__(self, fault: NumberFault) -> None:
        super().__init__(str(fault))
        self.fault = fault


def word_meant(text: str, findings: Findings) -> Decimal | None:
    """The chance that a word stands for, or None if it is no such word; the words used are noted."""
    word = chance_word(text)
    chance = findings.words.get(word)
    if chance is None:
        return None
    findings.words_used[word] = chance
    return Decimal(repr(chance))


def time_meant(text: str, where: Place, findings: Findings, *, are_hours: bool) -> str:
    """The number of a cell of a workbook that is shown as a time, with a warning; other text as it is.

    Raises
    ------
    UnclearCellError
        It may have been typed as a time: hours and minutes of work, or odds.
    """
    number = part_of_day(text)
    if number is None or not (are_hours or where.letters):
        return text
    typed = typed_as_hours(text) if are_hours else typed_as_odds(text)
    if typed is not None:
        raise UnclearCellError(date_or_time(A_TIME, typed))
    message = f"found '{text}', a time of day; taken for the number the cell holds, {number:g}"
    findings.warn(where, f"{message}; format the cell as a number to see it", kind=A_TIME)
    # A number was not typed: a further decimal keeps its point from being taken for one that divides thousands.
    return f"{number}0" if thousands_fault(str(number)) else str(number)


def choice_meant(text: str, choices: Sequence[str]) -> str:
    """The choice that is meant, in whatever letters it is written; the text itself if none is.

    >>> choice_meant("Both", ("left", "right", "both")), choice_meant("TRUE", ("yes", "no")), choice_meant("up", ())
    ('both', 'yes', 'up')
    """
    folded = text.casefold()
    other = _SPELLINGS.get(folded, folded)
    return next((choice for choice in (folded, other) if choice in choices), text)


def point_for_comma(text: str) -> str:
    """A number of a file that writes decimals with a comma, with a point instead; other text as it is.

    >>> point_for_comma("0,15"), point_for_comma("1.250,50"), point_for_comma("0.15")
    ('0.15', '1250.50', '0.15')

    Raises
    ------
    UnclearCellError
        A point stands before three digits: it may divide thousands or decimals.
    """
    if POINTS_AND_A_COMMA.fullmatch(text):
        return text.replace(".", "").replace(",", ".")
    if DECIMAL_COMMA.fullmatch(text):
        return text.replace(",", ".")
    if POINT_AND_THREE_DIGITS.fullmatch(text):
        choices = (text.replace(".", ""), text.replace(".", ","))
        raise UnclearCellError(NumberFault("a point that may divide thousands or decimals", choices))
    return text
