"""What a page says of luck and doubt: the years ahead, the proof, and which guesses are worth checking."""

from __future__ import annotations

from typing import Any

from guardopt.model.pieces import HALF_A_CENT
from guardopt.questions.break_even import BreakEven
from guardopt.questions.forecast import Forecast
from guardopt.questions.plan_result import Plan
from guardopt.reports.layout import plus_minus
from guardopt.reports.plots import spoken
from guardopt.reports.sureness_text import sureness_sentences, worth_rows
from guardopt.words import money, number, percent, years


def forecast_table(ahead: Forecast) -> dict[str, Any]:
    """How much falls may cost over the years, in good luck and bad."""
    scenario, pair = ahead.scenario, (ahead.stock, ahead.fitted)
    odds = {
        0.1: "1 time in 10",
        0.5: "5 times in 10",
        0.9: "9 times in 10",
        0.95: "19 times in 20",
        0.99: "99 times in 100",
    }
    rows = [("on average", [number(one.mean) for one in pair])]
    rows += [
        (f"{odds[level]} no more than", [number(one.quantiles[level]) for one in pair])
        for level in ahead.fitted.quantiles
    ]
    rows += [
        ("mean of the worst tenth", [number(one.worst_tenth_mean) for one in pair]),
        ("chance of paying nothing", [percent(one.chance_of_nothing) for one in pair]),
        ("chance that the bike is written off", [percent(one.chance_written_off) for one in pair]),
    ]
    return {
        "columns": ["now" if scenario.stock else "bare", "with the kit"],
        "rows": rows,
        "years": years(scenario.years),
    }


def doubts(plan: Plan) -> dict[str, Any]:
    """How far the answer can be relied on."""
    scenario, currency, best = plan.scenario, plan.scenario.currency, plan.best
    short = best.objective - best.bound
    proof = (
        "That is proven"
        if short < HALF_A_CENT
        else f"No allowed kit is better by more than {money(short, currency)}: that is proven"
    )
    disliked = (
        ", dislikes included,"
        if plan.aim.adds_up and not plan.aim.counts_price and any(guard.dislike for guard in scenario.guards)
        else ""
    )
    error = plan.prices.standard_error(2)
    spread = "" if error is None else f" ± {number(error)}"
    found: dict[str, Any] = {
        "aim": plan.aim.purpose,
        "proof": (
            f"On the {scenario.falls_sampled:,} falls of each kind and side that the plan was made on, this kit's "
            f"{plan.aim.measured.format(tail=percent(plan.tail))}{disliked} comes to "
            f"{money(best.objective, currency)}, and no allowed kit does "
            f"{'better' if short < HALF_A_CENT else 'much better'}. {proof}."
        ),
        "luck": (
            "On fresh falls, as in all other figures here, the bike with this kit costs "
            f"{number(plan.fitted.yearly_cost)}{spread} a year (± one standard error). That error is only the luck of "
            "the simulation."
        ),
        "sureness": "",
        "worth": [],
        "break_even": [],
    }
    if plan.sureness is not None:
        found["sureness"] = sureness_sentences(scenario, plan.sureness)
        found["worth"] = [
            (row.name, number(row.worth), plus_minus(row.error)) for row in worth_rows(scenario, plan.sureness)
        ]
    if plan.break_even is not None:
        found["break_even"] = [
            (
                spoken(name),
                _worth_from(one),
                "" if one.worth_it_until is None else f"{one.worth_it_until:.2f}",
            )
            for name, one in plan.break_even.items()
        ]
    return found


def _worth_from(one: BreakEven) -> str:
    """The multiple of the fall rates from which a guard is worth its price."""
    if one.worth_it_from is not None:
        return f"{one.worth_it_from:.2f}"
    return "not within the budget" if one.is_known else "unknown"
