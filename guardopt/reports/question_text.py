"""Reports for a terminal on the questions around a plan: budgets, buying order, forecast, doubts."""

from __future__ import annotations

from itertools import pairwise

from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.break_even import BreakEven
from guardopt.questions.budgets import BudgetCurve, Step
from guardopt.questions.forecast import Forecast, Outlook
from guardopt.questions.plan_headline import guards_named
from guardopt.questions.schedule_result import BuyingOrder, Purchase
from guardopt.reports.layout import cautions, plus_minus, table, title
from guardopt.words import exact_money, money, number, percent, save_less, wrapped, years


def budgets_text(curve: BudgetCurve, shown: BudgetCurve) -> str:
    """The budget curve as text: the whole of it for the answer, and the steps to be shown."""
    scenario, currency = curve.scenario, curve.scenario.currency
    lines = [*title(scenario), *_worth_spending(curve)]
    first, last = curve.steps[0], curve.steps[-1]
    if last is first:
        lines += wrapped("No budget, however large, brings a better kit.")
    else:
        changes = len(curve.steps) - 1
        rest = (
            f" Here are {len(shown.steps)} of the {len(curve.steps)} best kits (--step 0: all; --step N: one "
            "for every N)."
            if len(shown.steps) < len(curve.steps)
            else ""
        )
        lines += wrapped(
            f"As the budget grows the best kit changes {'once' if changes == 1 else f'{changes} times'}, the last time "
            f"at {exact_money(last.budget_cents, currency)}.{rest}"
        )
    span = years(scenario.years)
    lines += ["", f"Best kit by budget, and what falls cost with it over {span} ({currency})"]
    lines += [f"  {'from':>9}  {'falls':>8}  kit, then what changes in it"]
    lines += _step_lines(scenario, shown.steps[0], guards_named(scenario, shown.steps[0].best.kit) or "no guard")
    for before, after in pairwise(shown.steps):
        lines += _step_lines(scenario, after, _change(scenario, before.best.kit, after.best.kit))
    lines += [
        "",
        "How sure",
        *wrapped(
            "Costs here are on the falls that the kits were chosen on, so that one budget can be compared with the "
            "next. On fresh falls, as plan and bill show them, they differ a little.",
            "  ",
        ),
    ]
    if curve.dislikes_decide:
        lines += wrapped("Where a dearer kit comes with dearer falls, it is one that you dislike less.", "  ")
    return "\n".join([*lines, *cautions()])


def _not_counted(scenario: Scenario) -> str:
    """What that sum leaves out, where there is any."""
    left_out = [
        *(["what guards fetch at the end"] if any(guard.resale_share for guard in scenario.guards) else []),
        *(["dislikes"] if any(guard.dislike for guard in scenario.guards) else []),
    ]
    return f" ({' and '.join(left_out)} not counted)" if left_out else ""


def _worth_spending(curve: BudgetCurve) -> list[str]:
    """Up to which budget money comes back, and why not further."""
    scenario, currency = curve.scenario, curve.scenario.currency
    span = years(scenario.years)
    cents = round(curve.pays_until * 100)
    step = curve.at(cents)
    amount = exact_money(cents, currency)
    if cents == curve.steps[0].budget_cents:
        beyond = f"beyond the {amount} that the least kit costs " if cents else ""
        lines = wrapped(f"Spending money {beyond}does not pay: no dearer kit saves over {span} what it costs more.")
        return lines if len(curve.steps) > 1 else []
    bought = step.best.kit - scenario.stock if step is not None else frozenset[str]()
    on = f", on {guards_named(scenario, bought)}" if bought else ""
    past = "; past that, guards cost more than they save" if cents < curve.steps[-1].budget_cents else ""
    return wrapped(
        f"Spending pays up to {amount}{on}: there guards and the falls of {span} together cost least{past}"
        f"{_not_counted(scenario)}."
    )


def _step_lines(scenario: Scenario, step: Step, change: str) -> list[str]:
    head = f"  {step.budget_cents / 100:>9,.2f}  {number(step.cost_over_years):>8}  "
    return wrapped(change, " " * len(head), head)


def _change(scenario: Scenario, before: Kit, after: Kit) -> str:
    """What is bought and dropped from one kit to the next."""
    bought, dropped = guards_named(scenario, after - before), guards_named(scenario, before - after)
    if bought and dropped:
        return f"{bought} instead of {dropped}"
    return f"+ {bought}" if bought else f"drop {dropped}"


