"""Did the guards pay? What they spared in the falls of a log, against what they and their renewals cost.

The damage that was spared never happened, so it is simulated: each part that was struck and not harmed would have been
harmed without guards. Whether it would have broken, passed the blow on and had its group stripped down is drawn anew,
with break chances drawn from what is believed of them. What did happen in the same fall stays as it was, and both bills
are capped, so a guard saves nothing in a fall that wrote the bike off all the same.

Damage that waits is paid once for each bike and each repair interval, counted from the first day the bike was watched,
whatever happened to it in between, with guards and without.

A log does not tell whether a part was struck by the road or only because a guard exposed it. With p the chance of the
one and e that of the other, the road struck it all the same with the chance p / (p + (1 − p) e) (Bayes' rule); else it
would not have been harmed without guards. What such a part passed on in truth stays.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.learning.conjugate import LEVEL, Belief
from guardopt.learning.fall_log import DAYS_A_YEAR, Log, LoggedFall
from guardopt.model.pieces import HALF_A_CENT, Kit, wears
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Kind

SIMULATIONS = 4_000


@dataclass(frozen=True)
class PaidOff:
    """Guards' account over the time of a log, in units of the currency, nothing discounted.

    Attributes
    ----------
    bikes_seen, bikes
        Bikes whose guards the log shows, because they fell; and all bikes watched.
    strikes_spared
        Struck parts that no harm came to.
    saved, saved_low, saved_high
        Mean and 90 % interval of what the same falls would have cost on top without guards; below 0 where guards did
        more harm than good.
    paid
        What the falls did cost the owner, capped, days without the bike included; renewals are not.
    guards_cost
        Prices and fitting of all guards seen on each bike, owned ones included, offers taken.
    renewals
        Σ over falls and fitted guards that serve and cover a struck part: renew_price / lasts_falls.
    """

    bikes_seen: int
    bikes: int
    strikes_spared: int
    saved: float
    saved_low: float
    saved_high: float
    paid: float
    guards_cost: float
    renewals: float

    @property
    def balance(self) -> float:
        """Saved, less what guards and renewals cost."""
        return self.saved - self.guards_cost - self.renewals

    def to_json(self) -> dict[str, Any]:
        """The record as ``learn --json`` prints it."""
        costs = self.guards_cost + self.renewals
        return {
            "bikes_seen": self.bikes_seen,
            "bikes": self.bikes,
            "strikes_spared": self.strikes_spared,
            "saved": self.saved,
            "saved_low": self.saved_low,
            "saved_high": self.saved_high,
            "paid": self.paid,
            "guards_cost": self.guards_cost,
            "renewals": self.renewals,
            "balance": self.balance,
            "balance_low": self.saved_low - costs,
            "balance_high": self.saved_high - costs,
        }


def paid_off(
    scenario: Scenario, log: Log, breaks: Mapping[str, Belief], strikes: Mapping[tuple[str, str], float]
) -> PaidOff:
    """Work out whether the guards of a log paid.

    Parameters
    ----------
    scenario
        The bike; its prices, hours, knock-ons and cap count.
    log
        Real falls.
    breaks
        The belief in the chance that each part, by its id, breaks if harmed. Both sides of a row share one belief.
    strikes
        The chance that the bare bike is struck, by kind of fall and part; nothing stands for 0.
    """
    bike = Bike(scenario)
    rng = np.random.Generator(np.random.PCG64(scenario.seed))
    chances = _break_chances(scenario, breaks, rng)
    account = _Account(bike, log)
    renewals = 0.0
    for fall in log.falls:
        renewals += _wear(scenario, fall)
        account.add(fall, *_with_and_without(bike, fall, chances, strikes, rng))
    paid, saved = account.totals()
    low, high = np.quantile(saved, [(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0])
    kits = _kits(log)
    # Guards owned cost nothing from now on, but they were bought once.
    new = replace(scenario, guards=tuple(replace(guard, owned=False) for guard in scenario.guards))
    return PaidOff(
        bikes_seen=len(kits),
        bikes=len(log.years_of),
        strikes_spared=sum(len(fall.spared) for fall in log.falls),
        saved=float(saved.mean()),
        saved_low=float(low),
        saved_high=float(high),
        paid=float(paid.mean()),
        guards_cost=sum(new.spend_cents(kit) for kit in kits.values()) / 100,
        renewals=renewals,
    )


def _kits(log: Log) -> dict[str, Kit]:
    """All guards that each bike was seen with."""
    kits: dict[str, Kit] = {}
    for fall in log.falls:
        kits[fall.bike] = kits.get(fall.bike, frozenset()) | fall.fitted
    return kits


def _break_chances(scenario: Scenario, breaks: Mapping[str, Belief], rng: np.random.Generator) -> Floats:
    """``(parts, simulations)``: break chances as doubtful as they are, the same for parts that share a belief."""
    drawn: dict[tuple[str, Belief], Floats] = {}
    for part in scenario.parts:
        belief = breaks[part.id]
        yes, no = belief.count, belief.out_of - belief.count
        key = (part.row, belief)
        if key not in drawn:
            certain = yes <= 0.0 or no <= 0.0
            drawn[key] = np.full(SIMULATIONS, belief.mean) if certain else rng.beta(yes, no, SIMULATIONS)
    return np.stack([drawn[part.row, breaks[part.id]] for part in scenario.parts])


class _Account:
    """What falls cost with guards and without, simulation by simulation, and what has been noted for later."""

    def __init__(self, bike: Bike, log: Log) -> None:
        self._bike = bike
        self._first: dict[str, date] = {}
        for one in log.watched:
            self._first[one.bike] = min(one.first, self._first.get(one.bike, one.first))
        self._paid = np.zeros((2, SIMULATIONS))
        self._noted: dict[tuple[str, int], Bools] = {}
        self._amounts = np.array([item.amount for item in bike.costs.items if item.kind is Kind.WAITS])

    def add(self, fall: LoggedFall, bills: Floats, noted: Bools) -> None:
        """Take in one fall: ``(2, simulations)`` and ``(2, items that wait, simulations)``, with guards and without."""
        self._paid += bills
        first = self._first.get(fall.bike, fall.day)
        season = int((fall.day - first).days / DAYS_A_YEAR / self._bike.scenario.repair_every)
        key = (fall.bike, season)
        self._noted[key] = self._noted[key] | noted if key in self._noted else noted

    def totals(self) -> tuple[Floats, Floats]:
        """``(simulations,)`` each: what was paid, and how much more it would have been without guards."""
        paid = self._paid.copy()
        for noted in self._noted.values():
            paid += np.einsum("w,gws->gs", self._amounts, noted)
        return paid[0], paid[1] - paid[0]


def _with_and_without(
    bike: Bike, fall: LoggedFall, chances: Floats, strikes: Mapping[tuple[str, str], float], rng: np.random.Generator
) -> tuple[Floats, Bools]:
    """What one fall cost and would have cost without guards, and what of it waits; shapes as for `_Account.add`."""
    parts = bike.scenario.parts
    shape = (len(parts), SIMULATIONS)
    harmed = np.repeat(np.array([[part.id in fall.harmed] for part in parts]), SIMULATIONS, axis=1)
    broken = np.repeat(np.array([[part.id in fall.broken] for part in parts]), SIMULATIONS, axis=1)
    struck = _struck_without_guards(bike.scenario, fall, strikes)
    is_alike = not fall.spared and not any(chance < 1.0 for chance in struck.values())
    bare = (harmed, broken) if is_alike else _harm_without_guards(bike, fall, chances, struck, rng)
    bare_harmed, bare_broken = bare
    every = np.ones(shape[1], dtype=bool)
    whole: Bools = (
        bike.items.incurred(bare_harmed, bare_broken, every).total(Kind.BILL) > bike.scenario.cap + HALF_A_CENT
    )
    both = [_cost(bike, harmed, broken, whole), _cost(bike, bare_harmed, bare_broken, whole)]
    return np.stack([bill for bill, _ in both]), np.stack([noted for _, noted in both])


def _cost(bike: Bike, harmed: Bools, broken: Bools, whole: Bools) -> tuple[Floats, Bools]:
    """What the owner pays of one fall, ``(simulations,)``, and what waits, ``(items that wait, simulations)``."""
    incurred = bike.items.incurred(harmed, broken, whole)
    return np.minimum(incurred.total(Kind.BILL), bike.scenario.cap) + incurred.total(Kind.ON_TOP), incurred.noted()


def _struck_without_guards(
    scenario: Scenario, fall: LoggedFall, strikes: Mapping[tuple[str, str], float]
) -> dict[str, float]:
    """The chance that each struck part would have been struck without guards: below 1 only where one exposed it."""
    found = {}
    for part in scenario.parts:
        if part.id in fall.struck:
            exposed = 1.0 - math.prod(
                1.0 - row.chance for row in scenario.exposures_of.get(part.id, ()) if fall.serves(row)
            )
            bare = strikes.get((fall.fall, part.id), 0.0)
            either = bare + (1.0 - bare) * exposed
            found[part.id] = bare / either if exposed and either else 1.0
    return found


def _harm_without_guards(
    bike: Bike, fall: LoggedFall, chances: Floats, struck: Mapping[str, float], rng: np.random.Generator
) -> tuple[Bools, Bools]:
    """``(parts, simulations)`` each: what would have been harmed, and broken, had the parts struck been harmed."""
    parts = bike.scenario.parts
    shape = (len(parts), SIMULATIONS)
    was_harmed = np.array([part.id in fall.harmed for part in parts])[:, np.newaxis]
    was_broken = np.array([part.id in fall.broken for part in parts])[:, np.newaxis]
    would_break = np.where(was_harmed, was_broken, rng.random(shape) < chances)
    harmed = np.broadcast_to(was_harmed, shape).copy()
    for row, part in enumerate(parts):
        if part.id in fall.struck:
            chance = struck[part.id]
            harmed[row] = chance == 1.0 or rng.random(SIMULATIONS) < chance
    for row, giver, taker in bike.knock_ons:
        # A part that broke in truth passed on what it did in truth.
        if was_broken[giver] or not fall.exposes(parts[taker]):
            continue
        passes = rng.random(SIMULATIONS) < bike.scenario.knock_ons[row].chance
        harmed[taker] |= harmed[giver] & would_break[giver] & passes
    return harmed, harmed & would_break


def _wear(scenario: Scenario, fall: LoggedFall) -> float:
    """What a fall used up of the fitted guards that serve in it and cover, alone or jointly, a struck part."""
    worn: set[str] = set()
    for cover in scenario.covers:
        if cover.part in fall.struck:
            worn.update(name for name in cover.guards if wears(scenario.guard[name], cover, fall.fall, fall.sides))
    return sum(scenario.guard[name].wear_per_fall for name in worn & fall.fitted)
