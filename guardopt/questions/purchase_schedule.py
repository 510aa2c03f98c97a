"""In which order to buy while saving up, so that the falls on the way and after cost least."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal

import numpy as np

from guardopt.arrays import Floats
from guardopt.deadline import EFFORT, Deadline
from guardopt.errors import InputError, Parameter, Problem
from guardopt.model.aims import TIME_LIMIT, Aim, Limits
from guardopt.model.pieces import HALF_A_CENT, Kit, in_cents
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST
from guardopt.questions.arguments import adding_aim, with_problems, wrong_effort, wrong_time_limit
from guardopt.questions.bench import Bench, on_bench
from guardopt.questions.bill import forced_guards, in_order
from guardopt.questions.schedule_result import BuyingOrder, Purchase
from guardopt.scheduling.best_course import best_course, course_cost, spent_cents
from guardopt.scheduling.lots import Course, Saving, money_in_months
from guardopt.scheduling.on_offer import fetched_cents

MOST_MONTHS = 60

GAP = 1e-4
"""Relative gap at which a course of buying counts as proven best: a month's choice moves the years' cost by little."""


def order(
    subject: Scenario | Bench,
    put_by: float,
    *,
    months: int | None = None,
    in_hand: float = 0.0,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    effort: int = EFFORT,
    time_limit: float | None = TIME_LIMIT,
) -> BuyingOrder:
    """Find out in which month to buy which guard, and to sell which owned one, no step making falls dearer.

    An owned guard is sold only in a month that leaves falls no dearer, dislikes counted: with what takes its place, or
    where it costs nothing to do without it. What was bought is never sold. An owned guard that is kept counts with its
    resale at the end.

    Parameters
    ----------
    subject
        A scenario, or a bench that holds one.
    put_by, in_hand
        What can be put by each month, and what there is already, in units of the currency.
    months
        For how many months money is put by. Default: until it reaches the scenario's budget, or buys all that money
        can do where there is no budget; five years at most, and not longer than the bike is kept.
    aim
        ``bills``, or ``outlay`` to count what is paid for guards as well, resale taken off.
    must, never
        Guards that have to be on the bike in the end, on it from when they are in hand and fit, and guards that are
        never on it; an id without a side stands for all its sides. A step that a forced guard asks for may make falls
        dearer.
    effort
        How often the program over courses is solved at most; where there are too many kits to list, nodes of the
        searches for the best kits of the months' money. The answer depends on it, and not on how busy the machine is.
    time_limit
        Seconds after which the best course so far is returned: the last resort. None lifts the limit.

    Raises
    ------
    InputError
        An amount is below 0, the aim is another, an id is unknown, or nothing would ever be saved.
    NoKitError
        What is forced in cannot be paid for by then, or not be fitted.
    OutOfTimeError
        The time was too short to find out what all that money can do costs.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.writing.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> course = guardopt.order(scenario, 30, months=4)
    >>> [(step.month, step.buy) for step in course.steps]
    [(2, ('frame_slider.left',)), (3, ('exhaust_slider',)), (4, ('bar_slider.left',))]
    >>> course.cost <= course.cost_if_waiting
    True
    """
    bench = on_bench(subject)
    scenario = bench.scenario
    problems, forced = _problems(put_by, in_hand, months, effort, time_limit), (frozenset[str](), frozenset[str]())
    try:
        forced = forced_guards(scenario, must, never)
    except InputError as error:
        problems += error.problems
    wanted = with_problems(problems, lambda: adding_aim(aim))
    deadline, planner = Deadline.after(time_limit, effort), bench.planner
    if months is None:
        count = _months(planner, wanted, Limits(None, *forced), put_by, in_hand, deadline)
    else:
        count = min(months, math.floor(scenario.years * 12))
    saving = saving_for(scenario, wanted, put_by, in_hand, count)
    found, cost = best_course(planner, wanted, saving, deadline, must=forced[0], never=forced[1])
    course = found.course
    waiting, paid_at = _waiting(scenario, saving, course, found.start)
    cost_if_waiting = course_cost(planner, wanted, saving, waiting)
    if cost_if_waiting < cost:
        # Only where the search had to stop: waiting is a course like any other.
        course, cost = waiting, cost_if_waiting
    bound = min(found.bound, cost)
    return BuyingOrder(
        scenario=scenario,
        aim=wanted,
        put_by=put_by,
        in_hand=in_hand,
        months=count,
        steps=_steps(planner, saving, course),
        losing=tuple(in_order(scenario, _losing(planner, course.fitted[-1]))),
        cost=cost,
        bound=bound,
        cost_if_waiting=cost_if_waiting,
        wait_months=paid_at,
        proven=cost - bound <= max(GAP * abs(cost), HALF_A_CENT),
        is_out_of_time=deadline.is_over,
    )


def _problems(
    put_by: float, in_hand: float, months: int | None, effort: int, time_limit: float | None
) -> list[Problem]:
    """Everything wrong with what was asked."""
    problems = []
    for where, amount in ((Parameter("put_by"), put_by), (Parameter("in_hand"), in_hand)):
        if not 0.0 <= amount < math.inf:
            problems.append(Problem(where, f"found {amount:g}, expected an amount of at least 0"))
    if not problems and put_by == 0.0 and in_hand == 0.0:
        problems.append(Problem(Parameter("put_by"), "found 0 with nothing saved already, expected money to spend"))
    if months is not None and not 0 <= months <= MOST_MONTHS:
        problems.append(Problem(Parameter("months"), f"found {months}, expected 0 to {MOST_MONTHS}"))
    return [*problems, *wrong_effort(effort), *wrong_time_limit(time_limit)]


def _months(planner: Planner, aim: Aim, limits: Limits, put_by: float, in_hand: float, deadline: Deadline) -> int:
    """Months until the money saved reaches the budget, or all that money can do."""
    scenario = planner.scenario
    goal = scenario.budget_cents
    if goal is None:
        goal = scenario.spend_cents(planner.best(aim, limits, deadline=deadline).kit)
    kept = math.floor(scenario.years * 12)
    if put_by == 0.0:
        return 0
    return max(0, min(MOST_MONTHS, kept, math.ceil((goal / 100 - in_hand) / put_by - 1e-9)))


def saving_for(scenario: Scenario, aim: Aim, put_by: float, in_hand: float, months: int) -> Saving:
    """How money comes in, and what time is worth: payments count where the aim counts prices.

    Parameters
    ----------
    scenario, aim
        Its years and discount rate; what is to be least.
    put_by, in_hand
        What is put by each month, the first time a month from now, and what there is already.
    months
        For how many months.
    """
    purse = [in_cents(Decimal(str(in_hand)) + Decimal(str(put_by)) * month) for month in range(months + 1)]
    worth = money_in_months(scenario, months + 1) if aim.counts_price else np.zeros(months + 1)
    return Saving(np.array(purse), _month_weights(scenario, months), worth)


def _month_weights(scenario: Scenario, months: int) -> Floats:
    """``(months + 1,)``: share of the years' present value in each month, the last one with all that follows."""
    edges = [*(month / 12 for month in range(months + 1)), scenario.years]
    if scenario.discount_rate == 0.0:
        until = np.array(edges)
    else:
        until = -np.expm1(-math.log1p(scenario.discount_rate) * np.array(edges))
    shares: Floats = np.maximum(np.diff(until) / until[-1], 0.0)
    return shares


