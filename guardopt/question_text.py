"""Reports for a terminal on the questions around a plan: budgets, buying order, forecast, doubts."""

from __future__ import annotations

from itertools import pairwise

from guardopt.billing import in_order
from guardopt.break_even import BreakEven
from guardopt.budget_curve import BudgetCurve, Step
from guardopt.layout import cautions, plus_minus, table, title, wrapped
from guardopt.outlook import Forecast
from guardopt.saving_up import BuyingOrder
from guardopt.scenario import Kit, Scenario
from guardopt.spelling import listed
from guardopt.sureness import Sureness
from guardopt.wording import exact_money, money, number, percent, years


def budgets_text(curve: BudgetCurve, shown: BudgetCurve) -> str:
    """The budget curve as text: the whole of it for the answer, and the steps to be shown."""
    scenario, currency = curve.scenario, curve.scenario.currency
    best = curve.at(round(curve.pays_until * 100))
    lines = title(scenario)
    lines += wrapped(
        f"Money for guards pays up to {money(curve.pays_until, currency)}; beyond that it costs more than it saves "
        f"over {years(scenario.years)}."
    )
    if best is not None and best.best.kit:
        lines += wrapped(f"The kit for that is {_names(scenario, best.best.kit)}.")
    lines += wrapped(
        f"The best kit changes at {len(curve.steps)} budgets; all that money can do costs "
        f"{exact_money(curve.steps[-1].budget_cents, currency)}."
    )
    if len(shown.steps) < len(curve.steps):
        lines += wrapped(f"Shown are {len(shown.steps)} of these steps (--step 0 shows all, --step N thins).")
    lines += ["", f"Best kit by budget; falls then cost, over {years(scenario.years)} ({currency})"]
    first = shown.steps[0]
    lines += _step_lines(scenario, first, f"start with {_names(scenario, first.best.kit) or 'nothing'}")
    for before, after in pairwise(shown.steps):
        lines += _step_lines(scenario, after, _change(scenario, before.best.kit, after.best.kit))
    return "\n".join([*lines, *cautions()])


def _step_lines(scenario: Scenario, step: Step, change: str) -> list[str]:
    head = f"  {step.budget_cents / 100:>9,.2f}  {number(step.cost_over_years):>8}  "
    return wrapped(change, " " * len(head), head)


def _change(scenario: Scenario, before: Kit, after: Kit) -> str:
    """What is bought and dropped from one kit to the next."""
    bought, dropped = _names(scenario, after - before), _names(scenario, before - after)
    if bought and dropped:
        return f"{bought} instead of {dropped}"
    return f"+ {bought}" if bought else f"drop {dropped}"


def _names(scenario: Scenario, kit: Kit) -> str:
    return listed(in_order(scenario, kit), last="and")


def order_text(order: BuyingOrder) -> str:
    """A buying order as text."""
    scenario, currency = order.scenario, order.scenario.currency
    lines = title(scenario)
    if not order.steps:
        lines += wrapped(
            f"Buy nothing: within {_months(order.months)} of saving no guard that can be paid improves on the bike as "
            "it stands."
        )
        return "\n".join([*lines, *cautions()])
    gain = order.cost_if_waiting - order.cost
    lines += wrapped(
        f"Buy in {len(order.steps)} goes over {_months(order.steps[-1].month)}: falls then cost "
        f"{money(order.cost, currency)} over {years(scenario.years)}."
    )
    lines += wrapped(
        f"Waiting until the last of these kits can be paid at once (month {order.wait_months}) would cost "
        f"{money(order.cost_if_waiting, currency)}, {money(gain, currency)} more."
        if gain > 0.005
        else f"That is as good as waiting until it can all be paid at once (month {order.wait_months})."
    )
    if not order.proven:
        gap = (order.cost - order.bound) / max(1.0, abs(order.cost))
        lines += wrapped(f"The time ran out: another order may be better by {percent(gap)} at most.")
    lines += ["", f"Putting by {exact_money(round(order.monthly * 100), currency)} a month"]
    for step in order.steps:
        when = "now" if step.month == 0 else f"month {step.month}"
        lines += wrapped(
            f"{listed(list(step.buy), last='and')} for {step.spend:,.2f}; {step.purse:,.2f} left. Falls then cost "
            f"{number(step.yearly_cost)} a year.",
            " " * 12,
            f"  {when:<8}  ",
        )
    lines += [
        "",
        "How sure",
        *wrapped(
            f"No order costs less than {money(order.bound, currency)} on the planning sample. Nothing is sold back; "
            "what is bought may come off again for something better.",
            "  ",
        ),
    ]
    return "\n".join([*lines, *cautions()])


