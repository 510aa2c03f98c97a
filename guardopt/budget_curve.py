"""The best kit for every budget, as the steps at which it changes."""

from __future__ import annotations

import math
import time
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from guardopt.aims import GAP, TIME_LIMIT, Aim, Best, Limits, Measure
from guardopt.asking import with_problems, wrong_aim, wrong_gap, wrong_time_limit
from guardopt.billing import forced_guards, in_order
from guardopt.errors import InputError, NoKitError, OutOfTimeError, Problem, SolverError
from guardopt.focus import TIE
from guardopt.pieces import HALF_A_CENT
from guardopt.planner import Planner
from guardopt.scenario import Scenario
from guardopt.workbench import Workbench, on_bench

READABLE = 25
"""More steps than this are too many for a page of text."""

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Step:
    """From `budget_cents` on, up to the next step, `best` is the best kit; the kit spends just that."""

    budget_cents: int
    best: Best
    cost_over_years: float


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
        best = min(self.steps, key=lambda step: (step.cost_over_years + step.budget_cents / 100, step.budget_cents))
        return best.budget_cents / 100

    def at(self, budget_cents: int) -> Step | None:
        """The step that a budget reaches; None if it allows no kit."""
        row = bisect_right([step.budget_cents for step in self.steps], budget_cents)
        return self.steps[row - 1] if row else None

    @property
    def dislikes_decide(self) -> bool:
        """Whether falls cost more with some kit than with the cheaper one before it, which is disliked more."""
        return self.aim is Aim.BILLS and any(
            after.cost_over_years > before.cost_over_years + HALF_A_CENT for before, after in pairwise(self.steps)
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
            "aim": self.aim.value,
            "steps": [
                {
                    "budget": step.budget_cents / 100,
                    "kit": in_order(self.scenario, step.best.kit),
                    "spend": self.scenario.spend_cents(step.best.kit) / 100,
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
        problems.append(Problem("--upto", f"found {upto:g}, expected an amount of at least 0"))
    if step is not None and not 0.01 <= step < math.inf:
        problems.append(Problem("--step", f"found {step:g}, expected an amount of at least 0.01"))
    if problems:
        raise InputError(problems)


def budgets(
    subject: Scenario | Workbench,
    *,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    gap: float = GAP,
    time_limit: float | None = TIME_LIMIT,
) -> BudgetCurve:
    """Find the best kit for every budget.

    Parameters
    ----------
    subject
        A scenario, or a workbench that holds one.
    aim
        ``bills``, ``outlay`` or ``worst``.
    must, never
        Guards forced in and out; an id without a side stands for all its sides.
    gap
        Relative gap to which each step is proven best.
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
    >>> from guardopt.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> curve = guardopt.budgets(scenario)
    >>> curve.pays_until
    48.0
    >>> [step.budget_cents / 100 for step in curve.steps][:5]
    [0.0, 19.0, 38.0, 39.0, 48.0]
    >>> curve.at(6000).best.kit
    frozenset({'frame_slider.left'})
    """
    bench = on_bench(subject)
    problems = [*wrong_aim(aim), *wrong_gap(gap), *wrong_time_limit(time_limit)]
    limits = Limits(None, *with_problems(problems, lambda: forced_guards(bench.scenario, must, never)))
    end = None if time_limit is None else time.monotonic() + time_limit
    bench.planner.best(Aim(aim), limits, gap=gap, seconds=time_limit)
    steps = curve(bench.planner, Aim(aim), limits, gap=gap, end=end)
    if not steps:
        raise OutOfTimeError("the budget curve was not whole in the time allowed; a longer --time-limit may do")
    return BudgetCurve(bench.scenario, Aim(aim), steps)


def curve(
    planner: Planner, aim: Aim, limits: Limits, *, gap: float = GAP, end: float | None = None
) -> tuple[Step, ...]:
    """Every step of the budget curve, from the least budget that allows a kit to the most that money can do.

    Walks down: the best kit for a budget costs some spend; one cent less than that is the next budget to look at.
    A kit that is no worse than the step above it replaces that step, since it is as good for less.

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
    end
        Time, on the monotonic clock, at which to give up; there are then no steps.

    Raises
    ------
    SolverError
        A step could not be proven best although there was time.
    """
    steps: list[Step] = []
    budget: int | None = None
    while budget is None or budget >= 0:
        best = planner.best_untied(aim, replace(limits, budget_cents=budget), gap=gap, end=end)
        if (best is None or not best.proven) and end is not None and time.monotonic() >= end:
            return ()
        if best is None:
            break
        if not best.proven:
            raise SolverError("the search for a step of the budget curve stalled, and part of a curve is worth nothing")
        spend = planner.scenario.spend_cents(best.kit)
        if steps and best.objective <= steps[-1].best.objective + TIE * max(1.0, abs(best.objective)):
            steps.pop()
        cost = planner.measure(Measure.COST, best.kit) - planner.scenario.dislike(best.kit)
        steps.append(Step(spend, best, cost))
        budget = spend - 1
    return tuple(reversed(steps))
