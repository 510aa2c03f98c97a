"""The scenarios that come with the project, and plans of them that several tests look at."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from guardopt.planned import Plan
from guardopt.plans import plan
from guardopt.reading import load
from guardopt.scenario import Scenario

FOLDER = Path(__file__).parents[1] / "scenarios"

NAMES = ("courier", "riding_school", "tourer", "track_day")

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
