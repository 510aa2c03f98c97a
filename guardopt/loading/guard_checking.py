"""Guards, covers and offers with their sides spelled out and their prices in whole cents.

Prices are rounded here, half up, from the decimals as written (`pieces.in_cents`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations
from typing import TypeVar

from guardopt.errors import Missing, Place
from guardopt.files.cell_types import LARGEST_NUMBER
from guardopt.files.cells import Findings, Row
from guardopt.loading.columns import CoverRow, ExposeRow, GuardRow, OfferRow
from guardopt.loading.meaning.row_checking import Entry, note_of
from guardopt.loading.sides import Placed, Roster, absent_row, common_side, matched, meeting, placed
from guardopt.model.pieces import Cover, Exposure, Guard, Offer, Side, in_cents
from guardopt.model.scenario import Scenario
from guardopt.spelling import advice, shown


def rounded_cents(amount: Decimal, where: Place, findings: Findings) -> int:
    """A price in whole cents, with a warning if it was not whole before."""
    whole = in_cents(amount)
    if amount.scaleb(2) != whole:
        findings.warn(where, f"found {amount}, taken as {whole / 100:.2f}")
    return whole


def guards_of(
    entries: Sequence[Entry[GuardRow]], roster: Roster, fitting_rate: Decimal, findings: Findings
) -> list[Guard]:
    """Guards of every row, one for each side they are sold for."""
    guards: list[Guard] = []
    for entry in entries:
        values = entry.values
        cents_of = _side_prices(entry, findings)
        wear_at = {cents: wear_per_fall(entry, cents / 100, findings) for cents in sorted(set(cents_of.values()))}
        needed = _named(entry, "needs", values.needs, roster, findings)
        excluded = _named(entry, "not_with", values.not_with, roster, findings)
        sells_cents = rounded_cents(values.sells_for, entry.row.where("sells_for"), findings)
        guards += [
            Guard(
                id=one.id,
                row=one.row,
                side=one.side,
                price_cents=cents_of[one.side],
                fit_cents=in_cents(values.fit_hours * fitting_rate),
                fit_hours=float(values.fit_hours),
                slot=values.slot,
                wear_per_fall=wear_at[cents_of[one.side]],
                renews_at_price=values.lasts_falls is not None and values.renew_price is None,
                needs=tuple(_ids(one, choices) for choices in needed),
                not_with=frozenset().union(*(_ids(one, others) for others in excluded)),
                owned=values.owned == "yes",
                weight_kg=values.weight_kg,
                dislike=values.dislike,
                resale_share=values.resale_share,
                sells_cents=sells_cents,
                lasts_falls=values.lasts_falls,
                note=note_of(entry.row),
            )
            for one in placed(values.guard, values.side)
        ]
    return guards


def _side_prices(entry: Entry[GuardRow], findings: Findings) -> dict[Side, int]:
    """What the guard costs on each of its sides, in cents: the row's price unless one of its own is given."""
    values, row = entry.values, entry.row
    common = rounded_cents(values.price, row.where("price"), findings)
    cents = dict.fromkeys((one.side for one in placed(values.guard, values.side)), common)
    for side, column, price in (
        (Side.LEFT, "price_left", values.price_left),
        (Side.RIGHT, "price_right", values.price_right),
    ):
        if price is None:
            continue
        if values.side != "both":
            findings.error(row.where(column), f"found {price} for a guard with side {values.side}, expected blank")
        else:
            cents[side] = rounded_cents(price, row.where(column), findings)
    return cents


def _ids(guard: Placed, others: Sequence[Placed]) -> frozenset[str]:
    return frozenset(one.id for one in meeting(guard.side, others))


def _named(
    entry: Entry[GuardRow], column: str, names: Sequence[str], roster: Roster, findings: Findings
) -> list[tuple[Placed, ...]]:
    """The guards a row needs or excludes, each reference apart; a row cannot name itself."""
    found: list[tuple[Placed, ...]] = []
    for name in names:
        where = entry.row.where(column)
        if name.partition(".")[0] == entry.values.guard:
            findings.error(where, f"found '{name}', expected another guard than the one of this row")
            continue
        found.append(roster.resolve(name, where, findings))
    return found


def wear_per_fall(entry: Entry[GuardRow], price: float, findings: Findings) -> float:
    """The share of a renewal that each fall uses up, in units of the currency."""
    values = entry.values
    if values.lasts_falls is None:
        return 0.0
    renew_price = price if values.renew_price is None else values.renew_price
    wear = renew_price / values.lasts_falls
    if wear > LARGEST_NUMBER:
        findings.error(entry.row.where("lasts_falls"), f"found {values.lasts_falls:g}, too small to be meant")
    return wear


