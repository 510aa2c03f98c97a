"""Settings and fixtures that tests share: a way to write down a tiny scenario with nothing in it but what matters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import settings

from guardopt.model.aims import Aim, Best, Limits
from guardopt.model.pieces import Cover, Fall, Guard, Kit, Part
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import Prices, price
from guardopt.simulation.sampling import draw

# A shared machine may be slow at any moment; that is no failure.
settings.register_profile("guardopt", deadline=None)
settings.load_profile("guardopt")


@pytest.fixture(scope="session")
def make_scenario() -> Callable[..., Scenario]:
    """Write down a scenario: one certain kind of fall a year, every part struck, no cap in reach, unless said."""

    def make(
        parts: Sequence[Part],
        guards: Sequence[Guard] = (),
        covers: Sequence[Cover] = (),
        falls: Sequence[Fall] = (Fall("fall", 1.0, correlation=0.0),),
        hits: dict[tuple[str, str], float] | None = None,
        **rest: Any,
    ) -> Scenario:
        plain: dict[str, Any] = {
            "title": "test (invented)",
            "currency": "EUR",
            "value": 1e12,
            "salvage": 0.0,
            "years": 1.0,
            "discount_rate": 0.0,
            "budget_cents": None,
            "max_weight_kg": None,
            "repair_rate": 0.0,
            "insurance": None,
            "strip_down": {},
            "falls_sampled": 1,
            "seed": 1,
            "knock_ons": (),
        }
        certain = {(fall.id, part.id): 1.0 for fall in falls for part in parts}
        return Scenario(
            parts=tuple(parts),
            guards=tuple(guards),
            covers=tuple(covers),
            falls=tuple(falls),
            hits=certain | (hits or {}),
            **(plain | rest),
        )

    return make


@pytest.fixture(scope="session")
def price_kits() -> Callable[..., Prices]:
    """Price kits on the scenario's own falls."""

    def on_its_falls(scenario: Scenario, *kits: Kit) -> Prices:
        return price(Bike(scenario), draw(scenario, scenario.falls_sampled, scenario.seed, "price"), kits)

    return on_its_falls


@pytest.fixture(scope="session")
def planner_of() -> Callable[..., Planner]:
    """A planner on the scenario's own falls."""

    def on_its_falls(scenario: Scenario, **options: Any) -> Planner:
        return Planner(scenario, list(draw(scenario, scenario.falls_sampled, scenario.seed, "plan")), **options)

    return on_its_falls


@pytest.fixture(scope="session")
def best_kit(planner_of: Callable[..., Planner]) -> Callable[..., Best]:
    """Find the best kit within the scenario's own budget."""

    def of(scenario: Scenario, aim: Aim = Aim.BILLS, **limits: Any) -> Best:
        return planner_of(scenario).best(aim, Limits(**({"budget_cents": scenario.budget_cents} | limits)))

    return of


@pytest.fixture
def flattering_planner(monkeypatch: pytest.MonkeyPatch) -> None:
    """A planner that claims one unit of money less than its kit costs."""
    honest = Planner.best

    def flattering(*args: Any, **options: Any) -> Any:
        best = honest(*args, **options)
        return replace(best, objective=best.objective - 1.0)

    monkeypatch.setattr(Planner, "best", flattering)
