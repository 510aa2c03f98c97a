"""Boxes of guards to keep ready, and what each gains the riders of a book.

A box is a kit at the price of buying and fitting all its guards, offers taken. It is sold whole, whatever its buyer has
already. What the buyer has stays on the bike where it goes with the box.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.aims import Aim
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import in_order
from guardopt.shop.quotes import Demand
from guardopt.shop.rider_curves import Ladders, price_jobs, price_kits, rates_matter, yearly_cost
from guardopt.shop.riders import WRONG, Riders
from guardopt.shop.shop import Shop, Wish

NONE = -1
"""Stands for no class, and for no box."""

Run = Callable[[Callable[[Any], Any], Sequence[Any]], list[Any]]


@dataclass(frozen=True)
class Box:
    """A kit to keep ready: guards of one bike, and what they cost together.

    `laid_out` is the price less the present value of what the guards fetch at the end.
    """

    bike: str
    guards: tuple[str, ...]
    price_cents: int
    laid_out: float


@dataclass
class Book:
    """All riders as numbers, walked through once."""

    demand: Demand
    _wish: list[Ints] = field(default_factory=list)
    _budget: list[Ints] = field(default_factory=list)
    _times: list[Floats] = field(default_factory=list)

    def add(self, riders: Riders) -> None:
        """Take in one chunk."""
        self.demand.add(riders)
        self._wish.append(riders.wish)
        self._budget.append(riders.budget_cents)
        self._times.append(riders.times)

    def arrays(self) -> tuple[Ints, Ints, Floats]:
        """``(riders,)`` each: wish, budget in cents, multiple of the fall rates."""
        none = np.zeros(0, dtype=np.int64)
        return (
            np.concatenate([none, *self._wish]),
            np.concatenate([none, *self._budget]),
            np.concatenate([np.zeros(0), *self._times]),
        )


def fitted_with(scenario: Scenario, box: Kit, wish: Wish) -> Kit | None:
    """What is on a rider's bike with a box; None if the box is no good to the rider.

    Guards that the rider has stay on unless one of the box needs their place, what they need came off, or the rider
    wants them off.
    """
    guard = scenario.guard
    owned = wish.owned - wish.never
    rivals = {name for name in owned - box if any(scenario.exclude_each_other(guard[name], guard[one]) for one in box)}
    found = scenario.supported((box | owned) - rivals, box)
    is_allowed = wish.must <= found and not wish.never & found and not scenario.clashes(found)
    return found if is_allowed and scenario.is_within_weight(found) else None


class BoxBench:
    """Boxes, and what they and every kit of a curve gain a rider of each wish.

    For the aim outlay a gain is what is left of the saving once the guards are paid.
    """

    def __init__(self, shop: Shop, wishes: Sequence[Wish], ladders: Mapping[Wish, Ladders], aim: Aim, run: Run) -> None:
        self.shop, self.wishes, self._ladders, self.aim = shop, wishes, ladders, aim
        self._scenarios = [shop.scenario_for(wish) for wish in wishes]
        self.boxes = self._all_boxes()
        self.fitted = [
            [
                fitted_with(scenario, frozenset(box.guards), wish) if box.bike == wish.bike else None
                for box in self.boxes
            ]
            for wish, scenario in zip(wishes, self._scenarios, strict=True)
        ]
        self._known: dict[tuple[int, Kit, float, bool], float] = {}
        self._prices = self._price(run, fresh=False)
        self._fresh = self._price(run, fresh=True)

    def _all_boxes(self) -> list[Box]:
        found: set[Box] = set()
        for wish in self.wishes:
            scenario = self.shop.load(wish.bike)
            new = replace(scenario, guards=tuple(replace(guard, owned=False) for guard in scenario.guards))
            for kit in self._ladders[wish].kits():
                guards = kit - wish.owned
                if guards and not scenario.clashes(guards):
                    ids = tuple(in_order(scenario, guards))
                    found.add(Box(wish.bike, ids, new.spend_cents(guards), new.laid_out(guards)))
        return sorted(found, key=lambda box: (box.bike, box.price_cents, box.guards))

    def _price(self, run: Run, *, fresh: bool) -> list[Mapping[Kit, list[float]]]:
        """For each wish, what `rider_curves.price_kits` says of every kit that matters to it."""
        fitted = [[kit for kit in several if kit is not None] for several in self.fitted]
        jobs = price_jobs(self.shop, self._ladders, dict(zip(self.wishes, fitted, strict=True)), fresh=fresh)
        costs = {
            bike: {frozenset(kit): one for kit, one in zip(job.kits, found, strict=True)}
            for (bike, job), found in zip(jobs, run(price_kits, [job for _, job in jobs]), strict=True)
        }
        return [costs[wish.bike] for wish in self.wishes]

    def multiples(self, number: int, times: Floats) -> Iterator[tuple[float, Bools]]:
        """The multiples of riders of a wish that `gain` has to know, each with the riders it is true of."""
        if not self._scenarios[number].waits:
            yield 1.0, np.ones(len(times), dtype=bool)
            return
        for multiple in np.unique(times).tolist():
            yield multiple, times == multiple

    def gain(self, number: int, kit: Kit, paid: float, multiple: float, *, fresh: bool = False) -> tuple[float, float]:
        """What a kit gains a rider of a wish: the part that grows with the multiple, for each 1 of it, and the rest.

        Parameters
        ----------
        number, kit
            The wish, and the guards that are then on the bike.
        paid
            What the rider pays for it, what guards fetch at the end counted.
        multiple
            One of `multiples`; where nothing waits it makes no difference.
        """
        grows = self._falls_cost(number, self.wishes[number].owned, multiple, fresh)
        grows -= self._falls_cost(number, kit, multiple, fresh)
        scenario, stock = self._scenarios[number], self.wishes[number].owned
        stays = scenario.dislike(stock) - scenario.dislike(kit) - (paid if self.aim.counts_price else 0.0)
        return grows, stays

    def _falls_cost(self, number: int, kit: Kit, multiple: float, fresh: bool) -> float:
        """What falls cost over the years at a multiple of the rates, divided by it."""
        key = (number, kit, multiple, fresh)
        if key not in self._known:
            scenario, priced = self._scenarios[number], (self._fresh if fresh else self._prices)[number][kit]
            yearly = yearly_cost(scenario, priced, multiple) / multiple if multiple else 0.0
            self._known[key] = scenario.annuity * yearly
        return self._known[key]

    def _made_to_measure(self, number: int, kit: Kit, multiple: float, *, fresh: bool = False) -> tuple[float, float]:
        return self.gain(number, kit, self._scenarios[number].changed_for(kit), multiple, fresh=fresh)

    def box_gains(self, number: int, multiple: float, *, fresh: bool = False) -> tuple[Floats, Floats]:
        """``(boxes,)`` each: as `gain`; 0 for a box that is no good."""
        pairs = [
            (0.0, 0.0) if kit is None else self.gain(number, kit, self._paid(number, box, kit), multiple, fresh=fresh)
            for box, kit in zip(self.boxes, self.fitted[number], strict=True)
        ]
        grows, stays = np.array(pairs).reshape(len(pairs), 2).T
        return grows, stays

    def _paid(self, number: int, box: Box, kit: Kit) -> float:
        """What a rider pays for a box, less what guards fetch that come off, and at the end all but as it was."""
        scenario = self._scenarios[number]
        kept = scenario.resale_value(kit - frozenset(box.guards))
        return box.laid_out - kept - scenario.sold_cents(kit) / 100 + scenario.resale_value(scenario.stock)

    def tailor_made(self, number: int, budgets: Ints, times: Floats, *, fresh: bool = False) -> Floats:
        """``(riders,)``: what the best kit within each budget saves riders of a wish, or no kit."""
        ladders = self._ladders[self.wishes[number]]
        saved = np.zeros(len(budgets))
        ladder_of = np.zeros(len(budgets), dtype=np.int64)
        if ladders.multiples:
            ladder_of = np.array(ladders.which)[np.searchsorted(ladders.multiples, times)]
        for multiple, wanted in self.multiples(number, times):
            for row, ladder in enumerate(ladders.ladders):
                mine = np.flatnonzero(wanted & (ladder_of == row))
                if not ladder or not mine.size:
                    continue
                step = np.searchsorted([rung.spend_cents for rung in ladder], budgets[mine], side="right") - 1
                kits = [frozenset(rung.kit) for rung in ladder]
                pairs = [self._made_to_measure(number, kit, multiple, fresh=fresh) for kit in kits]
                grows, stays = np.array([*pairs, (0.0, 0.0)]).T
                planned = [self._made_to_measure(number, kit, multiple) for kit in kits]
                worth = np.array([*planned, (0.0, 0.0)]).T
                takes = worth[0][step] * times[mine] + worth[1][step] > 0.0
                saved[mine] = np.where(takes, grows[step] * times[mine] + stays[step], 0.0)
        return saved


@dataclass(frozen=True)
class Classes:
    """Riders who gain the same from every box, or in proportion to their multiple.

    Attributes
    ----------
    of
        ``(riders,)``: the class of each rider, `NONE` for a row that is wrong.
    gains
        ``(classes, boxes)``: what a rider gains, or what a rider gains at the fall rates as they are.
    weight
        ``(classes,)``: riders, or the sum of their multiples.
    riders
        ``(classes,)``: how many they are.
    """

    of: Ints
    gains: Floats
    weight: Floats
    riders: Ints


def classes_of(bench: BoxBench, wish: Ints, budget: Ints, times: Floats, *, one_by_one: bool) -> Classes:
    """Divide riders into classes; each multiple makes one of its own where riders count one by one."""
    prices = np.unique([box.price_cents for box in bench.boxes])
    reach = np.searchsorted(prices, budget, side="right")
    order_changes = np.array([rates_matter(bench.shop.load(one.bike), bench.aim) for one in bench.wishes], dtype=bool)
    matters = np.zeros(len(wish), dtype=bool)
    matters[wish != WRONG] = one_by_one | order_changes[wish[wish != WRONG]]
    multiple = np.where(matters, times, 1.0)
    good = np.flatnonzero(wish != WRONG)
    keys = np.stack([wish[good].astype(float), reach[good].astype(float), multiple[good]], axis=1)
    different, which = np.unique(keys, axis=0, return_inverse=True)
    which = which.ravel()
    box_price = np.array([box.price_cents for box in bench.boxes], dtype=np.int64)
    top = np.concatenate([[NONE], prices])
    gains = np.zeros((len(different), len(bench.boxes)))
    known: dict[tuple[int, float], tuple[Floats, Floats]] = {}
    for row, (number, reached, times_all) in enumerate(different.tolist()):
        ((one, _),) = bench.multiples(int(number), np.array([times_all]))
        key = (int(number), one)
        known[key] = known[key] if key in known else bench.box_gains(*key)
        grows, stays = known[key]
        gains[row] = np.where(box_price <= top[int(reached)], np.maximum(0.0, times_all * grows + stays), 0.0)
    of = np.full(len(wish), NONE, dtype=np.int64)
    of[good] = which
    share = np.where(matters, 1.0, times)[good]
    return Classes(
        of,
        gains,
        np.bincount(which, share, len(different)).astype(float),
        np.bincount(which, minlength=len(different)).astype(np.int64),
    )
