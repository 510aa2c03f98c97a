"""A plan's answer for a terminal: about ten lines, a row for each guard, and one guard's whole story on demand."""

from __future__ import annotations

from collections.abc import Sequence

from guardopt.model.pieces import HALF_A_CENT, Guard
from guardopt.questions.explanation.reasons import counted_along
from guardopt.questions.explanation.verdicts import Reason, Verdict
from guardopt.questions.plan_result import Plan
from guardopt.reports.layout import cautions, table, title
from guardopt.spelling import listed
from guardopt.words import exact_money, money, number, wrapped, years

WHY = {
    Reason.FORCED_OUT: "you ruled it out",
    Reason.CANNOT_BE_FITTED: "cannot be fitted",
    Reason.WEARS_OUT: "renewing it costs more",
    Reason.ADDS_NOTHING: "saves nothing more",
    Reason.OVER_BUDGET: "needs a larger budget",
    Reason.NOT_WORTH_IT: "not worth its price",
}
"""Why a guard is left out, in few words; those beaten in their place are told by whom."""

_WOULD_SAVE = ("would save", "saves")


def answer_text(plan: Plan) -> str:
    """What to buy and what comes of it, then what each guard costs and saves."""
    lines = [*title(plan.scenario), *plan.headline]
    lines += _kit_table(plan)
    lines += _left_out_table(plan)
    if plan.sureness is not None:
        from guardopt.reports.sureness_text import sureness_lines

        lines += sureness_lines(plan.scenario, plan.sureness)
    if plan.break_even is not None:
        from guardopt.reports.question_text import break_even_lines

        lines += break_even_lines(plan.scenario, plan.break_even)
    return "\n".join([*lines, *cautions()])


def why_text(plan: Plan, guards: Sequence[str]) -> str:
    """The whole story of some guards, in the order of the scenario."""
    lines = title(plan.scenario)
    for verdict, text in plan.verdicts:
        if verdict.guard in guards:
            place = "in the kit" if verdict.picked else verdict.reason.value.replace("_", " ")
            lines += ["", f"{verdict.guard}: {place}", *wrapped(text, "  "), *wrapped(_beside(plan, verdict), "  ")]
    return "\n".join([*lines, *cautions()])


def _beside(plan: Plan, verdict: Verdict) -> str:
    """What a guard that is bought leaves once it is paid."""
    if not verdict.picked or verdict.reason is Reason.OWNED:
        return ""
    currency, over, left = plan.scenario.currency, f"over {years(plan.scenario.years)}", verdict.left_once_paid
    also = f" and that of {listed(verdict.swap.off, last='and')}" if verdict.swap.off else ""
    if left < 0.0:
        return f"Its price{also} paid, it costs you {money(-left, currency)} {over}."
    return f"Its price{also} paid, {money(left, currency)} is left {over}."


def _kit_table(plan: Plan) -> list[str]:
    """A row for each guard of the kit; without reasons only its name and price."""
    scenario = plan.scenario
    if not plan.kit:
        return []
    heading = f"in the kit ({scenario.currency})"
    if not plan.verdicts:
        fitted = [guard for guard in scenario.guards if guard.id in plan.kit]
        return ["", *table((heading, "costs"), [(one.id, costs_of(one)) for one in fitted])]
    rows = [
        (
            one.guard,
            costs_of(one.swap.guard),
            number(one.swap.saving),
            *(("", "") if one.reason is Reason.OWNED else (number(one.left_once_paid), _paid_back(plan, one))),
        )
        for one, _ in plan.verdicts
        if one.picked
    ]
    lines = ["", *table((heading, "costs", "saves", "left once paid", "paid back"), rows)]
    saved = exact_money(_offered(plan), plan.scenario.currency)
    told = [_counted_along(plan), f"Offers: {saved} off." if _offered(plan) else "", overlapping(plan)]
    return [*lines, *wrapped(" ".join(one for one in told if one), "  ")]


def overlapping(plan: Plan) -> str:
    """How to read savings that do not add up."""
    return "Saves: what falls cost more without it (they overlap)." if len(plan.kit) > 1 else ""


def _counted_along(plan: Plan) -> str:
    """Which guards count for more than themselves, since others need them."""
    with_others = [
        f"{one.guard} counts {counted_along(one.swap)}" for one, _ in plan.verdicts if one.picked and one.swap.off
    ]
    return f"{'; '.join(with_others)}." if with_others else ""


def costs_of(guard: Guard) -> str:
    """What a guard costs, or that it is owned."""
    return "yours" if guard.owned else f"{guard.spend_cents / 100:,.2f}"


def _paid_back(plan: Plan, verdict: Verdict) -> str:
    """After how long a guard has paid for itself."""
    paid_back = verdict.together_pays_back_years
    if paid_back is None:
        return "not at all"
    if paid_back > plan.scenario.years:
        return "by its resale" if verdict.left_once_paid >= 0.0 else f"not in {years(plan.scenario.years)}"
    return f"after {years(paid_back)}"


def _left_out_table(plan: Plan) -> list[str]:
    """A row for each guard left out, with the reason and what would have to change for it to come in."""
    left_out = [one for one, _ in plan.verdicts if not one.picked]
    if not left_out:
        return []
    # Shorter words where these save a line.
    tries = [
        table(
            (f"left out ({plan.scenario.currency})", "why", "costs", heading, "in the kit at"),
            [
                (one.guard, why_short(one, brief), costs_of(one.swap.guard), number(one.would_save), comes_in(one))
                for one in left_out
            ],
            left=2,
        )
        for heading in _WOULD_SAVE
        for brief in (False, True)
    ]
    return ["", *min(tries, key=len)]


def why_short(verdict: Verdict, brief: bool = False) -> str:
    """Why a guard is left out, in few words; a rival on its own side is told without the side, or without its name."""
    rivals = verdict.swap.rivals()
    is_worse = (verdict.gain_if_added or 0.0) <= HALF_A_CENT
    if verdict.reason is Reason.BEATEN or (verdict.reason is Reason.OVER_BUDGET and rivals and is_worse):
        if len(rivals) > 1:
            return f"{len(rivals)} others do more"
        return "another does more" if brief else f"{rivals[0].removesuffix(f'.{verdict.swap.guard.side}')} does more"
    if verdict.would_not_pay:
        return WHY[Reason.NOT_WORTH_IT]
    if verdict.reason is Reason.ADDS_NOTHING and verdict.swap.harms():
        return "does more harm"
    return WHY[verdict.reason]


def comes_in(verdict: Verdict) -> str:
    """The budget or the price at which a guard would come in: the one that belongs to its reason.

    A larger budget has what is not worth its price too, but is no reason to buy it.
    """
    if verdict.would_not_pay:
        return ""
    if verdict.next_entry_budget is not None:
        return f"budget {verdict.next_entry_budget:,.2f}"
    return "" if verdict.enters_at_price is None else f"price {verdict.enters_at_price:,.2f}"


def offers_taken(plan: Plan) -> str:
    """What offers save on the kit, so that the prices of its guards add up to what is spent."""
    saved, currency = _offered(plan), plan.scenario.currency
    singly = saved + plan.scenario.bought_cents(plan.kit)
    return f"Offers take {exact_money(saved, currency)} off {exact_money(singly, currency)}." if saved else ""


def _offered(plan: Plan) -> int:
    """Cents that offers take off the prices of the kit."""
    return sum(plan.scenario.guard[name].spend_cents for name in plan.kit) - plan.scenario.bought_cents(plan.kit)
