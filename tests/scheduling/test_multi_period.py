"""The integer program over months agrees with the dynamic programming over sets of guards: two ways, one answer."""

from __future__ import annotations

from dataclasses import replace

import pulp
import pytest
from random_scenarios import all_kits, random_scenario

from guardopt.deadline import NEVER
from guardopt.model.aims import BILLS, OUTLAY, Aim
from guardopt.questions.bench import Bench
from guardopt.questions.purchase_schedule import saving_for
from guardopt.scheduling.best_course import best_course, check_course, course_cost
from guardopt.scheduling.lots import Course, FoundCourse
from guardopt.scheduling.multi_period import MonthProgram

CBC = "PULP_CBC_CMD"


@pytest.mark.parametrize("aim", [BILLS, OUTLAY], ids=str)
@pytest.mark.parametrize("solver", ["HiGHS", CBC])
@pytest.mark.parametrize("seed", range(4))
def test_two_ways_to_solve_it_agree(seed: int, solver: str, aim: Aim) -> None:
    """With the cuts of every kit the integer program is exact, so both costs are the least there is."""
    if solver == CBC and CBC not in pulp.listSolvers(onlyAvailable=True):
        pytest.skip("PuLP brings no CBC here")
    scenario = replace(random_scenario(seed, guards=4, own_costs=False), falls_sampled=25)
    planner = Bench(scenario).planner
    saving = saving_for(scenario, aim, 30.0 + 11 * seed, 5.0, 3)
    found, cost = best_course(planner, aim, saving, NEVER)
    program = MonthProgram(scenario, planner.terms, saving.weights, saving.purse.tolist(), solver, aim)
    for kit in all_kits(scenario):
        program.add_facts(*planner.cuts.bundled_at(planner.bike.kit_array(kit).astype(float)))
    other = program.solve(None)
    assert other is not None
    course = Course(other.bought, (frozenset(),) * len(other.bought), other.fitted)
    check_course(planner, saving, FoundCourse(course, found.start, found.bound))
    assert course_cost(planner, aim, saving, course) == pytest.approx(cost, rel=1e-6)
    assert other.bound is not None
    assert other.bound == pytest.approx(cost, rel=1e-6)
    assert found.bound <= course_cost(planner, aim, saving, course) + 1e-9
