"""The scenarios that come with the project, and plans of them that several tests look at."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from guardopt.loading.load import load
from guardopt.model.scenario import Scenario
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan

FOLDER = Path(__file__).parents[1] / "scenarios"

NAMES = ("courier", "riding_school", "tourer", "track_day")

MEASURED = "commuter"
"""The one whose chances are estimated from its points."""

FALLS = 800
"""Enough simulated falls for plans to make sense, and few enough for tests to be quick."""


@cache
def shipped(name: str) -> Scenario:
    """A shipped scenario as it is."""
    return load(FOLDER / name)


@cache
def shipped_plan(name: str) -> Plan:
    """The plan of a shipped scenario, on fewer falls than it asks for."""
    return plan(load(FOLDER / name, {"scenario.sampling.falls": FALLS}))
