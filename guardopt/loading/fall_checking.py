"""Kinds of fall: what each is, the chance that it strikes each part, how often it comes; and what is odd about them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from guardopt.errors import Place
from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.tables import NOTE_COLUMN, Table
from guardopt.loading.columns import FallRow, RateCell, StrikeCell
from guardopt.loading.meaning.row_checking import Entry, check_columns, validate
from guardopt.loading.sides import Roster, absent_row
from guardopt.model.pieces import Fall
from guardopt.model.scenario import Scenario
from guardopt.spelling import listed, nearest, shown

NAME = re.compile(r"[\w-]+")

MOST_FALLS_A_YEAR = 365

AS_DEAR = 1.25
"""Of two falls whose bills differ by no more than this factor, neither counts as the harder one."""

AS_OFTEN = 2.0
"""A fall that strikes a part less often than another by more than this factor hardly strikes it."""


def fall_of(values: FallRow) -> Fall:
    """A kind of fall as the row has it."""
    return Fall(
        id=values.fall,
        per_year=values.per_year,
        left_share=values.left_share,
        tumble=values.tumble,
        correlation=values.correlation,
        watched_years=values.watched_years,
        bite=values.bite,
        bite_spread=values.bite_spread,
        tilt=values.tilt,
        speed=values.speed,
        drag=values.drag,
    )


def refuse_column_name(entries: Sequence[Entry[FallRow]], riding: Table | None, findings: Findings) -> None:
    """Kinds of fall head the columns of ``hits.csv`` and ``riding.csv``, whose first columns are taken."""
    for entry in entries:
        if entry.values.fall == "part":
            findings.error(
                entry.row.where("fall"), f"found 'part', which heads another column of {findings.table('hits')}"
            )
        if entry.values.fall == "riding" and riding is not None:
            message = f"found 'riding', which heads another column of {findings.table('riding')}"
            findings.error(entry.row.where("fall"), message)
        if entry.values.fall == NOTE_COLUMN:
            findings.error(entry.row.where("fall"), f"found '{NOTE_COLUMN}', which heads a column for notes")


def hits_of(
    table: Table | None, roster: Roster, fall_ids: Sequence[str] | None, findings: Findings
) -> dict[tuple[str, str], float]:
    """The chance of every part being struck in every kind of fall; none may be left open."""
    if table is None:
        return {}
    falls = [fall for fall in (table.columns if fall_ids is None else fall_ids) if fall != "part"]
    has_one = (
        f"; each kind of fall of {findings.table('falls')} has one: the chance that it strikes each part; "
        "copy the column of the fall that is most like it and change what differs"
    )
    absent = check_columns(
        table,
        ["part", *falls],
        ["part", *falls],
        findings,
        dict.fromkeys(falls, has_one),
        _refusal(falls, findings),
    )
    if "part" in absent:
        return {}
    hits: dict[tuple[str, str], float] = {}
    rows: dict[str, Row] = {}
    misspelt: set[str | None] = set()
    for row in table.rows:
        where = row.where("part")
        reference = row.text("part")
        if not reference:
            findings.error(where, f"nothing found, expected a part of {findings.table('parts')}")
            continue
        struck = roster.resolve(reference, where, findings)
        if not struck:
            misspelt.add(nearest(reference, roster.rows))
        taken = [one.id for one in struck if one.id in rows]
        if taken:
            findings.error(where, f"found {taken[0]} again, first in {rows[taken[0]].place}")
        rows.update({one.id: row for one in struck if one.id not in rows})
        for fall in falls if row.is_whole else ():
            if fall in absent:
                continue
            cell = row.cells.get(fall, Cell("", row.where(fall)))
            strike = validate(Row(row.place, "", {"chance": cell}), StrikeCell, findings)
            if strike is not None:
                hits.update({(fall, one.id): strike.chance for one in struck})
    for name, parts in roster.rows.items():
        unstruck = [one.id for one in parts if one.id not in rows]
        if unstruck and name not in misspelt:
            missing = name if len(unstruck) == len(parts) else unstruck[0]
            has_one = f"each part of {findings.table('parts')} has one: its chance of being struck in each fall"
            findings.error(Place(table.header.source), f"no row for {missing}; {has_one}")
    return hits


def _refusal(falls: Sequence[str], findings: Findings) -> Callable[[Place, str, str], None]:
    """Report a column that is headed by no kind of fall: misspelt, or what a row that was deleted left behind."""

    def refuse(where: Place, name: str, hint: str) -> None:
        message = f"unknown column{hint}"
        if not nearest(name, falls):
            has = f"{findings.table('falls')} has no such fall, only {', '.join(falls)}"
            message = f"{has}; put its row back, with per_year 0 if you never fall that way, or delete this column"
        findings.error(where, message, missing=absent_row("falls", name, falls))

    return refuse


def ridings_of(
    table: Table | None, falls: Sequence[Entry[FallRow]], fall_ids: Sequence[str] | None, findings: Findings
) -> dict[str, tuple[float, ...]]:
    """For each way of riding, the falls a year of every kind; a blank cell stands for the scenario's own number.

    Parameters
    ----------
    table
        ``riding.csv``, or None where there is none.
    falls
        The kinds of fall that passed, in the order of ``falls.csv``.
    fall_ids
        The ids of all kinds of fall, those refused included; None if they could not be read.
    findings
        Where problems are noted.
    """
    if table is None:
        return {}
    known = [*(table.columns if fall_ids is None else fall_ids)]
    headings = ["riding", *(fall for fall in known if fall != "riding")]
    refuse = _refusal(headings[1:], findings)
    absent = check_columns(table, headings, ["riding"], findings, refuse=refuse)
    if "riding" in absent:
        return {}
    ridings: dict[str, tuple[float, ...]] = {}
    places: dict[str, Place] = {}
    for row in table.rows:
        name = row.text("riding")
        if not name:
            findings.error(row.where("riding"), "nothing found, expected a name for this way of riding")
        elif not NAME.fullmatch(name):
            message = f"found {shown(name)}, expected an id of letters, digits, _ and -"
            findings.error(row.where("riding"), message)
        elif name in places:
            findings.error(row.where("riding"), f"found '{name}' again, first in {places[name]}")
        places.setdefault(name, row.place)
        rates = [_rate(row, entry.values, findings) for entry in falls] if row.is_whole else []
        ridings.setdefault(name, tuple(rates))
    return ridings


def _rate(row: Row, fall: FallRow, findings: Findings) -> float:
    where = row.where(fall.fall)
    cell = row.cells.get(fall.fall, Cell("", where))
    found = validate(Row(row.place, "", {"per_year": replace(cell, where=where)}), RateCell, findings)
    return fall.per_year if found is None or found.per_year is None else found.per_year


def odd_falls(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    """Note what is odd about kinds of fall, given the rows that they were read from."""
    for fall in scenario.falls:
        where = rows[fall.id].where("per_year")
        if fall.per_year == 0.0:
            findings.warn(where, "found 0: this kind of fall never happens")
        elif fall.per_year > MOST_FALLS_A_YEAR:
            findings.warn(where, f"found {fall.per_year:g}, more than one fall a day")
    _too_dear(scenario, rows, findings)
    _forgotten(scenario, rows, findings)


def _too_dear(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    """Falls that cost more a year than the bike is worth: nobody would go on riding it."""
    yearly = [fall.per_year * min(_mean_bill(scenario, fall), scenario.cap) for fall in scenario.falls]
    for fall, cost in zip(scenario.falls, yearly, strict=True):
        if cost > scenario.value and fall.per_year <= MOST_FALLS_A_YEAR:
            message = f"found {fall.per_year:g}: such falls cost some {cost:.0f} a year, more than the bike is worth"
            findings.warn(rows[fall.id].where("per_year"), message)
    if max(yearly, default=0.0) <= scenario.value < sum(yearly):
        message = f"falls cost some {sum(yearly):.0f} a year in all, more than the bike is worth"
        findings.warn(next(iter(rows.values())).where("per_year"), message)


def _forgotten(scenario: Scenario, rows: Mapping[str, Row], findings: Findings) -> None:
    """Kinds of fall that guards seem to have been forgotten in, since no row of covers names them.

    A guard that holds in a hard fall holds in a milder one. So where two guards or more cover parts in other falls
    only, one of them in a fall about as dear as this one or dearer, rows for it are missing. A single guard may be
    meant for one kind of fall; a part that this fall strikes far less often than the other may be left out for that;
    and in a fall dearer than all those named, guards may well do nothing.
    """
    named = {cover.fall for cover in scenario.covers}
    in_all = {(cover.guards, cover.part) for cover in scenario.covers if cover.fall is None}
    bills = {fall.id: _mean_bill(scenario, fall) for fall in scenario.falls}
    for fall in scenario.falls:
        if fall.per_year == 0.0 or fall.id in named:
            continue
        hardest: dict[str, float] = {}
        for cover in scenario.covers:
            if cover.fall is None or len(cover.guards) > 1 or (cover.guards, cover.part) in in_all:
                continue
            struck, otherwise = (scenario.hits[name, cover.part] for name in (fall.id, cover.fall))
            if 0.0 < otherwise <= struck * AS_OFTEN:
                guard = scenario.guard[cover.guards[0]].row
                hardest[guard] = max(hardest.get(guard, 0.0), bills[cover.fall])
        if len(hardest) > 1 and max(hardest.values()) * AS_DEAR >= bills[fall.id]:
            covers = findings.table("covers")
            message = (
                f"no row of {covers} names {fall.id}, so {listed(list(hardest), last='and')} cover less in it than in "
                f"other falls; add rows to {covers} for it, or leave their fall blank"
            )
            findings.warn(rows[fall.id].where("fall"), message)


def _mean_bill(scenario: Scenario, fall: Fall) -> float:
    """About what the repairs after a fall cost on the bare bike: those of its direct strikes alone."""
    shares = fall.side_shares()
    cost = 0.0
    for part in scenario.parts:
        exposed = sum(share for sides, share in shares.items() if not part.side.is_sided or part.side in sides)
        broken = part.price + part.hours * scenario.repair_rate
        harm = part.break_chance * broken + (1.0 - part.break_chance) * part.touch_up
        cost += exposed * scenario.hits[fall.id, part.id] * harm
    return cost
