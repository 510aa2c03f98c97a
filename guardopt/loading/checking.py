"""From validated rows to the scenario: ids are looked up, sides spelled out, duplicates and loops refused."""

from __future__ import annotations

from collections.abc import Sequence

from guardopt.errors import Place
from guardopt.files.cells import SETTINGS_FILE, Cell, Findings, Row
from guardopt.files.limits import LONGEST_CHAIN
from guardopt.files.sources import Sheets
from guardopt.files.tables import NOTE_COLUMN, Table
from guardopt.loading.columns import (
    CoverRow,
    ExposeRow,
    FallRow,
    GuardRow,
    KnockOnRow,
    OfferRow,
    PartRow,
    PointRow,
    StrikeCell,
)
from guardopt.loading.guard_checking import check_stock, covers_of, exposures_of, guards_of, offers_of, rounded_cents
from guardopt.loading.meaning.row_checking import Entry, Model, check_columns, read_entries, validate
from guardopt.loading.oddities import Origins, warn_of_oddities
from guardopt.loading.point_checking import check_hull, points_of
from guardopt.loading.fall_checking import ridings_of
from guardopt.loading.settings import Labour, read_settings
from guardopt.loading.sides import Roster, ids_in, matched, placed
from guardopt.model.pieces import HALF_A_CENT, Centre, Fall, Insurance, KnockOn, Part
from guardopt.model.scenario import Scenario
from guardopt.spelling import advice, nearest


def build(sheets: Sheets, findings: Findings) -> Scenario | None:
    """Check everything in a folder and make the scenario of it; None, and problems noted, if something is wrong."""
    settings = read_settings(sheets.settings, findings)
    labour = settings.labour or Labour()
    tables = sheets.tables
    part_entries = distinct(read_entries(tables["parts"], PartRow, findings), "part", findings)
    fall_entries = distinct(read_entries(tables["falls"], FallRow, findings), "fall", findings)
    guard_entries = distinct(read_entries(tables["guards"], GuardRow, findings), "guard", findings)
    cover_entries = read_entries(tables["covers"], CoverRow, findings)
    expose_entries = read_entries(tables["exposes"], ExposeRow, findings)
    knock_on_entries = read_entries(tables["knock_on"], KnockOnRow, findings)
    point_entries = read_entries(tables["points"], PointRow, findings)
    offer_entries = distinct(read_entries(tables["offers"], OfferRow, findings), "offer", findings)
    part_roster = Roster.of("part", tables["parts"], part_entries)
    guard_roster = Roster.of("guard", tables["guards"], guard_entries)
    fall_ids = ids_in(tables["falls"], "fall")
    refuse_column_name(fall_entries, tables["riding"], findings)

    parts = parts_of(part_entries, settings.groups, findings)
    check_waiting(part_entries, settings.labour, findings)
    hits = hits_of(tables["hits"], part_roster, fall_ids, findings)
    knock_ons = knock_ons_of(knock_on_entries, part_roster, findings)
    guards = guards_of(guard_entries, guard_roster, labour.fitting_rate, findings)
    covers = covers_of(cover_entries, guard_roster, part_roster, fall_ids, findings)
    exposures = exposures_of(expose_entries, guard_roster, part_roster, fall_ids, findings)
    offers = offers_of(offer_entries, guard_roster, findings)
    check_stock(guards, guard_entries, findings)
    points = points_of(point_entries, part_roster, guard_roster, findings)
    point_rows = {name: row for name, (_, row) in points.items()}
    if point_entries and sheets.settings is not None and "shape" not in sheets.settings:
        message = "the table [shape] is missing: points.csv needs its centre_forward and centre_up"
        findings.error(SETTINGS_FILE, message)
    ridings = ridings_of(tables["riding"], fall_entries, fall_ids, findings)

    heading, bike, owner, sampling = settings.heading, settings.bike, settings.owner, settings.sampling
    if findings.problems or heading is None or bike is None or owner is None or sampling is None:
        return None
    terms, budget_cents = settings.insurance, None
    if owner.budget is not None and sheets.settings is not None:
        budget_cents = rounded_cents(owner.budget, sheets.settings["owner"].where("budget"), findings)
    scenario = Scenario(
        title=heading.title,
        currency=heading.currency,
        value=bike.value,
        salvage=bike.salvage,
        years=owner.years,
        discount_rate=owner.discount_rate,
        budget_cents=budget_cents,
        max_weight_kg=owner.max_weight_kg,
        repair_rate=labour.repair_rate,
        insurance=None if terms is None else Insurance(terms.excess, terms.premium_rise, terms.write_off_share),
        strip_down=settings.strip_down or {},
        falls_sampled=sampling.falls,
        seed=sampling.seed,
        parts=tuple(parts),
        falls=tuple(fall_of(entry.values) for entry in fall_entries),
        hits=hits,
        knock_ons=tuple(knock_ons),
        guards=tuple(guards),
        covers=tuple(covers),
        offers=tuple(offers),
        exposures=tuple(exposures),
        repair_every=owner.repair_every,
        day_without=owner.day_without,
        recovery=owner.recovery,
        ridings=ridings,
        words=dict(findings.words_used),
        points=tuple(point for own, _ in points.values() for point in own),
        centre=None if settings.shape is None else Centre(settings.shape.centre_forward, settings.shape.centre_up),
    )
    if scenario.points and sheets.settings is not None:
        check_hull(scenario, sheets.settings["shape"], next(iter(point_rows.values())).place, findings)
        if findings.problems:
            return None
    origins = Origins(
        settings=sheets.settings or {},
        parts={entry.values.part: entry.row for entry in part_entries},
        falls={entry.values.fall: entry.row for entry in fall_entries},
        guards={entry.values.guard: entry.row for entry in guard_entries},
        offers={entry.values.offer: entry.row for entry in offer_entries},
        covers=covers,
        exposures=exposures,
        knock_ons=knock_ons,
        points=point_rows,
    )
    warn_of_oddities(scenario, origins, findings)
    return scenario


