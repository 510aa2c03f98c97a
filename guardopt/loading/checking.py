"""From validated rows to the scenario: ids are looked up, sides spelled out, duplicates and loops refused."""

from __future__ import annotations

from guardopt.files.cells import SETTINGS_FILE, Findings
from guardopt.files.sources import Sheets
from guardopt.loading.columns import CoverRow, ExposeRow, FallRow, GuardRow, KnockOnRow, OfferRow, PartRow, PointRow
from guardopt.loading.fall_checking import fall_of, hits_of, refuse_column_name, ridings_of
from guardopt.loading.guard_checking import check_stock, covers_of, exposures_of, guards_of, offers_of, rounded_cents
from guardopt.loading.meaning.row_checking import Entry, Model, read_entries
from guardopt.loading.oddities import Origins, warn_of_oddities
from guardopt.loading.part_checking import check_waiting, knock_ons_of, parts_of
from guardopt.loading.point_checking import check_hull, points_of
from guardopt.loading.settings import Labour, read_settings
from guardopt.loading.sides import Roster, ids_in
from guardopt.model.pieces import Centre, Insurance
from guardopt.model.scenario import Scenario


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
