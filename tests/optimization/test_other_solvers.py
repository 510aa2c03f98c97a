"""Solvers of another make agree: CBC as a second opinion through PuLP, and CP-SAT on a program of its own.

The program put to CP-SAT is stated from the simulated falls and shares nothing with cuts, bounds or lists of kits: one
0-1 variable for each item of each fall, which is incurred unless a cover holds against each of its roots, in whole
numbers, so that it has no tolerances (L. Perron and F. Didier, CP-SAT, Google OR-Tools).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pulp
import pytest
from ortools.sat.python import cp_model
from random_scenarios import random_limits, random_scenario, sample_of
from shipped import FOLDER, NAMES

from guardopt.arrays import Floats
from guardopt.errors import NoKitError
from guardopt.loading.load import load
from guardopt.model.aims import AIMS, GAP, Aim, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.second_opinion import opinion
from guardopt.questions.bench import Bench
from guardopt.questions.plan import plan
from guardopt.simulation.batch_pricing import mean_renewals
from guardopt.simulation.compiled import Bike
from guardopt.simulation.reduction import reduce_falls

CBC = "PULP_CBC_CMD"
FINE = 10_000
"""Costs are put to CP-SAT in whole ten-thousandths of a cent, rounded."""

PATIENCE = 20.0
"""Seconds after which the best kit and the bound of CP-SAT are taken as they are."""


class WholeProgram:
    """Falls, guards and money as CP-SAT takes them.

    Parameters
    ----------
    scenario
        The bike.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario, self._model = scenario, cp_model.CpModel()
        self._fitted = {guard.id: self._model.new_bool_var(guard.id) for guard in scenario.guards}
        self._add_rules()
        self._spend = self._add_spend()
        self._costs = self._add_falls()

    def _add_rules(self) -> None:
        scenario, fitted, model = self.scenario, self._fitted, self._model
        for row, guard in enumerate(scenario.guards):
            for needed in guard.needs:
                model.add_bool_or([fitted[guard.id].negated(), *(fitted[name] for name in sorted(needed))])
            for other in scenario.guards[:row]:
                if scenario.exclude_each_other(guard, other):
                    model.add_at_most_one([fitted[guard.id], fitted[other.id]])
        if scenario.max_weight_kg is not None:
            # Nanograms: whole numbers, and the limit is kept to a tenth of a milligram as the scenario keeps it.
            weights = [round(guard.weight_kg * 1e12) for guard in scenario.guards]
            terms = [weight * fitted[guard.id] for weight, guard in zip(weights, scenario.guards, strict=True)]
            model.add(sum(terms) <= round(scenario.max_weight_kg * 1e12) + 100_000)

    def _add_spend(self) -> cp_model.LinearExprT:
        scenario, model = self.scenario, self._model
        spend: cp_model.LinearExprT = sum(guard.spend_cents * self._fitted[guard.id] for guard in scenario.guards)
        taken = {offer.id: model.new_bool_var(offer.id) for offer in scenario.offers}
        for guard in scenario.guards:
            sharing = [taken[offer.id] for offer in scenario.offers if guard.id in scenario.bought_in(offer)]
            if sharing:
                model.add(sum(sharing) <= self._fitted[guard.id])
        return spend - sum(scenario.offer_saving_cents(offer) * taken[offer.id] for offer in scenario.offers)

    def _add_falls(self) -> cp_model.LinearExprT:
        scenario, model, bike = self.scenario, self._model, Bike(self.scenario)
        sample = sample_of(scenario)
        reduced = reduce_falls(bike, sample, keep_all=True)
        items, falls = reduced.kept_items, reduced.kept
        holds = []
        for row, (_, guards) in enumerate(bike.covers):
            cover = model.new_bool_var(f"cover{row}")
            names = [scenario.guards[one].id for one in guards]
            for name in names:
                model.add_implication(cover, self._fitted[name])
            holds.append(cover)
        against: list[set[int]] = [set() for _ in range(items.strike_item.size)]
        for strike, one in zip(items.against_strike.tolist(), items.against_cover.tolist(), strict=True):
            against[strike].add(one)
        incurred = [model.new_bool_var(f"item{row}") for row in range(items.cost.size)]
        for item, covers in zip(items.strike_item.tolist(), against, strict=True):
            model.add_bool_or([incurred[item], *(holds[one] for one in covers)])
        years: Floats = scenario.annuity * np.array([fall.per_year for fall in scenario.falls])
        scale = 100 * FINE
        fixed = float(years @ reduced.fixed_cost)
        total: cp_model.LinearExprT = round(fixed * scale)
        bills: dict[int, list[int]] = {}
        for item, owner in enumerate(items.owner.tolist()):
            bills.setdefault(owner, []).append(item)
        for fall, (base, bare, kind, weight) in enumerate(
            zip(falls.base.tolist(), falls.bare.tolist(), falls.fall.tolist(), falls.weight.tolist(), strict=True)
        ):
            one = years[kind] * weight * scale
            spared = sum(round(items.cost[item] * one) * incurred[item] for item in bills.get(fall, []))
            if bare <= scenario.cap:
                total = total + round(base * one) + spared
                continue
            cap = round(scenario.cap * one)
            cost = model.new_int_var(0, cap, f"cost{fall}")
            reached = model.new_bool_var(f"capped{fall}")
            model.add(cost >= round(base * one) + spared).only_enforce_if(reached.negated())
            model.add(cost >= cap).only_enforce_if(reached)
            total = total + cost
        renewals = years @ mean_renewals(bike, sample) + np.array([guard.dislike for guard in scenario.guards])
        return total + sum(
            round(float(one) * scale) * self._fitted[guard.id]
            for one, guard in zip(renewals, scenario.guards, strict=True)
        )

    def least(self, aim: Aim, limits: Limits) -> tuple[Kit | None, float, float] | None:
        """The best kit, what CP-SAT says it costs and what no kit is below; None if it has proven that there is none.

        Where it found no kit in time there is none, of infinite cost.
        """
        model = self._model.clone()
        fitted = {name: model.get_bool_var_from_proto_index(one.index) for name, one in self._fitted.items()}
        for name, one in fitted.items():
            if name in limits.must:
                model.add(one == 1)
            if name in limits.never:
                model.add(one == 0)
        if limits.budget_cents is not None:
            model.add(self._spend <= limits.budget_cents)
        objective = self._costs
        if aim is Aim.OUTLAY:
            resale = [round(100 * FINE * self.scenario.resale_value([guard.id])) for guard in self.scenario.guards]
            objective = objective + FINE * self._spend
            objective = objective - sum(
                back * self._fitted[g.id] for back, g in zip(resale, self.scenario.guards, strict=True)
            )
        model.minimize(objective)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.relative_gap_limit = 0.0
        solver.parameters.random_seed = 1
        solver.parameters.max_time_in_seconds = PATIENCE
        status = solver.solve(model)
        if status == cp_model.INFEASIBLE:
            return None
        bound = solver.best_objective_bound / (100 * FINE)
        if status == cp_model.UNKNOWN:
            return None, math.inf, bound
        assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        kit = frozenset(name for name, one in fitted.items() if solver.boolean_value(one))
        return kit, solver.objective_value / (100 * FINE), bound


