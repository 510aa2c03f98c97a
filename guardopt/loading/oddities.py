"""Warnings: what is legal in a scenario but can have no effect, or looks like a slip."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import TypeVar

from guardopt.errors import Place
from guardopt.files.cells import Findings, Row
from guardopt.loading.fall_checking import odd_falls
from guardopt.loading.point_checking import odd_points
from guardopt.model.pieces import Cover, Exposure, Guard, KnockOn, Part
from guardopt.model.scenario import Scenario

HIGH_DISCOUNT_RATE = 0.3

Sided = TypeVar("Sided", Part, Guard)


@dataclass(frozen=True, slots=True)
class Origins:
    """The rows that the objects of a scenario were read from: parts, falls, guards and offers by the id in the file.

    Points stand for the first row of what they belong to, its side spelled out.
    """

    settings: Mapping[str, Row]
    parts: Mapping[str, Row]
    falls: Mapping[str, Row]
    guards: Mapping[str, Row]
    offers: Mapping[str, Row]
    covers: Mapping[Cover, Row]
    exposures: Mapping[Exposure, Row]
    knock_ons: Mapping[KnockOn, Row]
    points: Mapping[str, Row]


def warn_of_oddities(scenario: Scenario, origins: Origins, findings: Findings) -> None:
    """Note everything odd about a scenario that is otherwise sound."""
    _odd_settings(scenario, origins.settings, findings)
    _odd_parts(scenario, origins.parts, findings)
    odd_falls(scenario, origins.falls, findings)
    _odd_knock_ons(scenario, origins.knock_ons, findings)
    _odd_guards(scenario, origins.guards, findings)
    _odd_covers(scenario, origins.covers, findings)
    _odd_exposures(scenario, origins.exposures, findings)
    _odd_offers(scenario, origins.offers, findings)
    odd_points(scenario, origins.settings, origins.points, origins.falls, findings)


def _odd_settings(scenario: Scenario, settings: Mapping[str, Row], findings: Findings) -> None:
    if scenario.value <= scenario.salvage:
        where = settings["bike"].where("value")
        findings.warn(where, f"found {scenario.value:g}, no more than the wreck would fetch: no fall can cost anything")
    elif scenario.cap == 0.0:
        where = settings["insurance"].where("excess")
        findings.warn(where, "found 0 and no rise of the premium: no fall can cost the owner anything but wear")
    elif scenario.insurance is not None and scenario.insurance.excess > scenario.value:
        where = settings["insurance"].where("excess")
        message = f"found {scenario.insurance.excess:g}, more than the whole bike is worth, {scenario.value:g}"
        findings.warn(where, f"{message}: the insurer would never pay")
    if scenario.discount_rate >= HIGH_DISCOUNT_RATE:
        where = settings["owner"].where("discount_rate")
        findings.warn(where, f"found {scenario.discount_rate:g}, a high rate for one year")
    if scenario.max_weight_kg is not None and not scenario.is_within_weight(scenario.stock):
        where = settings["owner"].where("max_weight_kg")
        weight = scenario.weight_kg(scenario.stock)
        findings.warn(where, f"found {scenario.max_weight_kg:g}, but the guards owned weigh {weight:g}")
    if scenario.insurance is not None and scenario.insurance.write_off_share > 1.0:
        where = settings["insurance"].where("write_off_share")
        share = scenario.insurance.write_off_share
        findings.warn(where, f"found {share:g}: bills above the value of the bike would still be repaired")
    _odd_time(scenario, settings["owner"], findings)
    named = {part.strip_down for part in scenario.parts}
    for group in scenario.strip_down:
        if group not in named:
            findings.warn(settings["strip_down"].where(group), "has no effect: no part names this group")


def _odd_time(scenario: Scenario, owner: Row, findings: Findings) -> None:
    """What the owner says about time that no part gives an occasion for."""
    if owner.text("repair_every") and not scenario.waits:
        findings.warn(owner.where("repair_every"), "has no effect: no part waits")
    stops = any(part.days > 0.0 and not part.waits for part in scenario.parts)
    for key, amount in (("day_without", scenario.day_without), ("recovery", scenario.recovery)):
        if amount and not stops:
            findings.warn(owner.where(key), "has no effect: no part has days that the bike is off the road")


def _odd_parts(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    harmed = _can_be_harmed(scenario)
    for name, parts in _by_row(scenario.parts).items():
        if not any(part.id in harmed for part in parts):
            findings.warn(rows[name].where("part"), f"no fall strikes {name}")
        if parts[0].price > scenario.value:
            message = f"found {parts[0].price:g}, more than the whole bike is worth, {scenario.value:g}"
            findings.warn(rows[name].where("price"), message)
        if parts[0].touch_up > 0.0 and parts[0].break_chance == 1.0:
            message = f"found {parts[0].touch_up:g}, which has no effect: with break_chance 1 the part always breaks"
            findings.warn(rows[name].where("touch_up"), message)
        if parts[0].waits and parts[0].days > 0.0:
            findings.warn(rows[name].where("days"), f"found {parts[0].days:g}, which has no effect: the part waits")


def _can_be_harmed(scenario: Scenario) -> set[str]:
    """Parts that a fall strikes or that another part that can break passes its blow on to."""
    can_break = {part.id for part in scenario.parts if part.break_chance > 0.0}
    harmed = {part for (_, part), chance in scenario.hits.items() if chance > 0.0}
    harmed |= {exposure.part for exposure in scenario.exposures if exposure.chance > 0.0}
    while True:
        passed_on = {
            knock_on.takes
            for knock_on in scenario.knock_ons
            if knock_on.chance > 0.0 and knock_on.part in harmed & can_break
        }
        if passed_on <= harmed:
            return harmed
        harmed |= passed_on


def _odd_knock_ons(scenario: Scenario, rows: Mapping[KnockOn, Row], findings: Findings) -> None:
    unbreakable = {part.id for part in scenario.parts if part.break_chance == 0.0}
    seen: set[Place] = set()
    for knock_on, row in rows.items():
        if row.place in seen:
            continue
        seen.add(row.place)
        if knock_on.chance == 0.0:
            findings.warn(row.where("chance"), "found 0: this knock-on has no effect")
        elif knock_on.part in unbreakable:
            findings.warn(row.where("part"), f"has no effect: {row.text('part')} never breaks")


def _odd_guards(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    needed = frozenset().union(*(alternatives for guard in scenario.guards for alternatives in guard.needs))
    covers: dict[str, list[Cover]] = {}
    for cover in scenario.covers:
        for name in cover.guards:
            covers.setdefault(name, []).append(cover)
    for name, guards in _by_row(scenario.guards).items():
        row = rows[name]
        own_covers = [cover for guard in guards for cover in covers.get(guard.id, ())]
        if guards[0].price > scenario.value:
            message = f"found {guards[0].price:g}, more than the whole bike is worth, {scenario.value:g}"
            findings.warn(row.where("price"), message)
        if not any(guard.id in needed for guard in guards):
            if not own_covers:
                findings.warn(row.where("guard"), f"{name} covers nothing, and no guard needs it")
            elif not any(_meets_a_strike(scenario, cover) for cover in own_covers):
                findings.warn(row.where("guard"), f"{name} covers only parts that no fall strikes")
        limit = scenario.max_weight_kg
        if limit is not None and guards[0].weight_kg > limit:
            findings.warn(row.where("weight_kg"), f"found {guards[0].weight_kg:g}, above max_weight_kg {limit:g}")
        if row.text("renew_price") and not row.text("lasts_falls"):
            findings.warn(row.where("renew_price"), "has no effect: without lasts_falls the guard never wears out")
        if guards[0].sells_cents and not guards[0].owned:
            findings.warn(row.where("sells_for"), "has no effect: only a guard that is owned can be sold")
        later = max(scenario.resale_value([guard.id]) for guard in guards)
        if guards[0].owned and 0 < guards[0].sells_cents < round(later * 100):
            message = f"found {guards[0].sells_cents / 100:.2f}, less than it fetches at the end by its resale_share"
            advice = "lower resale_share if this is all it will fetch"
            findings.warn(row.where("sells_for"), f"{message}, worth {later:.2f} today: {advice}")
        if row.text("not_with") and not any(guard.not_with for guard in guards):
            findings.warn(row.where("not_with"), "has no effect: those guards are on the other side")
        barred = [guard for guard in guards if _can_never_be_fitted(scenario, guard)]
        if barred:
            who = name if len(barred) == len(guards) else barred[0].id
            findings.warn(row.where("needs"), f"{who} can never be fitted: no guard it needs goes with it")


def _can_never_be_fitted(scenario: Scenario, guard: Guard) -> bool:
    return any(
        all(Scenario.exclude_each_other(guard, scenario.guard[other]) for other in alternatives)
        for alternatives in guard.needs
    )


def _meets_a_strike(scenario: Scenario, cover: Cover) -> bool:
    """True if the part is struck, or was measured or is exposed: a kit may roll the bike onto what it never touched."""
    falls = [fall for fall in scenario.falls if cover.fall in (None, fall.id)]
    is_measured = any(point.id == cover.part for point in scenario.points)
    is_exposed = any(one.part == cover.part and one.chance > 0.0 for one in scenario.exposures)
    return is_exposed or any(
        scenario.hits[fall.id, cover.part] > 0.0 or (is_measured and fall.bite is not None) for fall in falls
    )


def _odd_covers(scenario: Scenario, rows: Mapping[Cover, Row], findings: Findings) -> None:
    by_place: dict[Place, list[Cover]] = {}
    for cover, row in rows.items():
        by_place.setdefault(row.place, []).append(cover)
    for covers in by_place.values():
        row = rows[covers[0]]
        clashes = [_clash(scenario, cover.guards) for cover in covers]
        if covers[0].holds == 0.0:
            findings.warn(row.where("holds"), "found 0: this cover has no effect")
        elif clashes[0] and all(clashes):
            findings.warn(row.where("guard"), f"has no effect: {clashes[0]}")
        elif covers[0].fall is not None and not any(_meets_a_strike(scenario, cover) for cover in covers):
            message = f"has no effect: {row.text('part')} is never struck in {covers[0].fall}"
            findings.warn(row.where("fall"), message)


def _odd_exposures(scenario: Scenario, rows: Mapping[Exposure, Row], findings: Findings) -> None:
    by_place: dict[Place, list[Exposure]] = {}
    for exposure, row in rows.items():
        by_place.setdefault(row.place, []).append(exposure)
    for exposures in by_place.values():
        row, first = rows[exposures[0]], exposures[0]
        clashes = [_clash(scenario, exposure.guards) for exposure in exposures]
        falls = [fall.id for fall in scenario.falls] if first.fall is None else [first.fall]
        if first.chance == 0.0:
            findings.warn(row.where("chance"), "found 0: this guard does no such harm")
        elif clashes[0] and all(clashes):
            findings.warn(row.where("guard"), f"has no effect: {clashes[0]}")
        elif all(scenario.hits[fall, one.part] == 1.0 for fall in falls for one in exposures):
            findings.warn(row.where("part"), f"has no effect: {row.text('part')} is always struck on the bare bike")


def _odd_offers(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    for offer in scenario.offers:
        row = rows[offer.id]
        singly = sum(scenario.guard[name].price_cents for name in offer.guards)
        clash = _clash(scenario, sorted(offer.guards))
        if len(offer.guards) < 2:
            findings.warn(row.where("guards"), "is an offer of a single guard")
        elif clash:
            findings.warn(row.where("guards"), f"can never be taken: {clash}")
        elif offer.price_cents >= singly:
            message = f"found {offer.price_cents / 100:.2f}, no less than the {singly / 100:.2f} the guards cost singly"
            findings.warn(row.where("price"), message)


def _clash(scenario: Scenario, names: Iterable[str]) -> str | None:
    """Two of these guards that exclude each other, in words, if there are any."""
    for name, other in combinations(names, 2):
        if Scenario.exclude_each_other(scenario.guard[name], scenario.guard[other]):
            return f"{name} and {other} cannot both be fitted"
    return None


def _by_row(objects: Iterable[Sided]) -> dict[str, list[Sided]]:
    """Objects grouped by the row they stand in."""
    grouped: dict[str, list[Sided]] = {}
    for one in objects:
        grouped.setdefault(one.row, []).append(one)
    return grouped
