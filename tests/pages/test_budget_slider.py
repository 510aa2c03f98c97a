"""The slider of a notebook says what the curve says, and a table says the same to whoever only reads."""

from __future__ import annotations

import pytest
from shipped import FOLDER

import guardopt
from guardopt.pages.budget_slider import BudgetSlider

CURVE = guardopt.budgets(guardopt.load(FOLDER / "courier", {"scenario.sampling.falls": 60}))


def test_it_begins_at_the_budget_of_the_scenario_and_moves() -> None:
    """Moving the slider changes the sentence to that of a plan within the budget."""
    ipywidgets = pytest.importorskip("ipywidgets", reason="the extra [notebook] brings ipywidgets")
    slider, below = BudgetSlider(CURVE).widget().children
    assert isinstance(slider, ipywidgets.FloatSlider)
    assert slider.value == CURVE.scenario.budget_cents / 100
    for budget in (0.0, 95.0, slider.max):
        slider.value = budget
        plan = guardopt.plan(CURVE.scenario, budget=budget, reasons=False)
        step = CURVE.at(round(budget * 100))
        assert step is not None
        assert step.best.kit == plan.kit
        assert below.value.startswith(f"With EUR {budget:,.2f}: buy ")
        assert (f"for EUR {plan.spend:,.2f} in all" in below.value) == bool(plan.buy)
        assert f"Falls then cost EUR {step.cost_over_years:,.0f} over 3 years." in below.value


def test_the_table_has_the_kits_of_round_budgets() -> None:
    """Its rows are steps of the curve, and it is there beside the slider for front ends that cannot show one."""
    slider = BudgetSlider(CURVE, now=100.0)
    for row in slider.table.to_dict("records"):
        step = CURVE.at(round(row["from"] * 100))
        assert step is not None
        assert step.budget_cents == round(row["from"] * 100)
        assert row["falls cost"] == pytest.approx(step.cost_over_years, abs=0.005)
    bundle = slider._repr_mimebundle_()
    assert bundle["text/plain"].split()[:4] == ["from", "buy", "falls", "cost"]
    assert "<table" in bundle["text/html"]


def test_a_budget_without_a_kit_is_told() -> None:
    """The least budget is named."""
    forced = guardopt.budgets(CURVE.scenario, must=["engine_bar"])
    least = forced.steps[0].budget_cents / 100
    assert BudgetSlider(forced).said(1.0) == f"With EUR 1.00 there is no kit; the least costs EUR {least:,.2f}."
