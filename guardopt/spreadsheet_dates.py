"""Dates and times that spreadsheets make of numbers: which number a cell holds, and what may have been typed into it.

Who types 1/4 into a spreadsheet gets the first of April. Who types 0.25 over it later sees a date or a time as well,
since the cell keeps its format; there the number is in the file and only has to be taken.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

DAY_BEFORE_FIRST = date(1899, 12, 31)
"""The day of the number 0 in ``.xlsx``, up to the number 59; the number 60 is a leap day that 1900 did not have."""

DAY_ZERO = date(1899, 12, 30)
"""The day of the number 0 from the number 61 on; in ``.ods`` of every number."""

DAYS_ARE_DATES_FROM = date(1901, 1, 1)
"""From here on a date may have been typed; before it, it is how a spreadsheet shows a number up to 366."""

_LEAP_DAY_IN_QUESTION = date(1900, 2, 28)
_DECIMALS = 7
"""Of a number shown as a time: times are kept to the millisecond, which is 0.00000001 of a day."""

_BY_POINTS = re.compile(r"(0?[1-9]|[12][0-9]|3[01])\.(0?[1-9]|1[0-2])\.(?:[0-9]{2}|[0-9]{4})?")
_BY_STROKES = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{2}|[0-9]{4})")
_BY_ISO = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?:[T ][0-9:.]+)?")
_MONTH = "(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-zä]*"
_BY_NAME = re.compile(rf"[0-9]{{1,4}}[.\-/ ]+{_MONTH}[.\-/ ]*(?:[0-9]{{2,4}})?", re.IGNORECASE)
_TIME = re.compile(r"([0-9]{1,7}):([0-5][0-9])(?::([0-5][0-9](?:\.[0-9]+)?))?")


@dataclass(frozen=True, slots=True)
class Typed:
    """What may stand behind a date or a time: numbers as they ought to be written, the likeliest first.

    Attributes
    ----------
    as_typed
        What was typed if the first number was meant; blank if the numbers are the same digits with a point.
    """

    numbers: tuple[str, ...]
    as_typed: str = ""


def day_number(day: date, *, is_ods: bool) -> float | None:
    """The number that a spreadsheet shows as this date, with the time of day as its decimals.

    None for dates that may have been typed, and for the one that stands for two numbers.

    >>> day_number(datetime(1900, 1, 1, 9, 36), is_ods=False), day_number(datetime(1899, 12, 31, 9, 36), is_ods=True)
    (1.4, 1.4)
    >>> day_number(date(1900, 3, 1), is_ods=False), day_number(date(1900, 2, 28), is_ods=True)
    (61.0, 60.0)
    >>> day_number(date(1900, 2, 28), is_ods=False), day_number(date(2026, 4, 1), is_ods=False)
    (None, None)
    """
    moment = day if isinstance(day, datetime) else datetime.combine(day, time())
    only_day = moment.date()
    if only_day >= DAYS_ARE_DATES_FROM or (not is_ods and only_day == _LEAP_DAY_IN_QUESTION):
        return None
    zero = DAY_ZERO if is_ods or only_day > _LEAP_DAY_IN_QUESTION else DAY_BEFORE_FIRST
    return round((moment - datetime.combine(zero, time())) / timedelta(days=1), _DECIMALS)


def part_of_day(text: str) -> float | None:
    """The number that a spreadsheet shows as this time, which is a part of a day; None if it is no time.

    >>> part_of_day("06:00:00"), part_of_day("33:36:00"), part_of_day("6.00")
    (0.25, 1.4, None)
    """
    match = _TIME.fullmatch(text)
    if match is None:
        return None
    return round((int(match[1]) * 3600 + int(match[2]) * 60 + float(match[3] or 0)) / 86400, _DECIMALS)


def typed_as_odds(text: str) -> Typed | None:
    """What a time stands for if it was typed as odds, 1:4 for one in four; None if it was not.

    A time that is a number of few decimals is that number, formatted as a time.

    >>> typed_as_odds("01:04:00"), typed_as_odds("06:00:00"), typed_as_odds("01:12:00")
    (Typed(numbers=('0.25', '0.0444444'), as_typed='1:4'), None, None)
    """
    match, number = _TIME.fullmatch(text), part_of_day(text)
    if match is None or number is None or float(match[3] or 0) or round(number, 4) == number:
        return None
    one, among = int(match[1]), int(match[2])
    return Typed((f"{one / among:.4g}", f"{number}"), f"{one}:{among}") if 1 <= one <= among else None


def typed_as_hours(text: str) -> Typed | None:
    """What a time stands for in a column of hours: hours and minutes, or a number formatted as a time.

    >>> typed_as_hours("01:30:00")
    Typed(numbers=('1.5', '0.0625'), as_typed='1:30')
    """
    match, number = _TIME.fullmatch(text), part_of_day(text)
    if match is None or number is None:
        return None
    return Typed((f"{number * 24:.4g}", f"{number:g}"), f"{int(match[1])}:{match[2]}")


def typed_as_number(text: str) -> Typed | None:
    """What was typed where a date stands, or None if it is no date.

    >>> typed_as_number("01.05.2026"), typed_as_number("2026-04-01")
    (Typed(numbers=('1.5',), as_typed=''), Typed(numbers=('0.25', '1.4', '4.1'), as_typed='1/4'))
    >>> typed_as_number("1980-01-01"), typed_as_number("1900-02-28")
    (Typed(numbers=('0.0125', '1.1'), as_typed='1/80'), Typed(numbers=('59', '60'), as_typed=''))
    """
    if match := _BY_POINTS.fullmatch(text):
        return Typed((f"{int(match[1])}.{int(match[2])}",))
    if match := _BY_ISO.fullmatch(text):
        year, month, day = map(int, match.groups())
    elif match := _BY_STROKES.fullmatch(text):
        month, day, year = map(int, match.groups())
    else:
        return Typed(()) if _BY_NAME.fullmatch(text) else None
    if (year, month, day) == (1900, 2, 28):
        return Typed(("59", "60"))
    one, among = sorted((month, day))
    if one == among == 1 and year % 100:
        # A fraction whose second number is no day is taken for a month of a year.
        among = year % 100
    numbers = (f"{day}.{month}", f"{month}.{day}")
    if not one:
        return Typed(tuple(dict.fromkeys(numbers)))
    return Typed(tuple(dict.fromkeys((f"{one / among:.4g}", *numbers))), f"{one}/{among}")
