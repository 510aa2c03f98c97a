"""Types of columns: how a cell is read and which values it may have."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Annotated

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from guardopt.files.limits import MOST_IDS, MOST_JOINED
from guardopt.number_faults import PLAIN_NUMBER, fault_of

LARGEST_NUMBER = Decimal(10) ** 12
"""Beyond this an amount is a slip of the hand, and sums of such amounts are no longer exact to the cent."""

REFERENCE = re.compile(r"[\w-]+(?:\.[\w-]+)?")


def _explained(why: str, choices: Sequence[str] = (), typed: str = "") -> PydanticCustomError:
    return PydanticCustomError("explained", "{why}", {"why": why, "choices": list(choices), "typed": typed})


def exact_number(value: object) -> Decimal:
    """Read a number as it is written, to the last decimal."""
    if isinstance(value, str):
        if not PLAIN_NUMBER.fullmatch(value):
            fault = fault_of(value)
            raise _explained(fault.what, fault.choices, fault.typed) if fault else ValueError("not a number")
        number = Decimal(value)
    elif isinstance(value, int | Decimal) and not isinstance(value, bool):
        number = Decimal(value)
    else:
        raise ValueError("not a number")
    if number.is_finite() and number.copy_abs() > LARGEST_NUMBER:
        raise _explained("a size that cannot be meant")
    return number


def number(value: object) -> float:
    """Read a number as a float."""
    return float(exact_number(value))


def whole_number(value: object) -> int:
    """Read a whole number of any size."""
    if isinstance(value, str) and re.fullmatch(r"[+-]?[0-9]+", value):
        return int(value)
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    raise ValueError("not a whole number")


def one_line(value: object) -> str:
    """Read text, refusing line breaks and control characters, which would garble a report."""
    if not isinstance(value, str) or not value.isprintable():
        raise ValueError("not one line of text")
    return value.strip()


def day(value: object) -> date:
    """Read a date: year, month and day, or as spreadsheets write it if day and month cannot be mixed up."""
    text = str(value).strip().removesuffix(" 00:00:00").removesuffix("T00:00:00")
    # Basic and week dates are ISO 8601 too, but a slip of the hand in a number looks like one.
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return date.fromisoformat(text)
    match = re.fullmatch(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4})", text)
    if match is None:
        raise ValueError("not a date")
    one, other, year = int(match[1]), int(match[3]), int(match[4])
    # A number above 12 is no month; two equal ones are the same day either way.
    possible = {(first, month) for first, month in ((one, other), (other, one)) if month <= 12}
    if len(possible) == 2:
        choices = sorted(date(year, month, first).isoformat() for first, month in possible)
        raise _explained("where day and month may be mixed up", choices)
    if not possible:
        raise ValueError("not a date")
    ((first, month),) = possible
    return date(year, month, first)


def references(value: object) -> tuple[str, ...]:
    """Read ids separated by spaces."""
    ids = tuple(str(value).split())
    if len(ids) > MOST_IDS:
        raise _explained(f"more than {MOST_IDS} ids")
    for name in ids:
        if not REFERENCE.fullmatch(name):
            has_separator = any(mark in name for mark in ",;+/|")
            raise _explained("ids are separated by spaces") if has_separator else ValueError("not an id")
    _refuse_repeats(ids)
    return ids


def joint_references(value: object) -> tuple[str, ...]:
    """Read one id, or several joined by plus signs that only work together."""
    ids = tuple(name.strip() for name in str(value).split("+"))
    if len(ids) > MOST_JOINED:
        raise _explained(f"more than {MOST_JOINED} ids joined by +")
    if not all(REFERENCE.fullmatch(name) for name in ids):
        raise ValueError("not an id")
    # The two sides of one guard never protect together, so naming them both is a slip as well.
    _refuse_repeats([name.partition(".")[0] for name in ids])
    return ids


def _refuse_repeats(ids: Sequence[str]) -> None:
    for name in ids:
        if ids.count(name) > 1:
            raise _explained(f"{name} is named twice")


IS_NUMBER = "is a number"
"""Marks the type of a column that holds a number: a decimal comma in it is read where the file has such."""

IS_MONEY = "is money"
"""Marks the type of a column that holds money: an amount in it that may be thousands is refused."""

IS_HOURS = "is hours"
"""Marks the type of a column that holds hours of work: a time of day in it may be hours and minutes."""

IS_PER_YEAR = "is a number a year"
"""Marks the type of a column that holds how often something happens in a year."""

IS_CHANCE = "is a chance"
"""Marks the type of a column that holds a chance: a word stands for one."""

Id = Annotated[str, Field(pattern=r"^[\w-]+$", description="an id of letters, digits, _ and -")]
Text = Annotated[str, BeforeValidator(one_line), Field(min_length=1, description="one line of text")]
Amount = Annotated[
    float, BeforeValidator(number), IS_NUMBER, Field(ge=0, allow_inf_nan=False, description="a number of at least 0")
]
Money = Annotated[Amount, IS_MONEY]
PerYear = Annotated[Amount, IS_PER_YEAR]
Hours = Annotated[Amount, IS_HOURS]
ExactAmount = Annotated[
    Decimal,
    BeforeValidator(exact_number),
    IS_NUMBER,
    Field(ge=0, allow_inf_nan=False, description="a number of at least 0"),
]
ExactMoney = Annotated[ExactAmount, IS_MONEY]
ExactHours = Annotated[ExactAmount, IS_HOURS]
Positive = Annotated[
    float, BeforeValidator(number), IS_NUMBER, Field(gt=0, allow_inf_nan=False, description="a number above 0")
]
Chance = Annotated[
    float, BeforeValidator(number), IS_NUMBER, IS_CHANCE, Field(ge=0, le=1, description="a chance from 0 to 1")
]
Share = Annotated[float, BeforeValidator(number), IS_NUMBER, Field(ge=0, le=1, description="a share from 0 to 1")]
Rate = Annotated[float, BeforeValidator(number), IS_NUMBER, Field(ge=0, lt=1, description="a rate from 0 to below 1")]
Correlation = Annotated[
    float, BeforeValidator(number), IS_NUMBER, Field(ge=0, lt=1, description="a correlation from 0 to below 1")
]
WriteOffShare = Annotated[
    float, BeforeValidator(number), IS_NUMBER, Field(gt=0, le=2, description="a share above 0 and not above 2")
]
Millimetres = Annotated[
    float,
    BeforeValidator(number),
    IS_NUMBER,
    Field(ge=-5000, le=5000, description="a number of millimetres from -5000 to 5000"),
]
Day = Annotated[date, BeforeValidator(day), Field(description="a date such as 2026-03-31")]
Height = Annotated[
    float,
    BeforeValidator(number),
    IS_NUMBER,
    Field(ge=0, le=5000, description="a number of millimetres from 0 to 5000"),
]
Thickness = Annotated[
    float,
    BeforeValidator(number),
    IS_NUMBER,
    Field(ge=0, le=1000, description="a number of millimetres from 0 to 1000"),
]
Tilt = Annotated[
    float, BeforeValidator(number), IS_NUMBER, Field(ge=0, le=45, description="a number of degrees from 0 to 45")
]
Speed = Annotated[
    float,
    BeforeValidator(number),
    IS_NUMBER,
    Field(ge=0, le=400, description="a number of kilometres an hour from 0 to 400"),
]
LogSpread = Annotated[float, BeforeValidator(number), IS_NUMBER, Field(ge=0, le=5, description="a number from 0 to 5")]
DragFactor = Annotated[
    float, BeforeValidator(number), IS_NUMBER, Field(gt=0, le=2, description="a drag factor above 0 and not above 2")
]
References = Annotated[tuple[str, ...], BeforeValidator(references), Field(description="ids separated by spaces")]
Seed = Annotated[int, BeforeValidator(whole_number), IS_NUMBER, Field(ge=0, description="a whole number of at least 0")]
SampleSize = Annotated[
    int,
    BeforeValidator(whole_number),
    IS_NUMBER,
    Field(ge=1, le=1_000_000, description="a whole number from 1 to 1000000"),
]