def distinct(entries: list[Entry[Model]], column: str, findings: Findings) -> list[Entry[Model]]:
    """The entries whose id is not taken by an earlier one; the others are reported."""
    first: dict[str, Entry[Model]] = {}
    for entry in entries:
        name = entry.row.text(column)
        if name in first:
            findings.error(entry.row.where(column), f"found '{name}' again, first in {first[name].row.place}")
        else:
            first[name] = entry
    return list(first.values())


def parts_of(entries: Sequence[Entry[PartRow]], groups: Sequence[str] | None, findings: Findings) -> list[Part]:
    """Parts with their sides spelled out; a group to strip down has to be one that the settings name."""
    parts: list[Part] = []
    for entry in entries:
        values = entry.values
        group = values.strip_down
        if group is not None and groups is not None and group not in groups:
            message = f"found '{group}', expected a key of [strip_down]{advice(group, groups)}"
            missing = ("[strip_down]", group, advice(group, groups))
            findings.error(entry.row.where("strip_down"), message, missing=missing)
        if (values.x is None) != (values.y is None):
            given, open_ = ("x", "y") if values.y is None else ("y", "x")
            findings.error(entry.row.where(open_), f"nothing found beside {given}, expected both or neither")
        parts += [
            Part(
                id=one.id,
                row=one.row,
                side=one.side,
                price=values.price,
                hours=values.hours,
                break_chance=values.break_chance,
                touch_up=values.touch_up,
                strip_down=group,
                waits=values.waits == "yes",
                days=values.days,
                x=values.x,
                y=values.y,
            )
            for one in placed(values.part, values.side)
        ]
    return parts


