"""An aim is an object and a measure is an object: a new one needs these two and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pytest
from random_scenarios import all_kits, random_scenario

from guardopt.arrays import Floats
from guardopt.model.aims import AIMS, Aim
from guardopt.model.pieces import Kit
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import MEASURES
from guardopt.questions.bench import Bench
from guardopt.questions.budgets import budgets
from guardopt.questions.plan import NO_LIMIT, plan
from guardopt.reports.plan_text import plan_text
from guardopt.simulation.sampling import Stratum


@dataclass(frozen=True)
class HalfOutlay:
    """Half of what falls cost, and what guards cost: an owner who shares the repairs with another rider."""

    counts_falls: bool = True
    counts_tail: bool = False
    step: float = 0.0

    def linear(self, planner: Planner) -> tuple[Floats, float]:
        """Half the one measure and half the other."""
        falls, fixed = MEASURES["cost"].linear(planner)
        cents, _ = MEASURES["spend"].linear(planner)
        return falls / 2.0 + cents / 100.0, fixed / 2.0

    def value(self, planner: Planner, kit: Kit) -> float:
        """Half of what falls cost, and the price."""
        return planner.measure("cost", kit) / 2.0 + planner.measure("spend", kit) / 100.0

    def again(self, planner: Planner, sample: Sequence[Stratum], kit: Kit) -> float:
        """The same from plain pricing."""
        return MEASURES["cost"].again(planner, sample, kit) / 2.0 + planner.scenario.spend_cents(kit) / 100.0


SHARED = Aim(
    name="shared",
    measures=("half_outlay", "spend", "change"),
    adds_up=True,
    counts_price=True,
    help="half of the falls and all of the guards",
    measured="half of the falls and the guards",
    per="in what you pay",
    purpose="your half of the falls and the guards cost you least",
)


@pytest.fixture(autouse=True)
def with_the_aim(monkeypatch: pytest.MonkeyPatch) -> None:
    """The aim and its measure are known while a test runs."""
    monkeypatch.setitem(AIMS, "shared", SHARED)
    monkeypatch.setitem(MEASURES, "half_outlay", HalfOutlay())


@pytest.mark.parametrize("seed", range(6))
def test_a_new_aim_is_planned_for_as_every_kit_tried_says(seed: int) -> None:
    """The plan is proven, recomputed, and no kit that can be fitted measures less."""
    scenario = random_scenario(seed, guards=6, own_costs=False)
    bench = Bench(scenario)
    made = plan(bench, aim="shared", budget=NO_LIMIT)
    values = [HalfOutlay().again(bench.planner, bench.sample, kit) for kit in all_kits(scenario)]
    assert made.status.value == "optimal"
    assert made.best.objective == pytest.approx(min(values), rel=1e-9)
    assert made.to_json()["aim"] == "shared"
    assert "half of the falls and the guards" in " ".join(plan_text(made).split())


def test_a_new_aim_has_a_budget_curve() -> None:
    """Each budget's kit measures no more than that of a smaller budget."""
    steps = budgets(random_scenario(1, guards=6, own_costs=False), aim="shared").steps
    objectives = [step.best.objective for step in steps]
    assert objectives == sorted(objectives, reverse=True)
