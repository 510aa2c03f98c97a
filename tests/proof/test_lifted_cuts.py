"""A lifted cut counts every root of an item that a guard might spare; the audit refuses one that counts a single root."""

from __future__ import annotations

import json

import numpy as np
import pytest
from random_scenarios import random_scenario, sample_of

from guardopt.arrays import Bools, Floats, Ints
from guardopt.cuts.lifting import Lifting
from guardopt.model.aims import Aim, Limits
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.proof.audit import Audit, audit
from guardopt.proof.writing import proof_of

SEED = 4
"""A bike whose proof for the aim worst rests on lifted cuts of items with several roots."""

TAIL = 0.1


def one_root(lifting: Lifting, off: Bools, falls: Bools) -> tuple[Ints, Ints, Floats]:
    """What guards that are off spare, wrongly: of each item only the root with the fewest covers is looked at."""
    items = lifting._items
    counts = np.bincount(items.against_strike, minlength=items.strike_item.size)
    order = np.lexsort((counts, items.strike_item))
    is_root = np.zeros(items.strike_item.size, dtype=bool)
    is_root[order[np.searchsorted(items.strike_item[order], np.arange(items.cost.size))]] = True
    guard_of = np.array([next((one for one in entries if off[one]), -1) for entries in lifting._covers])
    item, guard = items.strike_item[items.against_strike], guard_of[items.against_cover]
    wanted = (guard >= 0) & falls[items.owner[item]] & is_root[items.against_strike]
    pairs = np.unique(item[wanted] * off.size + guard[wanted])
    return items.owner[pairs // off.size], pairs % off.size, items.cost[pairs // off.size]


def audited(scenario: Scenario) -> Audit:
    """What the audit says of a proof that is made anew."""
    planner, limits = Planner(scenario, sample_of(scenario), tail=TAIL), Limits(scenario.budget_cents)
    best = planner.best(Aim.WORST, limits)
    return audit(scenario, json.dumps(proof_of(planner, Aim.WORST, limits, best, tail=TAIL)))


def test_a_proof_with_slopes_of_a_single_root_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """With those of every root it is accepted."""
    scenario = random_scenario(SEED, guards=8, falls_sampled=30)
    assert audited(scenario).faults == ()
    monkeypatch.setattr(Lifting, "spared", one_root)
    faults = audited(scenario).faults
    assert faults
    assert all(fault.endswith("(cut) does not follow from the scenario.") for fault in faults)
