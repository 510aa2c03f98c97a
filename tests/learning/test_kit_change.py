"""What learning changes, and which number to watch next."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import pytest
from random_scenarios import random_scenario
from shipped import FOLDER, shipped

from guardopt.learning.fall_log import Log, Watched
from guardopt.learning.fall_log_reading import read_log
from guardopt.learning.kit_change import Effect
from guardopt.learning.learn import Learned, learn
from guardopt.learning.sensitivity import PURPOSE, Slopes
from guardopt.model.aims import GAP
from guardopt.model.numbers import Kind, numbers_of, value_of, with_values
from guardopt.model.scenario import Scenario
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.reports.learn_text import learn_text
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price
from guardopt.simulation.sampling import draw

FALLS = 800


@cache
def courier() -> tuple[Learned, Effect]:
    """What the shipped log teaches the courier, on fewer falls than usual."""
    scenario = replace(shipped("courier"), falls_sampled=FALLS)
    learned = learn(scenario, read_log(FOLDER / "courier" / "log", scenario))
    return learned, learned.effect()


def yearly_cost(scenario: Scenario, kit: frozenset[str]) -> float:
    """The yearly cost on the falls that slopes are worked out on."""
    sample = draw(scenario, scenario.falls_sampled, scenario.seed, PURPOSE)
    return price(Bike(scenario), sample, [kit], errors=False).bills[0].yearly_cost


@pytest.mark.parametrize("seed", range(6))
def test_slopes_are_those_of_pricing_everything_anew(seed: int) -> None:
    """Rates, sides, strikes and correlations moved up and down by hand, all falls drawn and priced again."""
    scenario = random_scenario(seed, falls_sampled=400, own_costs=False)
    kit = frozenset(guard.id for guard in scenario.guards)
    slopes = Slopes(scenario, kit)
    checked = set()
    for number in numbers_of(scenario):
        here = value_of(scenario, number)
        step = 0.1 if number.kind in (Kind.STRIKE, Kind.CORRELATION) else 1e-3
        has_room = step < here and (number.kind is Kind.RATE or here < 1.0 - step)
        if not has_room or number.kind in (Kind.BREAK, Kind.HOLD):
            continue
        up, down = (yearly_cost(with_values(scenario, {number: here + way * step}), kit) for way in (1, -1))
        assert slopes.of(number, step) == pytest.approx((up - down) / (2 * step), abs=1e-6), number
        checked.add(number.kind)
    assert {Kind.RATE, Kind.STRIKE} <= checked


@pytest.mark.parametrize("seed", range(6))
def test_breaks_and_holds_are_straight_lines(seed: int) -> None:
    """Always less never, one chance thing at a time, is what the chance is worth on average over many falls."""
    scenario = random_scenario(seed, falls_sampled=1000, own_costs=False)
    kit = frozenset(guard.id for guard in scenario.guards)
    slopes = Slopes(scenario, kit)
    for number in numbers_of(scenario):
        if number.kind in (Kind.BREAK, Kind.HOLD) and len(number.parts) + len(number.covers) == 1:
            always, never = (yearly_cost(with_values(scenario, {number: end}), kit) for end in (1.0, 0.0))
            assert slopes.of(number, 0.1) == pytest.approx(always - never, abs=1e-6), number


@pytest.mark.parametrize("seed", [0, 1, 2, 5])
def test_slopes_of_what_waits_are_those_of_its_tangent(seed: int) -> None:
    """A rate moved a little by hand; and put right after every fall, nothing is worth more or less than without waiting."""
    scenario = random_scenario(seed, falls_sampled=200, own_costs=False)
    kit = frozenset(guard.id for guard in scenario.guards)
    slopes, step = Slopes(scenario, kit), 1e-4
    for number in numbers_of(scenario):
        here = value_of(scenario, number)
        if number.kind is Kind.RATE and here > step:
            up, down = (yearly_cost(with_values(scenario, {number: here + way * step}), kit) for way in (1, -1))
            assert slopes.of(number, step) == pytest.approx((up - down) / (2 * step), rel=1e-6, abs=1e-6), number
    plain = replace(scenario, exposures=(), strip_down={}, repair_every=1e-9)
    never = replace(plain, parts=tuple(replace(part, waits=False, days=0.0) for part in plain.parts))
    plain = replace(plain, parts=tuple(replace(part, days=0.0) for part in plain.parts))
    at_once, as_ever = Slopes(plain, kit), Slopes(never, kit)
    for number in numbers_of(plain):
        assert at_once.of(number, 0.05) == pytest.approx(as_ever.of(number, 0.05), rel=1e-5, abs=1e-4), number


def test_the_first_number_to_watch_is_the_one_whose_doubt_costs_most() -> None:
    """Slope times doubt, from the largest down; the doubt of the yearly cost is the root of their squares."""
    learned, effect = courier()
    costs = [doubt.cost for doubt in effect.doubts]
    assert costs == sorted(costs, reverse=True)
    assert effect.yearly_cost_sd == pytest.approx(sum(cost**2 for cost in costs) ** 0.5)
    sds = {one.number: one.now.sd for one in learned.estimates}
    assert all(doubt.sd == sds[doubt.number] for doubt in effect.doubts)


def test_watching_longer_leaves_less_doubt() -> None:
    """Ten more years without a change in what happens: rates are surer, and so is the yearly cost."""
    learned, effect = courier()
    scenario = learned.before
    longer = Log((*learned.log.watched, Watched("more", date(2010, 1, 1), date(2019, 12, 31))), learned.log.falls)
    assert learn(scenario, longer).effect().yearly_cost_sd < effect.yearly_cost_sd


def test_more_falls_than_guessed_make_the_same_kit_dearer() -> None:
    """The old kit, priced with the numbers as learned, is no better than the new one but for the luck of fresh falls."""
    learned, effect = courier()
    assert effect.yearly_before < effect.yearly_after
    assert effect.yearly_after <= effect.yearly_old_kit + 0.02 * effect.yearly_after
    assert effect.kit_changes == (effect.before != effect.after)
    for kit in (effect.before, effect.after):
        assert learned.scenario.spend_cents(kit) <= (learned.scenario.budget_cents or 0)


def test_nothing_learned_changes_no_kit() -> None:
    """Both plans are the same, down to the cent."""
    scenario = replace(shipped("tourer"), falls_sampled=200)
    effect = learn(scenario, Log()).effect()
    assert not effect.kit_changes
    assert effect.yearly_before == effect.yearly_old_kit == effect.yearly_after


def test_kits_that_are_not_proven_best_are_not_passed_off_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the time runs out, the record has the gap and the report says so."""
    learned, effect = courier()
    assert (effect.to_json(learned.scenario)["status"], effect.gap <= GAP) == ("optimal", True)

    def hurried(*args: object, **options: Any) -> Plan:
        made = plan(*args, **options)
        return replace(made, best=replace(made.best, bound=0.9 * made.best.objective, proven=False))

    monkeypatch.setattr("guardopt.learning.kit_change.plan", hurried)
    late = learned.effect()
    said = late.to_json(learned.scenario)
    assert said["status"] == "time_limit"
    assert said["gap"] == pytest.approx(0.1)
    assert "another may be better by 10 % at most" in " ".join(learn_text(learned, late).split())