def without_own_costs(scenario: Scenario) -> Scenario:
    """The bike with nothing that waits, no days without it, nothing to be sold and no guard that does harm."""
    return replace(
        scenario,
        parts=tuple(replace(part, waits=False, days=0.0) for part in scenario.parts),
        guards=tuple(replace(guard, sells_cents=0) for guard in scenario.guards),
        exposures=(),
        recovery=0.0,
    )


def check_with_cp_sat(scenario: Scenario, asked: list[Limits], *, to_the_end: bool = True) -> None:
    """For the aims bills and outlay the least cost is the same, and CP-SAT's kit costs as little.

    Where CP-SAT need not work to the end, the least cost is between what it has proven and what it has found.
    """
    whole, planner = WholeProgram(scenario), Planner(scenario, sample_of(scenario))
    for limits in asked:
        for aim, measure in ((Aim.BILLS, "cost"), (Aim.OUTLAY, "outlay")):
            other = whole.least(aim, limits)
            if other is None:
                with pytest.raises(NoKitError):
                    planner.best(aim, limits)
                continue
            best = planner.best(aim, limits)
            kit, least, bound = other
            assert best.proven
            # Each of up to a thousand amounts is off by half of a ten-thousandth of a cent at most.
            if to_the_end:
                assert bound == pytest.approx(least, abs=1e-3)
            assert bound - 1e-3 <= best.objective <= least + 1e-3
            if kit is not None:
                assert planner.is_allowed(kit, limits)
                assert best.objective <= planner.measure(measure, kit) + 1e-7