def check_stock(guards: Sequence[Guard], entries: Sequence[Entry[GuardRow]], findings: Findings) -> None:
    """Guards marked as owned are on the bike now, so they have to go together."""
    rows = {entry.values.guard: entry.row for entry in entries}
    owned = [guard for guard in guards if guard.owned]
    stock = frozenset(guard.id for guard in owned)
    for guard in owned:
        for alternatives in guard.needs:
            # Alternatives are missing as well where the row of a guard was refused; then there is a problem already.
            if not alternatives & stock and (alternatives or not findings.problems):
                wanted = " or ".join(sorted(alternatives)) or "a guard that is not on offer for its side"
                message = f"{guard.id} is owned but what it needs is not: {wanted}"
                findings.error(rows[guard.row].where("owned"), message)
    for guard, other in combinations(owned, 2):
        if Scenario.exclude_each_other(guard, other):
            message = f"{guard.id} and {other.id} cannot both be fitted, but both are owned"
            findings.error(rows[other.row].where("owned"), message)


def covers_of(
    entries: Sequence[Entry[CoverRow]],
    guards: Roster,
    parts: Roster,
    fall_ids: Sequence[str] | None,
    findings: Findings,
) -> dict[Cover, Row]:
    """Covers spelled out, every set of guards that meet with every part they reach, and the rows they come from."""
    met = _meetings(entries, guards, parts, fall_ids, findings)
    return {Cover(one.guards, one.part, entry.values.holds, one.fall, one.side): entry.row for one, entry in met}


def exposures_of(
    entries: Sequence[Entry[ExposeRow]],
    guards: Roster,
    parts: Roster,
    fall_ids: Sequence[str] | None,
    findings: Findings,
) -> dict[Exposure, Row]:
    """What guards do harm to, spelled out as covers are, and the rows it comes from."""
    met = _meetings(entries, guards, parts, fall_ids, findings)
    return {Exposure(one.guards, one.part, entry.values.chance, one.fall, one.side): entry.row for one, entry in met}


TeamRow = TypeVar("TeamRow", CoverRow, ExposeRow)


@dataclass(frozen=True, slots=True)
class _Meeting:
    """Guards that work together, a part they reach, the kind of fall, and the side that has to be struck."""

    guards: tuple[str, ...]
    part: str
    fall: str | None
    side: Side | None


def _meetings(
    entries: Sequence[Entry[TeamRow]],
    guards: Roster,
    parts: Roster,
    fall_ids: Sequence[str] | None,
    findings: Findings,
) -> list[tuple[_Meeting, Entry[TeamRow]]]:
    """Every set of guards that meet with every part they reach, and the entry it comes from."""
    met: list[tuple[_Meeting, Entry[TeamRow]]] = []
    rows: dict[tuple[frozenset[str], str, str | None], Row] = {}
    for entry in entries:
        values, row = entry.values, entry.row
        choices = [guards.resolve(name, row.where("guard"), findings) for name in values.guard]
        reached = parts.resolve(values.part, row.where("part"), findings)
        if values.fall is not None and fall_ids is not None and values.fall not in fall_ids:
            blank = "; leave it blank for all falls" if values.fall == "all" else ""
            expected = f"expected a fall of {findings.table('falls')}{blank or advice(values.fall, fall_ids)}"
            absent = Missing("falls", "all", blank) if blank else absent_row("falls", values.fall, fall_ids)
            findings.error(row.where("fall"), f"found {shown(values.fall)}, {expected}", missing=absent)
        spelled_out = _spelled_out(values.fall, choices, reached)
        if reached and all(choices) and not spelled_out:
            findings.warn(
                row.place, f"has no effect: {' + '.join(values.guard)} and {values.part} never meet on one side"
            )
        for one in spelled_out:
            key = (frozenset(one.guards), one.part, one.fall)
            if key in rows:
                message = f"found {' + '.join(one.guards)} for {one.part} again, first in {rows[key].place}"
                findings.error(row.place, message)
                break
            rows[key] = row
            met.append((one, entry))
    return met


def _spelled_out(fall: str | None, choices: Sequence[tuple[Placed, ...]], reached: Sequence[Placed]) -> list[_Meeting]:
    found: list[_Meeting] = []
    for picked in matched(choices):
        side = common_side(picked)
        ids = tuple(one.id for one in picked)
        found += [_Meeting(ids, part.id, fall, side) for part in meeting(side, reached)]
    return found


def offers_of(entries: Sequence[Entry[OfferRow]], roster: Roster, findings: Findings) -> list[Offer]:
    """Offers with the ids of all sides of the guards they name."""
    offers: list[Offer] = []
    for entry in entries:
        where = entry.row.where("guards")
        named = [one.id for name in entry.values.guards for one in roster.resolve(name, where, findings)]
        price_cents = rounded_cents(entry.values.price, entry.row.where("price"), findings)
        offers.append(Offer(entry.values.offer, frozenset(named), price_cents, note_of(entry.row)))
    return offers
