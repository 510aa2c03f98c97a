"""Ways to choose a kit for a budget, all on the same simulated falls: ours, the plain program, heuristics, trying all.

Each takes a `Case` and returns an `Outcome`. Costs are over the years and exact on the sample.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pulp

from guardopt.arrays import Floats
from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.kit_lists import legal_kits, spends
from guardopt.deadline import Deadline
from guardopt.model.aims import Aim, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.master_problem import add_fitting_rules
from guardopt.optimization.solver import dot
from guardopt.simulation.batch_pricing import mean_renewals
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price
from guardopt.simulation.reduction import reduce_falls
from guardopt.simulation.sampling import Stratum, draw


@dataclass(frozen=True)
class Outcome:
    """A kit, what falls cost with it, and what no kit is proven to get below; −∞ if nothing is proven."""

    kit: Kit
    cost: float
    bound: float = -math.inf

    @property
    def gap(self) -> float:
        """(cost − bound) / cost."""
        return (self.cost - self.bound) / max(1.0, self.cost)


@dataclass(frozen=True)
class Case:
    """A scenario, a budget in cents and the falls that all contenders are given."""

    scenario: Scenario
    budget_cents: int

    @cached_property
    def sample(self) -> list[Stratum]:
        """The simulated falls."""
        return list(draw(self.scenario, self.scenario.falls_sampled, self.scenario.seed, "plan"))

    @cached_property
    def rates(self) -> Floats:
        """``(kinds of fall,)``: ā λ_f."""
        return self.scenario.annuity * np.array([fall.per_year for fall in self.scenario.falls])

    @cached_property
    def finder(self) -> FactFinder:
        """Prices kits quickly: the cost at a kit is what the facts found there say there."""
        return FactFinder(Bike(self.scenario), self.sample)

    def cost(self, kit: Kit) -> float:
        """What falls cost over the years with a kit, exact on the sample."""
        finder = self.finder
        x = Bike(self.scenario).kit_array(kit).astype(float)
        says = np.bincount(finder.group_fall, finder.at(x).at(x), self.rates.size)
        return float(self.rates @ (finder.fixed_cost + says + finder.renewals @ x))

    def allows(self, kit: Kit) -> bool:
        """Whether the kit can be fitted and paid for."""
        scenario = self.scenario
        return (
            not scenario.clashes(kit)
            and scenario.is_within_weight(kit)
            and scenario.spend_cents(kit) <= self.budget_cents
        )


def ours(case: Case, gap: float = 1e-6, seconds: float | None = None) -> Outcome:
    """The tree with cuts and safe bounds."""
    planner = Planner(case.scenario, case.sample)
    best = planner.best(Aim.BILLS, Limits(case.budget_cents), gap=gap, deadline=Deadline.after(seconds))
    return Outcome(best.kit, best.objective, best.bound)


def plain_program(case: Case, gap: float = 1e-6, seconds: float = 300.0, solver: str = "HiGHS") -> Outcome | None:
    """One integer program with variables for every simulated fall: the textbook sample average approximation.

    A fall costs at least its bill, or the cap if its own 0-1 variable says that the cap is reached. None if the solver
    found no kit in the time allowed.
    """
    scenario, bike = case.scenario, Bike(case.scenario)
    reduced = reduce_falls(bike, case.sample, keep_all=True)
    falls, items, cap = reduced.kept, reduced.kept_items, scenario.cap
    problem = pulp.LpProblem("plain", pulp.LpMinimize)
    x = [problem.add_variable(f"x{row}", 0, 1, pulp.LpInteger) for row in range(len(scenario.guards))]
    add_fitting_rules(problem, scenario, x)
    problem += dot([guard.spend_cents / 100 for guard in scenario.guards], x) <= case.budget_cents / 100
    together: dict[tuple[int, ...], Any] = {}
    for _, guards in bike.covers:
        if len(guards) > 1 and guards not in together:
            together[guards] = problem.add_variable(f"y{len(together)}", 0, 1)
            for row in guards:
                problem += together[guards] - x[row] <= 0
    holds = [x[guards[0]] if len(guards) == 1 else together[guards] for _, guards in bike.covers]
    against: list[list[int]] = [[] for _ in range(items.strike_item.size)]
    for strike, cover in zip(items.against_strike.tolist(), items.against_cover.tolist(), strict=True):
        against[strike].append(cover)
    incurred = [problem.add_variable(f"u{item}", 0, 1) for item in range(items.cost.size)]
    for item, covers in zip(items.strike_item.tolist(), against, strict=True):
        problem += incurred[item] + pulp.lpSum(holds[cover] for cover in set(covers)) >= 1
    cost = [problem.add_variable(f"cost{row}", float(base)) for row, base in enumerate(falls.base)]
    bill: list[list[tuple[Any, float]]] = [[] for _ in cost]
    for item, owner in enumerate(items.owner.tolist()):
        bill[owner].append((incurred[item], float(items.cost[item])))
    for row, (base, bare) in enumerate(zip(falls.base.tolist(), falls.bare.tolist(), strict=True)):
        if not bill[row]:
            continue
        spared = dot([amount for _, amount in bill[row]], [variable for variable, _ in bill[row]])
        if bare > cap:
            is_capped = problem.add_variable(f"z{row}", 0, 1, pulp.LpInteger)
            problem += cost[row] - spared + (bare - cap) * is_capped >= base
            problem += cost[row] - cap * is_capped >= 0
        else:
            problem += cost[row] - spared >= base
    weights = case.rates[falls.fall] * falls.weight
    renewals = case.rates @ mean_renewals(bike, case.sample)
    fixed = float(case.rates @ reduced.fixed_cost)
    problem.setObjective(dot(weights.tolist(), cost) + dot(renewals.tolist(), x) + fixed)
    if solver == "HiGHS":
        run: Any = pulp.HiGHS(msg=False, gapRel=gap, timeLimit=seconds, threads=1)
    else:
        run = pulp.getSolver(solver, msg=False, gapRel=gap, timeLimit=seconds)
    problem.solve(run)
    if any(one.varValue is None for one in x) or problem.sol_status not in (1, 2):
        return None
    kit = frozenset(guard.id for guard, one in zip(scenario.guards, x, strict=True) if (one.varValue or 0.0) > 0.5)
    if not case.allows(kit):
        return None
    model = getattr(problem, "solverModel", None)
    is_proven = problem.sol_status == 1
    bound = float(model.getInfo().mip_dual_bound) + fixed if solver == "HiGHS" and model is not None else -math.inf
    found = case.cost(kit)
    if is_proven and not math.isfinite(bound):
        bound = found * (1.0 - gap)
    return Outcome(kit, found, min(bound, found))


def greedy(case: Case) -> Outcome:
    """Add the guard that saves most for its price, as long as one saves anything and can be paid."""
    kit: Kit = frozenset()
    cost = case.cost(kit)
    while True:
        added = [kit | {guard.id} for guard in case.scenario.guards if guard.id not in kit]
        priced = [(case.cost(one), one) for one in added if case.allows(one)]
        spend = case.scenario.spend_cents
        better = [
            ((cost - value) / max(1, spend(one) - spend(kit)), value, one) for value, one in priced if value < cost
        ]
        if not better:
            return Outcome(kit, cost)
        _, cost, kit = max(better, key=lambda one: one[0])


def greedy_with_swaps(case: Case) -> Outcome:
    """Greedy, then put any one guard on in place of any one or none, the best change first, while that helps."""
    found = greedy(case)
    kit, cost = found.kit, found.cost
    while True:
        changed = {
            (kit - {out}) | {guard.id} for guard in case.scenario.guards for out in [None, *kit] if guard.id not in kit
        }
        priced = [(case.cost(one), sorted(one), one) for one in changed if case.allows(one)]
        if not priced or min(priced)[0] >= cost - 1e-9:
            return Outcome(kit, cost)
        cost, _, kit = min(priced)


def exhaustive(case: Case) -> Outcome | None:
    """Price every kit that can be paid by plain simulation of each fall; None where there are too many."""
    scenario = case.scenario
    kits = legal_kits(scenario)
    if kits is None:
        return None
    affordable = kits[spends(scenario, kits) <= case.budget_cents]
    bike, best = Bike(scenario), Outcome(frozenset(), math.inf)
    for some in _batches(affordable, 64):
        named = [frozenset(g.id for g, is_on in zip(scenario.guards, row, strict=True) if is_on) for row in some]
        bills = price(bike, case.sample, named, errors=False).bills
        for kit, bill in zip(named, bills, strict=True):
            if bill.cost_over_years < best.cost:
                best = Outcome(kit, bill.cost_over_years, bill.cost_over_years)
    return best


def _batches(rows: Iterable[Any], size: int) -> Iterable[list[Any]]:
    rows = iter(rows)
    while some := list(itertools.islice(rows, size)):
        yield some


CONTENDERS: dict[str, Callable[[Case], Outcome | None]] = {
    "tree": ours,
    "tree to 0.1 %": lambda case: ours(case, gap=1e-3),
    "plain program, HiGHS": plain_program,
    "greedy": greedy,
    "greedy with swaps": greedy_with_swaps,
    "exhaustive": exhaustive,
}
if "PULP_CBC_CMD" in pulp.listSolvers(onlyAvailable=True):
    CONTENDERS["plain program, CBC"] = lambda case: plain_program(case, solver="PULP_CBC_CMD")
