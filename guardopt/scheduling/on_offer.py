"""What can be bought and sold while saving up."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.scheduling.lots import Lot

MOST_SALES = 4
"""Of more owned guards only those that fetch most are considered for sale, and the bound is that of the months."""


def sellable(scenario: Scenario, must: Kit = frozenset()) -> list[str]:
    """The owned guards that fetch something and need not stay on, the dearest first."""
    names = [guard.id for guard in scenario.guards if guard.owned and guard.sells_cents and guard.id not in must]
    return sorted(names, key=lambda name: -scenario.guard[name].sells_cents)


def fetched_cents(scenario: Scenario, sold: Iterable[str]) -> int:
    """What owned guards fetch now."""
    return sum(scenario.guard[name].sells_cents for name in sold)


def buyable(scenario: Scenario, most_cents: int, never: Kit = frozenset()) -> list[str]:
    """The guards that can be paid for, singly or in an offer, in the order of the scenario, but for some."""
    in_reach = {guard.id for guard in scenario.guards if not guard.owned and guard.spend_cents <= most_cents}
    for offer in scenario.offers:
        if scenario.spend_cents(scenario.bought_in(offer)) <= most_cents:
            in_reach |= scenario.bought_in(offer)
    return [guard.id for guard in scenario.guards if guard.id in in_reach - never]


def lots_of(scenario: Scenario, for_sale: Sequence[str], guards: Sequence[str]) -> tuple[list[Lot], list[Lot]]:
    """What is sold and what is bought singly, in this order, and the offers that save money."""
    bit = {name: 1 << number for number, name in enumerate((*for_sale, *guards))}
    singles = [Lot(bit[name], -scenario.guard[name].sells_cents) for name in for_sale]
    singles += [Lot(bit[name], scenario.guard[name].spend_cents) for name in guards]
    offers = []
    for offer in scenario.offers:
        saving, bought = scenario.offer_saving_cents(offer), scenario.bought_in(offer)
        if saving and bought <= set(guards):
            full = sum(scenario.guard[name].spend_cents for name in bought)
            offers.append(Lot(sum(bit[name] for name in bought), full - saving))
    return singles, offers
