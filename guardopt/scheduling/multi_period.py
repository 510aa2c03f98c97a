"""The integer program over months, for buying while saving up; it shares the facts with the program for one purchase.

minimise   Σ_t w_t (Σ_b θ_bt + Σ_i guard cost_i x_it)
           for the aim outlay plus  Σ_t v_t (Σ_i spend_i (b_it − b_i,t−1) − Σ_o saving_o y_ot) − Σ_i resale_i b_iT
subject to x_it ≤ b_it,  b_it ≥ b_i,t−1                           what is bought stays bought, and may be left off
           Σ_i spend_i b_it − Σ_{s≤t} Σ_o saving_o y_os ≤ purse_t  purse: what has been saved by month t
           Σ_{o with i} y_ot ≤ b_it − b_i,t−1                      an offer is taken in the month its guards are bought
           θ_bt ≥ constant_b − Σ_i slope_bi x_it                   for every fact and month
           and in every month the rules of what can be on the bike at once

with w_t the share of the years' present value that falls into month t, the last month T standing for all the rest, and
v_t the present value of one unit of money in month t. Nothing is sold in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pulp

from guardopt.arrays import Floats
from guardopt.errors import NoKitError
from guardopt.model.aims import Aim
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.formulation import Terms
from guardopt.optimization.master_problem import LESS_THAN_A_CENT, add_fitting_rules
from guardopt.optimization.solver import Ended, dot, proven_bound, run
from guardopt.scheduling.lots import money_in_months


@dataclass(frozen=True)
class MonthsAnswer:
    """What the solver said: for each month the guards bought by then and those on the bike, and a bound on the cost."""

    bought: tuple[Kit, ...]
    fitted: tuple[Kit, ...]
    bound: float | None


class MonthProgram:
    """The program of one scenario over months.

    Parameters
    ----------
    scenario
        The guards on offer.
    terms
        Numbers that come from the sample.
    weights
        ``(months,)``: w_t, adding up to 1.
    purse_cents
        ``(months,)``: what has been saved by each month.
    solver
        Name of the solver.
    aim
        ``bills`` or ``outlay``.
    """

    def __init__(
        self, scenario: Scenario, terms: Terms, weights: Floats, purse_cents: Sequence[int], solver: str, aim: Aim
    ) -> None:
        self._scenario, self._solver = scenario, solver
        self._problem = pulp.LpProblem("months", pulp.LpMinimize)
        self._months = range(len(weights))
        new = self._problem.add_variable
        guards = range(len(scenario.guards))
        self._x = [[new(f"x{t}_{i}", 0, 1, pulp.LpInteger) for i in guards] for t in self._months]
        self._b = [[new(f"b{t}_{i}", 0, 1, pulp.LpInteger) for i in guards] for t in self._months]
        self._y = [[new(f"y{t}_{o}", 0, 1, pulp.LpInteger) for o in range(len(scenario.offers))] for t in self._months]
        self._theta = [
            [new(f"theta{t}_{b}", float(floor)) for b, floor in enumerate(terms.floor)] for t in self._months
        ]
        self._fixed_cost = terms.fixed_cost
        parts = []
        for t in self._months:
            weight = float(weights[t])
            parts += [(weight, theta) for theta in self._theta[t]]
            parts += [(weight * cost, x) for cost, x in zip(terms.guard_cost.tolist(), self._x[t], strict=True)]
        self._spend = [guard.spend_cents / 100 for guard in scenario.guards]
        self._saving = [scenario.offer_saving_cents(offer) / 100 for offer in scenario.offers]
        if aim.counts_price:
            worth = [*money_in_months(scenario, len(weights)).tolist(), 0.0]
            resale = [scenario.resale_value([guard.id]) for guard in scenario.guards]
            for t in self._months:
                # Each variable once: of one that is named twice only the last coefficient counts.
                back = resale if t == self._months[-1] else [0.0] * len(resale)
                paid = [(worth[t] - worth[t + 1]) * spend for spend in self._spend]
                parts += [(some - less, b) for some, less, b in zip(paid, back, self._b[t], strict=True)]
                parts += [(-worth[t] * saved, y) for saved, y in zip(self._saving, self._y[t], strict=True)]
        self._objective = dot([weight for weight, _ in parts], [variable for _, variable in parts])
        self._problem.setObjective(self._objective)
        self._add_buying(purse_cents)

    def _add_buying(self, purse_cents: Sequence[int]) -> None:
        scenario = self._scenario
        taken: list[Any] = []
        for t in self._months:
            add_fitting_rules(self._problem, scenario, self._x[t])
            for row, guard in enumerate(scenario.guards):
                self._problem += self._x[t][row] - self._b[t][row] <= 0
                before = self._b[t - 1][row] if t else (1 if guard.owned else 0)
                self._problem += self._b[t][row] - before >= 0
                offers = [
                    y
                    for offer, y in zip(scenario.offers, self._y[t], strict=True)
                    if guard.id in scenario.bought_in(offer)
                ]
                if offers:
                    self._problem += pulp.lpSum(offers) - self._b[t][row] + before <= 0
            taken += self._y[t]
            purse = purse_cents[t] / 100 + LESS_THAN_A_CENT
            self._problem += dot(self._spend, self._b[t]) - dot(self._saving * (t + 1), taken) <= purse

    def add_facts(self, constant: Floats, slope: Floats) -> None:
        """Add facts θ ≥ constant − slope · x for every month: ``(bundles,)`` and ``(bundles, guards)``."""
        for least, row, *thetas in zip(constant.tolist(), slope.tolist(), *self._theta, strict=True):
            if least + sum(max(0.0, -one) for one in row) <= 0.0:
                continue
            for t, theta in enumerate(thetas):
                self._problem += theta + dot(row, self._x[t]) >= least

    def solve(self, seconds: float | None) -> MonthsAnswer | None:
        """Find the cheapest course of buying on the facts so far; None if none was found in time.

        Raises
        ------
        NoKitError
            There is none.
        SolverError
            The solver failed.
        """
        ended = run(self._problem, self._solver, seconds=seconds)
        if ended is Ended.INFEASIBLE:
            raise NoKitError("no course of buying satisfies the weight limit and what is on the bike already")
        if ended is Ended.WITHOUT_ANSWER:
            return None
        bound = proven_bound(self._problem, self._solver, ended, self._objective)
        return MonthsAnswer(
            bought=tuple(self._kit(month) for month in self._b),
            fitted=tuple(self._kit(month) for month in self._x),
            bound=None if bound is None else bound + self._fixed_cost,
        )

    def _kit(self, variables: Sequence[Any]) -> Kit:
        pairs = zip(self._scenario.guards, variables, strict=True)
        return frozenset(guard.id for guard, variable in pairs if (variable.varValue or 0.0) > 0.5)
