"""Guards, covers and offers with their sides spelled out and their prices in whole cents.

Prices are rounded here, half up, from the decimals as written (`pieces.in_cents`).
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import combinations

from guardopt.cell_types import LARGEST_NUMBER
from guardopt.cells import Findings, Row
from guardopt.pieces import Cover, Guard, Offer, in_cents
from guardopt.rows import CoverRow, Entry, GuardRow, OfferRow
from guardopt.scenario import Scenario
from guardopt.sides import Placed, Roster, common_side, matched, meeting, placed
from guardopt.spelling import advice, shown


def rounded_cents(amount: Decimal, where: str, findings: Findings) -> int:
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
        values, row = entry.values, entry.row
        price_cents = rounded_cents(values.price, row.where("price"), findings)
        needed = _named(entry, "needs", values.needs, roster, findings)
        excluded = _named(entry, "not_with", values.not_with, roster, findings)
        wear = wear_per_fall(entry, price_cents / 100, findings)
        guards += [
            Guard(
                id=one.id,
                row=one.row,
                side=one.side,
                price_cents=price_cents,
                fit_cents=in_cents(values.fit_hours * fitting_rate),
                fit_hours=float(values.fit_hours),
                slot=values.slot,
                wear_per_fall=wear,
                needs=tuple(_ids(one, choices) for choices in needed),
                not_with=frozenset().union(*(_ids(one, others) for others in excluded)),
                owned=values.owned == "yes",
                weight_kg=values.weight_kg,
                dislike=values.dislike,
                resale_share=values.resale_share,
            )
            for one in placed(values.guard, values.side)
        ]
    return guards


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
    covers: dict[Cover, Row] = {}
    rows: dict[tuple[frozenset[str], str, str | None], Row] = {}
    for entry in entries:
        values, row = entry.values, entry.row
        choices = [guards.resolve(name, row.where("guard"), findings) for name in values.guard]
        covered = parts.resolve(values.part, row.where("part"), findings)
        if values.fall is not None and fall_ids is not None and values.fall not in fall_ids:
            hint = "; leave it blank for all falls" if values.fall == "all" else advice(values.fall, fall_ids)
            findings.error(row.where("fall"), f"found {shown(values.fall)}, expected a fall of falls.csv{hint}")
        spelled_out = _spelled_out(values, choices, covered)
        if covered and all(choices) and not spelled_out:
            findings.warn(
                row.place, f"has no effect: {' + '.join(values.guard)} and {values.part} never meet on one side"
            )
        for cover in spelled_out:
            key = (frozenset(cover.guards), cover.part, cover.fall)
            if key in rows:
                message = f"found {' + '.join(cover.guards)} for {cover.part} again, first in {rows[key].place}"
                findings.error(row.place, message)
                break
            rows[key] = row
            covers[cover] = row
    return covers


def _spelled_out(values: CoverRow, choices: Sequence[tuple[Placed, ...]], covered: Sequence[Placed]) -> list[Cover]:
    found: list[Cover] = []
    for picked in matched(choices):
        side = common_side(picked)
        ids = tuple(one.id for one in picked)
        found += [Cover(ids, part.id, values.holds, values.fall, side) for part in meeting(side, covered)]
    return found


def offers_of(entries: Sequence[Entry[OfferRow]], roster: Roster, findings: Findings) -> list[Offer]:
    """Offers with the ids of all sides of the guards they name."""
    offers: list[Offer] = []
    for entry in entries:
        where = entry.row.where("guards")
        named = [one.id for name in entry.values.guards for one in roster.resolve(name, where, findings)]
        price_cents = rounded_cents(entry.values.price, entry.row.where("price"), findings)
        offers.append(Offer(entry.values.offer, frozenset(named), price_cents))
    return offers
