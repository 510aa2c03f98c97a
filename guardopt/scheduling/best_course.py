"""The best course of buying while saving up, proven where all kits can be listed, and otherwise with an honest gap.

Everything is recomputed from the months' kits alone: the rules, the money in whole cents, and the cost.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from guardopt.cuts.enumeration import KitTable
from guardopt.deadline import Deadline
from guardopt.errors import NoKitError, OutOfTimeError, SolverError
from guardopt.model.aims import Aim
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST
from guardopt.scheduling.course_search import CourseSearch
from guardopt.scheduling.lots import TIE, Course, FoundCourse, Saving, is_dearer
from guardopt.scheduling.month_bounds import MonthByMonth, month_by_month
from guardopt.scheduling.on_offer import MOST_SALES, buyable, fetched_cents, sellable

CANDIDATES = 14
"""How many guards a course is made of where all are too many; fewer, where even their kits are too many to list."""

COURSE_GAP = 1e-9
"""Relative gap at which a course is the best one: so small that what was asked before does not choose between two."""

MONTH_GAP = 5e-3
"""Relative gap at which the best kit of a month's money is good enough to bound courses with."""


def best_course(
    planner: Planner,
    aim: Aim,
    saving: Saving,
    deadline: Deadline,
    *,
    must: Kit = frozenset(),
    never: Kit = frozenset(),
) -> tuple[FoundCourse, float]:
    """The best course, and what it costs.

    Parameters
    ----------
    planner
        The bike.
    aim, saving
        What is to be least, and how money comes in; of the aim only what is counted when a course is priced.
    deadline
        When to stop.
    must, never
        Guards that have to be on the bike in the end, and guards that are never on it.

    Raises
    ------
    NoKitError
        No course buys what has to be on the bike.
    OutOfTimeError
        None that does was found in time.
    SolverError
        Numbers that should agree do not.
    """
    found = _search(planner, saving, deadline, must, never)
    if found is None and deadline.is_over:
        raise OutOfTimeError("no order that buys what is forced in was found in the time allowed")
    if found is None:
        raise NoKitError(
            "no order buys all that is forced in: it costs more than is saved by then, or cannot be fitted"
        )
    check_course(planner, saving, found)
    cost = course_cost(planner, aim, saving, found.course)
    if found.bound > cost + TIE * max(1.0, abs(cost)):
        raise SolverError(f"a course of buying costs {cost!r}, which is below the bound of {found.bound!r}")
    return found, cost


def _search(planner: Planner, saving: Saving, deadline: Deadline, must: Kit, never: Kit) -> FoundCourse | None:
    scenario, years_of = planner.scenario, planner.years_of
    for_sale = sellable(scenario, must)
    guards = buyable(scenario, int(saving.purse[-1]) + fetched_cents(scenario, for_sale), never)
    if CourseSearch.is_small(scenario, guards, must) and len(for_sale) <= MOST_SALES:
        table = planner.listed() or planner.listed(frozenset(guards) | scenario.stock)
        if table is not None:
            search = CourseSearch(scenario, table, years_of, guards, saving, must=must, never=never)
            return search.run(COURSE_GAP, deadline)
    months = month_by_month(planner, saving, gap=MONTH_GAP, deadline=deadline)
    some, table = _promising(planner, saving, months, guards, must)
    if table is None:
        if not must <= scenario.stock:
            return None
        count = len(saving.weights)
        on = scenario.stock if scenario.is_within_weight(scenario.stock) else frozenset[str]()
        still = Course((scenario.stock,) * count, (frozenset(),) * count, (on,) * count)
        return FoundCourse(still, on, months.bound)
    found = CourseSearch(scenario, table, years_of, some, saving, must=must, never=never).run(COURSE_GAP, deadline)
    return None if found is None else FoundCourse(found.course, found.start, months.bound)


def _promising(
    planner: Planner, saving: Saving, months: MonthByMonth, guards: list[str], must: Kit
) -> tuple[list[str], KitTable | None]:
    """The guards forced in and those in the best kits of most of the time, and every kit of these and the owner's."""
    scenario = planner.scenario
    share = dict.fromkeys(guards, 0.0)
    for kit, weight in zip(months.kits, saving.weights.tolist(), strict=True):
        for name in (kit or frozenset()) & share.keys():
            share[name] += weight
    for most in range(CANDIDATES, -1, -1):
        best = must | set(sorted((name for name in guards if share[name]), key=lambda name: -share[name])[:most])
        some = [name for name in guards if name in best]
        is_small = CourseSearch.is_small(scenario, some, must)
        table = planner.listed(frozenset(some) | scenario.stock) if is_small else None
        if table is not None:
            return some, table
    return [], None


def spent_cents(scenario: Scenario, course: Course) -> list[int]:
    """Cents spent by each month, less what was sold; offers taken in the month their guards are bought."""
    spent, paid, before = [], 0, scenario.stock
    for bought, sold in zip(course.bought, course.sold, strict=True):
        paid += scenario.bought_cents(bought - before)
        before = bought
        spent.append(paid - fetched_cents(scenario, sold))
    return spent


def course_cost(planner: Planner, aim: Aim, saving: Saving, course: Course) -> float:
    """What an aim measures over the years along a course, recomputed from its kits."""
    costs = [planner.measure(COST, kit) for kit in course.fitted]
    paid = 0.0
    if aim.counts_price:
        scenario = planner.scenario
        cents = np.diff([0, *spent_cents(scenario, course)])
        paid = float(saving.worth @ cents) / 100 - scenario.resale_value(course.bought[-1] - course.sold[-1])
    return float(saving.weights @ costs) + paid


def check_course(planner: Planner, saving: Saving, found: FoundCourse) -> None:
    """Check that a course keeps every rule, money in whole cents, and that nothing is sold that makes falls dearer.

    Raises
    ------
    SolverError
        It does not.
    """
    scenario, course = planner.scenario, found.course
    for start, kits in ((scenario.stock, course.bought), (frozenset[str](), course.sold)):
        if not all(before <= after for before, after in pairwise((start, *kits))):
            raise SolverError("a course of buying takes back what it bought or sold")
    if not course.sold[-1] <= scenario.stock:
        raise SolverError("a course of buying sells what it bought")
    for kit, bought, sold in zip(course.fitted, course.bought, course.sold, strict=True):
        if scenario.clashes(kit) or not scenario.is_within_weight(kit) or not kit <= bought - sold:
            raise SolverError(f"a course of buying has a kit that cannot be fitted: {', '.join(sorted(kit))}")
    falls = [planner.measure(COST, kit) for kit in (found.start, *course.fitted)]
    sales = pairwise((frozenset[str](), *course.sold))
    for (before, after), (sold_before, sold_after) in zip(pairwise(falls), sales, strict=True):
        if sold_before != sold_after and is_dearer(after - before, before):
            raise SolverError("a course of buying makes falls dearer by what it sells")
    spent = spent_cents(scenario, course)
    if any(paid > saved for paid, saved in zip(spent, saving.purse.tolist(), strict=True)):
        raise SolverError("a course of buying spends more than is saved by then")
