"""The budget curve in words: at every step, which guards are in the kit and why, with a number for each.

What falls cost with the kit of the plan is said everywhere as it comes out on fresh falls; the curve is moved by as
much as that differs from the falls that the plan was made on, since between kits these tell the difference better.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from guardopt.cuts.ties import TIE
from guardopt.model.aims import GAP, Limits
from guardopt.model.pieces import HALF_A_CENT, Guard, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST
from guardopt.questions.budgets import BudgetCurve, Step
from guardopt.questions.explanation.question import Question
from guardopt.questions.explanation.reasons import sentence
from guardopt.questions.explanation.verdicts import explain_briefly
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
    ids |= {point.id for point in scenario.points}
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


def on_fresh_falls(planner: Planner, plan: Plan, curve: BudgetCurve) -> BudgetCurve:
    """The curve moved so that the plan's kit costs on it what it costs on fresh falls."""
    planned = planner.measure(COST, plan.kit) - plan.scenario.dislike(plan.kit)
    more = plan.fitted.cost_over_years - planned
    steps = tuple(replace(step, cost_over_years=step.cost_over_years + more) for step in curve.steps)
    return replace(curve, steps=steps)


def steps_in_words(planner: Planner, plan: Plan, curve: BudgetCurve, must: Kit, never: Kit) -> tuple[StepWords, ...]:
    """Every step of a curve in words; at the plan's own step the reasons are those of the plan, where it has any.

    Parameters
    ----------
    planner
        What the curve was found with.
    plan, curve
        Made for the same aim, with the same guards forced in and out; the curve `on_fresh_falls`.
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
        f"Spending more pays up to {exact_money(until, currency)}; past that it costs more than it saves, what guards "
        "fetch at the end not counted."
    )
    best = curve.at(until)
    more = own.budget_cents - until
    if best is None or more <= 0:
        return most
    saved = best.cost_over_years - own.cost_over_years
    less = f"{money(abs(saved), currency)} {'less' if saved >= 0.0 else 'more'}"
    return f"{most} This plan goes {exact_money(more, currency)} beyond, and its falls cost {less}."


class _Teller:
    """Says of each guard, at each step, why it is in or out, as the plan for that budget would."""

    def __init__(self, planner: Planner, plan: Plan, curve: BudgetCurve, must: Kit, never: Kit) -> None:
        self._planner, self._plan, self._curve = planner, plan, curve
        self._limits = Limits(plan.budget_cents, must, never)
        self._scenario = plan.scenario
        self._own = planned_step(plan, curve)
        self._speak = speaker(plan.scenario)
        asked = Question(planner, plan.aim, self._limits, plan.best, curve.steps, GAP)
        self._impossible = frozenset(
            guard.id
            for guard in plan.scenario.guards
            if not any(guard.id in step.best.kit for step in curve.steps) and not asked.can_be_fitted(guard.id)
        )

    def words(self, row: int) -> StepWords:
        step = self._curve.steps[row]
        kit, cost = step.best.kit, step.cost_over_years
        if row == self._own and self._is_as_good(step):
            kit, cost = self._plan.kit, self._plan.fitted.cost_over_years
            if self._plan.verdicts:
                told = [text for _, text in self._plan.verdicts]
                return self._told(step, kit, cost, told)
        question = Question(
            self._planner,
            self._plan.aim,
            replace(self._limits, budget_cents=step.budget_cents),
            replace(step.best, kit=kit),
            self._curve.steps,
            GAP,
            impossible=self._impossible,
        )
        return self._told(step, kit, cost, [sentence(question, one) for one in explain_briefly(question)])

    def _told(self, step: Step, kit: Kit, cost: float, reasons: Sequence[str]) -> StepWords:
        spoken_reasons = tuple(self._speak(text) for text in reasons)
        return StepWords(step.budget_cents, cost, kit, self._summary(kit, cost), spoken_reasons)

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
        saved = self._plan.stock.cost_over_years - cost
        less = f", {money(abs(saved), currency)} {'less' if saved > 0.0 else 'more'} than now"
        over = f"over {years(scenario.years)}"
        return f"{to_do} Falls then cost {money(cost, currency)} {over}{less if abs(saved) > HALF_A_CENT else ''}."
