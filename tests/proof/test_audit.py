"""A true proof is accepted, whatever the bike; one with anything in it changed is not."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from random_scenarios import price_every_kit, random_limits, random_scenario, sample_of

from guardopt.errors import InputError, NoKitError
from guardopt.model.aims import AIMS, Aim, Limits
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.proof.audit import Audit, audit
from guardopt.proof.format import sealed
from guardopt.proof.writing import proof_of

SEEDS = (*range(6), 44, 79, 183)
"""In the last three, rounding of what the objective is the difference of leaves more than usual."""

MORE_SEEDS = range(6, 200)
TAIL = 0.1

Json = dict[str, Any]


def proof_for(scenario: Scenario, aim: Aim, limits: Limits) -> Json | None:
    """The proof of the best kit; None if no kit is allowed."""
    planner = Planner(scenario, sample_of(scenario), tail=TAIL)
    try:
        best = planner.best(aim, limits)
    except NoKitError:
        return None
    return proof_of(planner, aim, limits, best, tail=TAIL)


@lru_cache
def case(seed: int, aim: Aim) -> tuple[Scenario, str]:
    """A random scenario of few falls and the proof for its own budget."""
    scenario = random_scenario(seed, guards=4 + seed % 5, falls_sampled=30)
    return scenario, json.dumps(proof_for(scenario, aim, Limits(scenario.budget_cents)))


def checked(scenario: Scenario, proof: Json) -> Audit:
    """What the audit says of a proof."""
    return audit(scenario, json.dumps(proof))


def check_against_every_kit(seed: int, aim: Aim, limits: Limits) -> None:
    """The proof holds, and what it proves is what pricing every kit finds."""
    scenario = random_scenario(seed, guards=4 + seed % 5)
    proof = proof_for(scenario, aim, limits)
    if proof is None:
        return
    found = checked(scenario, proof)
    least = price_every_kit(scenario, sample_of(scenario), TAIL).least(aim, limits)
    assert found.faults == ()
    assert found.valid
    assert least == pytest.approx(found.objective, rel=2e-6, abs=2e-6)
    assert found.bound is not None
    assert found.bound <= least + 1e-9 * max(1.0, abs(least))
    assert found.gap is not None
    assert found.gap <= 1e-8


@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
@pytest.mark.parametrize("seed", SEEDS)
def test_proof_of_a_random_bike_is_accepted_and_true(seed: int, aim: Aim) -> None:
    """With its own budget, and with another budget and guards forced in and out."""
    scenario = random_scenario(seed, guards=4 + seed % 5)
    check_against_every_kit(seed, aim, Limits(scenario.budget_cents))
    check_against_every_kit(seed, aim, random_limits(scenario, seed))


@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
def test_proof_of_a_bike_that_has_all_costs_at_once(aim: Aim) -> None:
    """Parts that wait, days without the bike and guards that do harm."""
    seed, scenario = next(
        (seed, one)
        for seed, one in ((seed, random_scenario(seed, guards=4 + seed % 5)) for seed in range(200))
        if one.waits and one.exposures and one.day_without and any(part.days and not part.waits for part in one.parts)
    )
    check_against_every_kit(seed, aim, Limits(scenario.budget_cents))


@pytest.mark.slow
@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
@pytest.mark.parametrize("seed", MORE_SEEDS)
def test_proofs_of_many_random_bikes_are_accepted_and_true(seed: int, aim: Aim) -> None:
    """The same for many more."""
    scenario = random_scenario(seed, guards=4 + seed % 5)
    check_against_every_kit(seed, aim, Limits(scenario.budget_cents))
    check_against_every_kit(seed, aim, random_limits(scenario, seed))


def places(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Where a JSON value has something that can be changed or left out."""
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield (*path, key)
            yield from places(inner, (*path, key))


def altered(proof: Json, path: tuple[str | int, ...], *, leave_out: bool) -> Json:
    """The proof with what stands in one place changed, or left out."""
    changed = copy.deepcopy(proof)
    inner: Any = changed
    for step in path[:-1]:
        inner = inner[step]
    last, old = path[-1], inner[path[-1]]
    if leave_out or isinstance(old, dict | list):
        del inner[last]
    elif isinstance(old, bool) or old is None:
        inner[last] = 1 if old is None else not old
    elif isinstance(old, str):
        inner[last] = old + "x"
    else:
        inner[last] = old + 1
    return changed


def is_refused(scenario: Scenario, proof: Json) -> bool:
    """Whether it is called invalid, or no proof of this scenario."""
    try:
        return not checked(scenario, proof).valid
    except InputError:
        return True


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 3), st.sampled_from(list(AIMS.values())), st.data())
def test_any_change_without_a_new_seal_is_refused(seed: int, aim: Aim, data: st.DataObject) -> None:
    """One number, branch, row, name or kit changed or left out."""
    scenario, text = case(seed, aim)
    proof = json.loads(text)
    path = data.draw(st.sampled_from(list(places(proof))))
    assert is_refused(scenario, altered(proof, path, leave_out=data.draw(st.booleans())))


