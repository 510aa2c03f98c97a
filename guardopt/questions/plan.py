"""The main question: which guards to buy, proven best, with the reason for every guard."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from guardopt.deadline import EFFORT, Deadline
from guardopt.doubt.doubtful_numbers import PRICE_DOUBT, WEIGHT, Beliefs, Counts
from guardopt.errors import OutOfTimeError, Parameter, Problem, SolverError
from guardopt.model.aims import GAP, OUTLAY, TIME_LIMIT, Aim, Best, Limits, aim_named
from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import MEASURES
from guardopt.questions.alternatives import next_best, on_fresh_falls, on_fresh_tails
from guardopt.questions.arguments import (
    budget_cents,
    with_problems,
    wrong_aim,
    wrong_budget,
    wrong_effort,
    wrong_gap,
    wrong_time_limit,
    wrong_weight,
)
from guardopt.questions.bench import TAIL, Bench
from guardopt.questions.bill import forced_guards
from guardopt.questions.budgets import Step, curve
from guardopt.questions.explanation.question import Question
from guardopt.questions.explanation.reasons import sentence
from guardopt.questions.explanation.verdicts import Verdict, explain
from guardopt.questions.plan_result import Plan
from guardopt.simulation.pricing import Prices, price
from guardopt.simulation.sampling import Stratum

if TYPE_CHECKING:
    from guardopt.questions.measured.kit_lying import KitLying

NO_LIMIT = math.inf
"""A budget without limit, where the scenario has one."""

MOST_PRICE_DOUBT = 2.0

STEPS_FOR_REASONS = 300
"""Steps of the budget curve that reasons look at; a curve with more is left out, and the reasons say so."""

RECOMPUTED = 1e-7
"""Relative difference at which the planner's measure of a kit and its own price on the same falls disagree."""


def plan(
    subject: Scenario | Bench,
    *,
    budget: float | None = None,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    tail: float = TAIL,
    gap: float = GAP,
    effort: int = EFFORT,
    time_limit: float | None = TIME_LIMIT,
    solver: str = "HiGHS",
    reasons: bool = True,
    sure: int | None = None,
    weight: float = WEIGHT,
    price_doubt: float = PRICE_DOUBT,
    beliefs: Mapping[str, Counts] | None = None,
    break_even: bool = False,
    workers: int = 1,
    progress: Callable[[str], None] = lambda _: None,
) -> Plan:
    """Choose the guards to buy.

    Parameters
    ----------
    subject
        A scenario, or a bench that holds one; the latter has its own tail and solver.
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
    effort
        Nodes that each search may look at. A search that stops there stops there on every run.
    time_limit
        The last resort: seconds for the search, the reasons and the doubts; the best kit found by then comes back with
        its honest gap, numbers in the reasons that could not be worked out are None, and sureness and break-even say
        how far they got. None lifts the limit.
    solver
        Name of a solver that PuLP knows, to be asked for a second opinion; the proof is always our own.
    reasons
        Whether to say of each guard why it was picked or left out.
    sure
        How many draws of all numbers that are guesses to try the kit under; None: none.
    weight, price_doubt, beliefs
        For `sure`: how many falls a guessed chance is worth; the standard deviation of prices of parts and of hours, as
        a share of them; and chances that rest on more than a guess (`Learned.beliefs`).
    break_even
        Whether to find out between which multiples of the fall rates each guard is worth its price.
    workers
        For `sure`: processes of this machine that share the draws; the answer is the same. With more than one, what a
        program does at its start must stand under ``if __name__ == "__main__":``.
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
    >>> from guardopt.writing.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> made = guardopt.plan(scenario, budget=100)
    >>> made.buy, made.spend, made.status.value
    (['frame_slider.left', 'exhaust_slider'], 87.0, 'optimal')
    >>> made.saving_over_years > 5 * made.saving_over_years_se
    True
    """
    deadline = Deadline.after(time_limit, effort)
    bench = subject if isinstance(subject, Bench) else Bench(subject, tail, solver)
    scenario = bench.scenario
    problems = [*wrong_budget(budget), *wrong_aim(aim), *_wrong_tail(bench.tail)]
    problems += [*wrong_gap(gap), *wrong_effort(effort), *wrong_time_limit(time_limit), *_wrong_draws(sure)]
    problems += [*wrong_weight(weight), *_wrong_price_doubt(price_doubt)]
    forced = with_problems(problems, lambda: forced_guards(scenario, must, never))
    limits = Limits(budget_cents(scenario, budget), *forced)
    progress("simulating falls")
    sample, planner = bench.sample, bench.planner
    progress("looking for the best kit")
    second, kits = None, []
    if bench.solver.lower() != "highs":
        from guardopt.optimization.second_opinion import opinion

        progress(f"asking {bench.solver}")
        second = opinion(planner, aim_named(aim).measures[0], limits, bench.solver, gap=gap, deadline=deadline)
        kits = [] if second.kit is None else [second.kit]
    best = planner.best(aim_named(aim), limits, kits=kits, gap=gap, deadline=deadline)
    _recompute(planner, sample, aim_named(aim), best)
    verdicts: tuple[tuple[Verdict, str], ...] = ()
    steps: tuple[Step, ...] = ()
    if reasons:
        progress("working out the reasons")
        steps = curve(planner, aim_named(aim), limits, gap=gap, deadline=deadline, most_steps=STEPS_FOR_REASONS)
        _check_against(best, limits, steps, gap)
        question = Question(planner, aim_named(aim), limits, best, steps, gap, deadline)
        verdicts = tuple((one, sentence(question, one)) for one in explain(question, sample))
    doubts = None
    if sure is not None:
        from guardopt.doubt.best_kits import Question as Asked
        from guardopt.doubt.sureness import sureness

        asked = Asked(aim_named(aim), limits, bench.tail, best.kit, gap)
        believed = Beliefs(weight, price_doubt, beliefs or {})
        doubts = sureness(
            scenario,
            sample,
            asked,
            beliefs=believed,
            draws=sure,
            deadline=deadline,
            workers=workers,
            progress=progress,
        )
    worth = None
    if break_even:
        progress("looking for the falls from which guards are worth it")
        from guardopt.questions.break_even import break_even as find_break_even

        worth = find_break_even(planner, limits, gap=gap, deadline=deadline)
    progress("pricing the kit on fresh falls")
    others = next_best(planner, aim_named(aim), limits, best, gap=gap, deadline=deadline) if reasons else []
    kits = [frozenset[str](), scenario.stock, best.kit, *(other.kit for other in others)]
    prices = price(planner.bike, bench.fresh(kits), kits)
    if not aim_named(aim).adds_up:
        alternatives = on_fresh_tails(planner.bike, bench.fresh(kits), bench.tail, best, others)
    else:
        alternatives = on_fresh_falls(scenario, aim_named(aim), prices, 2, others, 3, best.objective)
    made = Plan(
        scenario,
        aim_named(aim),
        limits.budget_cents,
        bench.tail,
        best,
        prices,
        verdicts,
        steps,
        alternatives=alternatives,
        sureness=doubts,
        break_even=worth,
        lying=_lying(scenario, best.kit, prices),
        second_opinion=second,
    )
    if not made.aim.counts_price and made.aim.adds_up and reasons and made.loses:
        with suppress(OutOfTimeError):
            pays = planner.best_or_none(OUTLAY, limits, gap=gap, deadline=deadline)
            made = replace(made, paying=None if pays is None or not pays.proven else pays.kit)
    return made


