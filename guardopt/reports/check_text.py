"""The report on what a scenario holds, for a terminal."""

from __future__ import annotations

from guardopt.model.chance_words import told
from guardopt.model.scenario import Scenario
from guardopt.reports.bill_text import how_often_put_right
from guardopt.reports.layout import cautions, title
from guardopt.spelling import listed
from guardopt.words import exact_money, money, wrapped, years


def check_text(scenario: Scenario) -> str:
    """What a scenario holds, as text."""
    currency = scenario.currency
    budget = "no limit" if scenario.budget_cents is None else exact_money(scenario.budget_cents, currency)
    facts = [
        f"Parts: {len(scenario.parts)}, guards: {len(scenario.guards)} ({len(scenario.stock)} owned), covers: "
        f"{len(scenario.covers)}, offers: {len(scenario.offers)}, knock-ons: {len(scenario.knock_ons)}; both sides "
        "are counted.",
        f"Falls a year: {', '.join(f'{fall.id} {fall.per_year:g}' for fall in scenario.falls)}.",
        f"The bike is worth {money(scenario.value, currency)}, {_insured(scenario)}; the repairs after one fall cost "
        f"you at most {money(scenario.cap, currency)}.",
        *_time(scenario),
        *_for_sale(scenario),
        f"Kept for {years(scenario.years)}; budget for guards: {budget}.",
        *_points(scenario),
        *([told(scenario.words)] if scenario.words else []),
    ]
    odd = len(scenario.warnings)
    but = f"; {'one thing' if odd == 1 else f'{odd} things'} in it may be a slip, see the warnings" if odd else ""
    lines = [*title(scenario), f"The scenario is sound{but}.", ""]
    return "\n".join([*lines, *(line for fact in facts for line in wrapped(fact)), *cautions()])


def _insured(scenario: Scenario) -> str:
    """The terms of the policy, and what a claim is taken to do to the premiums."""
    policy, currency = scenario.insurance, scenario.currency
    if policy is None:
        return "not insured against own damage"
    rise = f"dearer by {money(policy.premium_rise, currency)} in all" if policy.premium_rise else "taken not to rise"
    return f"insured with an excess of {money(policy.excess, currency)}, premiums {rise} after a claim"


def _points(scenario: Scenario) -> list[str]:
    """What was measured beside parts and guards: it may have been one that is no longer on the bike."""
    known = {*(part.id for part in scenario.parts), *(guard.id for guard in scenario.guards)}
    others = list(dict.fromkeys(point.id for point in scenario.points if point.id not in known))
    if not others:
        return []
    named = listed(others, last="and")
    return [
        f"Points of neither a part nor a guard: {named}. They count as always on the bike; delete those of what is not."
    ]


def _for_sale(scenario: Scenario) -> list[str]:
    """What the guards on the bike fetch, since the price of one row may be that of two guards."""
    fetched: dict[str, list[int]] = {}
    for guard in scenario.guards:
        if guard.owned and guard.sells_cents:
            fetched.setdefault(guard.row, []).append(guard.sells_cents)
    if not fetched:
        return []
    named = [
        f"{row} (left and right) {exact_money(sum(cents), scenario.currency)} together"
        if len(cents) > 1
        else f"{row} {exact_money(cents[0], scenario.currency)}"
        for row, cents in fetched.items()
    ]
    return [f"Guards you own that can be sold if they come off: {', '.join(named)}."]


def _time(scenario: Scenario) -> list[str]:
    """What waits, and what a day without the bike costs, where the owner says so."""
    currency, facts = scenario.currency, []
    waiting = sum(part.waits for part in scenario.parts)
    if waiting:
        facts.append(f"{waiting} parts wait and are put right {how_often_put_right(scenario)}.")
    if scenario.day_without or scenario.recovery:
        facts.append(
            f"A day without the bike costs {money(scenario.day_without, currency)}, getting it home "
            f"{money(scenario.recovery, currency)}."
        )
    return facts
