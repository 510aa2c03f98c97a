"""The best kit for every budget, as the steps at which it changes."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

from guardopt.planner import GAP, TIE, Aim, Best, Planner
from guardopt.program import Limits


@dataclass(frozen=True)
class Step:
    """From `budget_cents` on, up to the next step, `best` is the best kit."""

    budget_cents: int
    best: Best


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
    """
    steps: list[Step] = []
    budget: int | None = None
    while budget is None or budget >= 0:
        best = planner.best_untied(aim, replace(limits, budget_cents=budget), gap=gap, end=end)
        if best is None or not best.proven:
            # Either no kit is that cheap, or the time is up and cheaper steps are unknown.
            return tuple(reversed(steps)) if end is None or time.monotonic() < end else ()
        spend = planner.scenario.spend_cents(best.kit)
        if steps and best.objective <= steps[-1].best.objective + TIE * max(1.0, abs(best.objective)):
            steps.pop()
        steps.append(Step(spend, best))
        budget = spend - 1
    return tuple(reversed(steps))
