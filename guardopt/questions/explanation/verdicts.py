"""Why each guard was picked or left out, with the numbers that say so.

Costs over the years in these reasons are on the sample that the plan was made on, so that they agree with each other
and with the objective; only the totals of a plan are priced afresh.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from guardopt.model.pieces import HALF_A_CENT, Guard, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.measures import COST
from guardopt.questions.explanation.entry_price import price_to_enter
from guardopt.questions.explanation.question import Question
from guardopt.questions.explanation.swap import KitCost, Priced, Swap
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
class Verdict:
    """One guard's place in a plan; the names of its numbers are those of ``plan --json``.

    Not in there are `swap` and `kit_if_barred`, the best kit without a picked guard; `next_entry_budget` is the least
    budget above the plan's whose best kit has the guard. Money is in the scenario's currency. Of the numbers with a
    default, the first four are of picked guards and the others of those left out; None where there is no such number.
    """

    guard: str
    picked: bool
    price: float
    spend: float
    reason: Reason
    swap: Swap
    loss_if_dropped: float | None = None
    loss_if_barred: float | None = None
    kit_if_barred: Kit | None = None
    pays_back_years: float | None = None
    gain_if_added: float | None = None
    loss_if_forced: float | None = None
    enters_at_budget: float | None = None
    next_entry_budget: float | None = None
    enters_at_price: float | None = None

    @property
    def left_once_paid(self) -> float:
        """What a picked guard saves over the years less its own price, what it fetches now or at the end counted.

        Its saving is also that of the guards that need it, so their prices are taken off as well.
        """
        scenario, paid = self.swap.scenario, self.swap.along
        gives_up = sum(scenario.guard[name].gives_up_cents for name in paid)
        return self.swap.saving - gives_up / 100 + scenario.resale_value(paid)

    @property
    def together_pays_back_years(self) -> float | None:
        """After how long a picked guard has paid for itself and for what needs it; None if it saves nothing."""
        yearly = self.swap.saving / self.swap.scenario.annuity
        cents = sum(self.swap.scenario.guard[name].spend_cents for name in self.swap.along)
        return cents / 100 / yearly if yearly > HALF_A_CENT else None

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
        gain = self.gain_if_added or 0.0
        dearer = self.swap.dearer if gain > HALF_A_CENT else self.swap.laid_out
        return self.reason is Reason.OVER_BUDGET and self.would_save < dearer - HALF_A_CENT

    @property
    def would_save(self) -> float:
        """What a guard left out would save over the years beside the kit, what cannot be on with it being off.

        Where that is nothing, since a guard that comes off does more: what it would save where it goes.
        """
        gain = self.gain_if_added or 0.0
        return gain if gain > HALF_A_CENT else self.swap.saving


def explain(question: Question, sample: Sequence[Stratum]) -> tuple[Verdict, ...]:
    """A verdict on every guard of the scenario, in its order.

    Parameters
    ----------
    question
        What was asked and answered.
    sample
        The falls the plan was made on.
    """
    pairs = [_kits(question.scenario, question.best.kit, guard) for guard in question.scenario.guards]
    wanted = list(dict.fromkeys([question.best.kit, *(one for pair in pairs for one in pair)]))
    bills = price(question.planner.bike, sample, wanted, errors=False).bills
    return _verdicts(question, pairs, dict(zip(wanted, bills, strict=True)))


def explain_briefly(question: Question) -> tuple[Verdict, ...]:
    """The same verdicts without what other kits would tell, and without parts: for many budgets of one bike.

    Parameters
    ----------
    question
        What was asked and answered; its `impossible` guards are known.
    """
    scenario, planner = question.scenario, question.planner
    pairs = [_kits(scenario, question.best.kit, guard) for guard in scenario.guards]
    nothing = np.zeros(len(scenario.parts))
    costs = {
        kit: KitCost(kit, planner.measure(COST, kit) - scenario.dislike(kit), planner.renewals(kit), nothing)
        for kit in {question.best.kit, *(one for pair in pairs for one in pair)}
    }
    return _verdicts(question, pairs, costs)


def _verdicts(
    question: Question, pairs: Sequence[tuple[Kit, Kit]], priced: Mapping[Kit, Priced]
) -> tuple[Verdict, ...]:
    scenario, kit = question.scenario, question.best.kit
    verdicts = []
    for guard, (without, plus) in zip(scenario.guards, pairs, strict=True):
        off = kit - without - {guard.id} if guard.id in kit else kit - plus
        swap = Swap(scenario, guard, priced[kit], priced[without], priced[plus], tuple(sorted(off)))
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
    other = question.other(barred)
    return Verdict(
        guard=guard.id,
        picked=True,
        price=guard.price,
        spend=spend,
        reason=Reason.OWNED if guard.owned else Reason.FORCED_IN if guard.id in limits.must else Reason.PICKED,
        swap=swap,
        loss_if_dropped=swap.saving,
        loss_if_barred=question.behind(other),
        kit_if_barred=None if other is None else other.kit,
        pays_back_years=0.0 if guard.owned else spend / yearly if yearly > HALF_A_CENT else None,
    )


def _left_out(question: Question, swap: Swap) -> Verdict:
    guard, limits = swap.guard, question.limits
    forced = replace(limits, must=limits.must | {guard.id}, never=limits.never - {guard.id})
    loss_if_forced = question.behind(question.other(forced))
    budgets = [step.budget_cents for step in question.steps if guard.id in step.best.kit]
    later = [budget for budget in budgets if limits.budget_cents is not None and budget > limits.budget_cents]
    if guard.id in limits.never:
        reason = Reason.FORCED_OUT
    elif loss_if_forced is None and not question.can_be_fitted(guard.id):
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
        enters_at_price=None if guard.owned or guard.id in limits.never else price_to_enter(question, guard),
    )


def _must_wait(question: Question, swap: Swap) -> bool:
    """Where there was no time for the budget curve: the guard would save, but the kit leaves no money for it."""
    budget = question.limits.budget_cents
    over = budget is not None and question.scenario.spend_cents(swap.plus.kit) > budget
    return not question.steps and over and swap.saving > HALF_A_CENT
