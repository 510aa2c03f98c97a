"""A verdict on a guard in words, with the numbers in it, and as a record."""

from __future__ import annotations

import math
from typing import Any

from guardopt.model.pieces import HALF_A_CENT
from guardopt.questions.explanation.question import Question
from guardopt.questions.explanation.swap import Swap
from guardopt.questions.explanation.verdicts import Reason, Verdict
from guardopt.spelling import listed
from guardopt.words import exact_money, money, years

OF_PICKED = ("loss_if_dropped", "loss_if_barred", "pays_back_years", "together_pays_back_years", "left_once_paid")
OF_LEFT_OUT = (
    "would_save",
    "gain_if_added",
    "loss_if_forced",
    "enters_at_budget",
    "next_entry_budget",
    "enters_at_price",
)
"""The numbers that go with being picked, and with being left out."""


def sentence(question: Question, verdict: Verdict) -> str:
    """Why a guard was picked or left out."""
    return _picked(question, verdict) if verdict.picked else _left_out(question, verdict)


def _picked(question: Question, verdict: Verdict) -> str:
    scenario, swap = question.scenario, verdict.swap
    currency, span = scenario.currency, years(scenario.years)
    spend = exact_money(swap.guard.spend_cents, currency)
    text = {
        Reason.OWNED: "Already yours, so keeping it on costs nothing",
        Reason.FORCED_IN: f"In because you asked for it, for {spend}",
        Reason.PICKED: f"Costs {spend}",
    }[verdict.reason]
    if swap.saving > HALF_A_CENT:
        text += f"; saves {money(swap.saving, currency)} over {span}{_mostly(verdict)}"
        paid_back = 0.0 if verdict.reason is Reason.OWNED else verdict.together_pays_back_years
        if paid_back and paid_back <= scenario.years:
            text += f"; paid back after {years(paid_back)}"
        elif paid_back:
            text += f"; would take {years(paid_back)} to pay back"
            if swap.guard.resale_share:
                fetched = money(swap.guard.resale_share * swap.guard.price, currency)
                text += f", not counting the {fetched} it fetches at the end"
    elif swap.saving < -HALF_A_CENT:
        text += f"; costs {money(-swap.saving, currency)} more over {span} than it saves"
    else:
        text += f"; saves nothing over {span}"
    also = f" This counts {counted_along(swap)}." if swap.off else ""
    text += f".{also}{_harm(question, verdict)}{_fetches(question, verdict)}"
    if verdict.loss_if_barred is None:
        return text if question.is_out_of_time else f"{text} No kit is possible without it."
    if verdict.loss_if_barred > HALF_A_CENT:
        return f"{text} The best kit without it is {money(verdict.loss_if_barred, currency)} worse{_by(question)}."
    as_well = "as well or better" if verdict.guard in question.limits.must else "as well"
    return f"{text} Another kit does {as_well} without it."


def counted_along(swap: Swap) -> str:
    """The guards that need a picked one, whose savings and prices are counted with its own."""
    return f"{_and(swap.off)} too, which {'needs' if len(swap.off) == 1 else 'need'} it"


def _left_out(question: Question, verdict: Verdict) -> str:
    swap, currency = verdict.swap, question.scenario.currency
    span = years(question.scenario.years)
    would_save = f"would save {money(swap.saving, currency)} over {span}"
    needs = f" It needs {_needs(verdict)} as well." if swap.missing() else ""
    forced, harm, fetches = "", _harm(question, verdict), _fetches(question, verdict)
    if verdict.loss_if_forced is not None and verdict.loss_if_forced > HALF_A_CENT:
        forced = f" With it on, the best kit is {money(verdict.loss_if_forced, currency)} worse{_by(question)}."
    match verdict.reason:
        case Reason.FORCED_OUT:
            worth = f"It {would_save}" if swap.saving > HALF_A_CENT else "It would not pay its way"
            return f"Out because you ruled it out. {worth}.{needs}"
        case Reason.CANNOT_BE_FITTED:
            return f"Cannot be fitted at any budget: {_obstacle(question, verdict)}."
        case Reason.OVER_BUDGET:
            entry = verdict.next_entry_budget
            enters = _cheaper(question, verdict)
            if entry is not None:
                enters = f"; from a budget of {exact_money(round(entry * 100), currency)} it is in"
            gains = (verdict.gain_if_added or 0.0) > HALF_A_CENT
            elsewhere = ", but the same money saves more with other guards" if gains else ""
            return f"{_worth(question, verdict)}{elsewhere}{enters}.{harm}{needs}{forced}"
        case Reason.ADDS_NOTHING if swap.damage_saving < -HALF_A_CENT:
            more = money(-swap.damage_saving, currency)
            return f"It would do more harm than good: falls would cost {more} more over {span}.{harm}{fetches}{forced}"
        case Reason.ADDS_NOTHING:
            why = f" It helps only together with {_needs(verdict)}." if swap.missing() else ""
            return f"With the rest of the kit on, it would save nothing in any fall.{why}{fetches}{forced}"
        case Reason.WEARS_OUT:
            renewals = money(swap.damage_saving - swap.saving, currency)
            damage = money(swap.damage_saving, currency)
            return (
                f"It would save {damage} of damage over {span}, but renewing it after falls costs {renewals}.{forced}"
            )
        case Reason.BEATEN if (verdict.gain_if_added or 0.0) <= HALF_A_CENT:
            rivals = swap.rivals()
            do = "does" if len(rivals) == 1 else "do"
            better = f"{_and(rivals)} {do} more in its place; fitted instead, it {would_save}."
            return f"{better}{harm}{fetches}{needs}{forced}"
        case _:
            against = f"{_against(question, verdict)}{_cheaper(question, verdict)}"
            return f"{_worth(question, verdict)}, but {against}.{harm}{fetches}{needs}{forced}"