def _lying(scenario: Scenario, kit: Kit, prices: Prices) -> KitLying | None:
    """How the bike lies with the kit; None if nothing was measured."""
    if not scenario.points:
        return None
    from guardopt.questions.measured.kit_lying import kit_lying

    return kit_lying(scenario, kit, prices.bills[2], prices.standard_error(2))


def _wrong_tail(tail: float) -> list[Problem]:
    if 0.0 < tail <= 1.0:
        return []
    return [Problem(Parameter("tail"), f"found {tail:g}, expected a share above 0 and at most 1")]


def _wrong_draws(draws: int | None) -> list[Problem]:
    if draws is None or draws >= 1:
        return []
    return [Problem(Parameter("sure"), f"found {draws}, expected at least 1")]


def _wrong_price_doubt(share: float) -> list[Problem]:
    if 0.0 <= share <= MOST_PRICE_DOUBT:
        return []
    return [Problem(Parameter("price_doubt"), f"found {share:g}, expected a share from 0 to {MOST_PRICE_DOUBT:g}")]


def _check_against(best: Best, limits: Limits, steps: Sequence[Step], gap: float) -> None:
    """Compare with the budget curve, which is found another way where kits are few; refuse a kit that it beats."""
    budget = math.inf if limits.budget_cents is None else limits.budget_cents
    reached = [step.best.objective for step in steps if step.budget_cents <= budget]
    if reached and best.proven and reached[-1] < best.bound - gap * max(1.0, abs(best.bound)) - HALF_A_CENT:
        raise SolverError(
            f"the solver called {best.bound:.4f} the least there can be, but a kit was found at {reached[-1]:.4f}"
        )


def _recompute(planner: Planner, sample: Sequence[Stratum], aim: Aim, best: Best) -> None:
    """Work out the objective again from the kit alone, by plain pricing; refuse to report one that differs."""
    again = MEASURES[aim.measures[0]].again(planner, sample, best.kit)
    if abs(again - best.objective) > RECOMPUTED * max(1.0, abs(again)):
        raise SolverError(
            f"the kit's objective came out as {best.objective:.6f}, but pricing it again gives {again:.6f}"
        )
