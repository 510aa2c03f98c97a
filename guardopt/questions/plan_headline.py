"""A plan's answer in about ten lines: what to buy, what it comes to, what is still at risk, and how sure it is."""

from __future__ import annotations

from collections.abc import Iterable

from guardopt.model.aims import Aim, Status
from guardopt.model.pieces import HALF_A_CENT
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import in_order
from guardopt.questions.explanation.verdicts import Reason, Verdict
from guardopt.questions.plan_result import Plan
from guardopt.spelling import both_sides, listed
from guardopt.words import days, exact_money, money, once_in, percent, save_less, wrapped, years

NAMED_AT_MOST = 4
"""Guards of another kit that the headline names."""

LEAST_TOLD = 0.01
"""Below this share of its saving a guard is told to be nearly a draw, not by how much."""


def headline(plan: Plan) -> list[str]:
    """The answer, line by line, at most eighty columns wide."""
    paragraphs = [
        to_do(plan),
        f"{_saved(plan)}{_does_it_pay(plan)}",
        _worst_falls(plan),
        f"{_still_at_risk(plan)} {days_without(plan)}",
        f"{nearly_as_good(plan)} {a_little_more(plan)}",
        f"{_how_sure(plan)} {check_first(plan)}",
        _second_opinion(plan),
    ]
    return [line for paragraph in paragraphs for line in wrapped(paragraph.strip())]


def guards_named(scenario: Scenario, ids: Iterable[str]) -> str:
    """Guards in a sentence, the two sides of one named together."""
    return listed(both_sides(in_order(scenario, frozenset(ids))), last="and")


def to_do(plan: Plan) -> str:
    """What to buy for how much, what to sell, and what to take off."""
    scenario, currency = plan.scenario, plan.scenario.currency
    off = in_order(scenario, scenario.stock - plan.kit)
    sold = [name for name in off if scenario.guard[name].sells_cents]
    kept = [name for name in off if name not in sold]
    fetched = exact_money(scenario.sold_cents(plan.kit), currency)
    sell = f" Sell {guards_named(scenario, sold)}, which you own, for {fetched}{_why_off(plan, sold)}." if sold else ""
    take_off = f"{sell} Take off {guards_named(scenario, kept)}, which you own{_why_off(plan, kept)}." if kept else sell
    budget = None if plan.budget_cents is None else exact_money(plan.budget_cents, currency)
    if plan.buy:
        price = exact_money(scenario.bought_cents(plan.kit), currency)
        of_budget = "with no limit to the budget" if budget is None else f"of a budget of {budget}"
        if not sold:
            return f"Buy {guards_named(scenario, plan.buy)}: {price} {of_budget}.{take_off}"
        spend = scenario.spend_cents(plan.kit)
        rest = (
            f"that leaves {exact_money(-spend, currency)} over"
            if spend < 0
            else f"that takes {exact_money(spend, currency)} {of_budget}"
        )
        return f"Buy {guards_named(scenario, plan.buy)} for {price}.{take_off} In all {rest}."
    if off:
        return f"Buy nothing.{take_off}"
    within = "" if budget is None else f"within {budget} "
    return f"Buy nothing: {within}no guard improves on the bike as it is now."


def _why_off(plan: Plan, off: list[str]) -> str:
    """Why owned guards come off, where one reason is that of all."""
    told = {_reason_off(one, len(off) > 1) for one, _ in plan.verdicts if one.guard in off}
    return f": {told.pop()}" if len(told) == 1 and "" not in told else ""


def _reason_off(verdict: Verdict, several: bool) -> str:
    """Why an owned guard comes off, in few words; nothing where that takes more of them."""
    it, s, them = ("they", "", "them") if several else ("it", "s", "it")
    if verdict.reason is Reason.FORCED_OUT:
        return f"you ruled {them} out"
    if verdict.reason is Reason.WEARS_OUT:
        return f"renewing {them} costs more than {it} save{s}"
    if verdict.reason is Reason.ADDS_NOTHING:
        return (
            f"{it} do{'' if several else 'es'} more harm than good" if verdict.swap.harms() else f"{it} save{s} nothing"
        )
    rivals = verdict.swap.rivals() if verdict.reason is Reason.BEATEN else ()
    return f"{rivals[0]} does more in {'their' if several else 'its'} place" if len(rivals) == 1 else ""


