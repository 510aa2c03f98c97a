"""The best kit for every budget, as the steps at which it changes."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from guardopt.cuts.ties import TIE
from guardopt.deadline import EFFORT, NEVER, Deadline
from guardopt.errors import InputError, NoKitError, OutOfTimeError, Parameter, Problem
from guardopt.model.aims import GAP, TIME_LIMIT, Aim, Best, Limits, aim_named
from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST, SPEND
from guardopt.questions.arguments import with_problems, wrong_aim, wrong_effort, wrong_gap, wrong_time_limit
from guardopt.questions.bench import Bench, on_bench
from guardopt.questions.bill import forced_guards, in_order

MOST_STEPS = 2000
"""Steps of a curve at most."""

READABLE = 25
"""More steps than this are too many for a page of text."""

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Step:
    """From `budget_cents` on, up to the next step, `best` is the best kit.

    The kit spends just that, or less than nothing at a budget of 0 where guards are sold for it.
    """

    budget_cents: int
    best: Best
    cost_over_years: float
    gets_cents: int = 0

    @property
    def spend_cents(self) -> int:
        """What the kit costs now; below 0 where guards sold for it fetch more, which `gets_cents` says."""
        return self.budget_cents - self.gets_cents


@dataclass(frozen=True)
class BudgetCurve:
    """The best kit for every budget.

    Attributes
    ----------
    steps
        From the least budget that allows a kit to the most that money can do. Costs are on the planning sample, so
        that they can be compared to the cent.
    """

    scenario: Scenario
    aim: Aim
    steps: tuple[Step, ...]

    @property
    def pays_until(self) -> float:
        """The spend beyond which more money costs more than it saves over the years.

        It is the spend at which cost over the years and spend add up to the least. A step before it may cost more
        than it saves by itself; one after it does so for good.
        """
        best = min(self.steps, key=lambda step: (step.cost_over_years + step.spend_cents / 100, step.spend_cents))
        return best.spend_cents / 100

    def at(self, budget_cents: int) -> Step | None:
        """The step that a budget reaches; None if it allows no kit."""
        row = bisect_right([step.budget_cents for step in self.steps], budget_cents)
        return self.steps[row - 1] if row else None

    @property
    def dislikes_decide(self) -> bool:
        """Whether falls cost more with some kit than with the cheaper one before it, which is disliked more."""
        return (
            not self.aim.counts_price
            and self.aim.adds_up
            and any(
                after.cost_over_years > before.cost_over_years + HALF_A_CENT for before, after in pairwise(self.steps)
            )
        )

    def thinned(self, upto: float | None = None, step: float | None = None) -> BudgetCurve:
        """The curve up to a budget, and of its steps only those that budgets a given step apart reach.

        Raises
        ------
        InputError
            A budget below 0, or steps of less than a cent.
        NoKitError
            No kit is allowed up to this budget.
        """
        check_marks(upto, step)
        kept = [one for one in self.steps if upto is None or one.budget_cents <= round(upto * 100)]
        if not kept:
            least = self.steps[0].budget_cents / 100
            raise NoKitError(f"no kit up to a budget of {upto:.2f} has what is forced in; the least is {least:.2f}")
        if step is not None:
            marks = range(0, kept[-1].budget_cents + round(step * 100), round(step * 100))
            reached = [self.at(min(mark, kept[-1].budget_cents)) for mark in marks]
            kept = [one for one in dict.fromkeys(reached) if one is not None]
        return replace(self, steps=tuple(kept))

    @property
    def readable_step(self) -> float | None:
        """Distance between budgets at which the curve comes to few enough steps to read; None if it has few."""
        if len(self.steps) <= READABLE:
            return None
        span = (self.steps[-1].budget_cents - self.steps[0].budget_cents) / 100
        power = 10.0 ** math.floor(math.log10(span / READABLE))
        return next(power * nice for nice in (1.0, 2.0, 5.0, 10.0) if span / (power * nice) <= READABLE)

    @property
    def table(self) -> pd.DataFrame:
        """One row for each step."""
        import pandas as pd

        return pd.DataFrame(self.to_json()["steps"])

    def to_json(self) -> dict[str, Any]:
        """The curve as ``budgets --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "currency": self.scenario.currency,
            "aim": self.aim.name,
            "steps": [
                {
                    "budget": step.budget_cents / 100,
                    "kit": in_order(self.scenario, step.best.kit),
                    "spend": step.spend_cents / 100,
                    "cost_over_years": step.cost_over_years,
                }
                for step in self.steps
            ],
            "pays_until": self.pays_until,
        }

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def check_marks(upto: float | None, step: float | None) -> None:
    """Refuse budgets to be shown that make no sense.

    Raises
    ------
    InputError
        A budget below 0, or steps of less than a cent.
    """
    problems = []
    if upto is not None and not 0.0 <= upto < math.inf:
        problems.append(Problem(Parameter("upto"), f"found {upto:g}, expected an amount of at least 0"))
    if step is not None and not 0.01 <= step < math.inf:
        problems.append(Problem(Parameter("step"), f"found {step:g}, expected an amount of at least 0.01"))
    if problems:
        raise InputError(problems)


