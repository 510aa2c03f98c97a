"""Reports for a terminal: the answer first, eighty columns wide, plain text."""

from __future__ import annotations

from itertools import accumulate

from guardopt.billing import BillReport, contact_order, in_order
from guardopt.bills import Bill
from guardopt.explain import NOTHING, Reason
from guardopt.layout import WIDTH, cautions, plus_minus, shortened, table, title, wrapped
from guardopt.planner import Aim
from guardopt.plans import Plan, Status
from guardopt.question_text import break_even_lines, sureness_lines
from guardopt.scenario import Scenario
from guardopt.spelling import listed
from guardopt.wording import exact_money, money, number, percent, years

PARTS_SHOWN = 8

MOST_OF_AN_ID, MOST_OF_A_PART = 20, 32
"""Columns that kinds of fall and parts may take where kinds of fall stand side by side."""


def plan_headline(plan: Plan) -> list[str]:
    """The answer: what to buy, what it costs, what it saves, what is still at risk."""
    currency = plan.scenario.currency
    lines = [*wrapped(_to_do(plan)), *wrapped(_saved(plan))]
    if plan.aim is Aim.WORST:
        lines += wrapped(
            f"The worst {percent(plan.tail)} of falls then cost {money(plan.best.objective, currency)} each on average."
        )
    lines += wrapped(_still_at_risk(plan))
    if plan.status is Status.TIME_LIMIT:
        lines += wrapped(
            f"The time ran out before this was proven best: another kit may be better by {percent(plan.best.gap)} at "
            "most. A longer --time-limit narrows it."
        )
    return lines


def _to_do(plan: Plan) -> str:
    """What to buy for how much, and what to take off."""
    scenario, currency = plan.scenario, plan.scenario.currency
    off = listed(in_order(scenario, scenario.stock - plan.kit), last="and")
    take_off = f" Take off {off}, which you own." if off else ""
    budget = None if plan.budget_cents is None else exact_money(plan.budget_cents, currency)
    if plan.bought:
        spend = exact_money(scenario.spend_cents(plan.kit), currency)
        of_budget = "with no limit to the budget" if budget is None else f"of a budget of {budget}"
        return f"Buy {listed(plan.bought, last='and')}: {spend} {of_budget}.{take_off}"
    if off:
        return f"Buy nothing.{take_off}"
    within = "" if budget is None else f"within {budget} "
    return f"Buy nothing: {within}no guard improves on the bike as it stands."


def _saved(plan: Plan) -> str:
    """What falls cost before and after."""
    currency, span = plan.scenario.currency, years(plan.scenario.years)
    if plan.kit == plan.scenario.stock:
        return f"Falls cost about {money(plan.fitted.yearly_cost, currency)} a year."
    less = "less" if plan.saving >= 0.0 else "more"
    return (
        f"Falls then cost about {money(plan.fitted.yearly_cost, currency)} a year instead of "
        f"{money(plan.stock.yearly_cost, currency)}: {money(abs(plan.saving), currency)} {less} over {span}."
    )


def _still_at_risk(plan: Plan) -> str:
    scenario, currency = plan.scenario, plan.scenario.currency
    yearly = [fall.per_year * chance for fall, chance in zip(scenario.falls, plan.fitted.write_off_chance, strict=True)]
    written_off = sum(yearly)
    text = f"Still at risk: {money(plan.fitted.cost_over_years, currency)} over {years(scenario.years)}"
    if written_off > 0.0:
        once_in = 1.0 / written_off
        return f"{text}, and the bike written off about once in {years(once_in if once_in < 10.0 else round(once_in))}."
    return f"{text}; no simulated fall writes the bike off."


def plan_text(plan: Plan) -> str:
    """The whole plan as text."""
    scenario = plan.scenario
    lines = [*title(scenario), *plan_headline(plan)]
    picked = [(verdict, text) for verdict, text in plan.verdicts if verdict.picked]
    left_out = [(verdict, text) for verdict, text in plan.verdicts if not verdict.picked]
    kit = [line for verdict, text in picked for line in _reason_lines(verdict.guard, text)]
    if not plan.verdicts and plan.kit:
        kit = wrapped(f"{listed(in_order(scenario, plan.kit), last='and')}.", "  ")
    lines += ["", "The kit", *(kit or ["  No guard."]), *_offers_taken(plan)]
    if left_out:
        lines += ["", "Left out"]
        lines += [line for verdict, text in left_out for line in _reason_lines(verdict.guard, text, verdict.reason)]
    before = "as it stands" if scenario.stock else "bare"
    lines += ["", f"One fall of each kind, {before} and with this kit ({scenario.currency})", *_falls_table(plan)]
    lines += _no_guard_helps(plan)
    lines += ["", f"Parts that still cost most a year ({scenario.currency})", *_parts_table(plan)]
    lines += _how_sure(plan)
    if plan.sureness is not None:
        lines += sureness_lines(scenario, plan.sureness)
    if plan.break_even is not None:
        lines += break_even_lines(scenario, plan.break_even)
    return "\n".join([*lines, *cautions()])


def _reason_lines(guard: str, text: str, reason: Reason | None = None) -> list[str]:
    head = guard + (f" ({reason.value.replace('_', ' ')})" if reason else "")
    return [*wrapped(head, "  "), *wrapped(text, "      ")]


def _offers_taken(plan: Plan) -> list[str]:
    """What offers save on the kit, so that the prices above add up to what is spent."""
    singly = sum(plan.scenario.guard[name].spend_cents for name in plan.kit)
    saved = singly - plan.scenario.spend_cents(plan.kit)
    if not saved:
        return []
    return wrapped(
        f"Bought singly these would cost {exact_money(singly, plan.scenario.currency)}; offers take off "
        f"{exact_money(saved, plan.scenario.currency)}.",
        "  ",
    )


