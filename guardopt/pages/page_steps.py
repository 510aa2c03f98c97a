"""The budget curve in words: at every step, which guards are in the kit and why, with a number for each.

All costs are exact on the sample that the plan was made on, as those of the curve are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from guardopt.cuts.ties import TIE
from guardopt.model.pieces import HALF_A_CENT, Guard, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST
from guardopt.questions.budgets import BudgetCurve, Step
from guardopt.questions.plan_result import Plan
from guardopt.reports.plots import spoken
from guardopt.spelling import listed
from guardopt.words import exact_money, money, number, years


@dataclass(frozen=True)
class StepWords:
    """One step of the curve as a page tells it.

    Attributes
    ----------
    budget_cents, cost_over_years
        Where the step begins, and what falls cost over the years with its kit.
    kit
        The guards on the bike.
    summary
        What to buy, what it costs and what falls then cost, as plain text.
    reasons
        A sentence for each guard of the scenario, in its order, as plain text.
    """

    budget_cents: int
    cost_over_years: float
    kit: Kit
    summary: str
    reasons: tuple[str, ...]


def named(scenario: Scenario, ids: Iterable[str]) -> list[str]:
    """Guards as they are said aloud, the two sides of one as one.

    The order is that of the scenario.
    """
    wanted = set(ids)
    rows: dict[str, list[Guard]] = {}
    for guard in scenario.guards:
        if guard.id in wanted:
            rows.setdefault(guard.row, []).append(guard)
    return [
        f"{spoken(row)}, left and right" if len(guards) == 2 else spoken(guards[0].id) for row, guards in rows.items()
    ]


def said(names: Sequence[str]) -> str:
    """Spoken names in a sentence; semicolons keep apart names that have commas in them."""
    names = names or ["nothing"]
    if len(names) == 1 or not any("," in name for name in names):
        return listed(names, "and")
    return f"{'; '.join(names[:-1])}; and {names[-1]}"


def speaker(scenario: Scenario) -> Callable[[str], str]:
    """A function that puts spoken names into a sentence in the place of ids."""
    ids = {name for guard in scenario.guards for name in (guard.id, guard.row)}
    ids |= {name for part in scenario.parts for name in (part.id, part.row)} | {fall.id for fall in scenario.falls}
    plain = {name: spoken(name).replace(", left", " (left)").replace(", right", " (right)") for name in ids}
    changed = sorted((name for name in ids if plain[name] != name), key=len, reverse=True)
    if not changed:
        return _with_capitals
    pattern = re.compile(rf"(?<![\w.-])(?:{'|'.join(map(re.escape, changed))})(?![\w-])(?!\.\w)")
    return lambda text: _with_capitals(pattern.sub(lambda match: plain[match[0]], text))


def _with_capitals(text: str) -> str:
    """Sentences that began with an id begin with a capital letter, as any other does."""
    return re.sub(r"(?:^|(?<=[.] ))[a-z]", lambda match: match[0].upper(), text)


def planned_step(plan: Plan, curve: BudgetCurve) -> int:
    """The row of the step that the plan's budget reaches."""
    if plan.budget_cents is None:
        return len(curve.steps) - 1
    return max(0, sum(step.budget_cents <= plan.budget_cents for step in curve.steps) - 1)


def steps_in_words(planner: Planner, plan: Plan, curve: BudgetCurve, must: Kit, never: Kit) -> tuple[StepWords, ...]:
    """Every step of a curve in words; at the plan's own step the reasons are those of the plan, where it has any.

    Parameters
    ----------
    planner
        What the curve was found with.
    plan, curve
        Made for the same aim, with the same guards forced in and out.
    must, never
        Those guards.
    """
    teller = _Teller(planner, plan, curve, must, never)
    return tuple(teller.words(row) for row in range(len(curve.steps)))


def step_table(plan: Plan, curve: BudgetCurve, steps: Sequence[StepWords], own: int) -> dict[str, Any]:
    """The curve as a table of a readable number of steps, and what is said around it."""
    scenario, currency = plan.scenario, plan.scenario.currency
    kept = {step.budget_cents for step in curve.thinned(None, curve.readable_step).steps}
    last = steps[-1].budget_cents
    budget = last if plan.budget_cents is None else min(plan.budget_cents, last)
    return {
        "least": steps[0].budget_cents,
        "most": last,
        "budget": budget,
        "shown": exact_money(budget, currency),
        "summary": steps[own].summary,
        "pays": _pays(plan, curve, steps[own]),
        "first": exact_money(steps[0].budget_cents, currency),
        "all": exact_money(last, currency),
        "changes": len(steps),
        "dislikes_decide": curve.dislikes_decide,
        "rows": [
            (
                exact_money(step.budget_cents, currency),
                said(named(scenario, step.kit - scenario.stock)),
                number(step.cost_over_years),
            )
            for step in steps
            if step.budget_cents in kept
        ],
    }


def _pays(plan: Plan, curve: BudgetCurve, own: StepWords) -> str:
    """Up to where money pays, and how far beyond the plan goes."""
    currency, until = plan.scenario.currency, round(curve.pays_until * 100)
    most = (
        f"Beyond {exact_money(until, currency)}, spending more saves less than it costs; what guards fetch at the end "
        "is not counted."
    )
    best = curve.at(until)
    more = own.budget_cents - until
    if best is None or more <= 0:
        return most
    saved = best.cost_over_years - own.cost_over_years
    less = f"{money(abs(saved), currency)} {'less' if saved >= 0.0 else 'more'}"
    return f"{most} This plan goes {exact_money(more, currency)} beyond, and its falls cost {less}."


