"""Measured points with their sides spelled out, and what is odd about them once they are put together."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from guardopt.errors import Place
from guardopt.files.cells import Findings, Row
from guardopt.loading.columns import PointRow
from guardopt.loading.meaning.row_checking import Entry
from guardopt.loading.sides import Placed, Roster
from guardopt.model.pieces import Point, Side
from guardopt.model.scenario import Scenario
from guardopt.spelling import shown

LOOKS_ALIKE = 0.8
"""Likeness of two names, from 0 to 1, from which a name of one's own is taken for a slip of the pen."""

UPRIGHT, OVER = 40.0, 130.0
"""Degrees of roll below which a bike stands on its wheels, and above which it lies on its back."""

NEARLY_CENTRE = 20.0
"""Millimetres from the centre plane within which one point stands for both sides."""

ON_ONE_SIDE = {Side.LEFT: 1.0, Side.RIGHT: -1.0}


def points_of(
    entries: Sequence[Entry[PointRow]], parts: Roster, guards: Roster, findings: Findings
) -> dict[str, tuple[list[Point], Row]]:
    """The points of every id with the first row they stand in.

    A point of something that is on both sides is given for the left and mirrored.
    """
    found: dict[str, tuple[list[Point], Row]] = {}
    strays: dict[str, list[Entry[PointRow]]] = {}
    counts: dict[str, int] = {}
    for entry in entries:
        name = entry.values.id
        counts[name] = counts.get(name, 0) + 1
        is_stray = False
        for one in _named(entry, parts, guards, findings):
            place = entry.values
            out = -place.out if one.side is Side.RIGHT and one.id != name else place.out
            outs = (out, -out) if one.side is Side.PAIR and out else (out,)
            points, _ = found.setdefault(one.id, ([], entry.row))
            points += [Point(one.id, place.forward, each, place.up, place.wears, place.thick) for each in outs]
            is_stray |= out * ON_ONE_SIDE.get(one.side, 0.0) < 0.0
        if is_stray:
            strays.setdefault(name, []).append(entry)
    for name, across in strays.items():
        _tell_wrong_side(name, across, is_all=len(across) == counts[name], findings=findings)
    return found


def _named(entry: Entry[PointRow], parts: Roster, guards: Roster, findings: Findings) -> tuple[Placed, ...]:
    """What a row is about; a name that is neither a part nor a guard is something on both sides, such as a tyre."""
    name, where = entry.values.id, entry.row.where("id")
    row, dot, _ = name.partition(".")
    homes = [roster for roster in (parts, guards) if row in roster.rows]
    if len(homes) == 2:
        findings.error(where, f"found {shown(name)}, which is a part and a guard; give one of them another id")
        return ()
    if homes:
        return homes[0].resolve(name, where, findings)
    if not (parts.is_complete and guards.is_complete):
        return ()
    known = [*parts.rows, *guards.rows]
    rows_missing = [
        one.missing for one in findings.problems if one.missing and one.missing.table in ("parts", "guards")
    ]
    named_elsewhere = next((missing for missing in rows_missing if missing.name == row), None)
    if named_elsewhere is not None:
        has_none = f"{findings.table(named_elsewhere.table)} has no row for it"
        message = f"found {shown(name)}, which other tables name, but {has_none}"
        findings.error(where, message, missing=named_elsewhere)
        return ()
    close = difflib.get_close_matches(row.casefold(), known, n=1, cutoff=LOOKS_ALIKE)
    if dot:
        hint = f"; did you mean {close[0]}?" if close else ""
        findings.error(where, f"found {shown(name)}, expected a part or a guard, or a name without a point{hint}")
        return ()
    if close:
        findings.warn(where, f"{name} is neither a part nor a guard; did you mean {close[0]}?")
    return (Placed(name, name, Side.PAIR),)


def _tell_wrong_side(name: str, across: Sequence[Entry[PointRow]], *, is_all: bool, findings: Findings) -> None:
    """An error where all points of something are on the wrong side, a warning where only some of them are."""
    where, out = across[0].row.where("out"), across[0].values.out
    place = "measured on the left, where out is positive" if out < 0.0 else "on the right, where out is negative"
    if is_all:
        findings.error(where, f"found {out:g}, but {name} is {place}")
    else:
        findings.warn(where, f"found {out:g}, beyond the centre plane, but {name} is {place}")