def _before(plan: Plan) -> str:
    """What the bike as it stands is called in tables."""
    return "now" if plan.scenario.stock else "bare"


def _falls_table(plan: Plan) -> list[str]:
    stock, fitted = plan.stock, plan.fitted
    rows = [
        (
            fall.id,
            f"{fall.per_year:g}",
            number(stock.repair_bill[row]),
            number(fitted.repair_bill[row]),
            number(stock.owner_cost[row] + stock.renewals[row]),
            number(fitted.owner_cost[row] + fitted.renewals[row]),
            percent(float(stock.write_off_chance[row])),
            percent(float(fitted.write_off_chance[row])),
        )
        for row, fall in enumerate(plan.scenario.falls)
    ]
    return [
        *table(
            ("fall", "a year", *(_before(plan), "fitted") * 3),
            rows,
            above=(("", 2), ("repair bill", 2), ("you pay", 2), ("written off", 2)),
        ),
        *wrapped("(What you pay includes the renewal of worn guards.)", "  "),
    ]


def _no_guard_helps(plan: Plan) -> list[str]:
    """Kinds of fall that cost the same whatever is fitted, and parts that no guard covers."""
    scenario = plan.scenario
    every = [
        fall.id
        for row, fall in enumerate(scenario.falls)
        if plan.bare.write_off_chance[row] >= 1.0 and plan.fitted.write_off_chance[row] >= 1.0
    ]
    covered = {cover.part for cover in scenario.covers}
    bare = [part.id for part in scenario.parts if part.id not in covered]
    lines = []
    if every:
        lines += wrapped(f"{listed(every, last='and')}: writes the bike off, whatever is fitted.", "  ")
    if bare:
        lines += wrapped(f"No guard on offer covers {listed(bare, last='or')}.", "  ")
    return ["", "What no guard helps with", *lines] if lines else []


def _parts_table(plan: Plan) -> list[str]:
    dearest = sorted(range(len(plan.scenario.parts)), key=lambda row: -plan.fitted.part_bill_per_year[row])
    rows = [
        (
            plan.scenario.parts[row].id,
            number(plan.stock.part_bill_per_year[row]),
            number(plan.fitted.part_bill_per_year[row]),
            _often(plan.stock.part_harmed_per_year[row]),
            _often(plan.fitted.part_harmed_per_year[row]),
        )
        for row in dearest[:PARTS_SHOWN]
    ]
    above = (("", 1), ("repair bills", 2), ("times harmed", 2))
    return [*table(("part", *(_before(plan), "fitted") * 2), rows, above=above), *_not_all_paid(plan.stock)]


def _often(per_year: float) -> str:
    """How often a year something happens, with at least one figure that counts."""
    if 0.0 < per_year < 0.001:
        return "<0.001"
    return f"{per_year:.2f}" if per_year >= 0.095 or per_year == 0.0 else f"{per_year:.1g}"


def _not_all_paid(bill: Bill) -> list[str]:
    """A word on repair bills where some falls cost their owner less than the repair."""
    if (bill.repair_bill <= bill.owner_cost + NOTHING).all():
        return []
    return wrapped("(Repair bills; what goes beyond the most that one fall can cost you, you do not pay.)", "  ")


def _how_sure(plan: Plan) -> list[str]:
    currency, best = plan.scenario.currency, plan.best
    disliked = any(guard.dislike for guard in plan.scenario.guards)
    measured = {
        Aim.BILLS: "cost over the years" + (", dislikes included," if disliked else ""),
        Aim.OUTLAY: "cost over the years, purchases included,",
        Aim.WORST: f"mean cost of the worst {percent(plan.tail)} of falls",
    }[plan.aim]
    short_of = best.objective - best.bound
    better = "better" if short_of < NOTHING else f"better by more than {money(short_of, currency)}"
    text = (
        f"On the falls it was planned on, this kit's {measured} comes to {money(best.objective, currency)}, and no "
        f"allowed kit is {better}: that is proven. On fresh falls the bike with this kit costs "
        f"{number(plan.fitted.yearly_cost)} {plus_minus(plan.prices.standard_error(2))} a year and saves "
        f"{number(plan.saving)} {plus_minus(plan.saving_se)} over the years (± one standard error). These errors are "
        "only the luck of the simulation; the fall rates and chances are yours, and usually the larger doubt."
    )
    return ["", "How sure", *wrapped(text, "  ")]


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
            _often(bill.part_harmed_per_year[row]),
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
    return [*table(("part", "times harmed", "repair bills"), rows), *_not_all_paid(bill)]


def check_text(scenario: Scenario) -> str:
    """What a scenario holds, as text."""
    currency = scenario.currency
    budget = "no limit" if scenario.budget_cents is None else exact_money(scenario.budget_cents, currency)
    insured = (
        "not insured against own damage"
        if scenario.insurance is None
        else f"insured with an excess of {money(scenario.insurance.excess, currency)}"
    )
    facts = [
        f"{len(scenario.parts)} parts, {len(scenario.guards)} guards ({len(scenario.stock)} owned), "
        f"{len(scenario.covers)} covers, {len(scenario.offers)} offers, {len(scenario.knock_ons)} knock-ons, both "
        "sides counted.",
        f"Falls a year: {', '.join(f'{fall.id} {fall.per_year:g}' for fall in scenario.falls)}.",
        f"The bike is worth {money(scenario.value, currency)}, {insured}; one fall costs its owner at most "
        f"{money(scenario.cap, currency)}.",
        f"Kept for {years(scenario.years)}; budget for guards: {budget}.",
    ]
    lines = [*title(scenario), "The scenario is sound.", ""]
    return "\n".join([*lines, *(line for fact in facts for line in wrapped(fact)), *cautions()])