def _saved(plan: Plan) -> str:
    """What falls cost before and after."""
    currency, span = plan.scenario.currency, years(plan.scenario.years)
    if plan.scenario.discount_rate:
        span += f" at {100 * plan.scenario.discount_rate:g} % interest"
    if plan.kit == plan.scenario.stock:
        return f"Falls cost about {money(plan.fitted.yearly_cost, currency)} a year."
    less = "less" if plan.saving_over_years >= 0.0 else "more"
    is_least = plan.aim is Aim.BILLS and plan.status is Status.OPTIMAL and plan.saving_over_years > 0.0
    about = "least," if is_least else "about"
    return (
        f"Falls then cost {about} {money(plan.fitted.yearly_cost, currency)} a year instead of "
        f"{money(plan.stock.yearly_cost, currency)}: {money(abs(plan.saving_over_years), currency)} {less} over {span}"
        f"{_once_paid(plan)}."
    )


def _once_paid(plan: Plan) -> str:
    """What is left of the saving once the guards are paid, where something is."""
    if not plan.buy or plan.ahead < 0.0:
        return ""
    resale = ", resale counted" if plan.scenario.resale_value(plan.kit) else ""
    return f", and {money(plan.ahead, plan.scenario.currency)} of it is left once the guards are paid{resale}"


def _does_it_pay(plan: Plan) -> str:
    """A warning where something is to be bought that saves less than it costs, as the aims bills and worst may do."""
    if plan.aim.counts_price:
        return ""
    outlay = _what_outlay_does(plan)
    if plan.buy and plan.ahead < 0.0:
        less_resale = ", resale taken off" if plan.scenario.resale_value(plan.kit) else ""
        return f" The guards cost more than that{less_resale}; {outlay}."
    if not plan.losing:
        return ""
    return f" But {_losing(plan)} {save_less(len(plan.losing))}; {outlay}."


def _losing(plan: Plan) -> str:
    """The guards that save less than they cost, each with those that need it and do not lose by themselves."""
    losing = set(plan.losing)
    needed_by = {one.guard: [name for name in one.swap.off if name not in losing] for one, _ in plan.verdicts}
    if not any(needed_by[name] for name in losing):
        return guards_named(plan.scenario, plan.losing)
    return listed(
        [f"{name} with {listed(needed_by[name], last='and')}" if needed_by[name] else name for name in plan.losing],
        last="and",
    )


def _what_outlay_does(plan: Plan) -> str:
    """What to buy to have most money left, guards paid, where that is known and short."""
    if plan.paying is None:
        return "the aim outlay looks for most money left in the end"
    scenario, counted = plan.scenario, "to have most money left in the end (aim outlay),"
    buys = both_sides(in_order(scenario, plan.paying - scenario.stock))
    if not buys:
        return f"{counted} buy nothing"
    spend = exact_money(scenario.spend_cents(plan.paying), scenario.currency)
    if plan.ahead >= 0.0 and plan.kit - plan.paying == set(plan.losing) and plan.paying < plan.kit:
        return f"{counted} leave {'it' if len(plan.losing) == 1 else 'them'} out and spend {spend}"
    names = listed(buys, last="and") if len(buys) <= NAMED_AT_MOST else "only what pays for itself,"
    return f"{counted} buy {names} for {spend}"


def _still_at_risk(plan: Plan) -> str:
    scenario, currency = plan.scenario, plan.scenario.currency
    text = f"Still at risk: {money(plan.fitted.cost_over_years, currency)} over {years(scenario.years)} on average"
    if plan.written_off_per_year > 0.0:
        return f"{text}, and the bike written off {once_in(plan.written_off_per_year)}."
    return f"{text}; no simulated fall writes the bike off."


def _worst_falls(plan: Plan) -> str:
    """What the worst falls cost, where the aim is about them."""
    if plan.aim.adds_up:
        return ""
    worst = money(plan.best.objective, plan.scenario.currency)
    return f"The worst {percent(plan.tail)} of falls then cost {worst} each on average."


