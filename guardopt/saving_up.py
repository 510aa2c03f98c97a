"""In which order to buy while saving up, so that the falls on the way and after cost least."""

from __future__ import annotations

import math
import time
from decimal import Decimal

import numpy as np

from guardopt.aims import TIME_LIMIT, Aim, Limits, Measure
from guardopt.arrays import Floats
from guardopt.asking import adding_aim, with_problems, wrong_time_limit
from guardopt.billing import in_order
from guardopt.buying_order import BuyingOrder, Purchase
from guardopt.errors import Problem
from guardopt.month_program import MonthProgram, MonthsAnswer, money_in_months
from guardopt.pieces import HALF_A_CENT, Kit, in_cents
from guardopt.planner import Planner
from guardopt.scenario import Scenario
from guardopt.workbench import Workbench, on_bench

MOST_MONTHS = 60

GAP = 1e-4
"""Relative gap at which a course of buying counts as proven best: a month's choice moves the years' cost by little."""


def order(
    subject: Scenario | Workbench,
    monthly: float,
    *,
    months: int | None = None,
    now: float = 0.0,
    aim: str = "bills",
    time_limit: float | None = TIME_LIMIT,
) -> BuyingOrder:
    """Find out in which month to buy which guard; nothing is ever sold back.

    Parameters
    ----------
    subject
        A scenario, or a workbench that holds one.
    monthly, now
        What can be put by each month, and what there is already, in units of the currency.
    months
        For how many months money is put by. Default: until it reaches the scenario's budget, or buys all that money
        can do where there is no budget; five years at most, and not longer than the bike is kept.
    aim
        ``bills``, or ``outlay`` to count what is paid for guards as well, resale taken off.
    time_limit
        Seconds after which the best course so far is returned. None lifts the limit.

    Raises
    ------
    InputError
        An amount is below 0, the aim is another, or nothing would ever be saved.
    OutOfTimeError
        The time was too short to find out what all that money can do costs.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.starter import write_starter
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
    wanted = with_problems(_problems(monthly, now, months, time_limit), lambda: adding_aim(aim))
    end = None if time_limit is None else time.monotonic() + time_limit
    bench = on_bench(subject)
    scenario, planner = bench.scenario, bench.planner
    if months is None:
        count = _months(planner, wanted, monthly, now, end)
    else:
        count = min(months, math.floor(scenario.years * 12))
    purse = [in_cents(Decimal(str(now)) + Decimal(str(monthly)) * t) for t in range(count + 1)]
    search = _Search(planner, wanted, purse, _weights(scenario, count), bench.solver, end)
    found, bound, proven = search.run(end)
    steps = search.steps(found)
    final = found.fitted[-1]
    # An offer may make all that was bought cheaper than the part of it that ends up on the bike.
    paid_at = _first(purse, min(scenario.spend_cents(final), scenario.spend_cents(found.bought[-1])))
    later = count + 1 - paid_at
    waiting = MonthsAnswer(
        bought=(scenario.stock,) * paid_at + (scenario.stock | final,) * later,
        fitted=(search.start,) * paid_at + (final,) * later,
        bound=None,
    )
    cost = search.cost(found)
    return BuyingOrder(
        scenario=scenario,
        aim=wanted,
        monthly=monthly,
        now=now,
        months=count,
        steps=steps,
        losing=tuple(in_order(scenario, search.losing(final))),
        cost=cost,
        bound=min(bound, cost),
        cost_if_waiting=search.cost(waiting),
        wait_months=paid_at,
        proven=proven,
    )


def _problems(monthly: float, now: float, months: int | None, time_limit: float | None) -> list[Problem]:
    """Everything wrong with what was asked."""
    problems = []
    for where, amount in (("--monthly", monthly), ("--now", now)):
        if not 0.0 <= amount < math.inf:
            problems.append(Problem(where, f"found {amount:g}, expected an amount of at least 0"))
    if not problems and monthly == 0.0 and now == 0.0:
        problems.append(Problem("--monthly", "found 0 with nothing saved already, expected money to spend"))
    if months is not None and not 0 <= months <= MOST_MONTHS:
        problems.append(Problem("--months", f"found {months}, expected 0 to {MOST_MONTHS}"))
    return [*problems, *wrong_time_limit(time_limit)]


def _months(planner: Planner, aim: Aim, monthly: float, now: float, end: float | None) -> int:
    """Months until the money saved reaches the budget, or all that money can do."""
    scenario = planner.scenario
    goal = scenario.budget_cents
    if goal is None:
        goal = scenario.spend_cents(planner.best(aim, Limits(), seconds=_left_until(end)).kit)
    kept = math.floor(scenario.years * 12)
    if monthly == 0.0:
        return 0
    return max(0, min(MOST_MONTHS, kept, math.ceil((goal / 100 - now) / monthly - 1e-9)))


def _weights(scenario: Scenario, months: int) -> Floats:
    """``(months + 1,)``: share of the years' present value in each month, the last one with all that follows."""
    edges = [*(month / 12 for month in range(months + 1)), scenario.years]
    if scenario.discount_rate == 0.0:
        until = np.array(edges)
    else:
        until = -np.expm1(-math.log1p(scenario.discount_rate) * np.array(edges))
    shares: Floats = np.diff(until) / until[-1]
    return shares


