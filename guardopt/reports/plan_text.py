"""All there is to say of a plan, for a terminal: eighty columns wide, plain text."""

from __future__ import annotations

from guardopt.model.pieces import HALF_A_CENT
from guardopt.questions.bill import in_order
from guardopt.questions.explanation.verdicts import Verdict
from guardopt.questions.plan_result import Plan
from guardopt.reports.bill_text import not_all_paid, noted_lines, often, waiting_lines, whole_lines
from guardopt.reports.layout import plus_minus, table, title, whole_cautions
from guardopt.reports.plan_answer import offers_taken
from guardopt.reports.question_text import break_even_lines
from guardopt.reports.sureness_text import sureness_lines
from guardopt.reports.touchdown_text import lying_sentences
from guardopt.spelling import listed
from guardopt.words import money, number, percent, wrapped

PARTS_SHOWN = 8


def plan_text(plan: Plan) -> str:
    """The whole plan as text."""
    scenario = plan.scenario
    lines = [*title(scenario), *plan.headline]
    picked = [(verdict, text) for verdict, text in plan.verdicts if verdict.picked]
    left_out = [(verdict, text) for verdict, text in plan.verdicts if not verdict.picked]
    kit = [line for verdict, text in picked for line in _reason_lines(verdict.guard, text)]
    if not plan.verdicts and plan.kit:
        kit = wrapped(f"{listed(in_order(scenario, plan.kit), last='and')}.", "  ")
    lines += ["", "The kit", *(kit or ["  No guard."]), *wrapped(offers_taken(plan), "  ")]
    if left_out:
        lines += ["", "Left out"]
        lines += [line for verdict, text in left_out for line in _reason_lines(verdict.guard, text, _label(verdict))]
    lines += [
        "",
        f"One fall of each kind, {_before(plan)} and with this kit ({scenario.currency})",
        *_falls_table(plan),
    ]
    lines += _no_guard_helps(plan)
    lines += ["", f"Parts that still cost most a year ({scenario.currency})", *_parts_table(plan)]
    lines += _how_it_lies(plan)
    lines += _how_sure(plan)
    if plan.sureness is not None:
        lines += sureness_lines(scenario, plan.sureness)
    if plan.break_even is not None:
        lines += break_even_lines(scenario, plan.break_even)
    return "\n".join([*lines, *whole_cautions()])


def _reason_lines(guard: str, text: str, label: str = "") -> list[str]:
    return [*wrapped(f"{guard} ({label})" if label else guard, "  "), *wrapped(text, "      ")]


def _label(verdict: Verdict) -> str:
    return verdict.reason.value.replace("_", " ")


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
            number(stock.owner_cost[row] + stock.renewals[row] + stock.off_road[row]),
            number(fitted.owner_cost[row] + fitted.renewals[row] + fitted.off_road[row]),
            percent(float(stock.write_off_chance[row])),
            percent(float(fitted.write_off_chance[row])),
        )
        for row, fall in enumerate(plan.scenario.falls)
    ]
    off_road = " and days off the road" if stock.off_road.any() or fitted.off_road.any() else ""
    return [
        *table(
            ("fall", "a year", *(_before(plan), "with kit") * 3),
            rows,
            above=(("", 2), ("repair bill", 2), ("you pay", 2), ("written off", 2)),
        ),
        *wrapped(f"(What you pay includes the renewal of worn guards{off_road}.)", "  "),
        *whole_lines(plan.scenario),
    ]


def _no_guard_helps(plan: Plan) -> list[str]:
    """Kinds of fall that cost the same whatever is fitted, and parts that no guard covers."""
    scenario = plan.scenario
    every = [
        fall.id
        for row, fall in enumerate(scenario.falls)
        if plan.bare.write_off_chance[row] >= 1.0 and plan.fitted.write_off_chance[row] >= 1.0
    ]
    bare, beside = scenario.uncovered()
    lines = []
    if every:
        lines += wrapped(f"{listed(every, last='and')}: writes the bike off, whatever is fitted.", "  ")
    if bare:
        lines += wrapped(f"No guard on offer covers {listed(bare, last='or')}.", "  ")
    if beside:
        lines += wrapped(
            f"None covers {listed(beside, last='or')} itself; what spares a part that breaks onto it helps.", "  "
        )
    return ["", "What no guard helps with", *lines] if lines else []


def _parts_table(plan: Plan) -> list[str]:
    dearest = sorted(range(len(plan.scenario.parts)), key=lambda row: -plan.fitted.part_bill_per_year[row])
    rows = [
        (
            plan.scenario.parts[row].id,
            number(plan.stock.part_bill_per_year[row]),
            number(plan.fitted.part_bill_per_year[row]),
            often(plan.stock.part_harmed_per_year[row]),
            often(plan.fitted.part_harmed_per_year[row]),
        )
        for row in dearest[:PARTS_SHOWN]
    ]
    above = (("", 1), ("repair bills", 2), ("times damaged", 2))
    lines = table(("part", *(_before(plan), "with kit") * 2), rows, above=above)
    noted = noted_lines(plan.scenario.parts[row] for row in dearest[:PARTS_SHOWN])
    return [*lines, *waiting_lines(plan.scenario), *not_all_paid(plan.stock), *noted]


def _how_it_lies(plan: Plan) -> list[str]:
    """On what the bike rests with the kit, and what falls cost by that."""
    sentences = lying_sentences(plan)
    return (
        ["", "How it lies with this kit", *(line for one in sentences for line in wrapped(one, "  "))]
        if sentences
        else []
    )


def _how_sure(plan: Plan) -> list[str]:
    currency, best = plan.scenario.currency, plan.best
    disliked = any(guard.dislike for guard in plan.scenario.guards)
    measured = plan.aim.measured.format(tail=percent(plan.tail))
    measured += ", dislikes included," if disliked and plan.aim.adds_up and not plan.aim.counts_price else ""
    short_of = best.objective - best.bound
    better = "better" if short_of < HALF_A_CENT else f"better by more than {money(short_of, currency)}"
    text = (
        f"On the falls it was planned on, this kit's {measured} comes to {money(best.objective, currency)}, and no "
        f"allowed kit is {better}: that is proven. On fresh falls the bike with this kit costs "
        f"{number(plan.fitted.yearly_cost)} {plus_minus(plan.prices.standard_error(2))} a year and saves "
        f"{number(plan.saving_over_years)} {plus_minus(plan.saving_over_years_se)} over the years (± one standard "
        "error). These errors are only the luck of the simulation; the fall rates and chances are yours, and usually "
        "the larger doubt."
    )
    return ["", "How sure", *wrapped(text, "  ")]