def days_without(plan: Plan) -> str:
    """Days a year that the bike is off the road, where some part has days."""
    bare, stock, fitted = (bill.days_per_year for bill in plan.prices.bills[:3])
    if bare == fitted == 0.0:
        return ""
    if not plan.kit and not plan.scenario.stock:
        return f"Off the road {days(fitted)} a year."
    others = f"{days(bare)} bare"
    if plan.scenario.stock and plan.kit != plan.scenario.stock:
        others = f"{days(stock)} now ({others})"
    return f"Off the road {days(fitted)} a year, instead of {others}."


def nearly_as_good(plan: Plan) -> str:
    """The first of the kits that the simulation cannot tell from this one, by what it has more and less."""
    close = [one for one in plan.alternatives if one.may_be_luck]
    if not close:
        return ""
    scenario, kit = plan.scenario, close[0].kit
    less, more = in_order(scenario, plan.kit - kit), in_order(scenario, kit - plan.kit)
    if less and more:
        first = f"{guards_named(scenario, more)} instead of {guards_named(scenario, less)}"
    else:
        first = f"without {guards_named(scenario, less)}" if less else f"with {guards_named(scenario, more)} as well"
    others = len(close) - 1
    beside = f", and {others} other kit{'s' * (others > 1)}" if others else ""
    return f"Nearly as good: {first}{beside}."


def a_little_more(plan: Plan) -> str:
    """What a little more than the budget would buy, where it saves as much and takes few words."""
    step = plan.next_step
    if step is None or len(step.kit ^ plan.kit) > NAMED_AT_MOST:
        return ""
    scenario, currency = plan.scenario, plan.scenario.currency
    less, more = plan.kit - step.kit, step.kit - plan.kit
    instead = f" instead of {guards_named(scenario, less)}" if less else ""
    return (
        f"For {exact_money(round(step.more * 100), currency)} more, {guards_named(scenario, more)}{instead} "
        f"{'saves' if len(more) == 1 else 'save'} {money(step.saves, currency)} more."
    )


def _how_sure(plan: Plan) -> str:
    """Whether the kit is proven best, and how far its saving is known."""
    if plan.status is Status.OPTIMAL:
        text = "Proven best for these numbers"
    else:
        text = (
            "The search stopped before this was proven best: another kit may be better by "
            f"{percent(plan.best.gap)} at most"
        )
    error = plan.saving_over_years_se
    if error is None or plan.kit == plan.scenario.stock:
        return f"{text}."
    return f"{text}; standard error of the saving {money(error, plan.scenario.currency)}."


def check_first(plan: Plan) -> str:
    """The guard whose saving decides soonest; nothing where it would have to save next to nothing."""
    call = plan.closest_call
    if call is None or call.least_shortfall is None or call.loss_if_barred is None:
        return ""
    if call.loss_if_barred <= HALF_A_CENT:
        return f"Check first how well {call.guard} holds: another kit does as well without it."
    if call.least_shortfall > 1.0 - LEAST_TOLD:
        return ""
    less = percent(call.least_shortfall)
    others = _in_its_place(plan, call)
    if call.least_shortfall < LEAST_TOLD:
        other = f"{guards_named(plan.scenario, others)} in its place" if others else "doing without it"
        return f"Check first how well {call.guard} holds: it is nearly a draw with {other}."
    if others:
        do = "is" if len(others) == 1 else "are"
        return (
            f"Check first how well {call.guard} holds: if it saves {less} less, {guards_named(plan.scenario, others)} "
            f"{do} as good."
        )
    return f"Check first how well {call.guard} holds: if it saved {less} less, you could do without it."


def _in_its_place(plan: Plan, call: Verdict) -> list[str]:
    """The guards that the best kit without a picked one has in its place; none where it differs by more than that."""
    other = call.kit_if_barred
    if other is None or plan.kit - other != call.swap.along or len(other - plan.kit) > NAMED_AT_MOST:
        return []
    return in_order(plan.scenario, other - plan.kit)


def _second_opinion(plan: Plan) -> str:
    opinion = plan.second_opinion
    if opinion is None:
        return ""
    agrees = "finds nothing better"
    if opinion.contradicts(plan.best.objective):
        agrees = f"calls {opinion.bound:.2f} the least there can be, which this kit shows to be wrong"
    return f"Asked for a second opinion, {opinion.solver} {agrees}."