def _waiting(scenario: Scenario, saving: Saving, course: Course, start: Kit) -> tuple[Course, int]:
    """The course that buys the whole of the last kit as soon as it can be paid for, and nothing before; and when.

    An offer may make all that was bought cheaper than the part of it that ends up on the bike. What is sold in the end
    is sold with it.
    """
    final, sold = course.fitted[-1], course.sold[-1]
    lot = min((scenario.stock | final, course.bought[-1]), key=lambda bought: scenario.bought_cents(bought))
    cents = scenario.bought_cents(lot) - fetched_cents(scenario, sold)
    paid_at = int(np.searchsorted(saving.purse, cents))
    later = len(course.bought) - paid_at
    bought = (scenario.stock,) * paid_at + (lot,) * later
    return Course(bought, (frozenset(),) * paid_at + (sold,) * later, (start,) * paid_at + (final,) * later), paid_at


def _losing(planner: Planner, kit: Kit) -> Kit:
    """The guards to buy that save less than they add to the price, beside the rest of the last kit."""
    scenario = planner.scenario
    without = {name: scenario.supported(kit - {name}) for name in kit - scenario.stock}
    return frozenset(
        name
        for name, rest in without.items()
        if _cost_of_falls(planner, rest) - _cost_of_falls(planner, kit)
        < scenario.laid_out(kit) - scenario.laid_out(rest) - HALF_A_CENT
    )


def _steps(planner: Planner, saving: Saving, course: Course) -> tuple[Purchase, ...]:
    """The months in which something is bought or sold, or changed about the bike."""
    scenario = planner.scenario
    spent = spent_cents(scenario, course)
    steps, before, gone, on, paid = [], scenario.stock, frozenset[str](), scenario.stock, 0
    for month, (bought, sold, fitted) in enumerate(zip(course.bought, course.sold, course.fitted, strict=True)):
        if bought != before or sold != gone or fitted != on:
            steps.append(
                Purchase(
                    month=month,
                    buy=tuple(in_order(scenario, bought - before)),
                    take_off=tuple(in_order(scenario, on - fitted)),
                    put_on=tuple(in_order(scenario, fitted - on)),
                    spend=(spent[month] - paid) / 100,
                    purse=(int(saving.purse[month]) - spent[month]) / 100,
                    yearly_cost=_cost_of_falls(planner, fitted) / scenario.annuity,
                    kit=fitted,
                    sell=tuple(in_order(scenario, sold - gone)),
                    fetches=fetched_cents(scenario, sold - gone) / 100,
                )
            )
        before, gone, on, paid = bought, sold, fitted, spent[month]
    return tuple(steps)


def _cost_of_falls(planner: Planner, kit: Kit) -> float:
    """What falls cost over the years, dislikes left out."""
    return planner.measure(COST, kit) - planner.scenario.dislike(kit)