def order_text(order: BuyingOrder) -> str:
    """A buying order as text."""
    scenario, currency = order.scenario, order.scenario.currency
    lines = [*title(scenario), *_what_to_buy_when(order)]
    if not order.proven:
        gap = (order.cost - order.bound) / max(1.0, abs(order.cost))
        lines += wrapped(
            f"The search stopped before this was proven best: another order may be better by {percent(gap)} at most."
        )
    if order.steps:
        lines += ["", _purse(order)]
        lines.append(f"  {f'when ({currency})':<10}  {'spend':>9}  {'left':>9}  {'falls a year':>12}  what to do")
    for step in order.steps:
        when = "now" if step.month == 0 else f"month {step.month}"
        head = f"  {when:<10}  {step.spend:>9,.2f}  {step.purse:>9,.2f}  {number(step.yearly_cost):>12}  "
        lines += wrapped("; ".join(_what_to_do(scenario, step)), " " * len(head), head)
    lines += [
        "",
        "How sure",
        *wrapped(
            f"No order brings the cost of {_counted(order)} below {money(order.bound, currency)} on the falls it was "
            "planned on. What you have is sold only where falls then cost no more; what is bought is not sold, but may "
            "come off again for something better.",
            "  ",
        ),
    ]
    return "\n".join([*lines, *cautions()])


def _what_to_do(scenario: Scenario, step: Purchase) -> list[str]:
    """What is bought in a step, and what changes on the bike."""
    changes = [
        ("buy {}", step.buy),
        ("take off {}", tuple(name for name in step.take_off if name not in step.sell)),
        (f"take off {{}} and sell for {exact_money(round(step.fetches * 100), scenario.currency)}", step.sell),
        ("put on {}, which you have", step.put_back),
        ("leave off {} for now" if step.put_on else "leave off {}", step.left_off),
    ]
    return [text.format(guards_named(scenario, names)) for text, names in changes if names]


def _counted(order: BuyingOrder) -> str:
    """What the costs of an order are the costs of."""
    return "falls and guards" if order.aim.counts_price else "falls"


def _what_to_buy_when(order: BuyingOrder) -> list[str]:
    """The answer, and what comes of waiting instead."""
    scenario, currency = order.scenario, order.scenario.currency
    span = years(scenario.years)
    buys = [step for step in order.steps if step.buy]
    if not buys:
        saved = exact_money(round((order.in_hand + order.put_by * order.months) * 100), currency)
        by = f" by month {order.months}" if order.months else ""
        worth = "pays for itself" if order.aim.counts_price else "makes falls cost less"
        return wrapped(f"Buy nothing: no guard that the {saved} saved{by} can pay for {worth}.")
    times, last = len(buys), buys[-1].month
    when = "now" if last == 0 else f"in month {last}" if times == 1 else f"in {times} steps, the last in month {last}"
    disliked = ", dislikes included" if any(guard.dislike for guard in scenario.guards) else ""
    falls = _counted(order)
    lines = wrapped(f"Buy {when}: {falls} then cost {money(order.cost, currency)} over {span} in all{disliked}.")
    if order.losing and not order.aim.counts_price:
        lines += wrapped(
            f"But {guards_named(scenario, order.losing)} {save_less(len(order.losing))}; to buy only what pays for "
            "itself, ask for the aim outlay."
        )
    spend = sum(round(step.spend * 100) for step in order.steps)
    if scenario.budget_cents is not None and spend > scenario.budget_cents:
        lines += wrapped(
            f"That is {exact_money(spend, currency)} in all, more than the budget of "
            f"{exact_money(scenario.budget_cents, currency)}, which only says how long to save."
        )
    gain = order.cost_if_waiting - order.cost
    if gain > HALF_A_CENT:
        lines += wrapped(
            f"If you bought nothing before month {order.wait_months} and then the whole of the last kit at once, "
            f"{falls} would cost {money(order.cost_if_waiting, currency)} over {span}: {money(gain, currency)} more."
        )
    elif last > 0 and order.proven:
        lines += wrapped(f"Buying part of it sooner would not make {falls} cost less.")
    return lines