def _harm(question: Question, verdict: Verdict) -> str:
    """What a guard does harm to, where it does."""
    parts = verdict.swap.harms()
    if not parts:
        return ""
    currency, span = question.scenario.currency, years(question.scenario.years)
    return f" It does harm to {_and(parts)}: {money(verdict.swap.harm, currency)} over {span}."


def _fetches(question: Question, verdict: Verdict) -> str:
    """What an owned guard fetches if it comes off."""
    guard = verdict.swap.guard
    if not guard.owned or not guard.sells_cents:
        return ""
    fetched = exact_money(guard.sells_cents, question.scenario.currency)
    return f" Sold, it would fetch {fetched} now." if verdict.picked else f" Sold, it fetches {fetched} now."


def _worth(question: Question, verdict: Verdict) -> str:
    """Price and saving of a guard left out; where it would push others out, the saving is against their loss."""
    swap, currency = verdict.swap, question.scenario.currency
    spend, span = exact_money(swap.guard.spend_cents, currency), years(question.scenario.years)
    rivals = f" in place of {_and(swap.rivals())}" if swap.rivals() else ""
    gain = verdict.gain_if_added or 0.0
    offer = "Left on," if swap.guard.owned else f"For {spend}"
    if gain > HALF_A_CENT:
        too_little = ""
        if not question.aim.counts_price and gain < swap.dearer - HALF_A_CENT:
            too_little = f", less than {'the change' if swap.rivals() else 'it'} costs"
        return f"{offer} it would save {money(gain, currency)} over {span}{rivals}{too_little}{_mostly(verdict)}"
    if gain < -HALF_A_CENT:
        return f"{offer} it would cost {money(-gain, currency)} more over {span}{rivals}"
    return f"{offer} it would save nothing over {span}{rivals}"


def _cheaper(question: Question, verdict: Verdict) -> str:
    """A price at which it would come in."""
    if verdict.enters_at_price is None:
        return ""
    # Rounded down: a cent above it would still be out.
    cents = math.floor(verdict.enters_at_price * 100 + 1e-6)
    return f"; at a price of {exact_money(cents, question.scenario.currency)} it would be in"


def _against(question: Question, verdict: Verdict) -> str:
    """What keeps a guard out that would save something in its place."""
    scenario, swap, guard = question.scenario, verdict.swap, verdict.swap.guard
    gain, laid_out = verdict.gain_if_added or 0.0, 0.0
    if question.aim.counts_price:
        laid_out = swap.dearer
        if gain <= laid_out:
            less_than = "the change costs" if swap.rivals() else "it costs"
            return f"that is less than {less_than}{', resale taken off' if guard.resale_share else ''}"
    if guard.dislike and gain <= laid_out + guard.dislike:
        return f"you would pay {money(guard.dislike, scenario.currency)} not to have it on the bike"
    if not question.steps:
        return "there was no time to find out whether it is in at a larger budget"
    if not scenario.is_within_weight(question.steps[-1].best.kit | {guard.id}):
        return "within the weight limit other guards do more"
    return "other guards do more for the same money at every budget"


def _obstacle(question: Question, verdict: Verdict) -> str:
    """What keeps a guard off the bike whatever the budget."""
    scenario, guard = question.scenario, verdict.swap.guard
    wanted = [scenario.guard[name] for name in sorted(question.limits.must - {guard.id})]
    rivals = [one.id for one in wanted if scenario.exclude_each_other(guard, one)]
    if rivals:
        return f"it cannot go with {_and(rivals)}, which you asked for"
    if not scenario.is_within_weight({guard.id}):
        return f"it weighs {guard.weight_kg:g} kg and the limit is {scenario.max_weight_kg:g} kg"
    if any(not alternatives for alternatives in guard.needs):
        return "it needs a guard that is not on offer for its side"
    if guard.needs:
        return f"it needs {_and([listed(sorted(one)) for one in guard.needs])}, which cannot be on the bike with it"
    return "something that has to be on the bike rules it out"


def _needs(verdict: Verdict) -> str:
    return _and([listed(sorted(one)) or "a guard not on offer for its side" for one in verdict.swap.missing()])


def _mostly(verdict: Verdict) -> str:
    parts = verdict.swap.parts()
    return f", mostly on {_and(parts)}" if parts else ""


def _by(question: Question) -> str:
    return f" {question.aim.per}"


def _and(names: list[str] | tuple[str, ...]) -> str:
    return listed(names, last="and")


def verdict_json(verdict: Verdict, text: str) -> dict[str, Any]:
    """A verdict as a record, with the numbers that go with it."""
    numbers = OF_PICKED if verdict.picked else OF_LEFT_OUT
    return {
        "guard": verdict.guard,
        "picked": verdict.picked,
        "price": verdict.price,
        "spend": verdict.spend,
        "reason": verdict.reason.value,
        "text": text,
        **{name: getattr(verdict, name) for name in numbers},
    }
