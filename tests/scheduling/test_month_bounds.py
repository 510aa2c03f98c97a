"""The bound of each month's money by itself, where kits are too many to list: honest, and met by courses of its kits."""

from __future__ import annotations

from dataclasses import replace

import pytest
from random_scenarios import random_scenario

from guardopt.deadline import NEVER, Deadline
from guardopt.model.aims import BILLS, OUTLAY, Aim
from guardopt.questions.bench import Bench
from guardopt.questions.purchase_schedule import order, saving_for
from guardopt.scheduling.best_course import best_course
from guardopt.scheduling.month_bounds import month_by_month


@pytest.mark.parametrize("aim", [BILLS, OUTLAY], ids=str)
@pytest.mark.parametrize("rate", [0.0, 0.1])
@pytest.mark.parametrize("seed", range(5))
def test_no_course_is_below_the_months_by_themselves(seed: int, rate: float, aim: Aim) -> None:
    """The best course of small bikes is known, and no bound is above it, however early the search stops."""
    scenario = replace(random_scenario(seed, guards=5), falls_sampled=25, discount_rate=rate)
    planner = Bench(scenario).planner
    saving = saving_for(scenario, aim, 40.0, 10.0, 4)
    _, cost = best_course(planner, aim, saving, NEVER)
    whole = month_by_month(planner, saving, gap=1e-6, deadline=NEVER)
    hurried = month_by_month(planner, saving, gap=1e-6, deadline=Deadline.after(None, 1))
    late = month_by_month(planner, saving, gap=1e-6, deadline=Deadline.after(0.0))
    for found in (whole, hurried, late):
        assert found.bound <= cost + 1e-9 * max(1.0, abs(cost))
    assert late.bound <= whole.bound + 1e-9 * max(1.0, abs(cost))


def test_one_month_by_itself_is_the_plan_for_its_money() -> None:
    """With all the money now there is nothing to wait for: the bound is the cost of the best kit."""
    scenario = replace(random_scenario(2, guards=5, own_costs=False), falls_sampled=25, offers=())
    planner = Bench(scenario).planner
    saving = saving_for(scenario, BILLS, 0.0, 150.0, 0)
    found, cost = best_course(planner, BILLS, saving, NEVER)
    months = month_by_month(planner, saving, gap=1e-9, deadline=NEVER)
    assert months.bound == pytest.approx(cost, rel=1e-8)
    assert found.bound == pytest.approx(cost, rel=1e-8)


@pytest.mark.parametrize("aim", ["bills", "outlay"])
@pytest.mark.parametrize("seed", [*range(8), 24])
def test_where_kits_are_too_many_the_course_is_allowed_and_its_gap_honest(
    seed: int, aim: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the lists cut short, a bike of six guards is one of too many: its best course lies between bound and cost."""
    scenario = replace(random_scenario(seed, guards=6), falls_sampled=25)
    best = order(scenario, 45.0, months=4, aim=aim)
    monkeypatch.setattr("guardopt.scheduling.course_search.MOST_SETS", 20)
    rough = order(scenario, 45.0, months=4, aim=aim)
    assert rough.bound <= best.cost + 1e-9 * max(1.0, abs(best.cost))
    assert rough.cost >= best.bound - 1e-9 * max(1.0, abs(best.cost))
    assert rough.cost <= rough.cost_if_waiting
    assert rough.to_json()["status"] in ("optimal", "effort_limit")
