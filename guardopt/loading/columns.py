"""What each row of a scenario has to look like: types, ranges and defaults, as pydantic models."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from guardopt.files.cell_types import (
    REFERENCE,
    Amount,
    Chance,
    Correlation,
    DragFactor,
    ExactHours,
    ExactMoney,
    Height,
    Hours,
    Id,
    LogSpread,
    Millimetres,
    Money,
    PerYear,
    Positive,
    References,
    Share,
    Speed,
    Thickness,
    Tilt,
    joint_references,
)
from guardopt.loading.meaning.row_checking import RowModel

_SIDES = Field(description="left, right, centre or both")
YesNo = Annotated[Literal["yes", "no"], Field(description="yes or no")]
_GUARD_SIDES = Field(description="left, right, both, pair or centre")


Team = Annotated[
    tuple[str, ...], BeforeValidator(joint_references), Field(description="a guard, or guards joined by +")
]


class PartRow(RowModel):
    """A row of ``parts.csv``."""

    part: Id
    side: Annotated[Literal["left", "right", "centre", "both"], _SIDES]
    price: Money
    hours: Hours = 0.0
    break_chance: Chance = 1.0
    touch_up: Money = 0.0
    strip_down: Id | None = None
    waits: YesNo = "no"
    days: Amount = 0.0
    x: Millimetres | None = None
    y: Millimetres | None = None


class FallRow(RowModel):
    """A row of ``falls.csv``."""

    fall: Id
    per_year: PerYear
    left_share: Share = 0.5
    tumble: Chance = 0.0
    correlation: Correlation = 0.5
    watched_years: Positive = 1.0
    bite: Thickness | None = None
    bite_spread: LogSpread = 0.5
    tilt: Tilt = 3.0
    speed: Speed = 0.0
    drag: DragFactor = 0.5


class StrikeCell(RowModel):
    """One chance in ``hits.csv``."""

    chance: Chance


class RateCell(RowModel):
    """One number of falls a year in ``riding.csv``."""

    per_year: PerYear | None = None


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
    price_left: ExactMoney | None = None
    price_right: ExactMoney | None = None
    fit_hours: ExactHours = Decimal(0)
    slot: Id | None = None
    lasts_falls: Positive | None = None
    renew_price: Money | None = None
    needs: References = ()
    not_with: References = ()
    owned: YesNo = "no"
    weight_kg: Amount = 0.0
    dislike: Money = 0.0
    resale_share: Share = 0.0
    sells_for: ExactMoney = Decimal(0)


class CoverRow(RowModel):
    """A row of ``covers.csv``."""

    guard: Team
    part: str
    holds: Chance
    fall: str | None = None


class ExposeRow(RowModel):
    """A row of ``exposes.csv``."""

    guard: Team
    part: str
    chance: Chance
    fall: str | None = None


class OfferRow(RowModel):
    """A row of ``offers.csv``."""

    offer: Id
    guards: References
    price: ExactMoney


class PointRow(RowModel):
    """A row of ``points.csv``."""

    id: Annotated[str, Field(pattern=REFERENCE.pattern, description="a part, a guard or a name of your own")]
    forward: Millimetres
    out: Millimetres
    up: Height
    wears: Amount = 0.0
    thick: Thickness = 0.0


TABLE_MODELS: Mapping[str, type[RowModel]] = {
    "parts": PartRow,
    "falls": FallRow,
    "knock_on": KnockOnRow,
    "guards": GuardRow,
    "covers": CoverRow,
    "exposes": ExposeRow,
    "offers": OfferRow,
    "points": PointRow,
}
