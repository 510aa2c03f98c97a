"""What a scenario is made of, as frozen objects with every side spelled out.

A row with side ``both`` has become two objects by the time it is here, ``lever.left`` and ``lever.right``; ids in
``needs``, ``not_with``, covers and knock-ons are ids of such objects.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

Kit = frozenset[str]
"""The ids of the guards on the bike, owned ones included."""

HALF_A_CENT = 0.005
"""Amounts that differ by less are the same, and less than that is nothing."""


def in_cents(amount: Decimal) -> int:
    """An amount of money in whole cents, halves rounded up."""
    return int(amount.scaleb(2).to_integral_value(ROUND_HALF_UP))


class Side(StrEnum):
    """Where a part or guard sits. A pair is one purchase that serves both sides; only guards come in pairs."""

    LEFT = "left"
    RIGHT = "right"
    CENTRE = "centre"
    PAIR = "pair"

    @property
    def is_sided(self) -> bool:
        """True for left and right: such a guard serves, and such a part is exposed, in falls that strike that side."""
        return self in (Side.LEFT, Side.RIGHT)

    def goes_with(self, other: Side) -> bool:
        """Left does not meet right; everything else meets."""
        return not (self.is_sided and other.is_sided and self is not other)


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the bike, on one side. Money in units of the currency, work in hours.

    `waits` says that damage to it does not stop the bike and is put right together with what else has come about;
    `days` is how many days the bike is off the road if it breaks. `x` and `y` say where it is seen from the side, in
    millimetres forward of the rear axle and above the ground; both or neither are known. Only drawings look at them.
    `note` is the owner's own.
    """

    id: str
    row: str
    side: Side
    price: float
    hours: float = 0.0
    break_chance: float = 1.0
    touch_up: float = 0.0
    strip_down: str | None = None
    waits: bool = False
    days: float = 0.0
    x: float | None = None
    y: float | None = None
    note: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Point:
    """One measured point of a part, of a guard or of anything else that may touch the road, its side spelled out.

    Attributes
    ----------
    id
        What it belongs to.
    forward, out, up
        Millimetres forward of the rear axle, from the centre plane and above the ground, the bike upright; `out` is
        positive on the left.
    wears
        Millimetres ground off for each metre slid.
    thick
        Millimetres there are to grind.
    """

    id: str
    forward: float
    out: float
    up: float
    wears: float = 0.0
    thick: float = 0.0


@dataclass(frozen=True, slots=True)
class Centre:
    """The centre of mass with the rider off, in the centre plane of the bike; millimetres."""

    forward: float
    up: float


@dataclass(frozen=True, slots=True)
class Fall:
    """A kind of fall: λ_f = `per_year` of them a year, rested on `watched_years` of riding.

    What it does to a bike whose points are measured: the road reaches `bite` millimetres (median; None: not estimated,
    `bite_spread` is the standard deviation of its logarithm) past the plane of rest, the bike rocks by `tilt` degrees
    and slides from `speed` km/h, as far as the drag factor `drag` lets it.
    """

    id: str
    per_year: float
    left_share: float = 0.5
    tumble: float = 0.0
    correlation: float = 0.5
    watched_years: float = 1.0
    bite: float | None = None
    bite_spread: float = 0.5
    tilt: float = 3.0
    speed: float = 0.0
    drag: float = 0.5

    def side_shares(self) -> dict[frozenset[Side], float]:
        """The chance of each set of sides being struck; sets with no chance are left out."""
        shares = {
            frozenset({Side.LEFT}): self.left_share * (1.0 - self.tumble),
            frozenset({Side.RIGHT}): (1.0 - self.left_share) * (1.0 - self.tumble),
            frozenset({Side.LEFT, Side.RIGHT}): self.tumble,
        }
        return {sides: share for sides, share in shares.items() if share > 0.0}


@dataclass(frozen=True, slots=True)
class KnockOn:
    """When `part` breaks, it strikes `takes` as well with this chance."""

    part: str
    takes: str
    chance: float


@dataclass(frozen=True, slots=True)
class Guard:
    """A guard for one place on the bike.

    `needs` is a list of alternatives: of each set at least one guard must be on the bike. `price_cents`, `fit_cents`
    and `sells_cents`, what an owned guard fetches now if it comes off, are whole cents, since budgets are compared
    exactly. `renews_at_price` says that renewing it costs what it costs itself. `lasts_falls` is None if it never wears
    out; `note` is the owner's own.
    """

    id: str
    row: str
    side: Side
    price_cents: int
    fit_cents: int = 0
    slot: str | None = None
    wear_per_fall: float = 0.0
    needs: tuple[frozenset[str], ...] = ()
    not_with: frozenset[str] = frozenset()
    owned: bool = False
    weight_kg: float = 0.0
    dislike: float = 0.0
    resale_share: float = 0.0
    fit_hours: float = 0.0
    sells_cents: int = 0
    renews_at_price: bool = False
    lasts_falls: float | None = None
    note: str = field(default="", compare=False)

    @property
    def price(self) -> float:
        """Price in units of the currency."""
        return self.price_cents / 100

    @property
    def spend_cents(self) -> int:
        """What buying and fitting it costs, before offers; nothing if it is owned."""
        return 0 if self.owned else self.price_cents + self.fit_cents

    @property
    def gives_up_cents(self) -> int:
        """What leaving it on or putting it on takes out of the purse: its spend, or what it would fetch if owned."""
        return self.sells_cents if self.owned else self.spend_cents

    @property
    def places(self) -> tuple[tuple[str, Side], ...]:
        """The mounting places it fills: a pair fills both sides of its slot."""
        if self.slot is None:
            return ()
        sides = (Side.LEFT, Side.RIGHT) if self.side is Side.PAIR else (self.side,)
        return tuple((self.slot, side) for side in sides)


@dataclass(frozen=True, slots=True)
class Cover:
    """With all of `guards` fitted, a struck `part` is spared with chance `holds` in falls of kind `fall` (None: all).

    `side` is the side that has to be struck for the guards to serve (None: they serve in every fall).
    """

    guards: tuple[str, ...]
    part: str
    holds: float
    fall: str | None = None
    side: Side | None = None


def wears(guard: Guard, cover: Cover, fall: str, sides: Collection[Side]) -> bool:
    """Whether a strike on the part of a cover wears a guard that is named in it, in such a fall on these sides.

    The guard has to serve; those that it only protects together with need neither serve nor be fitted.
    """
    return guard.id in cover.guards and cover.fall in (None, fall) and (not guard.side.is_sided or guard.side in sides)


@dataclass(frozen=True, slots=True)
class Exposure:
    """With all of `guards` fitted, a `part` that is exposed but not struck on the bare bike is struck with this chance.

    `fall` and `side` are those of a `Cover`.
    """

    guards: tuple[str, ...]
    part: str
    chance: float
    fall: str | None = None
    side: Side | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """A lot of guards at one price, in whole cents, fitting not included."""

    id: str
    guards: frozenset[str]
    price_cents: int
    note: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Insurance:
    """Terms of a policy that pays for damage above an excess."""

    excess: float
    premium_rise: float = 0.0
    write_off_share: float = 1.0