def leaves(tree: Json) -> Iterator[Json]:
    """The leaves of a proof's tree."""
    if "leaf" in tree:
        yield tree["leaf"]
    else:
        yield from leaves(tree["off"])
        yield from leaves(tree["on"])


def branches(tree: Json) -> Iterator[Json]:
    """The branches of a proof's tree."""
    if "leaf" not in tree:
        yield tree
        yield from branches(tree["off"])
        yield from branches(tree["on"])


TAMPERINGS = (
    "constant raised",
    "slope lowered",
    "leaf raised",
    "branch dropped",
    "branch twice",
    "budget raised",
    "ceiling lowered",
    "floor raised",
    "kit of everything",
    "objective",
    "bound",
)


@settings(max_examples=80, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 5), st.sampled_from(list(AIMS.values())), st.sampled_from(TAMPERINGS), st.data())
def test_a_changed_claim_is_refused_by_the_arithmetic_alone(
    seed: int, aim: Aim, tampering: str, data: st.DataObject
) -> None:
    """The file is sealed anew, so only what it says can give it away."""
    scenario, text = case(seed, aim)
    proof = json.loads(text)
    more = 10.0 ** data.draw(st.integers(-5, 3))
    cuts = [row for row in proof["rows"] if row["kind"] == "cut"]
    bounded = [leaf for leaf in leaves(proof["tree"]) if "bound" in leaf]
    forks = list(branches(proof["tree"]))
    if tampering == "constant raised":
        assume(cuts)
        data.draw(st.sampled_from(cuts))["at_most"] -= more
    elif tampering == "slope lowered":
        sloped = [row for row in cuts if row["x"]]
        assume(sloped)
        row = data.draw(st.sampled_from(sloped))
        row["x"][data.draw(st.sampled_from(sorted(row["x"])))] += more
    elif tampering == "leaf raised":
        data.draw(st.sampled_from(bounded))["bound"] += more
    elif tampering == "branch dropped":
        assume(forks)
        del data.draw(st.sampled_from(forks))[data.draw(st.sampled_from(["off", "on"]))]
    elif tampering == "branch twice":
        assume(forks)
        fork = data.draw(st.sampled_from(forks))
        fork["on"] = copy.deepcopy({key: fork[key] for key in ("branch", "off", "on")})
    elif tampering == "budget raised":
        rows = [row for row in proof["rows"] if row["kind"] == "budget"]
        assume(rows)
        rows[0]["at_most"] -= 1
    elif tampering in ("ceiling lowered", "floor raised"):
        dear = [column for column in proof["columns"].values() if column["ceiling"] > 1.0]
        column = data.draw(st.sampled_from(dear))
        column["floor" if tampering == "floor raised" else "ceiling"] = column["ceiling"] * (
            1.1 if tampering == "floor raised" else 0.9
        )
    elif tampering == "kit of everything":
        assume(scenario.clashes(frozenset(scenario.guard)))
        proof["kit"] = [guard.id for guard in scenario.guards]
    else:
        proof[tampering] += more
    assert not checked(scenario, sealed(proof)).valid


@pytest.mark.parametrize("aim", AIMS.values(), ids=str)
def test_a_worse_kit_is_not_called_best(aim: Aim) -> None:
    """Its objective is the true one and the proof is sealed; what the bound leaves open is more than the gap."""
    scenario, text = case(1, aim)
    proof = json.loads(text)
    every = price_every_kit(scenario, sample_of(scenario), TAIL)
    bare: frozenset[str] = frozenset()
    assert every.of(aim, bare) > proof["objective"] + 1.0
    found = checked(scenario, sealed(proof | {"kit": [], "objective": every.of(aim, bare)}))
    assert [fault for fault in found.faults if fault.startswith("The gap is")] == list(found.faults)
    assert found.faults


def test_a_proof_does_not_hold_where_falls_cost_something_else() -> None:
    """A dearer part, or more falls a year, is another question."""
    scenario, text = case(1, Aim.BILLS)
    first, *others = scenario.falls
    assert audit(scenario, text).valid
    assert not audit(replace(scenario, falls=(replace(first, per_year=first.per_year * 0.5), *others)), text).valid
    assert not audit(replace(scenario, repair_rate=scenario.repair_rate * 0.5), text).valid


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is no JSON"),
        ("[" * 100_000, "is no JSON"),
        ("[]", "is no proof"),
        ('{"format": "guardopt-proof-1"}', "field required"),
    ],
)
def test_what_is_no_proof_is_bad_input(text: str, says: str) -> None:
    """Named in one line, not as a proof that does not hold."""
    with pytest.raises(InputError, match=says):
        audit(case(0, Aim.BILLS)[0], text, "plan.json")


def test_proof_of_another_scenario_is_bad_input() -> None:
    """Its guards are not those on offer here."""
    with pytest.raises(InputError, match="another scenario"):
        audit(case(1, Aim.BILLS)[0], case(0, Aim.BILLS)[1], "plan.json")
