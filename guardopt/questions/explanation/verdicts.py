"""Why each guard was picked or left out, with the numbers that say so.

Costs over the years in these reasons are on the sample that the plan was made on, so that they agree with each other
and with the objective; only the totals of a plan are priced afresh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from guardopt.cuts.ties import TIE
from guardopt.deadline import NEVER, Deadline
from guardopt.errors import OutOfTimeError
from guardopt.model.aims import Aim, Best, Limits
from guardopt.model.pieces import HALF_A_CENT, Guard, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import CHANGE
from guardopt.questions.budgets import Step
from guardopt.questions.explanation.swap import Swap
from guardopt.simulation.pricing import price
from guardopt.simulation.sampling import Stratum


class Reason(StrEnum):
    """Why a guard is in the kit or not."""

    PICKED = "picked"
    OWNED = "owned"
    FORCED_IN = "forced_in"
    FORCED_OUT = "forced_out"
    CANNOT_BE_FITTED = "cannot_be_fitted"
    WEARS_OUT = "wears_out_faster_than_it_saves"
    ADDS_NOTHING = "adds_nothing"
    BEATEN = "beaten_in_its_slot"
    OVER_BUDGET = "over_budget"
    NOT_WORTH_IT = "not_worth_its_price"


@dataclass(frozen=True)
class Question:
    """What was asked, what was answered, and what other answers are looked for to explain it.

    Attributes
    ----------
    steps
        The budget curve under the same guards forced in and out; empty if there was no time for it.
    gap, deadline
        Relative gap to which other kits are proven best, and when none are looked for any more.
    """

    planner: Planner
    aim: Aim
    limits: Limits
    best: Best
    steps: Sequence[Step]
    gap: float
    deadline: Deadline = NEVER

    @property
    def scenario(self) -> Scenario:
        """The scenario asked about."""
        return self.planner.scenario

    @property
    def is_out_of_time(self) -> bool:
        """True once no other kits are looked for."""
        return self.deadline.is_over

    def best_within(self, limits: Limits) -> Best | None:
        """The best kit under other limits; None if there is none.

        Raises
        ------
        OutOfTimeError
            It could not be proven best in time.
        """
        other = self.planner.best_or_none(self.aim, limits, gap=self.gap, deadline=self.deadline)
        if other is not None and not other.proven:
            raise OutOfTimeError("the best kit under other limits was not proven in the time allowed")
        return other

    def loss(self, limits: Limits) -> float | None:
        """How much worse the best kit under other limits is; None if there is none, or no time to tell."""
        try:
            other = self.best_within(limits)
        except OutOfTimeError:
            return None
        return None if other is None else max(0.0, other.objective - self.best.objective)

    def exists(self, limits: Limits) -> bool:
        """True unless it is known that no kit keeps these limits."""
        try:
            return self.planner.best_or_none(self.aim, limits, gap=1.0, deadline=self.deadline) is not None
        except OutOfTimeError:
            return True


@dataclass(frozen=True)
class Verdict:
    """One guard's place in a plan; the names of its numbers are those of ``plan --json``.

    Not in there is `swap`; `next_entry_budget` is the least budget above the plan's whose best kit has the guard.
    Money is in the scenario's currency. Of the numbers with a default, the first three are of picked guards and the
    others of those left out; None where there is no such number.
    """

    guard: str
    picked: bool
    price: float
    spend: float
    reason: Reason
    swap: Swap
    loss_if_dropped: float | None = None
    loss_if_barred: float | None = None
    pays_back_years: float | None = None
    gain_if_added: float | None = None
    loss_if_forced: float | None = None
    enters_at_budget: float | None = None
    next_entry_budget: float | None = None
    enters_at_price: float | None = None

    @property
    def left_once_paid(self) -> float:
        """What a picked guard saves over the years less its own price, what it fetches now or at the end counted."""
        guard = self.swap.guard
        return self.swap.saving - guard.gives_up_cents / 100 + self.swap.scenario.resale_value([guard.id])

    @property
    def least_shortfall(self) -> float | None:
        """By what share of its saving a picked guard may fall short before a kit without it does as well.

        None where it saves nothing, or no kit without it is known. A kit without the guard costs the same whatever the
        guard saves, so the two meet where its saving has shrunk by `loss_if_barred`.
        """
        if self.loss_if_barred is None or self.swap.saving <= HALF_A_CENT:
            return None
        return self.loss_if_barred / self.swap.saving

    @property
    def would_not_pay(self) -> bool:
        """Whether a guard left out for want of money would save less than it adds to the price."""
        return self.reason is Reason.OVER_BUDGET and (self.gain_if_added or 0.0) < self.swap.dearer - HALF_A_CENT


def explain(question: Question, sample: Sequence[Stratum]) -> tuple[Verdict, ...]:
    """A verdict on every guard of the scenario, in its order.

    Parameters
    ----------
    question
        What was asked and answered.
    sample
        The falls the plan was made on.
    """
    scenario, kit = question.scenario, question.best.kit
    pairs = [_kits(scenario, kit, guard) for guard in scenario.guards]
    wanted = list(dict.fromkeys([kit, *(one for pair in pairs for one in pair)]))
    bills = dict(zip(wanted, price(question.planner.bike, sample, wanted, errors=False).bills, strict=True))
    verdicts = []
    for guard, (without, plus) in zip(scenario.guards, pairs, strict=True):
        off = kit - without - {guard.id} if guard.id in kit else kit - plus
        swap = Swap(scenario, guard, bills[kit], bills[without], bills[plus], tuple(sorted(off)))
        verdicts.append(_picked(question, swap) if guard.id in kit else _left_out(question, swap))
    return tuple(verdicts)


def _kits(scenario: Scenario, kit: Kit, guard: Guard) -> tuple[Kit, Kit]:
    """The kit without the guard and with it, all else being the same."""
    if guard.id in kit:
        return scenario.supported(kit - {guard.id}), kit
    room = kit - {one.id for one in scenario.guards if scenario.exclude_each_other(guard, one)}
    plus = scenario.supported(room | {guard.id}, frozenset({guard.id}))
    return plus - {guard.id}, plus


def _picked(question: Question, swap: Swap) -> Verdict:
    guard, limits = swap.guard, question.limits
    barred = replace(limits, must=limits.must - {guard.id}, never=limits.never | {guard.id})
    spend = guard.spend_cents / 100
    yearly = swap.saving / question.scenario.annuity
    return Verdict(
        guard=guard.id,
        picked=True,
        price=guard.price,
        spend=spend,
        reason=Reason.OWNED if guard.owned else Reason.FORCED_IN if guard.id in limits.must else Reason.PICKED,
        swap=swap,
        loss_if_dropped=swap.saving,
        loss_if_barred=question.loss(barred),
        pays_back_years=0.0 if guard.owned else spend / yearly if yearly > HALF_A_CENT else None,
    )


def _left_out(question: Question, swap: Swap) -> Verdict:
    guard, limits = swap.guard, question.limits
    forced = replace(limits, must=limits.must | {guard.id}, never=limits.never - {guard.id})
    loss_if_forced = question.loss(forced)
    budgets = [step.budget_cents for step in question.steps if guard.id in step.best.kit]
    later = [budget for budget in budgets if limits.budget_cents is not None and budget > limits.budget_cents]
    if guard.id in limits.never:
        reason = Reason.FORCED_OUT
    elif loss_if_forced is None and not question.exists(replace(forced, budget_cents=None)):
        reason = Reason.CANNOT_BE_FITTED
    elif not guard.owned and (later or _must_wait(question, swap)):
        reason = Reason.OVER_BUDGET
    elif swap.damage_saving <= HALF_A_CENT:
        reason = Reason.ADDS_NOTHING
    elif swap.saving <= HALF_A_CENT:
        reason = Reason.WEARS_OUT
    elif swap.rivals():
        reason = Reason.BEATEN
    else:
        reason = Reason.NOT_WORTH_IT
    return Verdict(
        guard=guard.id,
        picked=False,
        price=guard.price,
        spend=guard.spend_cents / 100,
        reason=reason,
        swap=swap,
        gain_if_added=swap.now.cost_over_years - swap.plus.cost_over_years,
        loss_if_forced=loss_if_forced,
        enters_at_budget=budgets[0] / 100 if budgets else None,
        next_entry_budget=later[0] / 100 if later else None,
        enters_at_price=None if guard.owned or guard.id in limits.never else _price_to_enter(question, guard),
    )


def _price_to_enter(question: Question, guard: Guard) -> float | None:
    """The highest price, in whole cents, at which the best kit has the guard, all else being the same; None if none is.

    A price lower by some cents widens the budget by as much for kits with the guard, and takes off what the aim counts
    of it; so whether the guard comes in turns only once as the price falls, and halving finds where. Where the guard is
    part of an offer, its own price may not be what has to fall; and where the aim looks at the worst falls alone, no
    price is looked for.
    """
    limits, scenario = question.limits, question.scenario
    in_an_offer = any(guard.id in offer.guards and scenario.offer_saving_cents(offer) for offer in scenario.offers)
    if in_an_offer or not question.aim.adds_up or not question.best.proven:
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


def _must_wait(question: Question, swap: Swap) -> bool:
    """Where there was no time for the budget curve: the guard would save, but the kit leaves no money for it."""
    budget = question.limits.budget_cents
    over = budget is not None and question.scenario.spend_cents(swap.plus.kit) > budget
    return not question.steps and over and swap.saving > HALF_A_CENT
