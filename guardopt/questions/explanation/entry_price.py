"""At which price a guard that is left out would be in."""

from __future__ import annotations

from dataclasses import replace

from guardopt.cuts.ties import TIE
from guardopt.errors import OutOfTimeError
from guardopt.model.pieces import Guard
from guardopt.optimization.measures import CHANGE
from guardopt.questions.explanation.question import Question


def price_to_enter(question: Question, guard: Guard) -> float | None:
    """The highest price, in whole cents, at which the best kit has the guard, all else being the same; None if none is.

    A price lower by some cents widens the budget by as much for kits with the guard, and takes off what the aim counts
    of it; so whether the guard comes in turns only once as the price falls, and halving finds where. Where the guard is
    part of an offer, its own price may not be what has to fall; and where the aim looks at the worst falls alone, no
    price is looked for.
    """
    limits, scenario = question.limits, question.scenario
    in_an_offer = any(guard.id in offer.guards and scenario.offer_saving_cents(offer) for offer in scenario.offers)
    if in_an_offer or not question.aim.adds_up or not question.best.proven or question.is_out_of_time:
        return None
    if limits.budget_cents is None and not question.aim.counts_price and not guard.renews_at_price:
        return None
    if limits.budget_cents is not None and not question.aim.counts_price and not guard.renews_at_price:
        return _price_that_fits(question, guard, limits.budget_cents)
    comes_in, fails = 0, guard.price_cents
    while fails - comes_in > 1:
        price = (comes_in + fails) // 2
        try:
            is_in = _comes_in_at(question, guard, price)
        except OutOfTimeError:
            return None
        comes_in, fails = (price, fails) if is_in else (comes_in, price)
    return comes_in / 100 if comes_in else None


def _price_that_fits(question: Question, guard: Guard, budget_cents: int) -> float | None:
    """The same where a price only counts against the budget: the least spend on a kit that has the guard tells it."""
    limits, best = question.limits, question.best
    tie = TIE * max(1.0, abs(best.objective))
    forced = replace(limits, must=limits.must | {guard.id})
    # A kit that costs less has to fit the budget; one that costs the same has to spend less than the best kit does.
    cases = (
        (best.objective - 2.0 * tie, budget_cents),
        (best.objective + tie, question.scenario.spend_cents(best.kit) - 1),
    )
    prices = []
    for most, spend in cases:
        least = question.planner.least_spend(most, forced, deadline=question.deadline)
        if least is None and question.is_out_of_time:
            return None
        if least is not None:
            prices.append(guard.price_cents - (least - spend))
    price = max(prices, default=0)
    return price / 100 if 0 < price < guard.price_cents else None


def _comes_in_at(question: Question, guard: Guard, price_cents: int) -> bool:
    """Whether the best kit has the guard at a price below its own."""
    limits, planner, best = question.limits, question.planner, question.best
    less = guard.price_cents - price_cents
    budget = None if limits.budget_cents is None else limits.budget_cents + less
    wider = replace(limits, budget_cents=budget, must=limits.must | {guard.id})
    found = question.best_within(wider)
    if found is None:
        return False
    counted = less / 100 * planner.counted_of_price(question.aim, guard.id)
    tie = TIE * max(1.0, abs(best.objective))
    if abs(found.objective - counted - best.objective) > tie:
        return bool(found.objective - counted < best.objective)
    spends = question.scenario.spend_cents(found.kit) - less, question.scenario.spend_cents(best.kit)
    changes = planner.measure(CHANGE, found.kit), planner.measure(CHANGE, best.kit)
    return (spends[0], changes[0]) < (spends[1], changes[1])
