"""The same program stated in PuLP and solved by any solver that PuLP knows: a second opinion, never the proof.

minimise   a measure, linear in x, y, θ and the tail mean
subject to Σ_i spend_i x_i − Σ_o saving_o y_o − Σ_owned fetches_i ≤ budget
           θ_b ≥ constant_b − Σ_i slope_bi x_i          for every cut, likewise for tail
           one guard a mounting place, needs, not-withs, weight; y_o ≤ x_i for the guards of an offer,
           and each guard in one offer at most
           x_i, y_o ∈ {0, 1}

Money is divided by a power of two so that a solver's tolerances are relative ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pulp

from guardopt.arrays import Floats, Ints
from guardopt.errors import NoKitError
from guardopt.model.aims import Limits
from guardopt.model.scenario import Scenario
from guardopt.optimization.formulation import Terms
from guardopt.optimization.relaxation import power_of_two
from guardopt.optimization.solver import Ended, dot, proven_bound, run

LESS_THAN_A_CENT = 0.0049
"""Budgets are loosened by this much for the solver, whose sums are rounded; a kit's spend is whole cents, so none that
is over the budget gets in, and none that meets it exactly is lost."""


@dataclass(frozen=True)
class Answer:
    """What the solver said.

    Attributes
    ----------
    kit
        ``(guards,)`` of 0 and 1; None if it found none in the time allowed.
    bound
        A value that the measure is said not to be below on the cuts so far; None if the solver gave none.
    """

    kit: Floats | None
    bound: float | None


class Program:
    """The program of one scenario, to which cuts are added as they are found.

    Parameters
    ----------
    scenario
        The guards on offer and what they cost.
    terms
        Numbers that come from the sample.
    solver
        Name of a solver that PuLP knows; HiGHS runs in this process.
    """

    def __init__(self, scenario: Scenario, terms: Terms, solver: str) -> None:
        self._scenario = scenario
        self._solver = solver
        most = sum(abs(guard.gives_up_cents) for guard in scenario.guards) / 100
        falls = float(terms.ceiling.sum()) + abs(terms.fixed_cost) + float(np.abs(terms.guard_cost).sum())
        self._unit = power_of_two(max(most, falls))
        self._row = {guard.id: row for row, guard in enumerate(scenario.guards)}
        self._problem = pulp.LpProblem("guards", pulp.LpMinimize)
        new = self._problem.add_variable
        self._x = [new(f"x{row}", 0, 1, pulp.LpInteger) for row in range(len(scenario.guards))]
        self._y = [new(f"y{row}", 0, 1, pulp.LpInteger) for row in range(len(scenario.offers))]
        self._theta = [new(f"theta{row}", float(floor) / self._unit) for row, floor in enumerate(terms.floor)]
        self._tail = new("tail", 0.0)
        self._spend = new("spend")
        spend = dot([guard.gives_up_cents / 100 / self._unit for guard in scenario.guards], self._x)
        sold = scenario.sold_cents(()) / 100 / self._unit
        saving = dot([scenario.offer_saving_cents(offer) / 100 / self._unit for offer in scenario.offers], self._y)
        self._problem += self._spend - spend + saving == -sold
        add_fitting_rules(self._problem, scenario, self._x)
        self._add_offers()

    def _add_offers(self) -> None:
        sharing: dict[str, list[Any]] = {}
        for offer, y in zip(self._scenario.offers, self._y, strict=True):
            for name in self._scenario.bought_in(offer):
                sharing.setdefault(name, []).append(y)
        for name, offers in sharing.items():
            self._problem += pulp.lpSum(offers) - self._x[self._row[name]] <= 0

    def add_bundle_cuts(self, bundles: Ints, constant: Floats, slope: Floats) -> None:
        """Add a cut θ ≥ constant − slope · x about each of these bundles.

        Parameters
        ----------
        bundles, constant, slope
            ``(cuts,)``, ``(cuts,)`` and ``(cuts, guards)``.
        """
        rows = zip(bundles.tolist(), (constant / self._unit).tolist(), (slope / self._unit).tolist(), strict=True)
        for bundle, least, row in rows:
            self._problem += self._theta[bundle] + dot(row, self._x) >= least

    def add_tail_cuts(self, constant: Floats, slope: Floats) -> None:
        """Add cuts about the mean cost of the worst falls, shaped as for bundles."""
        for least, row in zip((constant / self._unit).tolist(), (slope / self._unit).tolist(), strict=True):
            self._problem += self._tail + dot(row, self._x) >= least

    def solve(self, cost: Floats, constant: float, limits: Limits, *, seconds: float | None = None) -> Answer:
        """Minimise a measure over the kits allowed, on the cuts so far.

        Parameters
        ----------
        cost, constant
            What each column ``(guards + offers + bundles + 1,)`` adds to the measure, the tail mean last; a constant.
        limits
            Which kits are allowed; ceilings on measures are not looked at.
        seconds
            Time allowed.

        Raises
        ------
        NoKitError
            The solver says that no kit is allowed.
        SolverError
            The solver failed.
        """
        budget = limits.budget_cents
        self._spend.upBound = None if budget is None else (budget / 100 + LESS_THAN_A_CENT) / self._unit
        for guard, x in zip(self._scenario.guards, self._x, strict=True):
            x.lowBound = 1 if guard.id in limits.must else 0
            x.upBound = 0 if guard.id in limits.never else 1
        binaries = len(self._x) + len(self._y)
        scaled = np.concatenate([cost[:binaries] / self._unit, cost[binaries:]])
        objective = dot(scaled.tolist(), [*self._x, *self._y, *self._theta, self._tail]) + 0
        self._problem.setObjective(objective)
        ended = run(self._problem, self._solver, seconds=seconds)
        if ended is Ended.INFEASIBLE:
            raise NoKitError("no kit satisfies the budget, the weight limit and what is forced in or out")
        bound = proven_bound(self._problem, self._solver, ended, objective)
        bound = None if bound is None else bound * self._unit + constant
        if ended is Ended.WITHOUT_ANSWER:
            return Answer(None, bound)
        return Answer(np.array([x.varValue or 0.0 for x in self._x]).round(), bound)


def add_fitting_rules(problem: Any, scenario: Scenario, fitted: Sequence[Any]) -> None:
    """Add what can be on the bike at once: places, needs, not-withs and weight.

    Parameters
    ----------
    problem
        The PuLP problem.
    scenario
        The guards on offer.
    fitted
        ``(guards,)``: for each guard the variable that is 1 if it is on the bike.
    """
    variable = {guard.id: x for guard, x in zip(scenario.guards, fitted, strict=True)}
    places: dict[tuple[str, str], list[Any]] = {}
    for guard, x in zip(scenario.guards, fitted, strict=True):
        for place in guard.places:
            places.setdefault(place, []).append(x)
        for alternatives in guard.needs:
            problem += x - pulp.lpSum(variable[name] for name in alternatives) <= 0
        for name in guard.not_with:
            problem += x + variable[name] <= 1
    for rivals in places.values():
        if len(rivals) > 1:
            problem += pulp.lpSum(rivals) <= 1
    if scenario.max_weight_kg is not None:
        problem += dot([guard.weight_kg for guard in scenario.guards], fitted) <= scenario.max_weight_kg
