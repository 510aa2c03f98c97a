"""The report on what each kind of fall costs, for a terminal."""

from __future__ import annotations

from itertools import accumulate

from guardopt.billing import BillReport, contact_order, in_order
from guardopt.bills import Bill
from guardopt.layout import WIDTH, cautions, plus_minus, shortened, table, title, wrapped
from guardopt.pieces import HALF_A_CENT
from guardopt.scenario import Scenario
from guardopt.spelling import listed
from guardopt.wording import money, number, percent, years

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
    rows = [
        (
            fall.id,
            f"{fall.per_year:g}",
            number(bill.repair_bill[row]),
            number(bill.owner_cost[row]),
            number(bill.renewals[row]),
            percent(float(bill.write_off_chance[row])),
        )
        for row, fall in enumerate(scenario.falls)
    ]
    return table(("fall", "a year", "repair bill", "you pay of it", "renewals", "written off"), rows)


def _contact_tables(scenario: Scenario, bill: Bill) -> list[str]:
    """Parts by kinds of fall, as many kinds side by side as fit; a part that a fall never harms is left blank."""
    commonest = max(scenario.falls, key=lambda fall: fall.per_year)
    order = [row for row in contact_order(scenario, commonest.id) if bill.part_harmed[:, row].any()]
    parts = [scenario.parts[row].id for row in order]
    columns = [
        [shortened(fall.id, MOST_OF_AN_ID)]
        + [number(bill.part_bill[kind, row]) if bill.part_harmed[kind, row] else "" for row in order]
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


def _bill_parts(scenario: Scenario, bill: Bill) -> list[str]:
    dearest = sorted(range(len(scenario.parts)), key=lambda row: -bill.part_bill_per_year[row])
    rows = [
        (
            scenario.parts[row].id,
            often(bill.part_harmed_per_year[row]),
            number(bill.part_bill_per_year[row]),
        )
        for row in dearest
        if bill.part_harmed_per_year[row] > 0.0
    ]
    groups = [name for name in scenario.strip_down if any(part.strip_down == name for part in scenario.parts)]
    rows += [
        (f"strip-down of {name}", "", number(amount))
        for name, amount in zip(groups, bill.strip_bill_per_year, strict=True)
    ]
    return [*table(("part", "times harmed", "repair bills"), rows), *not_all_paid(bill)]


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
