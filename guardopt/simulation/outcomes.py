"""What becomes of simulated falls with exactly these guards on the bike: which parts are harmed, and what is paid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.model.pieces import HALF_A_CENT, wears
from guardopt.simulation.compiled import Bike
from guardopt.simulation.incurred import Incurred
from guardopt.simulation.items import Kind
from guardopt.simulation.sampling import Stratum


def harmed_parts(bike: Bike, stratum: Stratum, fitted: Bools) -> Bools:
    """``(parts, falls)``: the part is harmed, by the road or by the breaking of another part.

    A part is struck if it is on the bare bike, or by an exposure whose guards are all fitted. A struck part is harmed
    unless a cover whose guards are all fitted and serve in this fall holds.
    """
    harmed, is_on, serves = stratum.struck.copy(), fitted.tolist(), stratum.serves.tolist()
    for row, (part, guards) in enumerate(bike.exposures):
        if all(is_on[guard] for guard in guards):
            harmed[part] |= stratum.exposes[row]
    for row, (part, guards) in enumerate(bike.covers):
        if serves[row] and all(is_on[guard] for guard in guards):
            harmed[part] &= ~stratum.holds[row]
    for row, part, takes in bike.knock_ons:
        harmed[takes] |= harmed[part] & stratum.breaks[part] & stratum.passes[row]
    return harmed


def worn_guards(bike: Bike, stratum: Stratum) -> Bools:
    """``(guards that wear, falls)``: the guard serves and has a row about a struck part, alone or jointly.

    See `pieces.wears`.
    """
    scenario = bike.scenario
    fall = scenario.falls[stratum.fall].id
    worn = np.zeros((len(bike.worn_by), stratum.falls), dtype=bool)
    for index, (guard, pairs) in enumerate(bike.worn_by):
        for row, part in pairs:
            if wears(scenario.guards[guard], scenario.covers[row], fall, stratum.sides):
                worn[index] |= stratum.struck[part]
    return worn


def whole_falls(bike: Bike, stratum: Stratum) -> Bools | None:
    """``(falls,)``: everything is put right after the fall, since on the bare bike its bill would exceed the cap.

    None where no part waits, so that it makes no difference.
    """
    if not bike.scenario.waits:
        return None
    bare = np.zeros(len(bike.scenario.guards), dtype=bool)
    return _put_right_at_once(bike, stratum, bare).total(Kind.BILL) > bike.scenario.cap + HALF_A_CENT


def cost_at_once(bike: Bike, stratum: Stratum, fitted: Bools) -> Floats:
    """``(falls,)``: what each single fall costs if what waits is put right at once, renewals aside."""
    put_right = _put_right_at_once(bike, stratum, fitted)
    return np.minimum(put_right.total(Kind.BILL), bike.scenario.cap) + put_right.total(Kind.ON_TOP)


def _put_right_at_once(bike: Bike, stratum: Stratum, fitted: Bools) -> Incurred:
    """What comes about with every part counted, also those that wait."""
    harmed = harmed_parts(bike, stratum, fitted)
    return bike.items.incurred(harmed, harmed & stratum.breaks, np.ones(stratum.falls, dtype=bool))


@dataclass(frozen=True)
class Outcome:
    """What the falls of one stratum cost with one kit; every array is ``(falls,)`` unless said."""

    repair_bill: Floats
    owner_cost: Floats
    renewals: Floats
    off_road: Floats
    """What days without the bike and getting it home cost."""
    days: Floats
    """Days without the bike."""
    written_off: Bools
    noted: Bools
    """``(items that wait, falls)``: it came about, to be put right later."""
    part_harmed: Floats
    """``(parts,)``: share of the falls in which the part is harmed."""
    part_bill: Floats
    """``(parts,)``: mean bill for the part, strip-down aside."""
    strip_bill: Floats
    """``(groups,)``: mean bill for reaching the group."""

    @property
    def paid(self) -> Floats:
        """What is paid for each fall by itself: the owner's cost, renewals, and days without the bike."""
        return self.owner_cost + self.renewals + self.off_road


def outcome(bike: Bike, stratum: Stratum, fitted: Bools, whole: Bools | None = None) -> Outcome:
    """Price one kit on one stratum.

    repair bill = Σ harmed parts (broken: price + hours × rate; scuffed: touch-up) + Σ strip-down of groups with a
    broken part, where what waits is left out of falls that are not whole; owner's cost = min(repair bill, cap);
    renewals and days without the bike come on top of the cap.

    Parameters
    ----------
    bike, stratum
        The scenario as arrays, and simulated falls.
    fitted
        ``(guards,)``: the kit.
    whole
        From `whole_falls`, which is asked where it is not given.
    """
    whole = whole_falls(bike, stratum) if whole is None else whole
    scenario = bike.scenario
    harmed = harmed_parts(bike, stratum, fitted)
    incurred = bike.items.incurred(harmed, harmed & stratum.breaks, whole)
    repair, means = incurred.total(Kind.BILL), incurred.means(Kind.BILL)
    renewals = np.zeros(stratum.falls)
    for (guard, _), worn in zip(bike.worn_by, worn_guards(bike, stratum), strict=True):
        if fitted[guard]:
            renewals += bike.wear[guard] * worn
    parts = len(scenario.parts)
    return Outcome(
        repair_bill=repair,
        owner_cost=np.minimum(repair, scenario.cap),
        renewals=renewals,
        off_road=incurred.total(Kind.ON_TOP),
        days=incurred.days(),
        written_off=repair > scenario.write_off_above + HALF_A_CENT,
        noted=incurred.noted(),
        part_harmed=np.count_nonzero(harmed, axis=1) / stratum.falls,
        part_bill=means[:parts],
        strip_bill=means[parts:],
    )
