"""Ladders as arrays to look budgets up in, with what their kits cost and which kits to compare them with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.model.scenario import Scenario
from guardopt.shop.quote_columns import steps_text
from guardopt.shop.rider_curves import Ladder, Ladders, yearly_cost
from guardopt.shop.shop import Wish

NO_STEP = -1


def corners(spend: Floats, measured: Floats) -> list[int]:
    """The steps of a curve from which on a further unit of money saves less than before: its lower convex hull.

    Parameters
    ----------
    spend, measured
        ``(steps,)``: rising, and falling.
    """
    hull: list[int] = []
    for row in range(len(spend)):
        while len(hull) > 1:
            a, b = hull[-2:]
            rise = (measured[b] - measured[a]) * (spend[row] - spend[a])
            if rise < (measured[row] - measured[a]) * (spend[b] - spend[a]):
                break
            hull.pop()
        hull.append(row)
    return hull


def neighbours(spend: Ints, measured: Floats) -> tuple[Ints, Ints]:
    """``(steps,)`` each: the next cheaper and the next dearer corner beside each step, `NO_STEP` for none."""
    hull = np.array(corners(spend.astype(float), measured), dtype=np.int64)
    steps = np.arange(len(spend))
    before = np.searchsorted(hull, steps, side="left") - 1
    after = np.searchsorted(hull, steps, side="right")
    cheaper = np.where(before >= 0, hull[before.clip(0)], NO_STEP)
    dearer = np.where(after < len(hull), hull[after.clip(max=len(hull) - 1)], NO_STEP)
    return cheaper, dearer


@dataclass(frozen=True)
class Rungs:
    """One ladder as arrays, ``(steps,)``, with what its kits cost a year, divided by the multiple that it is for."""

    ladder: Ladder
    yearly: Floats
    texts: tuple[tuple[str, str, str], ...]

    @cached_property
    def spend_cents(self) -> Ints:
        """What each kit costs now."""
        return np.array([rung.spend_cents for rung in self.ladder], dtype=np.int64)

    @cached_property
    def cost(self) -> Floats:
        """What falls cost over the years, on the planning sample."""
        return np.array([rung.cost for rung in self.ladder])

    @cached_property
    def beside(self) -> Floats:
        """What counts beside that, for each kit."""
        return np.array([rung.beside for rung in self.ladder])

    @cached_property
    def plain_neighbours(self) -> tuple[Ints, Ints]:
        """Corners beside each step where only falls count."""
        return neighbours(self.spend_cents, self.cost)

    def neighbours(self, multiple: float) -> tuple[Ints, Ints]:
        """Corners beside each step when all rates are so many times as high."""
        if not self.beside.any():
            return self.plain_neighbours
        return neighbours(self.spend_cents, multiple * self.cost + self.beside)


@dataclass(frozen=True)
class Shelf:
    """What is known about one wish: its ladders, and what one fall costs bare and as the bike stands.

    `bare` and `stock` are as `rider_curves.price_kits` says them.
    """

    wish: Wish
    scenario: Scenario
    ladders: Ladders
    rungs: tuple[Rungs, ...]
    bare: Sequence[float]
    stock: Sequence[float]
    offset: int

    def rungs_at(self, multiple: float) -> int:
        """The number of the ladder for a multiple of the fall rates."""
        if not self.ladders.multiples:
            return 0
        return self.ladders.which[int(np.searchsorted(self.ladders.multiples, multiple))]


def shelf_of(
    wish: Wish,
    scenario: Scenario,
    ladders: Ladders,
    prices: Mapping[tuple[str, ...], Sequence[float]],
    offset: int,
) -> Shelf:
    """The shelf of a wish.

    Parameters
    ----------
    wish, scenario, ladders
        The wish, the bike as it is for it, and its ladders.
    prices
        What one fall of each kind costs with each kit.
    offset
        How many steps the shelves before it have, so that the steps of all can be numbered.
    """
    multiples = ladders.multiples if scenario.waits and ladders.multiples else (1.0,) * len(ladders.ladders)

    def yearly(kit: Sequence[str], multiple: float) -> float:
        return yearly_cost(scenario, prices[tuple(kit)], multiple) / multiple if multiple else 0.0

    rungs = tuple(
        Rungs(ladder, np.array([yearly(rung.kit, multiple) for rung in ladder]), steps_text(scenario, ladder))
        for ladder, multiple in zip(ladders.ladders, multiples, strict=True)
    )
    stock = [guard.id for guard in scenario.guards if guard.owned]
    return Shelf(wish, scenario, ladders, rungs, prices[()], prices[tuple(stock)], offset)
