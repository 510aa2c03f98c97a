"""From how many falls on a guard is worth its price, and until how many."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from random_scenarios import EveryKit, price_every_kit, random_limits, random_scenario, sample_of

from guardopt.deadline import Deadline
from guardopt.model.aims import Aim, Limits
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.break_even import MOST, BreakEven, break_even
from guardopt.questions.plan import plan


def priced(seed: int) -> tuple[Scenario, Planner, EveryKit]:
    """A random scenario, its planner and every kit of it priced on the same falls."""
    scenario = replace(random_scenario(seed, guards=6, own_costs=False), falls_sampled=40)
    sample = sample_of(scenario)
    return scenario, Planner(scenario, sample), price_every_kit(scenario, sample)


def envelope(every: EveryKit, limits: Limits, scenario: Scenario) -> list[tuple[float, frozenset[str]]]:
    """The lower envelope of all lines, walked from crossing to crossing: where each kit begins, and the kit."""
    falls = every.measured[Aim.BILLS] - np.array([scenario.dislike(kit) for kit in every.kits])
    fixed = every.measured[Aim.OUTLAY] - falls
    rows = np.flatnonzero(every.allowed(limits)).tolist()
    here = min(rows, key=lambda row: (round(fixed[row], 7), falls[row]))
    walk, multiple = [(0.0, every.kits[here])], 0.0
    while True:
        ahead = [
            ((fixed[row] - fixed[here]) / (falls[here] - falls[row]), falls[row], row)
            for row in rows
            if falls[row] < falls[here] - 1e-9
        ]
        if not ahead:
            return walk
        multiple, _, here = min(ahead)
        if multiple >= MOST:
            return walk
        walk.append((max(0.0, multiple), every.kits[here]))


@pytest.mark.parametrize("seed", range(12))
def test_spans_are_those_of_the_envelope_of_all_kits(seed: int) -> None:
    """Every kit's line is drawn; a guard is worth it from the first span that has it to the end of the last."""
    scenario, planner, every = priced(seed)
    limits = Limits(scenario.budget_cents)
    walk = envelope(every, limits, scenario)
    ends = [start for start, _ in walk[1:]] + [math.inf]
    found = break_even(planner, limits)
    for guard in scenario.guards:
        spans = [(start, end) for (start, kit), end in zip(walk, ends, strict=True) if guard.id in kit]
        spans = [(start, end) for start, end in spans if end > start + 1e-6]
        worth = found[guard.id]
        if not spans:
            assert worth.worth_it_from is None or worth.worth_it_until == pytest.approx(worth.worth_it_from, abs=1e-4)
            continue
        assert worth.worth_it_from == pytest.approx(spans[0][0], rel=1e-3, abs=1e-4)
        if math.isinf(spans[-1][1]):
            assert worth.worth_it_until is None
        else:
            assert worth.worth_it_until == pytest.approx(spans[-1][1], rel=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_forced_guards_are_always_or_never_in(seed: int) -> None:
    """What is forced in is worth it from nought on for good, as far as this question goes; forced out, never."""
    scenario, planner, every = priced(seed)
    limits = random_limits(scenario, seed)
    if every.least(Aim.OUTLAY, limits) is None:
        limits = Limits(never=limits.never)
    found = break_even(planner, limits)
    assert all(found[guard] == BreakEven(0.0, None) for guard in limits.must)
    assert all(found[guard] == BreakEven(None, None) for guard in limits.never)


def one_part(make_scenario: Callable[..., Scenario], *guards: Guard, holds: float = 1.0) -> Scenario:
    """A tank at 200 broken once a year, held by each of some guards."""
    covers = [Cover((guard.id,), "tank", holds) for guard in guards]
    return make_scenario([Part("tank", "tank", Side.CENTRE, 200.0)], guards, covers)


def test_a_guard_is_worth_it_from_the_falls_that_pay_its_price(
    make_scenario: Callable[..., Scenario], planner_of: Callable[..., Planner]
) -> None:
    """A guard at 50 against a tank at 200 a year breaks even at a quarter of the falls; half resold, at an eighth."""
    for resale, multiple in ((0.0, 0.25), (0.5, 0.125)):
        scenario = one_part(make_scenario, Guard("pad", "pad", Side.CENTRE, 5000, resale_share=resale))
        found = break_even(planner_of(scenario), Limits())
        assert found["pad"].worth_it_from == pytest.approx(multiple)
        assert found["pad"].worth_it_until is None


def test_a_guard_that_wears_more_than_it_saves_is_never_worth_it(
    make_scenario: Callable[..., Scenario], planner_of: Callable[..., Planner]
) -> None:
    """Renewed for 250 at every fall to save 200 it costs more the more falls there are; so does one that holds nothing."""
    worn = Guard("pad", "pad", Side.CENTRE, 5000, wear_per_fall=250.0)
    badge = Guard("badge", "badge", Side.CENTRE, 5000)
    assert break_even(planner_of(one_part(make_scenario, worn)), Limits())["pad"] == BreakEven(None, None)
    assert break_even(planner_of(one_part(make_scenario, badge, holds=0.0)), Limits())["badge"].worth_it_from is None


def test_a_guard_owned_already_is_worth_it_from_the_first_fall(
    make_scenario: Callable[..., Scenario], planner_of: Callable[..., Planner]
) -> None:
    """It costs nothing more, so any saving is enough."""
    scenario = one_part(make_scenario, Guard("pad", "pad", Side.CENTRE, 5000, owned=True))
    worth = break_even(planner_of(scenario), Limits())["pad"]
    assert worth.worth_it_from == pytest.approx(0.0, abs=1e-6)
    assert worth.worth_it_until is None


def test_a_cheap_guard_gives_way_to_a_better_one_in_its_place(
    make_scenario: Callable[..., Scenario], planner_of: Callable[..., Planner]
) -> None:
    """At 20 for half the blows from a fifth of the falls on, until the one at 80 for all of them pays at three fifths."""
    cheap, good = (
        Guard(name, name, Side.CENTRE, cents, slot="top") for name, cents in (("cheap", 2000), ("good", 8000))
    )
    scenario = make_scenario(
        [Part("tank", "tank", Side.CENTRE, 200.0)],
        [cheap, good],
        [Cover(("cheap",), "tank", 0.5), Cover(("good",), "tank", 1.0)],
        falls_sampled=4000,
    )
    planner = planner_of(scenario)
    found = break_even(planner, Limits())
    kept = 1.0 - planner.measure(Aim.BILLS.measures[0], frozenset({"cheap"})) / 200.0
    assert kept == pytest.approx(0.5, abs=0.03)
    assert found["cheap"].worth_it_from == pytest.approx(20.0 / (200.0 * kept), rel=1e-6)
    assert found["cheap"].worth_it_until == pytest.approx(60.0 / (200.0 * (1.0 - kept)), rel=1e-6)
    assert found["good"].worth_it_from == found["cheap"].worth_it_until
    assert found["good"].worth_it_until is None


@pytest.mark.parametrize("done", [0, 1, 2, 5, 8, 10])
def test_out_of_time_what_is_said_is_right_and_the_rest_unknown(done: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Guards that are called known have the numbers of the whole envelope."""
    scenario, planner, _ = priced(12)
    limits = Limits(scenario.budget_cents)
    whole = break_even(planner, limits)
    answers = []
    true_answer = Planner.best

    def slow(self: Planner, *args: object, **options: object) -> object:
        answers.append(1)
        found = true_answer(self, *args, **options)  # type: ignore[arg-type]
        if len(answers) >= done:
            monkeypatch.setattr(time, "monotonic", lambda: math.inf)
        return found

    monkeypatch.setattr(Planner, "best", slow)
    deadline = Deadline(-1.0) if done == 0 else Deadline.after(1e9)
    found = break_even(planner, limits, deadline=deadline)
    monkeypatch.undo()
    assert len(answers) == done
    known = [guard for guard, worth in found.items() if worth.is_known]
    assert len(known) < len(found)
    assert bool(known) == (done >= 5)
    for guard, worth in found.items():
        assert worth == (whole[guard] if worth.is_known else BreakEven(None, None, is_known=False))


def test_multiples_of_one_span_the_plan_of_least_outlay() -> None:
    """The kit of `plan --aim outlay` is made of the guards whose span holds 1, where spans are in one piece."""
    scenario = replace(random_scenario(2, guards=6, own_costs=False), falls_sampled=40)
    made = plan(scenario, aim="outlay", reasons=False, break_even=True)
    assert made.break_even is not None
    assert {guard["guard"] for guard in made.to_json()["guards"] if guard["picked"]} == made.kit
    for guard in made.kit:
        worth = made.break_even[guard]
        assert worth.worth_it_from is not None
        assert worth.worth_it_from <= 1.0 + 1e-6
        assert worth.worth_it_until is None or worth.worth_it_until >= 1.0 - 1e-6
