"""Types of columns: how a cell is read and which values it may have."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from guardopt.spelling import PLAIN_NUMBER, number_fault

LARGEST_NUMBER = Decimal(10) ** 12
"""Beyond this an amount is a slip of the hand, and sums of such amounts are no longer exact to the cent."""

REFERENCE = re.compile(r"[\w-]+(?:\.[\w-]+)?")


def _explained(why: str) -> PydanticCustomError:
    return PydanticCustomError("explained", "{why}", {"why": why})


def exact_number(value: object) -> Decimal:
    """Read a number as it is written, to the last decimal."""
    if isinstance(value, str):
        if not PLAIN_NUMBER.fullmatch(value):
            fault = number_fault(value)
            raise _explained(fault) if fault else ValueError("not a number")
        number = Decimal(value)
    elif isinstance(value, int | Decimal) and not isinstance(value, bool):
        number = Decimal(value)
    else:
        raise ValueError("not a number")
    if number.is_finite() and abs(number) > LARGEST_NUMBER:
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


def references(value: object) -> tuple[str, ...]:
    """Read ids separated by spaces."""
    ids = tuple(str(value).split())
    for name in ids:
        if not REFERENCE.fullmatch(name):
            has_separator = any(mark in name for mark in ",;+/|")
            raise _explained("ids are separated by spaces") if has_separator else ValueError("not an id")
    _refuse_repeats(ids)
    return ids


def joint_references(value: object) -> tuple[str, ...]:
    """Read one id, or several joined by plus signs that only work together."""
    ids = tuple(name.strip() for name in str(value).split("+"))
    if not all(REFERENCE.fullmatch(name) for name in ids):
        raise ValueError("not an id")
    # The two sides of one guard never protect together, so naming them both is a slip as well.
    _refuse_repeats([name.partition(".")[0] for name in ids])
    return ids


def _refuse_repeats(ids: Sequence[str]) -> None:
    for name in ids:
        if ids.count(name) > 1:
            raise _explained(f"{name} is named twice")


IS_MONEY = "is money"
"""Marks the type of a column that holds money: an amount in it that may be thousands is warned of."""

Id = Annotated[str, Field(pattern=r"^[\w-]+$", description="an id of letters, digits, _ and -")]
Text = Annotated[str, BeforeValidator(one_line), Field(min_length=1, description="one line of text")]
Amount = Annotated[
    float, BeforeValidator(number), Field(ge=0, allow_inf_nan=False, description="a number of at least 0")
]
Money = Annotated[Amount, IS_MONEY]
ExactAmount = Annotated[
    Decimal, BeforeValidator(exact_number), Field(ge=0, allow_inf_nan=False, description="a number of at least 0")
]
ExactMoney = Annotated[ExactAmount, IS_MONEY]
Positive = Annotated[float, BeforeValidator(number), Field(gt=0, allow_inf_nan=False, description="a number above 0")]
Chance = Annotated[float, BeforeValidator(number), Field(ge=0, le=1, description="a chance from 0 to 1")]
Share = Annotated[float, BeforeValidator(number), Field(ge=0, le=1, description="a share from 0 to 1")]
Rate = Annotated[float, BeforeValidator(number), Field(ge=0, lt=1, description="a rate from 0 to below 1")]
Correlation = Annotated[
    float, BeforeValidator(number), Field(ge=0, lt=1, description="a correlation from 0 to below 1")
]
WriteOffShare = Annotated[
    float, BeforeValidator(number), Field(gt=0, le=2, description="a share above 0 and not above 2")
]
Place = Annotated[
    float,
    BeforeValidator(number),
    Field(ge=-5000, le=5000, description="a number of millimetres from -5000 to 5000"),
]
References = Annotated[tuple[str, ...], BeforeValidator(references), Field(description="ids separated by spaces")]
Seed = Annotated[int, BeforeValidator(whole_number), Field(ge=0, description="a whole number of at least 0")]
SampleSize = Annotated[
    int, BeforeValidator(whole_number), Field(ge=1, le=1_000_000, description="a whole number from 1 to 1000000")
]