def _months(count: int) -> str:
    return f"{count} month{'' if count == 1 else 's'}"


def forecast_text(forecast: Forecast) -> str:
    """A forecast as text."""
    scenario, currency = forecast.scenario, forecast.scenario.currency
    span = years(scenario.years)
    before, after = forecast.stock, forecast.fitted
    kit = _names(scenario, after.kit) or "no guard"
    lines = title(scenario)
    lines += wrapped(
        f"Over {span} falls will most likely cost between {money(after.quantiles[0.1], currency)} and "
        f"{money(after.quantiles[0.9], currency)} with {kit} on the bike (four chances in five), "
        f"{money(after.mean, currency)} on average."
    )
    lines += wrapped(
        f"As the bike stands: {money(before.mean, currency)} on average, and one time in ten more than "
        f"{money(before.quantiles[0.9], currency)}."
    )
    rows = [
        ("mean", *_pair(before.mean, before.errors.get("mean")), *_pair(after.mean, after.errors.get("mean"))),
        (
            "spread (standard deviation)",
            *_pair(before.sd, before.errors.get("sd")),
            *_pair(after.sd, after.errors.get("sd")),
        ),
    ]
    for level in before.quantiles:
        key = f"{level:g}"
        label = "half the time not above" if level == 0.5 else f"{percent(level)} of the time not above"
        rows.append(
            (
                label,
                *_pair(before.quantiles[level], before.errors.get(key)),
                *_pair(after.quantiles[level], after.errors.get(key)),
            )
        )
    worst = "worst_tenth_mean"
    rows += [
        (
            "mean of the worst tenth",
            *_pair(before.worst_tenth_mean, before.errors.get(worst)),
            *_pair(after.worst_tenth_mean, after.errors.get(worst)),
        ),
        ("chance of paying nothing", percent(before.chance_of_nothing), "", percent(after.chance_of_nothing), ""),
        ("chance of a write-off", percent(before.chance_written_off), "", percent(after.chance_written_off), ""),
    ]
    lines += ["", f"What falls will cost over {span} ({currency}, present value)"]
    lines += table(("", "as it stands", "", "with the kit", ""), rows)
    worst_error = max(before.discretisation_error, after.discretisation_error)
    lines += [
        "",
        "How sure",
        *wrapped(
            "Behind each amount stands its standard error, from the spread between parts of the sample. Falls are "
            "taken to come independently of each other at the rates given. Amounts are on a grid of "
            f"{100 * worst_error:.2f} % of the mean.",
            "  ",
        ),
    ]
    return "\n".join([*lines, *cautions()])


def _pair(amount: float, error: float | None) -> tuple[str, str]:
    return number(amount), plus_minus(error)


def sureness_lines(scenario: Scenario, sureness: Sureness) -> list[str]:
    """How sure a kit is when fall rates are doubted, as lines of a plan."""
    currency = scenario.currency
    share = percent(sureness.best_share)
    lines = wrapped(
        f"Fall rates are guesses. Of {sureness.draws} other sets of rates, drawn as doubtful as watched_years says, "
        f"this kit stays the best under {share} (± {percent(sureness.best_share_se)}). Where it does not, the best kit "
        f"is better by {money(sureness.worst_regret, currency)} at most, and by "
        f"{money(sureness.mean_regret, currency)} on average over all sets.",
        "  ",
    )
    often = [(guard, share) for guard, share in sureness.guards if share > 0.0]
    rows = [(guard, percent(share)) for guard, share in sorted(often, key=lambda pair: -pair[1])]
    return ["", "If the fall rates are wrong", *lines, *table(("guard", "in the best kit"), rows)]


def break_even_lines(scenario: Scenario, found: dict[str, BreakEven]) -> list[str]:
    """From how many falls on guards are worth their price, as lines of a plan."""
    rows = []
    for guard in scenario.guards:
        worth = found[guard.id]
        if worth.worth_it_from is None:
            rows.append((guard.id, "never", ""))
        else:
            until = "" if worth.worth_it_until is None else f"{worth.worth_it_until:.2f} x"
            rows.append((guard.id, f"{worth.worth_it_from:.2f} x", until))
    text = (
        "Multiples of your fall rates between which a guard is in the kit of least outlay (what falls and guards cost "
        "together, resale taken off) within the budget; 1 x is what you guessed."
    )
    return ["", "Worth its price", *wrapped(text, "  "), *table(("guard", "from", "until"), rows)]
