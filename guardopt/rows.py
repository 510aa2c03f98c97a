"""What each row of a scenario folder has to look like: types, ranges and defaults, as pydantic models.

Pydantic finds what is wrong; `validate` says it in the words of this project.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from guardopt.cell_types import (
    IS_MONEY,
    Amount,
    Chance,
    Correlation,
    ExactAmount,
    ExactMoney,
    Id,
    Money,
    Place,
    Positive,
    References,
    Share,
    exact_number,
    joint_references,
)
from guardopt.cells import Findings, Row
from guardopt.spelling import advice, nearest, printable, shown, thousands_fault
from guardopt.tables import Table

_SIDES = Field(description="left, right, centre or both")
_GUARD_SIDES = Field(description="left, right, both, pair or centre")


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
    money = [name for name in given if IS_MONEY in _notes(model, name)]
    doubts = {name: thousands_fault(str(given[name])) for name in money}
    for name, doubt in doubts.items():
        if doubt:
            findings.error(row.where(name), f"found {shown(given[name])}, {doubt}")
    return None if any(doubts.values()) else values


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
