"""Kinds of fall: what each is, the chance that it strikes each part, and how often it comes in each way of riding."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from guardopt.errors import Place
from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.tables import NOTE_COLUMN, Table
from guardopt.loading.columns import FallRow, RateCell, StrikeCell
from guardopt.loading.meaning.row_checking import Entry, check_columns, validate
from guardopt.loading.sides import Roster, absent_row
from guardopt.model.pieces import Fall
from guardopt.spelling import nearest, shown

NAME = re.compile(r"[\w-]+")


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
    has_one = f"; each kind of fall of {findings.table('falls')} has one: the chance that it strikes each part"
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
