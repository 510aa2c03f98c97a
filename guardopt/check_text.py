"""The report on what a scenario holds, for a terminal."""

from __future__ import annotations

from guardopt.layout import cautions, title, wrapped
from guardopt.scenario import Scenario
from guardopt.wording import exact_money, money, years


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
        f"Parts: {len(scenario.parts)}, guards: {len(scenario.guards)} ({len(scenario.stock)} owned), covers: "
        f"{len(scenario.covers)}, offers: {len(scenario.offers)}, knock-ons: {len(scenario.knock_ons)}; both sides "
        "are counted.",
        f"Falls a year: {', '.join(f'{fall.id} {fall.per_year:g}' for fall in scenario.falls)}.",
        f"The bike is worth {money(scenario.value, currency)}, {insured}; one fall costs its owner at most "
        f"{money(scenario.cap, currency)}.",
        f"Kept for {years(scenario.years)}; budget for guards: {budget}.",
    ]
    odd = len(scenario.warnings)
    but = f"; {'one thing' if odd == 1 else f'{odd} things'} in it may be a slip, see the warnings" if odd else ""
    lines = [*title(scenario), f"The scenario is sound{but}.", ""]
    return "\n".join([*lines, *(line for fact in facts for line in wrapped(fact)), *cautions()])
