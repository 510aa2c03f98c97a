"""What a page says in sentences and tables, made ready for its template: plain text, escaped there."""

from __future__ import annotations

from typing import Any

from guardopt.model.aims import Status
from guardopt.model.pieces import HALF_A_CENT, Guard
from guardopt.model.scenario import Scenario
from guardopt.pages.bike_drawing import numbers_of
from guardopt.pages.page_steps import StepWords, named, said, speaker
from guardopt.questions.plan_headline import check_first, days_without, nearly_as_good, to_do
from guardopt.questions.plan_result import Plan
from guardopt.reports.bill_text import how_often_put_right, often
from guardopt.reports.plan_answer import comes_in, costs_of, overlapping, why_short
from guardopt.reports.plots import spoken
from guardopt.reports.touchdown_text import lying_sentences
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import Bill
from guardopt.spelling import listed
from guardopt.words import exact_money, money, number, once_in, percent, save_less, years

PARTS_IN_SIGHT = 12
"""Parts shown without asking for the rest."""


def bikes(plan: Plan) -> list[tuple[str, Bill]]:
    """The bikes that tables compare; the bike as it stands only if it is not bare."""
    both = [("bare", plan.bare), ("with the kit", plan.fitted)]
    return [both[0], ("now", plan.stock), both[1]] if plan.scenario.stock else both


def answer(plan: Plan) -> dict[str, Any]:
    """What to buy, what it costs, what it saves and what is still at risk."""
    scenario, currency, speak = plan.scenario, plan.scenario.currency, speaker(plan.scenario)
    over = f"over {years(scenario.years)}"
    budget = (
        "no limit to the budget" if plan.budget_cents is None else f"budget {exact_money(plan.budget_cents, currency)}"
    )
    before = money(plan.stock.yearly_cost, currency)
    gain = plan.saving_over_years >= 0.0
    luck = plan.saving_over_years_se
    error = [] if luck is None else [f"± {number(luck)} by the luck of the simulation"]
    price = ["before the price of the guards"] if plan.buy else []
    if plan.buy and plan.ahead >= 0.0:
        price = [f"{money(plan.ahead, currency)} of it left once the guards are paid"]
    return {
        "to_do": speak(to_do(plan)),
        "buy": _to_buy(plan),
        "offers": _offers(plan),
        "figures": [
            ("spend", "To spend now", plan.spend, exact_money(round(plan.spend * 100), currency), budget),
            (
                "yearly_cost",
                "Falls then cost, a year",
                plan.fitted.yearly_cost,
                money(plan.fitted.yearly_cost, currency),
                f"instead of {before} {'now' if scenario.stock else 'on the bare bike'}",
            ),
            (
                "saving_over_years",
                f"{'Saved' if gain else 'Dearer'} {over}",
                plan.saving_over_years,
                money(abs(plan.saving_over_years), currency),
                "; ".join([*price, *error]),
            ),
            (
                "cost_over_years",
                f"Falls still cost {over}",
                plan.fitted.cost_over_years,
                money(plan.fitted.cost_over_years, currency),
                f"on average; {_write_off(plan)}",
            ),
        ],
        "worth": _worth_rows(plan),
        "overlapping": overlapping(plan),
        "notes": [
            *_does_it_pay(plan),
            *_not_proven(plan),
        ],
        "days": speak(days_without(plan)),
        "checks": [speak(told) for told in (nearly_as_good(plan), check_first(plan)) if told],
        "lying": [speak(told) for told in lying_sentences(plan)],
        "left_out": [
            {
                "name": spoken(one.guard),
                "why": speak(why_short(one)),
                "costs": costs_of(one.swap.guard),
                "saves": number(one.would_save),
                "from": comes_in(one),
            }
            for one, _ in plan.verdicts
            if not one.picked
        ],
    }


def _worth_rows(plan: Plan) -> list[dict[str, str]]:
    """What each guard of the kit costs and saves, with bars on one scale; none without reasons."""
    kit = [one for one, _ in plan.verdicts if one.picked]
    longest = max((max(one.spend, one.swap.saving) for one in kit), default=0.0)
    return [
        {
            "name": spoken(one.guard),
            "price": "yours" if one.swap.guard.owned else number(one.spend),
            "saves": number(one.swap.saving),
            "left": "" if one.swap.guard.owned else number(one.left_once_paid),
            "costs_bar": f"{100.0 * one.spend / longest:.1f}",
            "saves_bar": f"{100.0 * max(0.0, one.swap.saving) / longest:.1f}",
        }
        for one in kit
        if longest > 0.0
    ]


def _to_buy(plan: Plan) -> list[tuple[str, str]]:
    """Names and prices; two sides of one guard are one line."""
    scenario = plan.scenario
    rows: dict[str, list[Guard]] = {}
    for name in plan.buy:
        rows.setdefault(scenario.guard[name].row, []).append(scenario.guard[name])
    return [
        (
            named(scenario, [one.id for one in guards])[0],
            exact_money(sum(one.spend_cents for one in guards), scenario.currency),
        )
        for guards in rows.values()
    ]


def _offers(plan: Plan) -> str:
    saved = sum(plan.scenario.guard[name].spend_cents for name in plan.kit) - plan.scenario.bought_cents(plan.kit)
    return f"−{exact_money(saved, plan.scenario.currency)}" if saved else ""


def _write_off(plan: Plan) -> str:
    if plan.written_off_per_year <= 0.0:
        return "no simulated fall writes the bike off"
    return f"the bike written off {once_in(plan.written_off_per_year)}"