def check_hull(scenario: Scenario, shape: Row, first_row: Place, findings: Findings) -> None:
    """What the points of the bare bike have to be so that it can come to rest at all."""
    from guardopt.shape.points import measured_bike
    from guardopt.shape.settling import depth_inside, is_solid

    bare = measured_bike(scenario, ())
    if not is_solid(bare.places):
        message = "the points of the bare bike lie in one plane; measure what stands out, and what is lowest"
        findings.error(first_row, message)
    elif depth_inside(bare.places, bare.centre) <= 0.0:
        place = f"{bare.centre[0]:g} mm forward and {bare.centre[2]:g} mm up"
        message = f"the centre of mass, {place}, is outside all that was measured of the bare bike"
        findings.error(shape.where("centre_up"), message)


def odd_points(
    scenario: Scenario,
    settings: Mapping[str, Row],
    rows: Mapping[str, Row],
    falls: Mapping[str, Row],
    findings: Findings,
) -> None:
    """Warnings about measured points, and about kinds of fall that would need some."""
    if not scenario.points:
        if scenario.centre is not None:
            findings.warn(settings["shape"].place, "[shape] has no effect: there are no points in points.csv")
        for fall in scenario.falls:
            if fall.bite is not None:
                message = f"found {fall.bite:g}, which has no effect: there are no points in points.csv"
                findings.warn(falls[fall.id].where("bite"), message)
        return
    _odd_falls(scenario, falls, findings)
    _odd_rows(scenario, rows, findings)
    _odd_rest(scenario, settings["shape"], findings)
    _odd_guards(scenario, rows, findings)


def _odd_falls(scenario: Scenario, falls: Mapping[str, Row], findings: Findings) -> None:
    for fall in scenario.falls:
        row = falls[fall.id]
        for column in ("bite_spread", "tilt", "speed", "drag"):
            if fall.bite is None and row.text(column):
                findings.warn(row.where(column), f"found {row.text(column)}, which has no effect without bite")


def _odd_rows(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    """Wear that cannot happen, and centre parts of which only one side was measured."""
    points: dict[Place, list[Point]] = {}
    for point in scenario.points:
        points.setdefault(rows[point.id].place, []).append(point)
    centred = {part.id for part in scenario.parts if part.side is Side.CENTRE}
    centred |= {guard.id for guard in scenario.guards if guard.side is Side.CENTRE}
    for own in points.values():
        row = rows[own[0].id]
        if any(point.wears and not point.thick for point in own):
            findings.warn(row.where("wears"), "a point that wears but is not thick has nothing to grind")
        if any(point.thick and not point.wears for point in own):
            findings.warn(row.where("thick"), "a point that is thick but does not wear lasts for ever")
        outs = [point.out for point in own]
        if own[0].id in centred and (min(outs) > NEARLY_CENTRE or max(outs) < -NEARLY_CENTRE):
            side, sign = ("left", "negative") if outs[0] > 0.0 else ("right", "positive")
            message = f"{own[0].id} has points on the {side} only; it is not mirrored, so add those with {sign} out"
            findings.warn(row.where("out"), message)


def _odd_rest(scenario: Scenario, shape: Row, findings: Findings) -> None:
    """A bike that does not come to lie on its side."""
    from guardopt.shape.points import measured_bike
    from guardopt.shape.rest import rest

    roll = rest(measured_bike(scenario, ()), is_left=True).roll_degrees
    if roll < UPRIGHT:
        message = f"pushed over, the bike comes back onto its wheels (roll {round(roll)} degrees)"
        findings.warn(shape.where("centre_up"), message)
    elif roll > OVER:
        message = f"pushed over, the bike goes on onto its back (roll {round(roll)} degrees)"
        findings.warn(shape.where("centre_up"), message)


def _odd_guards(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    """Guards that stand out nowhere."""
    from guardopt.shape.points import body, measured_bike, measured_centre
    from guardopt.shape.settling import depth_inside

    bare = measured_bike(scenario, ())
    told: set[Place] = set()
    for guard in scenario.guards:
        if guard.id not in rows or rows[guard.id].place in told:
            continue
        own = body(scenario.points, measured_centre(scenario), {guard.id})
        if all(depth_inside(bare.places, place) >= 0.0 for place in own.places):
            told.add(rows[guard.id].place)
            message = f"{guard.row} can touch nothing: all its points lie within what was measured of the bike"
            findings.warn(rows[guard.id].where("id"), message)
