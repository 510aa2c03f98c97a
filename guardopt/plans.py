"""The main question: which guards to buy, proven best, with the reason for every guard."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from guardopt.aims import GAP, TIME_LIMIT, Aim, Best, Limits
from guardopt.asking import budget_cents, with_problems, wrong_aim, wrong_budget, wrong_gap, wrong_time_limit
from guardopt.bike import Bike
from guardopt.billing import forced_guards
from guardopt.bills import outcome, price, worst_mean
from guardopt.break_even import break_even as find_break_even
from guardopt.budget_curve import Step, curve
from guardopt.errors import Problem, SolverError
from guardopt.explain import Question, Verdict, explain
from guardopt.falls import Stratum
from guardopt.pieces import HALF_A_CENT
from guardopt.planned import Plan
from guardopt.scenario import Scenario
from guardopt.sentences import sentence
from guardopt.sureness import sureness
from guardopt.workbench import TAIL, Workbench

NO_LIMIT = math.inf
"""A budget without limit, where the scenario has one."""

RECOMPUTED = 1e-7
"""Relative difference at which the planner's measure of a kit and its own price on the same falls disagree."""


def plan(
    subject: Scenario | Workbench,
    *,
    budget: float | None = None,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    tail: float = TAIL,
    gap: float = GAP,
    time_limit: float | None = TIME_LIMIT,
    solver: str = "HiGHS",
    reasons: bool = True,
    sure: int | None = None,
    break_even: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> Plan:
    """Choose the guards to buy.

    Parameters
    ----------
    subject
        A scenario, or a workbench that holds one; the latter has its own tail and solver.
    budget
        Most to spend, fitting included, in units of the currency; None takes the scenario's, `NO_LIMIT` lifts it.
    aim
        ``bills``, ``outlay`` or ``worst``.
    must, never
        Guards forced in and out; an id without a side stands for all its sides.
    tail
        For the aim ``worst``: the share of falls that count as the worst, above 0 and at most 1.
    gap
        Relative gap at which a kit counts as proven best.
    time_limit
        Seconds for the search, the reasons and the doubts; the best kit found by then comes back with its honest gap,
        numbers in the reasons that could not be worked out are None, and sureness and break-even say how far they got.
        None lifts the limit.
    solver
        Name of a solver that PuLP knows.
    reasons
        Whether to say of each guard why it was picked or left out.
    sure
        How many sets of other fall rates to try the kit on; None: none.
    break_even
        Whether to find out between which multiples of the fall rates each guard is worth its price.
    progress
        Told what is being worked on.

    Raises
    ------
    InputError
        An id is unknown or a number is out of range.
    NoKitError
        No kit satisfies the budget, the weight limit and what is forced.
    SolverError
        The solver failed, or its answer did not survive being recomputed.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> made = guardopt.plan(scenario, budget=100)
    >>> made.bought, made.spend, made.status.value
    (['frame_slider.left', 'exhaust_slider'], 87.0, 'optimal')
    >>> made.saving > 5 * made.saving_se
    True
    """
    end = None if time_limit is None else time.monotonic() + time_limit
    bench = subject if isinstance(subject, Workbench) else Workbench(subject, tail, solver)
    scenario = bench.scenario
    problems = [*wrong_budget(budget), *wrong_aim(aim), *_wrong_tail(bench.tail)]
    problems += [*wrong_gap(gap), *wrong_time_limit(time_limit), *_wrong_draws(sure)]
    forced = with_problems(problems, lambda: forced_guards(scenario, must, never))
    limits = Limits(budget_cents(scenario, budget), *forced)
    progress("simulating falls")
    sample, planner = bench.sample, bench.planner
    progress("looking for the best kit")
    best = planner.best(Aim(aim), limits, gap=gap, seconds=time_limit)
    _recompute(planner.bike, sample, Aim(aim), best, bench.tail)
    verdicts: tuple[tuple[Verdict, str], ...] = ()
    steps: tuple[Step, ...] = ()
    if reasons:
        progress("working out the reasons")
        steps = curve(planner, Aim(aim), limits, gap=gap, end=end)
        _check_against(best, limits, steps, gap)
        question = Question(planner, Aim(aim), limits, best, steps, gap, end)
        verdicts = tuple((one, sentence(question, one)) for one in explain(question, sample))
    doubts = None
    if sure is not None:
        progress("trying other fall rates")
        doubts = sureness(planner, Aim(aim), limits, best.kit, draws=sure, gap=gap, end=end)
    worth = None
    if break_even:
        progress("looking for the falls from which guards are worth it")
        worth = find_break_even(planner, limits, gap=gap, end=end)
    progress("pricing the kit on fresh falls")
    kits = [frozenset[str](), scenario.stock, best.kit]
    prices = price(planner.bike, bench.fresh(kits), kits)
    made = Plan(
        scenario,
        Aim(aim),
        limits.budget_cents,
        bench.tail,
        best,
        prices,
        verdicts,
        steps,
        sureness=doubts,
        break_even=worth,
    )
    if made.aim is Aim.BILLS and reasons and made.loses:
        pays = planner.best_untied(Aim.OUTLAY, limits, gap=gap, end=end)
        made = replace(made, paying=None if pays is None or not pays.proven else pays.kit)
    return made


def _wrong_tail(tail: float) -> list[Problem]:
    if 0.0 < tail <= 1.0:
        return []
    return [Problem("--tail", f"found {tail:g}, expected a share above 0 and at most 1")]


def _wrong_draws(draws: int | None) -> list[Problem]:
    if draws is None or draws >= 1:
        return []
    return [Problem("--sure", f"found {draws}, expected at least 1")]


def _check_against(best: Best, limits: Limits, steps: Sequence[Step], gap: float) -> None:
    """Compare with the budget curve, which is found another way where kits are few; refuse a kit that it beats."""
    budget = math.inf if limits.budget_cents is None else limits.budget_cents
    reached = [step.best.objective for step in steps if step.budget_cents <= budget]
    if reached and best.proven and reached[-1] < best.bound - gap * max(1.0, abs(best.bound)) - HALF_A_CENT:
        raise SolverError(
            f"the solver called {best.bound:.4f} the least there can be, but a kit was found at {reached[-1]:.4f}"
        )


def _recompute(bike: Bike, sample: Sequence[Stratum], aim: Aim, best: Best, tail: float) -> None:
    """Work out the objective again from the kit alone, by plain pricing; refuse to report one that differs."""
    scenario = bike.scenario
    if aim is Aim.WORST:
        fitted = bike.kit_array(best.kit)
        rates = np.array([fall.per_year for fall in scenario.falls])
        mix = rates / rates.sum() if rates.any() else rates
        costs = np.concatenate([outcome(bike, one, fitted).owner_cost for one in sample])
        weights = np.concatenate([np.full(one.falls, mix[one.fall] * one.share / one.falls) for one in sample])
        again = worst_mean(costs, weights, tail)
    else:
        again = price(bike, sample, [best.kit], errors=False).bills[0].cost_over_years + scenario.dislike(best.kit)
        if aim is Aim.OUTLAY:
            again += scenario.laid_out(best.kit)
    if abs(again - best.objective) > RECOMPUTED * max(1.0, abs(again)):
        raise SolverError(
            f"the kit's objective came out as {best.objective:.6f}, but pricing it again gives {again:.6f}"
        )