@pytest.mark.parametrize("seed", range(8000, 8012))
def test_cp_sat_agrees_on_random_bikes(seed: int) -> None:
    """Slots, needs, offers, weight, caps, knock-ons, joint covers, wear and guards forced in or out."""
    scenario = random_scenario(seed, guards=7, falls_sampled=6, own_costs=False)
    check_with_cp_sat(scenario, [Limits(scenario.budget_cents), random_limits(scenario, seed)])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8100, 8200))
def test_cp_sat_agrees_on_random_bikes_at_length(seed: int) -> None:
    """More bikes with more guards and falls, of which a few take CP-SAT longer than it is given."""
    scenario = random_scenario(seed, guards=10, falls_sampled=20, own_costs=False)
    check_with_cp_sat(
        scenario,
        [Limits(scenario.budget_cents), *(random_limits(scenario, seed + row) for row in (0, 1))],
        to_the_end=False,
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_cp_sat_agrees_on_shipped_bikes(name: str) -> None:
    """Within the bike's own budget, on few falls, without the costs that the program above does not state."""
    scenario = without_own_costs(load(FOLDER / name, {"scenario.sampling.falls": 20}))
    check_with_cp_sat(scenario, [Limits(scenario.budget_cents)], to_the_end=False)


@pytest.mark.skipif(CBC not in pulp.listSolvers(onlyAvailable=True), reason="PuLP brings no CBC here")
@pytest.mark.parametrize("seed", range(6))
def test_cbc_agrees_on_random_bikes(seed: int) -> None:
    """Asked by itself, by any aim, CBC ends with a kit that measures what the best one does, to its own tolerances."""
    scenario = random_scenario(seed, guards=6, falls_sampled=30, own_costs=False)
    planner = Planner(scenario, sample_of(scenario))
    limits = Limits(scenario.budget_cents)
    for aim in AIMS.values():
        best = Planner(scenario, sample_of(scenario)).best(aim, limits)
        other = opinion(planner, aim.measures[0], limits, CBC, gap=GAP)
        assert other.kit is not None
        assert other.value == pytest.approx(best.objective, rel=1e-5, abs=1e-5)
        assert best.objective <= other.value + 1e-9 * max(1.0, abs(other.value))
        assert not other.contradicts(best.objective)


@pytest.mark.skipif(CBC not in pulp.listSolvers(onlyAvailable=True), reason="PuLP brings no CBC here")
@pytest.mark.parametrize("name", NAMES[:2])
def test_cbc_agrees_on_shipped_bikes(name: str) -> None:
    """Asked through the plan, whose proof stays our own."""
    scenario = load(FOLDER / name, {"scenario.sampling.falls": 100})
    made, told = (plan(Bench(scenario, solver=solver), reasons=False) for solver in ("HiGHS", CBC))
    assert told.kit == made.kit
    assert told.best.objective == made.best.objective
    assert made.second_opinion is None
    assert told.to_json()["second_opinion"]["agrees"] is True
    assert told.to_json()["second_opinion"]["objective"] == pytest.approx(made.best.objective)