def _purse(order: BuyingOrder) -> str:
    currency = order.scenario.currency
    now, monthly = (exact_money(round(amount * 100), currency) for amount in (order.in_hand, order.put_by))
    if order.put_by == 0.0:
        return f"With {now} now and nothing more to come"
    start = f"With {now} now and {monthly}" if order.in_hand else f"With {monthly}"
    return f"{start} put by each month, the first time a month from now"


def forecast_text(forecast: Forecast) -> str:
    """A forecast as text."""
    scenario, currency = forecast.scenario, forecast.scenario.currency
    span = years(scenario.years)
    before, after = forecast.stock, forecast.fitted
    kit = guards_named(scenario, after.kit) or "no guard"
    lines = title(scenario)
    lines += wrapped(
        f"With {kit} on the bike falls will cost {money(after.mean, currency)} over {span} on average, and with a "
        f"chance of 80 % between {money(after.quantiles[0.1], currency)} and "
        f"{money(after.quantiles[0.9], currency)}."
    )
    lines += wrapped(
        f"With the bike as it is now: {money(before.mean, currency)} on average, and with a chance of 80 % between "
        f"{money(before.quantiles[0.1], currency)} and {money(before.quantiles[0.9], currency)}."
    )
    if forecast.best is not None and not forecast.best.proven:
        lines += wrapped(
            "The time ran out before this kit was proven best: another may be better by "
            f"{percent(forecast.best.gap)} at most."
        )
    lines += ["", f"What falls will cost over {span} ({currency}, present value)"]
    lines += table(("", "now", "", "with the kit", ""), _forecast_rows(before, after))
    lines += [
        "",
        "How sure",
        *wrapped(
            "Behind each amount stands its standard error, from the spread between parts of the sample. Falls are "
            f"taken to come independently of each other at the rates given.{_steps_of(before, after, currency)}",
            "  ",
        ),
    ]
    return "\n".join([*lines, *cautions()])


def _forecast_rows(before: Outlook, after: Outlook) -> list[tuple[str, ...]]:
    rows = [("average", "mean", before.mean, after.mean), ("spread (standard deviation)", "sd", before.sd, after.sd)]
    rows += [
        (f"{percent(level)} chance of no more than", f"{level:g}", before.quantiles[level], after.quantiles[level])
        for level in before.quantiles
    ]
    rows.append(("average of the worst tenth", "worst_tenth_mean", before.worst_tenth_mean, after.worst_tenth_mean))
    return [
        *(
            (label, *_pair(one, before.errors.get(key)), *_pair(two, after.errors.get(key)))
            for label, key, one, two in rows
        ),
        ("chance of paying nothing", percent(before.chance_of_nothing), "", percent(after.chance_of_nothing), ""),
        ("chance of a write-off", percent(before.chance_written_off), "", percent(after.chance_written_off), ""),
    ]


def _steps_of(before: Outlook, after: Outlook, currency: str) -> str:
    """How far amounts may be off for being worked out in steps; nothing where nothing is ever paid."""
    error = max(before.discretisation_error, after.discretisation_error)
    if error == 0.0:
        return ""
    step = max(one.step for one in (before, after) if one.mean > 0.0)
    return (
        f" Amounts are worked out in steps of {money(step, currency)} or less, so that each may be off by as much: "
        f"{100 * error:.2f} % of the average at most."
    )


def _pair(amount: float, error: float | None) -> tuple[str, str]:
    return number(amount), plus_minus(error)


def break_even_lines(scenario: Scenario, found: dict[str, BreakEven]) -> list[str]:
    """From how many falls on guards are worth their price, as lines of a plan."""
    rows = []
    for guard in scenario.guards:
        worth = found[guard.id]
        if not worth.is_known:
            rows.append((guard.id, "unknown", "unknown"))
        elif worth.worth_it_from is None:
            rows.append((guard.id, "never within the budget", ""))
        else:
            until = "" if worth.worth_it_until is None else f"{worth.worth_it_until:.2f} x"
            rows.append((guard.id, f"{worth.worth_it_from:.2f} x", until))
    text = (
        "Multiples of your fall rates between which a guard is in the kit of least outlay (what falls and guards cost "
        "together, resale taken off) within the budget; 1 x is what you guessed."
    )
    if not all(worth.is_known for worth in found.values()):
        text += " The time ran out before those marked unknown were found out."
    return ["", "Worth its price", *wrapped(text, "  "), *table(("guard", "from", "until"), rows)]
