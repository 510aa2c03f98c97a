"""Pages of scenarios, each made once, with the plan and the budget curve that they tell of."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from folders import write_folder
from shipped import FOLDER

from guardopt.loading.load import load
from guardopt.questions.bench import Bench
from guardopt.questions.budgets import BudgetCurve, budgets
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan

FALLS = {"scenario.sampling.falls": 200}
"""Few falls, so that tests are quick: what is tested is whether pages say what plans say."""


@dataclass(frozen=True)
class MadePage:
    """A page and what it was made of."""

    plan: Plan
    curve: BudgetCurve
    html: str


@cache
def page_of(name: str) -> MadePage:
    """The page of a shipped scenario, or of the small twin, which has no places for its parts."""
    from guardopt.pages.plan_page import plan_page

    with tempfile.TemporaryDirectory() as folder:
        scenario = load(write_folder(Path(folder)) if name == "small_twin" else FOLDER / name, FALLS)
    bench = Bench(scenario)
    made = plan(bench)
    return MadePage(made, budgets(bench), plan_page(bench, made))
