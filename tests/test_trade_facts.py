"""What anybody in the trade knows of guards and falls. All of it is common practice, no source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.loading.load import load
from guardopt.model.aims import Aim, Best
from guardopt.model.pieces import Cover, Fall, Guard, Insurance, Kit, KnockOn, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome
from guardopt.simulation.pricing import Prices, price
from guardopt.simulation.sampling import Stratum, draw

SCENARIOS = Path(__file__).parent.parent / "scenarios"
LEFT, RIGHT, CENTRE, PAIR = Side.LEFT, Side.RIGHT, Side.CENTRE, Side.PAIR
BARE: Kit = frozenset()

MakeScenario = Callable[..., Scenario]
PriceKits = Callable[..., Prices]
BestKit = Callable[..., Best]


def frame_and_tank(make_scenario: MakeScenario, **changes: object) -> Scenario:
    """A bike whose frame no guard saves and whose tank a bar always saves; a head-on bends the frame."""
    falls = [Fall("tip_over", 1.0), Fall("head_on", 0.1)]
    plain = {
        "parts": [Part("frame", "frame", CENTRE, 5000.0), Part("tank", "tank", CENTRE, 400.0)],
        "guards": [Guard("bar", "bar", CENTRE, 10_000)],
        "covers": [Cover(("bar",), "tank", 1.0)],
        "falls": falls,
        "hits": {("tip_over", "frame"): 0.0},
        "value": 4000.0,
        "salvage": 500.0,
    }
    return make_scenario(**(plain | changes))


def test_no_guard_changes_a_head_on(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """Where the frame is gone the bike is a write-off, with the bar on or off, and costs what the cap says."""
    bare, guarded = price_kits(frame_and_tank(make_scenario), BARE, frozenset({"bar"})).bills
    assert bare.owner_cost[1] == guarded.owner_cost[1] == 3500.0
    assert bare.write_off_chance[1] == guarded.write_off_chance[1] == 1.0
    assert bare.owner_cost[0] == 400.0
    assert guarded.owner_cost[0] == 0.0


def test_a_guard_that_helps_in_no_fall_but_a_head_on_is_not_bought(
    make_scenario: MakeScenario, best_kit: BestKit
) -> None:
    """If head-ons are all there is to fear, every guard is money thrown away."""
    scenario = frame_and_tank(make_scenario, falls=[Fall("head_on", 5.0)], hits={})
    assert best_kit(scenario).kit == BARE


@pytest.mark.parametrize("name", ["courier", "riding_school", "tourer", "track_day"])
def test_no_guard_changes_a_head_on_of_an_invented_bike(name: str) -> None:
    """In each scenario that comes with the package a head-on costs the same whatever guards are on."""
    scenario = load(SCENARIOS / name)
    kind = [fall.id for fall in scenario.falls].index("head_on")
    head_ons = [one for one in draw(scenario, 300, scenario.seed, "head-on") if one.fall == kind]
    bike = Bike(scenario)
    bare = [outcome(bike, one, bike.kit_array(BARE)).owner_cost for one in head_ons]
    for kit in np.random.default_rng(1).random((100, len(scenario.guards))) < 0.5:
        for one, cost in zip(head_ons, bare, strict=True):
            np.testing.assert_array_equal(outcome(bike, one, kit).owner_cost, cost)


def test_in_a_hard_slide_parts_are_struck_in_the_order_of_contact(make_scenario: MakeScenario) -> None:
    """As correlation nears 1 the bar end goes first and the tank last: what is struck less often brings the rest."""
    chances = {"bar_end": 0.9, "lever": 0.7, "engine_case": 0.4, "radiator": 0.15, "tank": 0.1}
    scenario = make_scenario(
        parts=[Part(name, name, CENTRE, 1.0) for name in chances],
        falls=[Fall("low_side", 1.0, left_share=1.0, correlation=1.0 - 1e-12)],
        hits={("low_side", name): chance for name, chance in chances.items()},
    )
    (sample,) = draw(scenario, 5000, 1, "order")
    for earlier, later in zip(sample.struck, sample.struck[1:], strict=False):
        assert (earlier | ~later).all()
        assert (earlier & ~later).any()


def test_strikes_hang_together_more_the_higher_the_correlation(make_scenario: MakeScenario) -> None:
    """Two parts are struck in the same fall more often in a slide with correlation than by mere chance."""
    together = []
    for correlation in (0.0, 0.4, 0.8):
        scenario = make_scenario(
            parts=[Part(name, name, CENTRE, 1.0) for name in ("lever", "mirror")],
            falls=[Fall("fall", 1.0, left_share=1.0, correlation=correlation)],
            hits={("fall", "lever"): 0.3, ("fall", "mirror"): 0.3},
        )
        (sample,) = draw(scenario, 20_000, 1, "together")
        together.append(float(sample.struck.all(axis=0).mean()))
    assert together[0] == pytest.approx(0.09, abs=0.01)
    assert together[0] + 0.03 < together[1] < together[2] - 0.03


def test_a_left_guard_changes_nothing_in_falls_to_the_right(make_scenario: MakeScenario) -> None:
    """The left slider saves the left case and, in falls to the left, the tank; in falls to the right it does nothing."""
    scenario = make_scenario(
        parts=[Part(f"case.{side}", "case", side, 200.0) for side in (LEFT, RIGHT)]
        + [Part("tank", "tank", CENTRE, 400.0)],
        guards=[Guard("slider.left", "slider", LEFT, 4000, wear_per_fall=9.0)],
        covers=[
            Cover(("slider.left",), "case.left", 1.0, side=LEFT),
            Cover(("slider.left",), "tank", 1.0, side=LEFT),
        ],
        falls=[Fall("fall", 1.0, tumble=0.3)],
    )
    bike = Bike(scenario)
    for sample in sample_of(scenario):
        bare, guarded = (outcome(bike, sample, bike.kit_array(kit)) for kit in (BARE, {"slider.left"}))
        saved = (bare.repair_bill - guarded.repair_bill)[0]
        assert saved == (600.0 if LEFT in sample.sides else 0.0)
        assert guarded.renewals[0] == (9.0 if LEFT in sample.sides else 0.0)


@given(st.integers(0, 10_000))
@settings(max_examples=30)
def test_sided_guards_change_nothing_where_their_side_is_not_struck(seed: int) -> None:
    """On any bike, taking off every guard of the side that a fall does not strike leaves that fall as it was."""
    scenario = random_scenario(seed, guards=6)
    bike = Bike(scenario)
    kit = all_kits(scenario)[-1]
    for sample in sample_of(scenario):
        away = {
            name for name in kit if scenario.guard[name].side.is_sided and scenario.guard[name].side not in sample.sides
        }
        full, without = (outcome(bike, sample, bike.kit_array(some)) for some in (kit, kit - away))
        np.testing.assert_array_equal(full.repair_bill, without.repair_bill)
        np.testing.assert_array_equal(full.renewals, without.renewals)


def radiator_and_mount(make_scenario: MakeScenario) -> Scenario:
    """A radiator in front of an engine mount: what breaks the one is passed on to the other."""
    return make_scenario(
        parts=[Part("radiator", "radiator", CENTRE, 260.0), Part("mount", "mount", CENTRE, 700.0)],
        guards=[Guard("grille", "grille", CENTRE, 4500), Guard("mount_plate", "mount_plate", CENTRE, 100)],
        covers=[Cover(("grille",), "radiator", 1.0), Cover(("mount_plate",), "mount", 1.0)],
        hits={("fall", "mount"): 0.0},
        knock_ons=(KnockOn("radiator", "mount", 1.0),),
    )


def test_dropping_the_radiator_guard_exposes_the_engine_mount_behind_it(
    make_scenario: MakeScenario, price_kits: PriceKits
) -> None:
    """The grille saves the mount as well, and a plate on the mount stops no blow from the radiator."""
    scenario = radiator_and_mount(make_scenario)
    kits = (BARE, frozenset({"grille"}), frozenset({"mount_plate"}), frozenset({"grille", "mount_plate"}))
    assert [bill.yearly_cost for bill in price_kits(scenario, *kits).bills] == [960.0, 0.0, 960.0, 0.0]


def test_the_way_to_save_the_mount_is_to_save_the_radiator(make_scenario: MakeScenario, best_kit: BestKit) -> None:
    """The plan buys the grille for both parts, though the plate on the mount is far cheaper."""
    assert best_kit(radiator_and_mount(make_scenario)).kit == {"grille"}


def test_a_second_guard_on_the_same_part_adds_less(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """A cover behind a bar saves something still, but less than it would by itself."""
    scenario = make_scenario(
        parts=[Part("case", "case", CENTRE, 200.0)],
        guards=[Guard("bar", "bar", PAIR, 1), Guard("cover", "cover", CENTRE, 1)],
        covers=[Cover(("bar",), "case", 0.7), Cover(("cover",), "case", 0.6)],
        falls_sampled=4000,
    )
    kits = (BARE, frozenset({"bar"}), frozenset({"cover"}), frozenset({"bar", "cover"}))
    bare, bar, cover, both = (bill.yearly_cost for bill in price_kits(scenario, *kits).bills)
    assert 0.0 < bar - both < bare - cover


def costs_of_falls(scenario: Scenario, sample: list[Stratum], kit: Kit) -> np.ndarray:
    """``(falls,)``: what each simulated fall costs the owner, renewals included."""
    bike = Bike(scenario)
    outcomes = [outcome(bike, one, bike.kit_array(kit)) for one in sample]
    return np.concatenate([one.owner_cost + one.renewals for one in outcomes])


@given(st.integers(0, 10_000), st.integers(0, 6), st.floats(0.0, 500.0))
@settings(max_examples=40)
def test_a_dearer_part_never_makes_a_fall_cheaper(seed: int, part: int, more: float) -> None:
    """With one part dearer, or slower to fit, no single fall costs less with any kit."""
    scenario = random_scenario(seed, guards=5, falls_sampled=20)
    dearer = replace(
        scenario,
        parts=tuple(
            replace(one, price=one.price + more, hours=one.hours + more / 100) if row == part else one
            for row, one in enumerate(scenario.parts)
        ),
    )
    sample = sample_of(scenario)
    for kit in all_kits(scenario)[::4]:
        cheaper_falls = costs_of_falls(dearer, sample_of(dearer), kit) < costs_of_falls(scenario, sample, kit) - 1e-9
        assert not cheaper_falls.any()


@given(st.integers(0, 10_000))
@settings(max_examples=30)
def test_another_guard_never_makes_a_fall_dearer_but_for_its_wear(seed: int) -> None:
    """With more guards on, no single fall costs more or leaves more to put right later, unless one does harm."""
    scenario = replace(random_scenario(seed, guards=5, falls_sampled=20), exposures=())
    bike, kits = Bike(scenario), all_kits(scenario)
    for sample in sample_of(scenario):
        found = {kit: outcome(bike, sample, bike.kit_array(kit)) for kit in kits}
        for kit, more in found.items():
            for less in (found[kit - {name}] for name in kit if kit - {name} in found):
                assert (more.paid - more.renewals <= less.paid - less.renewals + 1e-9).all()
                assert (less.noted | ~more.noted).all()


@given(st.integers(0, 10_000), st.floats(0.1, 5.0))
@settings(max_examples=20)
def test_falls_that_come_twice_as_often_cost_twice_as_much(seed: int, times: float) -> None:
    """The yearly cost is in proportion to how often falls come, where nothing waits."""
    scenario = random_scenario(seed, guards=4, falls_sampled=20, own_costs=False)
    often = replace(scenario, falls=tuple(replace(fall, per_year=times * fall.per_year) for fall in scenario.falls))
    kit = all_kits(scenario)[-1]
    costs = [price(Bike(one), sample_of(one), [kit]).bills[0].yearly_cost for one in (scenario, often)]
    assert costs[1] == pytest.approx(times * costs[0])


def test_with_a_small_excess_guards_do_not_pay(make_scenario: MakeScenario, best_kit: BestKit) -> None:
    """A bar of 100 that saves a tank of 400 a year pays for itself unless the insurer pays all but 50."""
    uninsured = frame_and_tank(make_scenario)
    insured = frame_and_tank(make_scenario, insurance=Insurance(50.0))
    assert best_kit(uninsured, aim=Aim.OUTLAY).kit == {"bar"}
    assert best_kit(insured, aim=Aim.OUTLAY).kit == BARE
