"""Did the guards pay? What they spared in the falls of a log, against what they and their renewals cost.

The damage that was spared never happened, so it is simulated: each part that was struck and not harmed would have been
harmed without guards. Whether it would have broken, passed the blow on and had its group stripped down is drawn anew,
with break chances drawn from what is believed of them. What did happen in the same fall stays as it was, and both bills
are capped, so a guard saves nothing in a fall that wrote the bike off all the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.beliefs import LEVEL, Belief
from guardopt.bike import Bike
from guardopt.fall_log import Log, LoggedFall
from guardopt.pieces import Kit
from guardopt.scenario import Scenario

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
        Mean and 90 % interval of what they would have cost on top.
    paid
        What the falls did cost the owner, capped; renewals not included.
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


def paid_off(scenario: Scenario, log: Log, breaks: Mapping[str, Belief]) -> PaidOff:
    """Work out whether the guards of a log paid.

    Parameters
    ----------
    scenario
        The bike; its prices, hours, knock-ons and cap count.
    log
        Real falls.
    breaks
        The belief in the chance that each part, by its id, breaks if harmed. Both sides of a row share one belief.
    """
    bike = Bike(scenario)
    rng = np.random.Generator(np.random.PCG64(scenario.seed))
    chances = _break_chances(scenario, breaks, rng)
    saved = np.zeros(SIMULATIONS)
    paid = renewals = 0.0
    for fall in log.falls:
        cost = _actual_cost(bike, fall)
        paid += cost
        renewals += _wear(scenario, fall)
        if fall.spared:
            saved += _cost_without_guards(bike, fall, chances, rng) - cost
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
        paid=paid,
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


def _actual_cost(bike: Bike, fall: LoggedFall) -> float:
    parts = bike.scenario.parts
    harmed = np.array([[part.id in fall.harmed] for part in parts])
    broken = np.array([[part.id in fall.broken] for part in parts])
    return float(_cost(bike, harmed, broken)[0])


def _cost(bike: Bike, harmed: Bools, broken: Bools) -> Floats:
    """``(simulations,)``: the owner's cost, min(repair bill, cap), from what is ``(parts, simulations)``."""
    bill = bike.break_cost @ broken + bike.scuff_cost @ (harmed & ~broken)
    for cost, parts in zip(bike.strip_cost, bike.groups, strict=True):
        bill = bill + cost * broken[parts].any(axis=0)
    result: Floats = np.minimum(bill, bike.scenario.cap)
    return result


def _cost_without_guards(bike: Bike, fall: LoggedFall, chances: Floats, rng: np.random.Generator) -> Floats:
    """``(simulations,)``: what the fall would have cost had the parts spared been harmed."""
    parts = bike.scenario.parts
    shape = (len(parts), SIMULATIONS)
    was_harmed = np.array([part.id in fall.harmed for part in parts])[:, np.newaxis]
    was_broken = np.array([part.id in fall.broken for part in parts])[:, np.newaxis]
    would_break = np.where(was_harmed, was_broken, rng.random(shape) < chances)
    harmed = np.broadcast_to(was_harmed, shape).copy()
    harmed |= np.array([part.id in fall.spared for part in parts])[:, np.newaxis]
    for row, giver, taker in bike.knock_ons:
        # A part that broke in truth passed on what it did in truth.
        if was_broken[giver] or not fall.exposes(parts[taker]):
            continue
        passes = rng.random(SIMULATIONS) < bike.scenario.knock_ons[row].chance
        harmed[taker] |= harmed[giver] & would_break[giver] & passes
    return _cost(bike, harmed, harmed & would_break)


def _wear(scenario: Scenario, fall: LoggedFall) -> float:
    """What a fall used up of the fitted guards that serve in it and cover, alone or jointly, a struck part."""
    worn: set[str] = set()
    for cover in scenario.covers:
        if cover.part in fall.struck and fall.counts(cover):
            worn.update(cover.guards)
    return sum(scenario.guard[name].wear_per_fall for name in worn & fall.fitted)