def _left_until(end: float | None) -> float | None:
    """Seconds until the search has to stop, a moment at least; None without limit."""
    return None if end is None else max(0.1, end - time.monotonic())


def _first(purse: list[int], spend: int) -> int:
    """The first month in which so much has been saved."""
    return next(month for month, saved in enumerate(purse) if saved >= spend)


class _Search:
    """The loop over months: solve, price every month's kit exactly, add the facts found, until bound and price meet."""

    def __init__(
        self, planner: Planner, aim: Aim, purse: list[int], weights: Floats, solver: str, end: float | None
    ) -> None:
        self._planner, self._aim, self._purse, self._weights = planner, aim, purse, weights
        self._program = MonthProgram(planner.scenario, planner.terms, weights, purse, solver, aim)
        self._told: set[Kit] = set()
        self.start = self._as_it_stands(end)

    def _as_it_stands(self, end: float | None) -> Kit:
        """What is on the bike before anything is bought: the owner's guards, or the best if all weigh too much."""
        scenario = self._planner.scenario
        if scenario.is_within_weight(scenario.stock):
            return scenario.stock
        return self._planner.best(Aim.BILLS, Limits(0), seconds=_left_until(end)).kit

    def cost(self, course: MonthsAnswer) -> float:
        """What the aim measures over the years along a course."""
        costs = [self._planner.measure(Measure.COST, kit) for kit in course.fitted]
        paid = 0.0
        if self._aim is Aim.OUTLAY:
            scenario = self._planner.scenario
            cents = np.diff([0, *self._spent(list(course.bought))])
            paid = float(money_in_months(scenario, len(cents)) @ cents) / 100 - scenario.resale_value(course.bought[-1])
        return float(self._weights @ costs) + paid

    def losing(self, kit: Kit) -> Kit:
        """The guards to buy that save less than they add to the price, beside the rest of the last kit."""
        scenario = self._planner.scenario

        without = {name: scenario.supported(kit - {name}) for name in kit - scenario.stock}
        return frozenset(
            name
            for name, rest in without.items()
            if self._cost_of_falls(rest) - self._cost_of_falls(kit)
            < scenario.laid_out(kit) - scenario.laid_out(rest) - HALF_A_CENT
        )

    def run(self, end: float | None) -> tuple[MonthsAnswer, float, bool]:
        """The best course found, a bound, and whether they meet."""
        best = self._one_by_one(end)
        value, bound = self.cost(best), self._floor()
        for constant, slope in self._planner.known_facts:
            self._program.add_facts(constant, slope)
        for kit in {*best.fitted, *best.bought}:
            self._tell(kit)
        while value - bound > GAP * max(1.0, abs(value)):
            answer = self._program.solve(_left_until(end))
            if answer is None:
                break
            bound = max(bound, -math.inf if answer.bound is None else answer.bound)
            if self._is_allowed(answer) and self.cost(answer) < value:
                best, value = answer, self.cost(answer)
            news = [kit for kit in answer.fitted if self._tell(kit)]
            if not news or (end is not None and time.monotonic() >= end):
                break
        return best, bound, value - bound <= GAP * max(1.0, abs(value))

    def _floor(self) -> float:
        """A value that no course is below, known before anything is solved."""
        terms, scenario = self._planner.terms, self._planner.scenario
        least = float(terms.bundle_floor.sum() + np.minimum(terms.guard_cost, 0.0).sum() + terms.fixed_cost)
        return least - (scenario.resale_value(scenario.guard) if self._aim is Aim.OUTLAY else 0.0)

    def _tell(self, kit: Kit) -> bool:
        """Add the facts found at a kit; whether it is news."""
        if kit in self._told:
            return False
        self._told.add(kit)
        self._program.add_facts(*self._planner.bundled_facts(kit))
        return True

    def _one_by_one(self, end: float | None) -> MonthsAnswer:
        """A first course: wait for the best kit of each month's money, if it holds all that was bought before."""
        scenario = self._planner.scenario
        bought, fitted = [scenario.stock], [self.start]
        for saved in self._purse:
            best = self._planner.best_untied(self._aim, Limits(saved, must=bought[-1] & fitted[-1]), end=end)
            kit = best.kit if best is not None else fitted[-1]
            grown = bought[-1] | kit
            if self._spent([*bought[1:], grown])[-1] > saved:
                kit, grown = fitted[-1], bought[-1]
            bought.append(grown)
            fitted.append(kit)
        return MonthsAnswer(tuple(bought[1:]), tuple(fitted[1:]), None)

    def _spent(self, bought: list[Kit]) -> list[int]:
        """Cents spent by each month, offers taken in the month their guards are bought."""
        scenario, spent = self._planner.scenario, [0]
        before = scenario.stock
        for kit in bought:
            spent.append(spent[-1] + scenario.spend_cents(kit - before))
            before = kit
        return spent[1:]

    def _is_allowed(self, answer: MonthsAnswer) -> bool:
        """Recompute from the kits alone what the solver claims of them, money in whole cents."""
        scenario = self._planner.scenario
        grows = all(before <= after for before, after in zip(answer.bought, answer.bought[1:], strict=False))
        return (
            grows
            and all(
                not scenario.clashes(kit) and scenario.is_within_weight(kit) and kit <= bought
                for kit, bought in zip(answer.fitted, answer.bought, strict=True)
            )
            and all(spent <= saved for spent, saved in zip(self._spent(list(answer.bought)), self._purse, strict=True))
        )

    def steps(self, course: MonthsAnswer) -> tuple[Purchase, ...]:
        """The months in which something is bought, or taken off because falls cost less without it."""
        scenario = self._planner.scenario
        spent = self._spent(list(course.bought))
        steps, before, on, paid = [], scenario.stock, scenario.stock, 0
        for month, (bought, fitted) in enumerate(zip(course.bought, course.fitted, strict=True)):
            if (
                bought == before
                and fitted != on
                and self._cost_of_falls(on) - self._cost_of_falls(fitted) <= HALF_A_CENT
            ):
                fitted = on
            if bought != before or fitted != on:
                steps.append(
                    Purchase(
                        month=month,
                        buy=tuple(in_order(scenario, bought - before)),
                        take_off=tuple(in_order(scenario, on - fitted)),
                        spend=(spent[month] - paid) / 100,
                        purse=(self._purse[month] - spent[month]) / 100,
                        yearly_cost=self._cost_of_falls(fitted) / scenario.annuity,
                        kit=fitted,
                    )
                )
            before, on, paid = bought, fitted, spent[month]
        return tuple(steps)

    def _cost_of_falls(self, kit: Kit) -> float:
        """What falls cost over the years, dislikes left out."""
        return self._planner.measure(Measure.COST, kit) - self._planner.scenario.dislike(kit)
