"""What a fall and a year cost, fall by fall and in plain loops, as the definition reads; slow, and nothing shared.

It takes simulated falls as they were drawn and the scenario's own facts, and nothing else of the package.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from guardopt.model.pieces import Cover, Exposure, Kit
from guardopt.model.scenario import Scenario
from guardopt.simulation.sampling import Stratum


@dataclass(frozen=True)
class OneFall:
    """What one simulated fall comes to with one kit.

    Attributes
    ----------
    bill, cost, renewals, off_road, days
        Repair bill, what the owner pays of it, renewals, what days without the bike and recovery cost, and the days.
    waiting
        What is noted for later: ("broken" or "harmed", part), and ("reached", group).
    at_once
        What it costs if what waits is put right at once, renewals aside.
    """

    bill: float
    cost: float
    renewals: float
    off_road: float
    days: float
    at_once: float
    waiting: frozenset[tuple[str, str]] = field(default_factory=frozenset)

    @property
    def paid(self) -> float:
        """All that is paid for this fall by itself."""
        return self.cost + self.renewals + self.off_road


def price_fall(scenario: Scenario, sample: Stratum, fall: int, kit: Kit) -> OneFall:
    """One fall of a stratum with exactly these guards on."""
    harmed, broken = harm(scenario, sample, fall, kit)
    bare_bill = repair_bill(scenario, *harm(scenario, sample, fall, frozenset()))
    everything = repair_bill(scenario, harmed, broken)
    is_whole = bare_bill > scenario.cap
    later = set() if is_whole else {part.id for part in scenario.parts if part.waits}
    bill = repair_bill(scenario, harmed - later, broken - later)
    days = max((part.days for part in scenario.parts if part.id in broken and not part.waits), default=0.0)
    off_road = scenario.day_without * days + (scenario.recovery if days > 0.0 else 0.0)
    noted = {("broken", part) for part in broken & later} | {("harmed", part) for part in harmed & later}
    noted |= {("reached", part.strip_down) for part in scenario.parts if part.id in broken & later and part.strip_down}
    struck = {part.id for row, part in enumerate(scenario.parts) if sample.struck[row, fall]}
    kind = scenario.falls[sample.fall].id
    serving = {one.id for one in scenario.guards if not one.side.is_sided or one.side in sample.sides}
    worn = serving & {
        name
        for cover in scenario.covers
        if cover.fall in (None, kind) and cover.part in struck
        for name in cover.guards
    }
    renewals = math.fsum(scenario.guard[name].wear_per_fall for name in worn & kit)
    cost = min(bill, scenario.cap)
    at_once = min(everything, scenario.cap) + off_road
    return OneFall(bill, cost, renewals, off_road, days, at_once, frozenset(noted))


def counts(scenario: Scenario, one: Cover | Exposure, sample: Stratum) -> bool:
    """Whether a row is about this kind of fall and its guards serve in it."""
    return one.fall in (None, scenario.falls[sample.fall].id) and (one.side is None or one.side in sample.sides)


def harm(scenario: Scenario, sample: Stratum, fall: int, kit: Kit) -> tuple[set[str], set[str]]:
    """The parts that one fall harms, and those among them that break."""
    struck = {part.id for row, part in enumerate(scenario.parts) if sample.struck[row, fall]}
    breaks = {part.id for row, part in enumerate(scenario.parts) if sample.breaks[row, fall]}
    struck |= {
        one.part
        for row, one in enumerate(scenario.exposures)
        if counts(scenario, one, sample) and set(one.guards) <= kit and sample.exposes[row, fall]
    }
    spared = {
        cover.part
        for row, cover in enumerate(scenario.covers)
        if counts(scenario, cover, sample) and set(cover.guards) <= kit and sample.holds[row, fall]
    }
    harmed = struck - spared
    while True:
        reached = {
            knock_on.takes
            for row, knock_on in enumerate(scenario.knock_ons)
            if knock_on.part in harmed & breaks and sample.passes[row, fall]
        }
        if reached <= harmed:
            return harmed, harmed & breaks
        harmed |= reached


def repair_bill(scenario: Scenario, harmed: set[str], broken: set[str]) -> float:
    """Parts replaced and touched up, and each group with a part to replace reached once."""
    bill, opened = 0.0, set()
    for part in scenario.parts:
        if part.id in broken:
            bill += part.price + part.hours * scenario.repair_rate
            opened.add(part.strip_down)
        elif part.id in harmed:
            bill += part.touch_up
    return bill + sum(scenario.strip_down[name] * scenario.repair_rate for name in opened if name)


def put_right(scenario: Scenario, noted: set[tuple[str, str]]) -> float:
    """What it costs to put right, once, what has been noted since the last time."""
    total = 0.0
    for part in scenario.parts:
        if ("broken", part.id) in noted:
            total += part.price + part.hours * scenario.repair_rate
        elif ("harmed", part.id) in noted:
            total += part.touch_up
    return total + sum(
        hours * scenario.repair_rate for name, hours in scenario.strip_down.items() if ("reached", name) in noted
    )


def yearly_cost(scenario: Scenario, sample: Sequence[Stratum], kit: Kit) -> float:
    """The yearly cost by the formulas of the definition, from every fall of a sample."""
    total, often = 0.0, dict[tuple[str, str], float]()
    for stratum in sample:
        each = scenario.falls[stratum.fall].per_year * stratum.share / stratum.falls
        for fall in range(stratum.falls):
            found = price_fall(scenario, stratum, fall, kit)
            total += each * found.paid
            for what in found.waiting:
                often[what] = often.get(what, 0.0) + each
    every = scenario.repair_every

    def comes_about(kind: str, name: str) -> float:
        return (1.0 - math.exp(-every * often.get((kind, name), 0.0))) / every

    for part in scenario.parts:
        replaced = part.price + part.hours * scenario.repair_rate
        if part.waits:
            total += (replaced - part.touch_up) * comes_about("broken", part.id)
            total += part.touch_up * comes_about("harmed", part.id)
    for group, hours in scenario.strip_down.items():
        total += hours * scenario.repair_rate * comes_about("reached", group)
    return total


def drawn_seasons(
    scenario: Scenario, sample: Sequence[Stratum], kit: Kit, seasons: int, rng: np.random.Generator
) -> np.ndarray:
    """What each of many repair intervals costs a year, its falls drawn one by one from a sample."""
    every = scenario.repair_every
    paid = np.zeros(seasons)
    for season in range(seasons):
        noted: set[tuple[str, str]] = set()
        for stratum in sample:
            expected = scenario.falls[stratum.fall].per_year * stratum.share * every
            for _ in range(rng.poisson(expected)):
                found = price_fall(scenario, stratum, int(rng.integers(stratum.falls)), kit)
                paid[season] += found.paid
                noted |= found.waiting
        paid[season] += put_right(scenario, noted)
    return paid / every