class _Teller:
    """Says of each guard, at each step, why it is in or out."""

    def __init__(self, planner: Planner, plan: Plan, curve: BudgetCurve, must: Kit, never: Kit) -> None:
        self._planner, self._plan, self._curve = planner, plan, curve
        self._must, self._never = must, never
        self._scenario = plan.scenario
        self._own = planned_step(plan, curve)
        self._speak = speaker(plan.scenario)
        self._over = f"over {years(plan.scenario.years)}"
        self._before = self._cost(plan.scenario.stock)

    def _cost(self, kit: Kit) -> float:
        return self._planner.measure(COST, kit) - self._scenario.dislike(kit)

    def words(self, row: int) -> StepWords:
        step = self._curve.steps[row]
        kit, cost, reasons = step.best.kit, step.cost_over_years, None
        if row == self._own and self._is_as_good(step):
            kit, cost = self._plan.kit, self._cost(self._plan.kit)
            if self._plan.verdicts:
                reasons = tuple(self._speak(text) for _, text in self._plan.verdicts)
        if reasons is None:
            reasons = tuple(self._reason(row, kit, cost, guard) for guard in self._scenario.guards)
        return StepWords(step.budget_cents, cost, kit, self._summary(kit, cost), reasons)

    def _is_as_good(self, step: Step) -> bool:
        """Of kits that tie, the curve may hold another than the plan."""
        ours, theirs = self._plan.best.objective, step.best.objective
        spends_as_much = self._scenario.spend_cents(self._plan.kit) == step.budget_cents
        return spends_as_much and abs(ours - theirs) <= TIE * max(1.0, abs(theirs))

    def _summary(self, kit: Kit, cost: float) -> str:
        scenario, currency = self._scenario, self._scenario.currency
        spend = exact_money(scenario.spend_cents(kit), currency)
        bought, off = named(scenario, kit - scenario.stock), named(scenario, scenario.stock - kit)
        to_do = f"Buy {said(bought)}: {spend}." if bought else "Buy nothing."
        to_do += f" Take off {said(off)}." if off else ""
        saved = self._before - cost
        less = f", {money(abs(saved), currency)} {'less' if saved > 0.0 else 'more'} than now"
        return (
            f"{to_do} Falls then cost {money(cost, currency)} {self._over}{less if abs(saved) > HALF_A_CENT else ''}."
        )

    def _reason(self, row: int, kit: Kit, cost: float, guard: Guard) -> str:
        return self._why_in(kit, cost, guard) if guard.id in kit else self._why_out(row, kit, cost, guard)

    def _why_in(self, kit: Kit, cost: float, guard: Guard) -> str:
        without = self._scenario.supported(kit - {guard.id})
        saving, currency = self._cost(without) - cost, self._scenario.currency
        start = "In because you asked for it" if guard.id in self._must else "Already yours" if guard.owned else ""
        worth = f"saves {money(saving, currency)} {self._over}"
        if saving < -HALF_A_CENT:
            worth = f"costs {money(-saving, currency)} more {self._over} than it saves"
        elif saving <= HALF_A_CENT:
            worth = f"saves nothing {self._over}"
        text = f"{start}; {worth}." if start else f"{worth[0].upper()}{worth[1:]}."
        off = named(self._scenario, kit - without - {guard.id})
        return f"{text} Without it, {said(off)} would come off as well." if off else text

    def _why_out(self, row: int, kit: Kit, cost: float, guard: Guard) -> str:
        if guard.id in self._never:
            return "Out because you ruled it out."
        scenario, currency = self._scenario, self._scenario.currency
        rivals = {name for name in kit if scenario.exclude_each_other(guard, scenario.guard[name])}
        plus = scenario.supported((kit - rivals) | {guard.id}, frozenset({guard.id}))
        unmet = [one for one in guard.needs if not one & plus]
        if unmet:
            wanted = said([listed(named(scenario, one)) or "a guard that is not on offer" for one in unmet])
            return f"It needs {wanted}."
        gain = cost - self._cost(plus)
        place = f" in place of {said(named(scenario, kit - plus))}" if kit - plus else ""
        if gain < -HALF_A_CENT:
            return f"Would cost {money(-gain, currency)} more {self._over}{place}."
        if gain <= HALF_A_CENT:
            return f"Would save nothing{place}."
        obstacle = self._obstacle(row, kit, plus, guard, gain)
        return f"Would save {money(gain, currency)} {self._over}{place}, but {obstacle}."

    def _obstacle(self, row: int, kit: Kit, plus: Kit, guard: Guard, gain: float) -> str:
        """What keeps out a guard that would save something."""
        scenario, steps = self._scenario, self._curve.steps
        if self._plan.aim.counts_price and gain <= scenario.laid_out(plus) - scenario.laid_out(kit) + HALF_A_CENT:
            resale = scenario.resale_value(plus) != scenario.resale_value(kit)
            return f"that is less than the change costs{', resale taken off' if resale else ''}"
        if guard.dislike and gain <= scenario.dislike(plus) - scenario.dislike(kit) + HALF_A_CENT:
            return "you would rather not have it on the bike"
        later = next((step for step in steps[row + 1 :] if guard.id in step.best.kit), None)
        if later is not None:
            return f"that takes a budget of {exact_money(later.budget_cents, scenario.currency)}"
        if not scenario.is_within_weight(plus):
            return "within the weight limit other guards do more"
        return "other guards do more for the same money"
