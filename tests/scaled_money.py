"""The same bike in another currency: all money of a scenario multiplied."""

from __future__ import annotations

from dataclasses import replace

from guardopt.model.scenario import Scenario


def with_money_times(scenario: Scenario, factor: int) -> Scenario:
    """A scenario in which everything costs so many times as much.

    Money is what parts, hours, guards, offers and renewals cost, what the bike and its wreck are worth, the terms of the
    insurance, what the owner may spend and would pay not to have a guard, days without the bike, getting it home, and
    what an owned guard fetches. Chances, hours, weights and years stay.
    """
    insurance = scenario.insurance
    return replace(
        scenario,
        value=scenario.value * factor,
        salvage=scenario.salvage * factor,
        budget_cents=None if scenario.budget_cents is None else scenario.budget_cents * factor,
        repair_rate=scenario.repair_rate * factor,
        day_without=scenario.day_without * factor,
        recovery=scenario.recovery * factor,
        insurance=insurance
        and replace(insurance, excess=insurance.excess * factor, premium_rise=insurance.premium_rise * factor),
        parts=tuple(replace(one, price=one.price * factor, touch_up=one.touch_up * factor) for one in scenario.parts),
        guards=tuple(
            replace(
                one,
                price_cents=one.price_cents * factor,
                fit_cents=one.fit_cents * factor,
                wear_per_fall=one.wear_per_fall * factor,
                dislike=one.dislike * factor,
                sells_cents=one.sells_cents * factor,
            )
            for one in scenario.guards
        ),
        offers=tuple(replace(one, price_cents=one.price_cents * factor) for one in scenario.offers),
        source=None,
    )
