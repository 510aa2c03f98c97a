"""Why each guard was picked or left out, with the numbers that say so.

Costs over the years in these reasons are on the sample that the plan was made on, so that they agree with each other
and with the objective; only the totals of a plan are priced afresh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from guardopt.bills import Bill, price
from guardopt.budgets import Step
from guardopt.falls import Stratum
from guardopt.planner import Aim, Best, Planner
from guardopt.program import Limits
from guardopt.scenario import Guard, Kit, Scenario
from guardopt.wording import exact_money, listing, money, years

NOTHING = 0.005
"""Half a cent over the years: less is nothing."""


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
    """One guard's place in a plan; the names are those of ``plan --json``.

    Money is in the scenario's currency. The first three numbers are of picked guards, the last three of those left
    out; each is None where it does not apply.
    """

    guard: str
    picked: bool
    price: float
    spend: float
    reason: Reason
    text: str
    loss_if_dropped: float | None = None
    loss_if_barred: float | None = None
    pays_back_years: float | None = None
    gain_if_added: float | None = None
    loss_if_forced: float | None = None
    enters_at_budget: float | None = None


@dataclass(frozen=True)
class Swap:
    """A kit with one guard taken off or put on, beside the kit it is compared with.

    Attributes
    ----------
    bare, guarded
        What is paid without and with the guard, the rest of the kit being the same.
    off
        The other guards that come off: those that need the guard, or that clash with it.
    """

    guard: Guard
    bare: Bill
    guarded: Bill
    off: tuple[str, ...]
    rates: np.ndarray
    scenario: Scenario

    @property
    def saving(self) -> float:
        """What the guard saves over the years, its renewals paid."""
        return self.bare.cost_over_years - self.guarded.cost_over_years

    @property
    def damage_saving(self) -> float:
        """What it saves over the years before its renewals are paid."""
        return float(self.scenario.annuity * self.rates @ (self.bare.owner_cost - self.guarded.owner_cost))

    def parts(self) -> list[str]:
        """The parts it saves most on, three at most."""
        saved = self.bare.part_bill_per_year - self.guarded.part_bill_per_year
        worst_first = np.argsort(-saved, kind="stable")[:3]
        return [self.scenario.parts[row].id for row in worst_first if saved[row] > NOTHING]


def explain(
    planner: Planner, sample: Sequence[Stratum], aim: Aim, limits: Limits, best: Best, steps: Sequence[Step], gap: float
) -> tuple[Verdict, ...]:
    """A verdict on every guard of the scenario, in its order.

    Parameters
    ----------
    planner, sample
        The planner that found the kit, and the falls it planned on.
    aim, limits, best
        What was asked and what was answered.
    steps
        The budget curve under the same guards forced in and out.
    gap
        Relative gap to which the other kits looked at are proven best.
    """
    scenario = planner.scenario
    with_and_without = [_kits(scenario, best.kit, guard) for guard in scenario.guards]
    wanted = list(dict.fromkeys(kit for pair in with_and_without for kit in pair))
    bills = dict(zip(wanted, price(planner.bike, sample, [*wanted, best.kit]).bills, strict=False))
    whole = price(planner.bike, sample, [best.kit]).bills[0]
    rates = np.array([fall.per_year for fall in scenario.falls])
    verdicts = []
    for guard, (without, plus) in zip(scenario.guards, with_and_without, strict=True):
        off = tuple(sorted((best.kit - without if guard.id in best.kit else best.kit - plus) - {guard.id}))
        swap = Swap(guard, bills[without], bills[plus], off, rates, scenario)
        if guard.id in best.kit:
            verdicts.append(_picked(planner, aim, limits, best, swap, gap))
        else:
            verdicts.append(_left_out(planner, aim, limits, best, whole, swap, steps, gap))
    return tuple(verdicts)


def _kits(scenario: Scenario, kit: Kit, guard: Guard) -> tuple[Kit, Kit]:
    """The kit without the guard and with it, all else being the same."""
    if guard.id in kit:
        return _drop_unmet(scenario, kit - {guard.id}), kit
    room = kit - {one.id for one in scenario.guards if scenario.exclude_each_other(guard, one)}
    plus = _drop_unmet(scenario, room | {guard.id}, keep=guard.id)
    return plus - {guard.id}, plus


def _drop_unmet(scenario: Scenario, kit: Kit, keep: str | None = None) -> Kit:
    """Take off guards that need one that is no longer on the bike, until none does."""
    unmet = {
        name
        for name in kit
        if name != keep and any(not alternatives & kit for alternatives in scenario.guard[name].needs)
    }
    return _drop_unmet(scenario, kit - unmet, keep) if unmet else kit


def _loss(planner: Planner, aim: Aim, limits: Limits, best: Best, gap: float) -> float | None:
    """How much worse the best kit under other limits is; None if there is none."""
    objective = planner.objective(aim, limits, gap=gap)
    return None if objective is None else max(0.0, objective - best.objective)


def _picked(planner: Planner, aim: Aim, limits: Limits, best: Best, swap: Swap, gap: float) -> Verdict:
    guard, scenario = swap.guard, swap.scenario
    barred = replace(limits, must=limits.must - {guard.id}, never=limits.never | {guard.id})
    loss_if_barred = _loss(planner, aim, barred, best, gap)
    spend = guard.spend_cents / 100
    yearly = swap.saving / scenario.annuity
    pays_back = 0.0 if guard.owned else spend / yearly if yearly > NOTHING else None
    reason = Reason.OWNED if guard.owned else Reason.FORCED_IN if guard.id in limits.must else Reason.PICKED
    return Verdict(
        guard=guard.id,
        picked=True,
        price=guard.price,
        spend=spend,
        reason=reason,
        text=_picked_text(swap, reason, aim, pays_back, loss_if_barred),
        loss_if_dropped=swap.saving,
        loss_if_barred=loss_if_barred,
        pays_back_years=pays_back,
    )


def _picked_text(
    swap: Swap, reason: Reason, aim: Aim, pays_back: float | None, loss_if_barred: float | None
) -> str:
    scenario, guard = swap.scenario, swap.guard
    saves = money(swap.saving, scenario.currency)
    span = years(scenario.years)
    parts = listing(swap.parts())
    opening = {
        Reason.OWNED: "Already yours, so it costs nothing to keep on",
        Reason.FORCED_IN: f"In because you asked for it, for {exact_money(guard.spend_cents, scenario.currency)}",
        Reason.PICKED: f"For {exact_money(guard.spend_cents, scenario.currency)}",
    }[reason]
    if swap.saving > NOTHING:
        text = f"{opening}; saves {saves} over {span}" + (f", mostly on {parts}" if parts else "")
        if pays_back is not None and not guard.owned:
            text += f", and has paid for itself after {years(pays_back)}"
    elif swap.saving < -NOTHING:
        text = f"{opening}; it costs {money(-swap.saving, scenario.currency)} more over {span} than it saves"
    else:
        text = f"{opening}; it saves nothing over {span}"
    if swap.off:
        text += f" ({listing(list(swap.off))} would have to come off with it)"
    if loss_if_barred is None:
        return f"{text}. No kit is possible without it."
    if loss_if_barred > NOTHING:
        return f"{text}. The best kit without it is {money(loss_if_barred, scenario.currency)} worse{_by(aim)}."
    return f"{text}. Another kit does as well without it."


def _by(aim: Aim) -> str:
    return {
        Aim.BILLS: " over the years",
        Aim.OUTLAY: ", purchases included",
        Aim.WORST: " in the mean of the worst falls",
    }[aim]


def _left_out(
    planner: Planner,
    aim: Aim,
    limits: Limits,
    best: Best,
    whole: Bill,
    swap: Swap,
    steps: Sequence[Step],
    gap: float,
) -> Verdict:
    guard, scenario = swap.guard, swap.scenario
    forced = replace(limits, must=limits.must | {guard.id}, never=limits.never - {guard.id})
    loss_if_forced = _loss(planner, aim, forced, best, gap)
    budgets = [step.budget_cents for step in steps if guard.id in step.best.kit]
    later = [budget for budget in budgets if limits.budget_cents is not None and budget > limits.budget_cents]
    if guard.id in limits.never:
        reason = Reason.FORCED_OUT
    elif loss_if_forced is None and planner.objective(aim, replace(forced, budget_cents=None), gap=1.0) is None:
        reason = Reason.CANNOT_BE_FITTED
    elif later:
        reason = Reason.OVER_BUDGET
    elif swap.damage_saving <= NOTHING:
        reason = Reason.ADDS_NOTHING
    elif swap.saving <= NOTHING:
        reason = Reason.WEARS_OUT
    elif any(scenario.exclude_each_other(guard, scenario.guard[name]) for name in best.kit):
        reason = Reason.BEATEN
    else:
        reason = Reason.NOT_WORTH_IT
    enters = budgets[0] / 100 if budgets else None
    return Verdict(
        guard=guard.id,
        picked=False,
        price=guard.price,
        spend=guard.spend_cents / 100,
        reason=reason,
        text=_left_out_text(swap, reason, aim, best.kit, loss_if_forced, later),
        gain_if_added=whole.cost_over_years - swap.guarded.cost_over_years,
        loss_if_forced=loss_if_forced,
        enters_at_budget=enters,
    )


def _left_out_text(
    swap: Swap, reason: Reason, aim: Aim, kit: Kit, loss_if_forced: float | None, budgets: list[int]
) -> str:
    scenario, guard = swap.scenario, swap.guard
    currency, span = scenario.currency, years(scenario.years)
    spend = exact_money(guard.spend_cents, currency)
    saves = f"save {money(swap.saving, currency)} over {span}"
    parts = listing(swap.parts())
    mostly = f", mostly on {parts}," if parts else ""
    forced = (
        f" Fitting it all the same would leave you {money(loss_if_forced, currency)} worse off{_by(aim)}."
        if loss_if_forced is not None and loss_if_forced > NOTHING
        else ""
    )
    missing = [
        listing(sorted(alternatives), "or") for alternatives in guard.needs if not alternatives & kit and alternatives
    ]
    needs = f" It needs {listing(missing)} as well." if missing else ""
    match reason:
        case Reason.FORCED_OUT:
            would = f" It would {saves}." if swap.saving > NOTHING else " It would not pay its way."
            return f"Left out because you ruled it out.{would}{needs}"
        case Reason.CANNOT_BE_FITTED:
            return f"Cannot be fitted with what is on offer, forced in or ruled out: {_obstacle(swap)}."
        case Reason.OVER_BUDGET:
            return (
                f"For {spend} it would {saves}{mostly} but this money does more elsewhere; it comes into the best kit "
                f"at a budget of {exact_money(budgets[0], currency)}.{needs}{forced}"
            )
        case Reason.ADDS_NOTHING:
            why = f" It helps only together with {listing(missing)}." if missing else ""
            return f"Beside the rest of the kit it would save nothing on any fall.{why}{forced}"
        case Reason.WEARS_OUT:
            return (
                f"It would save {money(swap.damage_saving, currency)} of damage over {span}, but renewing it after "
                f"falls costs {money(swap.damage_saving - swap.saving, currency)}.{forced}"
            )
        case Reason.BEATEN:
            rivals = [name for name in sorted(kit) if scenario.exclude_each_other(guard, scenario.guard[name])]
            return f"Its place is better filled by {listing(rivals)}; alone it would {saves}.{needs}{forced}"
        case _:
            against = []
            if aim is Aim.OUTLAY:
                against.append(f"costs {spend}")
            if guard.dislike:
                against.append(f"you would pay {money(guard.dislike, currency)} not to have it on the bike")
            if scenario.max_weight_kg is not None and not scenario.is_within_weight(kit | {guard.id}):
                against.append("the weight limit leaves room for better ones")
            return f"It would {saves}, but {listing(against) or 'other guards do more for the money'}.{needs}{forced}"


def _obstacle(swap: Swap) -> str:
    """What keeps a guard off the bike whatever the budget."""
    scenario, guard = swap.scenario, swap.guard
    if not scenario.is_within_weight({guard.id}):
        return f"it weighs {guard.weight_kg:g} kg and the limit is {scenario.max_weight_kg:g} kg"
    needs = [listing(sorted(one), "or") or "a guard that is not on offer for its side" for one in guard.needs]
    return f"it needs {listing(needs)}" if needs else "something that has to be on the bike rules it out"