def _does_it_pay(plan: Plan) -> list[str]:
    if plan.aim.counts_price or not plan.buy:
        return []
    if plan.ahead < 0.0:
        less_resale = ", what they fetch at the end taken off" if plan.scenario.resale_value(plan.kit) else ""
        return [f"The guards cost more than they save over the years{less_resale}."]
    if not plan.losing:
        return []
    names, it = said(named(plan.scenario, plan.losing)), "it" if len(plan.losing) == 1 else "them"
    return [
        f"{names[0].upper()}{names[1:]} {save_less(len(plan.losing))} over the years: leave {it} out if every guard "
        "has to pay for itself."
    ]


def _not_proven(plan: Plan) -> list[str]:
    if plan.status is Status.OPTIMAL:
        return []
    return [
        "The search stopped before this was proven best: another kit may be better by "
        f"{percent(plan.best.gap)} at most."
    ]


def guard_rows(plan: Plan, step: StepWords | None) -> list[dict[str, Any]]:
    """Every guard with its price and why it is in or out, at the plan's own budget."""
    scenario, speak = plan.scenario, speaker(plan.scenario)
    if step is not None:
        reasons = list(step.reasons)
    elif plan.verdicts:
        reasons = [speak(text) for _, text in plan.verdicts]
    else:
        reasons = ["" for _ in scenario.guards]
    return [
        {
            "id": guard.id,
            "name": spoken(guard.id),
            "price": "yours" if guard.owned else exact_money(guard.spend_cents, scenario.currency),
            "picked": guard.id in (plan.kit if step is None else step.kit),
            "reason": reason,
        }
        for guard, reason in zip(scenario.guards, reasons, strict=True)
    ]


def part_table(plan: Plan, *, numbered: bool) -> dict[str, Any]:
    """What each part costs a year, the dearest on the bare bike first, with its number in the drawing."""
    scenario = plan.scenario
    numbers = numbers_of(plan) if numbered else {}
    shown = [row for row, bill in enumerate(plan.bare.part_bill_per_year) if bill > 0.0]
    whole: dict[str, float] = {}
    for row in shown:
        name = scenario.parts[row].row
        whole[name] = whole.get(name, 0.0) + float(plan.bare.part_bill_per_year[row])
    shown.sort(key=lambda row: -whole[scenario.parts[row].row])
    rows = [
        {
            "number": numbers.get(scenario.parts[row].row, ""),
            "name": spoken(scenario.parts[row].id),
            "waits": scenario.parts[row].waits,
            "note": scenario.parts[row].note,
            "bills": [number(float(bill.part_bill_per_year[row])) for _, bill in bikes(plan)],
            "often": often(float(plan.fitted.part_harmed_per_year[row])),
        }
        for row in shown
    ]
    strips = [
        (f"access: {spoken(group)}", [number(float(bill.strip_bill_per_year[row])) for _, bill in bikes(plan)])
        for row, group in enumerate(Bike(scenario).costs.groups)
    ]
    uncovered, beside = (said(list(map(spoken, names))) if names else "" for names in scenario.uncovered())
    return {
        "columns": [name for name, _ in bikes(plan)],
        "first": rows[:PARTS_IN_SIGHT],
        "rest": rows[PARTS_IN_SIGHT:],
        "strips": strips,
        "put_right": how_often_put_right(scenario) if scenario.waits else "",
        "all_paid": bool((plan.bare.repair_bill <= plan.bare.owner_cost + HALF_A_CENT).all()),
        "uncovered": uncovered,
        "beside": beside,
    }


def fall_table(plan: Plan) -> dict[str, Any]:
    """What one fall of each kind costs, and how likely it is the bike's last."""
    scenario = plan.scenario
    return {
        "columns": [name for name, _ in bikes(plan)],
        "rows": [
            {
                "name": spoken(fall.id),
                "often": f"{fall.per_year:g} a year",
                "paid": [
                    number(float(bill.owner_cost[row] + bill.renewals[row] + bill.off_road[row]))
                    for _, bill in bikes(plan)
                ],
                "written_off": [
                    percent(chance).replace("under", "<") if (chance := float(bill.write_off_chance[row])) else ""
                    for _, bill in bikes(plan)
                ],
            }
            for row, fall in enumerate(scenario.falls)
        ],
        "cap": _cap(scenario),
        "waited": _waited(plan),
    }


def _waited(plan: Plan) -> str:
    """What the bills of single falls leave out, so that bills times falls come to what falls cost a year."""
    scenario = plan.scenario
    if not scenario.waits:
        return ""
    costs = [f"{money(float(bill.put_right.sum()), scenario.currency)} a year {name}" for name, bill in bikes(plan)]
    return (
        f"Damage that you leave for later is not in these sums: put right {how_often_put_right(scenario)}, it comes to "
        f"{listed(costs, last='and')} on top."
    )


def _cap(scenario: Scenario) -> str:
    """The most that the damage of one fall can cost, and why."""
    most = money(scenario.cap, scenario.currency)
    beyond = [
        name
        for name, is_there in (
            ("days off the road", scenario.day_without > 0.0),
            ("getting the bike home", scenario.recovery > 0.0),
            ("worn guards", any(guard.lasts_falls is not None for guard in scenario.guards)),
        )
        if is_there
    ]
    on_top = f" What {listed(beyond, last='and')} cost comes on top." if beyond else ""
    if scenario.insurance is not None and scenario.cap < scenario.value - scenario.salvage:
        return f"The damage of one fall costs you {most} at most: the excess and the dearer premiums.{on_top}"
    return f"The damage of one fall costs you {most} at most: then the bike is given up for the wreck's price.{on_top}"