def budgets(
    subject: Scenario | Bench,
    *,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    gap: float = GAP,
    effort: int = EFFORT,
    time_limit: float | None = TIME_LIMIT,
) -> BudgetCurve:
    """Find the best kit for every budget.

    Parameters
    ----------
    subject
        A scenario, or a bench that holds one.
    aim
        ``bills``, ``outlay`` or ``worst``.
    must, never
        Guards forced in and out; an id without a side stands for all its sides.
    gap
        Relative gap to which each step is proven best.
    effort
        Nodes that each search may look at.
    time_limit
        Seconds allowed; a curve is worth nothing before it is whole. None lifts the limit.

    Raises
    ------
    InputError
        An id is unknown or a number is out of range.
    OutOfTimeError
        The time was too short for the whole curve.
    NoKitError
        No kit satisfies the weight limit and what is forced.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.writing.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> curve = guardopt.budgets(scenario)
    >>> curve.pays_until
    87.0
    >>> [step.budget_cents / 100 for step in curve.steps][:5]
    [0.0, 19.0, 38.0, 39.0, 48.0]
    >>> curve.at(6000).best.kit
    frozenset({'frame_slider.left'})
    """
    bench = on_bench(subject)
    problems = [*wrong_aim(aim), *wrong_gap(gap), *wrong_effort(effort), *wrong_time_limit(time_limit)]
    limits = Limits(None, *with_problems(problems, lambda: forced_guards(bench.scenario, must, never)))
    deadline = Deadline.after(time_limit, effort)
    bench.planner.best(aim_named(aim), limits, gap=gap, deadline=deadline)
    steps = curve(bench.planner, aim_named(aim), limits, gap=gap, deadline=deadline)
    if not steps:
        raise OutOfTimeError("the budget curve was not whole in the time allowed; more effort or time may do")
    return BudgetCurve(bench.scenario, aim_named(aim), steps)


def curve(
    planner: Planner,
    aim: Aim,
    limits: Limits,
    *,
    gap: float = GAP,
    deadline: Deadline = NEVER,
    most_steps: int = MOST_STEPS,
) -> tuple[Step, ...]:
    """Every step of the budget curve, from the least budget that allows a kit to the most that money can do.

    Walks down: the best kit for a budget costs some spend; one cent less than that is the next budget to look at.
    A kit that is no worse than the step above it, in all that counts before the money does, replaces that step, since
    it is as good for less.

    Parameters
    ----------
    planner
        Its facts serve every budget.
    aim
        What is to be least.
    limits
        Guards forced in or out; its budget is not looked at.
    gap
        Relative gap to which each step is proven best.
    deadline
        When to give up; there are then no steps.
    most_steps
        More steps than this are not looked for: amounts that are all different may make a step of nearly every sum.

    Returns
    -------
    The steps; none where one of them could not be proven best in time, since part of a curve is worth nothing.
    """
    steps: list[Step] = []
    budget: int | None = None
    while budget is None or budget >= 0:
        if len(steps) > most_steps:
            return ()
        try:
            best = planner.best_or_none(aim, replace(limits, budget_cents=budget), gap=gap, deadline=deadline)
        except OutOfTimeError:
            return ()
        if best is None:
            break
        if not best.proven:
            return ()
        spend = planner.scenario.spend_cents(best.kit)
        if steps and _is_no_worse(planner, aim, best.kit, steps[-1].best.kit):
            steps.pop()
        cost = planner.measure(COST, best.kit) - planner.scenario.dislike(best.kit)
        steps.append(Step(max(spend, 0), best, cost, max(-spend, 0)))
        budget = spend - 1
    return tuple(reversed(steps))


def _is_no_worse(planner: Planner, aim: Aim, kit: Kit, other: Kit) -> bool:
    """Whether a kit measures no more than another in all that an aim looks at before it looks at what kits cost."""
    for measure in aim.measures[: aim.measures.index(SPEND)]:
        value, other_value = planner.measure(measure, kit), planner.measure(measure, other)
        if value > other_value + TIE * max(1.0, abs(value)):
            return False
    return True
