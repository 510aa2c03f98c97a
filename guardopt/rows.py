"""What each row of a scenario folder has to look like: types, ranges and defaults, as pydantic models.

Pydantic finds what is wrong; `validate` says it in the words of this project.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from guardopt.spelling import PLAIN_NUMBER, advice, nearest, number_fault, printable, shown, thousands_doubt
from guardopt.tables import Findings, Row, Table

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

_SIDES = Field(description="left, right, centre or both")
_GUARD_SIDES = Field(description="left, right, both, pair or centre")

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


class RowModel(BaseModel):
    """Base of all rows: frozen, and nothing in them that is not named."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class PartRow(RowModel):
    """A row of ``parts.csv``."""

    part: Id
    side: Annotated[Literal["left", "right", "centre", "both"], _SIDES]
    price: Money
    hours: Amount = 0.0
    break_chance: Chance = 1.0
    touch_up: Money = 0.0
    strip_down: Id | None = None
    x: Place | None = None
    y: Place | None = None


class FallRow(RowModel):
    """A row of ``falls.csv``."""

    fall: Id
    per_year: Amount
    left_share: Share = 0.5
    tumble: Chance = 0.0
    correlation: Correlation = 0.5
    watched_years: Positive = 1.0


class StrikeCell(RowModel):
    """One chance in ``hits.csv``."""

    chance: Chance


class RateCell(RowModel):
    """One number of falls a year in ``riding.csv``."""

    per_year: Amount | None = None


class KnockOnRow(RowModel):
    """A row of ``knock_on.csv``."""

    part: str
    takes: str
    chance: Chance


class GuardRow(RowModel):
    """A row of ``guards.csv``."""

    guard: Id
    side: Annotated[Literal["left", "right", "both", "pair", "centre"], _GUARD_SIDES]
    price: ExactMoney
    fit_hours: ExactAmount = Decimal(0)
    slot: Id | None = None
    lasts_falls: Positive | None = None
    renew_price: Money | None = None
    needs: References = ()
    not_with: References = ()
    owned: Annotated[Literal["yes", "no"], Field(description="yes or no")] = "no"
    weight_kg: Amount = 0.0
    dislike: Money = 0.0
    resale_share: Share = 0.0


class CoverRow(RowModel):
    """A row of ``covers.csv``."""

    guard: Annotated[
        tuple[str, ...], BeforeValidator(joint_references), Field(description="a guard, or guards joined by +")
    ]
    part: str
    holds: Chance
    fall: str | None = None


class OfferRow(RowModel):
    """A row of ``offers.csv``."""

    offer: Id
    guards: References
    price: ExactMoney


TABLE_MODELS: Mapping[str, type[RowModel]] = {
    "parts": PartRow,
    "falls": FallRow,
    "knock_on": KnockOnRow,
    "guards": GuardRow,
    "covers": CoverRow,
    "offers": OfferRow,
}

Model = TypeVar("Model", bound=RowModel)


@dataclass(frozen=True, slots=True)
class Entry(Generic[Model]):
    """A row that passed: its values, and the cells they were read from."""

    values: Model
    row: Row


def read_entries(table: Table | None, model: type[Model], findings: Findings) -> list[Entry[Model]]:
    """Validate every row of a table; those with something wrong are reported and left out."""
    if table is None:
        return []
    absent = check_columns(table, model.model_fields, _required(model), findings)
    checked = [(row, validate(row, model, findings, absent)) for row in table.rows if row.is_whole]
    return [Entry(values, row) for row, values in checked if values is not None]


def check_columns(
    table: Table,
    known: Iterable[str],
    required: Iterable[str],
    findings: Findings,
    advice_on: Mapping[str, str] = MappingProxyType({}),
) -> frozenset[str]:
    """Report unknown and missing columns; the required columns that are missing are returned.

    A required column whose name is merely misspelt is reported once, as the misspelling. What else to say of a missing
    column is in `advice_on`.
    """
    known = list(known)
    unknown = [column for column in table.columns if column not in known]
    unused = [column for column in known if column not in table.columns]
    for column in unknown:
        hint = advice(column, known, unused)
        findings.error(f"{table.header}, column {printable(column)}", f"unknown column{hint}")
    absent = frozenset(required) - frozenset(table.columns)
    misspelt = {nearest(column, unused) for column in unknown}
    for column in sorted(absent - misspelt):
        findings.error(table.header, f"column {printable(column)} is missing{advice_on.get(column, '')}")
    return absent


def _required(model: type[RowModel]) -> list[str]:
    return [name for name, info in model.model_fields.items() if info.is_required()]


def validate(row: Row, model: type[Model], findings: Findings, reported: Container[str | None] = ()) -> Model | None:
    """Check one row against its model; blank cells take their defaults.

    Columns in `reported` are known to be missing and are not reported again.
    """
    given = {name: row.cells[name].value for name in model.model_fields if row.text(name) != ""}
    try:
        values = model.model_validate(given)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            name = str(detail["loc"][0])
            if detail["type"] != "missing" or name not in reported:
                findings.error(row.where(name), _message(detail, expected(model, name)))
        return None
    for name, value in given.items():
        doubt = thousands_doubt(str(value)) if IS_MONEY in _notes(model, name) else None
        read = getattr(values, name)
        # An exact amount that is not whole cents is warned of where it is rounded.
        if doubt and (isinstance(read, float) or read == round(read, 2)):
            findings.warn(row.where(name), f"found {shown(value)}, read as {read:.2f}; {doubt}")
    return values


def _notes(model: type[RowModel], name: str) -> list[Any]:
    """What is noted about the type of a column, whether or not it may be blank."""
    info = model.model_fields[name]
    choices = getattr(info.annotation, "__args__", ())
    return [info, *info.metadata, *(note for one in choices for note in getattr(one, "__metadata__", ()))]


def expected(model: type[RowModel], name: str) -> str:
    """What a column of this model has to hold, in words."""
    found = (getattr(note, "description", None) for note in _notes(model, name))
    return next(filter(None, found), "an id")


def _message(detail: ErrorDetails, wanted: str) -> str:
    if detail["type"] == "missing":
        return f"nothing found, expected {wanted}"
    found = detail["input"]
    if detail["type"] == "explained":
        return f"found {shown(found)}, {detail['ctx']['why']}"
    message = f"found {shown(found)}, expected {wanted}"
    if detail["type"] in ("less_than", "less_than_equal") and " from 0 to " in wanted:
        size = exact_number(found)
        if 2 <= size <= 100:
            message += f" ({wanted.partition(' from ')[0]} is written {size.scaleb(-2):f}, not {size:f})"
    if detail["type"] == "literal_error":
        close = nearest(str(found), wanted.replace(", ", " ").replace(" or ", " ").split())
        message += f"; did you mean {close}?" if close else ""
    if detail["type"] == "string_pattern_mismatch" and str(found).endswith((".left", ".right")):
        message += "; the side goes in the column side"
    return message