def check_waiting(entries: Sequence[Entry[PartRow]], labour: Labour | None, findings: Findings) -> None:
    """Refuse a part that waits and is dearer to touch up than to replace: nobody would wait to pay more."""
    for entry in entries:
        values = entry.values
        if values.waits == "yes" and labour is not None:
            replaced = values.price + values.hours * labour.repair_rate
            if values.touch_up > replaced + HALF_A_CENT:
                message = f"found {values.touch_up:g}, expected at most what replacing it costs, {replaced:g}: it waits"
                findings.error(entry.row.where("touch_up"), message)


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
        lambda name, hint: ("falls", name, hint),
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


def knock_ons_of(entries: Sequence[Entry[KnockOnRow]], roster: Roster, findings: Findings) -> dict[KnockOn, Row]:
    """Knock-ons between parts of one side, unless both are named exactly, and their rows; loops are refused."""
    knock_ons: dict[KnockOn, Row] = {}
    rows: dict[tuple[str, str], Row] = {}
    for entry in entries:
        row = entry.row
        givers = roster.resolve(entry.values.part, row.where("part"), findings)
        takers = roster.resolve(entry.values.takes, row.where("takes"), findings)
        is_exact = len(givers) == len(takers) == 1
        pairs = [(givers[0], takers[0])] if is_exact else matched([givers, takers])
        for giver, taker in pairs:
            pair = (giver.id, taker.id)
            if pair in rows:
                findings.error(row.place, f"found {giver.id} takes {taker.id} again, first in {rows[pair].place}")
                break
            rows[pair] = row
            knock_ons[KnockOn(giver.id, taker.id, entry.values.chance)] = row
    found = loops([(knock_on.part, knock_on.takes) for knock_on in knock_ons])
    if not found and (chain := longest_chain(list(rows))) > LONGEST_CHAIN:
        message = f"{chain:,} parts would break one after the other, expected at most {LONGEST_CHAIN}"
        findings.error(Place(entries[0].row.place.source), message)
    for loop in found:
        closing = rows[loop[-2], loop[-1]]
        findings.error(closing.place, f"found a loop, {' takes '.join(loop)}; expected knock-ons that come to an end")
    return knock_ons


def longest_chain(pairs: Sequence[tuple[str, str]]) -> int:
    """How many follow one another at most, among ordered pairs without a loop."""
    follows: dict[str, list[str]] = {}
    before: dict[str, int] = {}
    for first, second in pairs:
        follows.setdefault(first, []).append(second)
        before[second] = before.get(second, 0) + 1
    length = {name: 1 for name in follows if name not in before}
    ready = list(length)
    for name in ready:
        for after in follows.get(name, ()):
            length[after] = max(length.get(after, 1), length[name] + 1)
            before[after] -= 1
            if not before[after]:
                ready.append(after)
    return max(length.values(), default=0)


def loops(pairs: Sequence[tuple[str, str]]) -> list[list[str]]:
    """Loops among ordered pairs, each as the ids along it with the first repeated at the end.

    Every pair that closes a loop in a depth-first walk gives one, so that breaking them all leaves no loop.
    A loop on one side is not told again for the other.
    """
    follows: dict[str, list[str]] = {}
    for first, second in pairs:
        follows.setdefault(first, []).append(second)
    found: list[list[str]] = []
    told: set[tuple[str, ...]] = set()
    done: set[str] = set()
    for start in follows:
        walk: list[tuple[str, int]] = [] if start in done else [(start, 0)]
        while walk:
            here, tried = walk.pop()
            if tried == len(follows.get(here, ())):
                done.add(here)
                continue
            walk.append((here, tried + 1))
            ahead = follows[here][tried]
            path = [name for name, _ in walk]
            if ahead in path:
                loop = [*path[path.index(ahead) :], ahead]
                rows = tuple(name.partition(".")[0] for name in loop)
                if rows not in told:
                    told.add(rows)
                    found.append(loop)
            elif ahead not in done:
                walk.append((ahead, 0))
    return found
