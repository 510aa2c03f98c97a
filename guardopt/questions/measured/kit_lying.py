"""How the bike lies with a kit on both sides, and what falls cost by that alone, beside what the tables say.

Tables hold what guards do singly, in pairs and in threes; a place of rest knows the whole kit. So the kit that a plan
chose is priced once more: in kinds of fall that have a bite, measured parts are struck where the road reaches them with
the whole kit on. All else is drawn from the tables.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.model.pieces import HALF_A_CENT, Kit, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.measured.touchdown import ground_of
from guardopt.shape.points import measured_bike
from guardopt.shape.rest import Rest, rest
from guardopt.shape.rocking import draw_rocking, strikes
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Kind
from guardopt.simulation.outcomes import outcome, whole_falls
from guardopt.simulation.pricing import Bill
from guardopt.simulation.repair_interval import put_right, put_right_slope
from guardopt.simulation.sampling import Stratum, counts, draw, named_generator

PARTS_TOLD = 3

TELLING = 3.0
"""Standard errors by which two prices have to differ to be told of."""


@dataclass(frozen=True)
class PartLying:
    """How many times a year a part is damaged by how the bike lies, and by the tables."""

    part: str
    lying: float
    tables: float


@dataclass(frozen=True)
class KitLying:
    """How a bike lies with one kit, and what it costs so.

    Attributes
    ----------
    left, right
        Where it comes to rest on either side.
    yearly_cost, yearly_cost_se
        What falls cost a year by how it lies, with the standard error (None if one fall a stratum cannot tell); None if
        no kind of fall has a bite.
    tables, tables_se
        What the tables of the scenario say, the same way.
    parts
        The parts for which the two differ most in money, three at most.
    """

    left: Rest
    right: Rest
    yearly_cost: float | None
    yearly_cost_se: float | None
    tables: float
    tables_se: float | None
    parts: tuple[PartLying, ...] = ()

    @property
    def difference(self) -> float | None:
        """How much more falls cost a year by how the bike lies than by the tables."""
        return None if self.yearly_cost is None else self.yearly_cost - self.tables

    @property
    def is_telling(self) -> bool:
        """Whether the two prices differ by more than the luck of the simulation can account for."""
        if self.difference is None or self.yearly_cost_se is None or self.tables_se is None:
            return False
        return abs(self.difference) > TELLING * math.hypot(self.yearly_cost_se, self.tables_se)

    def to_json(self) -> dict[str, Any]:
        """As a part of ``plan --json``."""
        return {
            **{
                name: {"rests_on": list(lying.rests_on), "roll_degrees": lying.roll_degrees}
                for name, lying in (("left", self.left), ("right", self.right))
            },
            "yearly_cost": self.yearly_cost,
            "yearly_cost_se": self.yearly_cost_se,
            "more_than_tables": self.difference,
            "differs": self.is_telling,
            "parts": [
                {"part": one.part, "times_a_year": one.lying, "times_by_tables": one.tables} for one in self.parts
            ],
        }


def kit_lying(scenario: Scenario, kit: Kit, tables: Bill, tables_se: float | None) -> KitLying | None:
    """How the bike lies with a kit, and what falls cost by that; None if nothing was measured.

    Parameters
    ----------
    scenario
        The bike and its falls.
    kit
        The guards on it.
    tables, tables_se
        What is paid by the tables with the kit on, and the standard error of what falls cost a year.
    """
    if not scenario.points:
        return None
    left, right = (rest(measured_bike(scenario, kit), is_left=is_left) for is_left in (True, False))
    if all(fall.bite is None for fall in scenario.falls):
        return KitLying(left, right, None, None, tables.yearly_cost, tables_se)
    yearly, error, damaged = yearly_cost_lying(scenario, kit)
    parts = _most_different(scenario, damaged, tables.part_harmed_per_year)
    return KitLying(left, right, yearly, error, tables.yearly_cost, tables_se, parts)


def _most_different(scenario: Scenario, lying: Floats, tables: Floats) -> tuple[PartLying, ...]:
    prices = np.array([part.price + part.hours * scenario.repair_rate for part in scenario.parts])
    amounts = np.abs(lying - tables) * prices
    most = [row for row in np.argsort(-amounts, kind="stable")[:PARTS_TOLD].tolist() if amounts[row] > HALF_A_CENT]
    return tuple(PartLying(scenario.parts[row].id, float(lying[row]), float(tables[row])) for row in most)


def yearly_cost_lying(scenario: Scenario, kit: Kit) -> tuple[float, float | None, Floats]:
    """What falls cost a year with a kit by how the bike lies, the standard error, and how often parts are damaged.

    As for tables, over strata of known shares; what waits counts in the error by its tangent (`simulation.pricing`).
    """
    bike = Bike(scenario)
    fitted = bike.kit_array(kit)
    amounts = np.array([item.amount for item in bike.costs.items if item.kind is Kind.WAITS])
    often, damaged, met = np.zeros(amounts.size), np.zeros(len(scenario.parts)), []
    for bare, with_kit in _strata(scenario, kit):
        found = outcome(bike, with_kit, fitted, whole_falls(bike, bare))
        # Guards wear by strikes on the bare bike, whatever the kit makes of them.
        paid: Floats = found.owner_cost + found.off_road + outcome(bike, bare, fitted).renewals
        per_year = scenario.falls[bare.fall].per_year * bare.share
        often += per_year * found.noted.mean(axis=1)
        damaged += per_year * found.part_harmed
        met.append((per_year, paid, found.noted))
    slope = put_right_slope(amounts, often, scenario.repair_every)
    mean, variance = float(put_right(amounts, often, scenario.repair_every).sum()), 0.0
    for per_year, paid, noted in met:
        mean += per_year * float(paid.mean())
        variance += per_year**2 * float((paid + slope @ noted).var(ddof=1)) / paid.size if paid.size > 1 else math.nan
    return mean, None if math.isnan(variance) else math.sqrt(variance), damaged


def _strata(scenario: Scenario, kit: Kit) -> Iterator[tuple[Stratum, Stratum]]:
    """Simulated falls on the bare bike, and the same falls with a kit on, stratum by stratum."""
    measured = frozenset(point.id for point in scenario.points)
    certain = _struck_for_certain(scenario, measured)
    lying = {
        (guards, side): rest(measured_bike(scenario, guards), is_left=side is Side.LEFT)
        for guards in (frozenset[str](), kit)
        for side in (Side.LEFT, Side.RIGHT)
    }
    for stratum in draw(certain, scenario.falls_sampled, scenario.seed, "lying", kit):
        fall = scenario.falls[stratum.fall]
        if fall.bite is None:
            yield stratum, stratum
            continue
        by_points = [
            cover.part in measured and measured.issuperset(cover.guards) and cover.fall in (None, fall.id)
            for cover in scenario.covers
        ]
        holds = stratum.holds & ~np.array(by_points, dtype=bool)[:, None]
        bare, with_kit = (
            replace(stratum, struck=_struck(scenario, stratum, {side: lying[guards, side] for side in stratum.sides}))
            for guards in (frozenset[str](), kit)
        )
        exposes = _exposed(scenario, stratum, bare.struck, measured)
        yield replace(bare, holds=holds, exposes=exposes), replace(with_kit, holds=holds, exposes=exposes)


def _exposed(scenario: Scenario, stratum: Stratum, bare: Bools, measured: frozenset[str]) -> Bools:
    """``(exposures, falls)``: as the tables say, but for measured guards and parts, of which the points tell."""
    fall, exposes = scenario.falls[stratum.fall], stratum.exposes.copy()
    rows = {part.id: row for row, part in enumerate(scenario.parts)}
    for row, one in enumerate(scenario.exposures):
        if one.part not in measured:
            continue
        exposes[row] = False
        part = scenario.parts[rows[one.part]]
        is_exposed = not part.side.is_sided or part.side in stratum.sides
        if is_exposed and not measured.issuperset(one.guards) and counts(one, fall, stratum.sides):
            name = f"{scenario.seed}/lying/{fall.id}/{'+'.join(sorted(stratum.sides))}/expose/{row}"
            exposes[row] = (named_generator(name).random(stratum.falls) < one.chance) & ~bare[rows[one.part]]
    return exposes


def _struck_for_certain(scenario: Scenario, measured: frozenset[str]) -> Scenario:
    """The scenario with measured parts struck in every fall that has a bite, so that all that may hold is drawn."""
    bites = {fall.id for fall in scenario.falls if fall.bite is not None}
    hits = {key: 1.0 if key[0] in bites and key[1] in measured else chance for key, chance in scenario.hits.items()}
    return replace(scenario, hits=hits, source=None)


def _struck(scenario: Scenario, stratum: Stratum, lying: Mapping[Side, Rest]) -> Bools:
    """``(parts, falls)``: what the road reaches; in a fall on both sides the bike lies on one after the other."""
    fall = scenario.falls[stratum.fall]
    struck = stratum.struck.copy()
    if fall.bite is None:
        return struck
    name = f"{scenario.seed}/lying/{fall.id}/{'+'.join(sorted(stratum.sides))}/rocking"
    rocking = draw_rocking(stratum.falls, named_generator(name))
    reached = {side: strikes(one, ground_of(fall, fall.bite), rocking) for side, one in lying.items()}
    for row, part in enumerate(scenario.parts):
        rows = [
            reached[side][one.body.row[part.id]]
            for side, one in lying.items()
            if part.id in one.body.row and part.side.goes_with(side)
        ]
        if rows:
            struck[row] = np.logical_or.reduce(rows)
    return struck
