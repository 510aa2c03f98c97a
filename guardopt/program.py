"""The integer program over the facts found so far.

minimise   cost, outlay, tail or spend
subject to spend = Σ_i spend_i x_i − Σ_o saving_o y_o ≤ budget
           cost ≥ Σ_b θ_b + ā Σ_f λ_f (fixed_f + Σ_i R_fi x_i) + Σ_i dislike_i x_i
           outlay ≥ cost + spend − (1+i)⁻ⁿ Σ_i resale_i price_i x_i
           θ_b ≥ constant_b − Σ_i slope_bi x_i          for every fact, likewise for tail
           one guard a mounting place, needs, not-withs, weight; y_o ≤ x_i for the guards of an offer,
           and each guard in one offer at most
           x_i, y_o ∈ {0, 1}
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pulp

from guardopt.aims import Limits, Measure
from guardopt.arrays import Floats, Ints
from guardopt.errors import NoKitError
from guardopt.scenario import Scenario
from guardopt.solving import Ended, dot, proven_bound, run

LESS_THAN_A_CENT = 0.0049
"""Budgets are loosened by this much for the solver, whose sums are rounded; a kit's spend is whole cents, so none that
is over the budget gets in, and none that meets it exactly is lost."""


@dataclass(frozen=True)
class Terms:
    """The numbers of the program that come from the sample, so that this module need not know how they were found.

    Attributes
    ----------
    bundle_floor
        ``(bundles,)``: the least that each θ can be. A bundle is a sum of groups, each at ā λ_f of its kind of fall.
    guard_cost
        ``(guards,)``: cost over the years of renewing a guard and of disliking it.
    fixed_cost
        Cost over the years of falls that no guard changes.
    """

    bundle_floor: Floats
    guard_cost: Floats
    fixed_cost: float


@dataclass(frozen=True)
class Answer:
    """What the solver said.

    Attributes
    ----------
    kit
        ``(guards,)`` between 0 and 1, rounded to 0 or 1 when the program was solved whole; None if it found none in
        the time allowed.
    bound
        A value that the measure cannot be below on the facts so far; None if the solver gave none.
    """

    kit: Floats | None
    bound: float | None


class Program:
    """The program of one scenario, to which facts are added as they are found.

    Parameters
    ----------
    scenario
        The guards on offer and what they cost.
    terms
        Numbers that come from the sample.
    solver
        Name of a solver that PuLP knows; HiGHS runs in this process.
    """

    def __init__(self, scenario: Scenario, terms: Terms, solver: str = "HiGHS") -> None:
        self._scenario = scenario
        self._solver = solver
        self._row = {guard.id: row for row, guard in enumerate(scenario.guards)}
        self._problem = pulp.LpProblem("guards", pulp.LpMinimize)
        self._add_variables(terms)
        self._add_money(terms)
        add_fitting_rules(self._problem, scenario, self._x)
        self._add_offers()

    def _add_variables(self, terms: Terms) -> None:
        new = self._problem.add_variable
        self._x = [new(f"x{row}", 0, 1, pulp.LpInteger) for row in range(len(self._scenario.guards))]
        self._y = [new(f"y{row}", 0, 1, pulp.LpInteger) for row in range(len(self._scenario.offers))]
        self._theta = [new(f"theta{row}", float(floor)) for row, floor in enumerate(terms.bundle_floor)]
        most = sum(guard.spend_cents for guard in self._scenario.guards) / 100
        self._measures = {
            Measure.COST: new("cost", 0.0),
            Measure.OUTLAY: new("outlay", -most - 1.0),
            Measure.TAIL: new("tail", 0.0),
            Measure.SPEND: new("spend", 0.0, most + 1.0),
        }
        self._most_spend = most + 1.0

    def _add_money(self, terms: Terms) -> None:
        scenario, measures = self._scenario, self._measures
        spend = dot([guard.spend_cents / 100 for guard in scenario.guards], self._x)
        saving = dot([scenario.offer_saving_cents(offer) / 100 for offer in scenario.offers], self._y)
        self._problem += measures[Measure.SPEND] - spend + saving == 0
        guards = dot(terms.guard_cost.tolist(), self._x)
        self._problem += measures[Measure.COST] - pulp.lpSum(self._theta) - guards >= terms.fixed_cost
        resale = dot([scenario.resale_value([guard.id]) for guard in scenario.guards], self._x)
        self._problem += measures[Measure.OUTLAY] - measures[Measure.COST] - measures[Measure.SPEND] + resale >= 0

    def _add_offers(self) -> None:
        sharing: dict[str, list[Any]] = {}
        for offer, y in zip(self._scenario.offers, self._y, strict=True):
            for name in self._scenario.bought_in(offer):
                sharing.setdefault(name, []).append(y)
        for name, offers in sharing.items():
            self._problem += pulp.lpSum(offers) - self._x[self._row[name]] <= 0

    def add_bundle_facts(self, bundles: Ints, constant: Floats, slope: Floats) -> None:
        """Add a fact θ ≥ constant − slope · x about each of these bundles.

        Parameters
        ----------
        bundles, constant, slope
            ``(facts,)``, ``(facts,)`` and ``(facts, guards)``.
        """
        for bundle, least, row in zip(bundles.tolist(), constant.tolist(), slope.tolist(), strict=True):
            self._problem += self._theta[bundle] + dot(row, self._x) >= least

    def add_tail_facts(self, constant: Floats, slope: Floats) -> None:
        """Add facts about the mean cost of the worst falls, shaped as for bundles."""
        for least, row in zip(constant.tolist(), slope.tolist(), strict=True):
            self._problem += self._measures[Measure.TAIL] + dot(row, self._x) >= least

    def exclude(self, kit: Floats) -> None:
        """Forbid one whole kit, which turned out not to be allowed when it was recomputed."""
        inside = [x for x, value in zip(self._x, kit, strict=True) if value]
        outside = [x for x, value in zip(self._x, kit, strict=True) if not value]
        self._problem += pulp.lpSum(inside) - pulp.lpSum(outside) <= len(inside) - 1

    def solve(self, measure: Measure, limits: Limits, *, whole: bool = True, seconds: float | None = None) -> Answer:
        """Minimise a measure over the kits allowed, on the facts so far.

        Parameters
        ----------
        measure
            What is minimised.
        limits
            Which kits are allowed.
        whole
            False relaxes the program: guards may be fitted in part.
        seconds
            Time allowed.

        Raises
        ------
        NoKitError
            No kit is allowed.
        SolverError
            The solver failed.
        """
        self._set_limits(limits)
        objective = self._measures[measure]
        if measure is Measure.SPEND:
            # Of kits that cost and save the same, one that leaves the owner's guards where they are.
            kept = [x for guard, x in zip(self._scenario.guards, self._x, strict=True) if guard.owned]
            objective = objective - 1e-5 * pulp.lpSum(kept)
        self._problem.setObjective(objective + 0)
        ended = run(self._problem, self._solver, whole=whole, seconds=seconds)
        if ended is Ended.INFEASIBLE:
            raise NoKitError("no kit satisfies the budget, the weight limit and what is forced in or out")
        bound = proven_bound(self._problem, self._solver, ended, objective, whole=whole)
        if ended is Ended.WITHOUT_ANSWER:
            return Answer(None, bound)
        kit = np.array([x.varValue or 0.0 for x in self._x])
        return Answer(kit.round() if whole else kit.clip(0.0, 1.0), bound)

    def _set_limits(self, limits: Limits) -> None:
        budget = limits.budget_cents
        ceilings = dict(limits.at_most)
        ceilings.setdefault(Measure.SPEND, self._most_spend)
        if budget is not None:
            ceilings[Measure.SPEND] = min(ceilings[Measure.SPEND], budget / 100 + LESS_THAN_A_CENT)
        for measure, variable in self._measures.items():
            variable.upBound = ceilings.get(measure)
        for guard, x in zip(self._scenario.guards, self._x, strict=True):
            x.lowBound = 1 if guard.id in limits.must else 0
            x.upBound = 0 if guard.id in limits.never else 1


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
