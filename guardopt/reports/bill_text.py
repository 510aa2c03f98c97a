"""The report on what each kind of fall costs, for a terminal."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate

from guardopt.model.pieces import HALF_A_CENT, Part
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import BillReport, contact_order, in_order
from guardopt.reports.layout import cautions, plus_minus, shortened, table, title
from guardopt.simulation.pricing import Bill
from guardopt.spelling import listed
from guardopt.words import WIDTH, days, money, number, percent, wrapped, years

MOST_OF_AN_ID, MOST_OF_A_PART = 20, 32


def bill_text(report: BillReport) -> str:
    """What each kind of fall costs, as text."""
    scenario, bill, currency = report.scenario, report.bill, report.scenario.currency
    kit = in_order(scenario, bill.kit)
    on_it = f"fitted with {listed(kit, last='and')}" if kit else "bare"
    answer = (
        f"The bike, {on_it}, costs about {money(bill.yearly_cost, currency)} "
        f"{plus_minus(report.yearly_cost_se)} a year in falls: {money(bill.cost_over_years, currency)} over "
        f"{years(scenario.years)}."
    )
    lines = [*title(scenario), *wrapped(answer)]
    lines += ["", f"One fall of each kind ({currency})", *_bill_falls(scenario, bill)]
    lines += ["", f"Part by part in the order of contact: the mean bill of one fall ({currency})"]
    lines += _contact_tables(scenario, bill)
    lines += ["", f"What the parts cost a year ({currency})", *_bill_parts(scenario, bill)]
    return "\n".join([*lines, *cautions()])


def _bill_falls(scenario: Scenario, bill: Bill) -> list[str]:
    counts_days = bool(bill.off_road.any())
    rows = [
        (
            fall.id,
            f"{fall.per_year:g}",
            number(bill.repair_bill[row]),
            number(bill.owner_cost[row]),
            number(bill.renewals[row]),
            *([number(bill.off_road[row])] if counts_days else []),
            percent(float(bill.write_off_chance[row])),
        )
        for row, fall in enumerate(scenario.falls)
    ]
    off_road = ["off road"] if counts_days else []
    lines = table(("fall", "a year", "repair bill", "you pay of it", "renewals", *off_road, "written off"), rows)
    return [*lines, *days_lines(scenario, bill), *whole_lines(scenario)]


def days_lines(scenario: Scenario, bill: Bill) -> list[str]:
    """Days a year without the bike, where some part has days."""
    if not any(part.days > 0.0 and not part.waits for part in scenario.parts):
        return []
    costs = [f"{money(scenario.day_without, scenario.currency)} a day"] if scenario.day_without else []
    costs += [f"{money(scenario.recovery, scenario.currency)} to get it home"] if scenario.recovery else []
    at = f", at {listed(costs, last='and')}" if costs else ""
    return wrapped(f"({days(bill.days_per_year)} a year off the road{at}.)", "  ")


def whole_lines(scenario: Scenario) -> list[str]:
    """A word on bills from which damage that waits is left out."""
    if not scenario.waits:
        return []
    after = "only after falls that would cost the bare bike more than the most you pay"
    return wrapped(f"(Damage that waits is in these bills {after}.)", "  ")


def how_often_put_right(scenario: Scenario) -> str:
    """How often what waits is put right.

    In words: once a year, or every so many years.
    """
    every = scenario.repair_every
    return "once a year" if every == 1.0 else f"every {years(every)}"


def _contact_tables(scenario: Scenario, bill: Bill) -> list[str]:
    """Parts by kinds of fall, as many kinds side by side as fit; a part that a fall never harms is left blank."""
    commonest = max(scenario.falls, key=lambda fall: fall.per_year)
    order = [row for row in contact_order(scenario, commonest.id) if bill.part_harmed[:, row].any()]
    parts = [scenario.parts[row].id for row in order]
    columns = [
        [shortened(fall.id, MOST_OF_AN_ID)] + [_in_one_fall(scenario, bill, kind, row) for row in order]
        for kind, fall in enumerate(scenario.falls)
    ]
    lines = wrapped(f"(The order is that of {commonest.id}, the commonest fall.)", "  ")
    while columns:
        widths = [2 + max(map(len, column)) for column in columns]
        room = WIDTH - 2 - min(MOST_OF_A_PART, max(map(len, parts), default=0))
        abreast = max(1, sum(width <= room for width in accumulate(widths)))
        lines += table(
            ("part", *(column[0] for column in columns[:abreast])),
            zip(parts, *(c[1:] for c in columns[:abreast]), strict=True),
        )
        columns = columns[abreast:]
        lines += [""] if columns else []
    return lines


def _in_one_fall(scenario: Scenario, bill: Bill, kind: int, row: int) -> str:
    """The mean bill for a part in one fall; blank where the fall never harms it."""
    if not bill.part_harmed[kind, row]:
        return ""
    if scenario.parts[row].waits and bill.part_bill[kind, row] <= HALF_A_CENT:
        return "waits"
    return number(bill.part_bill[kind, row])


def _bill_parts(scenario: Scenario, bill: Bill) -> list[str]:
    dearest = sorted(range(len(scenario.parts)), key=lambda row: -bill.part_bill_per_year[row])
    rows = [
        (
            scenario.parts[row].id,
            often(bill.part_harmed_per_year[row]),
            *([often(bill.part_put_right_times[row]) if scenario.parts[row].waits else ""] if scenario.waits else []),
            number(bill.part_bill_per_year[row]),
        )
        for row in dearest
        if bill.part_harmed_per_year[row] > 0.0
    ]
    groups = [name for name in scenario.strip_down if any(part.strip_down == name for part in scenario.parts)]
    rows += [
        (f"strip-down of {name}", "", *([""] if scenario.waits else []), number(amount))
        for name, amount in zip(groups, bill.strip_bill_per_year, strict=True)
    ]
    put_right = ["times put right"] if scenario.waits else []
    lines = table(("part", "times damaged", *put_right, "repair bills"), rows)
    return [*lines, *waiting_lines(scenario), *not_all_paid(bill), *noted_lines(scenario.parts[row] for row in dearest)]


def noted_lines(parts: Iterable[Part]) -> list[str]:
    """What the owner noted beside parts, once for both sides."""
    notes = {part.row: part.note for part in parts if part.note}
    return wrapped(f"(Your notes: {'; '.join(f'{row}: {note}' for row, note in notes.items())})", "  ") if notes else []


def waiting_lines(scenario: Scenario) -> list[str]:
    """A word on the parts that wait."""
    if not scenario.waits:
        return []
    names = listed(list(dict.fromkeys(part.row for part in scenario.parts if part.waits)), last="and")
    return wrapped(f"(Put right {how_often_put_right(scenario)}, not after each fall: {names}.)", "  ")


def often(per_year: float) -> str:
    """How often a year something happens, with at least one figure that counts."""
    if 0.0 < per_year < 0.001:
        return "<0.001"
    return f"{per_year:.2f}" if per_year >= 0.095 or per_year == 0.0 else f"{per_year:.1g}"


def not_all_paid(bill: Bill) -> list[str]:
    """A word on repair bills where some falls cost their owner less than the repair."""
    if (bill.repair_bill <= bill.owner_cost + HALF_A_CENT).all():
        return []
    return wrapped("(Repair bills; what goes beyond the most that one fall can cost you, you do not pay.)", "  ")
