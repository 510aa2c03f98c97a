"""The rider's own costs: damage that waits, days without the bike, guards that are sold and guards that do harm."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from plain_twin import price_fall
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.model.aims import Aim, Best
from guardopt.model.pieces import Cover, Exposure, Fall, Guard, Insurance, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome, whole_falls
from guardopt.simulation.pricing import Prices, price
from guardopt.simulation.repair_interval import put_right, put_right_slope

CENTRE = Side.CENTRE
BARE = frozenset[str]()

MakeScenario = Callable[..., Scenario]
PriceKits = Callable[..., Prices]


def test_what_comes_about_at_least_once_is_paid_once() -> None:
    """E[min(N, 1)] = 1 - exp(-mean) for a Poisson N, which is 1 - P(N = 0); checked against 200,000 draws.

    S. M. Ross, Introduction to Probability Models, 11th edition, Academic Press 2014, chapter 5 (cited from memory).
    """
    counts = np.random.default_rng(3).poisson(1.7, 200_000)
    once = float(put_right(np.array([1.0]), np.array([1.7]), 1.0)[0])
    assert once == pytest.approx(1.0 - math.exp(-1.7))
    assert abs(np.minimum(counts, 1).mean() - once) < 4.0 * 0.5 / math.sqrt(counts.size)


def test_falls_of_two_kinds_that_break_a_part_are_one_process(
    make_scenario: MakeScenario, price_kits: PriceKits
) -> None:
    """Thinned and added up: kinds at rates 2 and 3 that strike it with chances 1 and 0 break it twice a year.

    J. F. C. Kingman, Poisson Processes, Oxford 1993, superposition and colouring (cited from memory).
    """
    scenario = make_scenario(
        parts=[Part("tank", "tank", CENTRE, 90.0, waits=True)],
        falls=[Fall("one", 2.0), Fall("two", 3.0)],
        hits={("two", "tank"): 0.0},
        repair_every=0.5,
    )
    assert price_kits(scenario, BARE).bills[0].yearly_cost == pytest.approx(90.0 / 0.5 * (1.0 - math.exp(-0.5 * 2.0)))


def test_the_slope_is_that_of_the_cost() -> None:
    """A little more often costs a little more, by a central difference."""
    amount, often, step = np.array([400.0]), np.array([1.3]), 1e-5
    up, down = (put_right(amount, often + way * step, 2.0)[0] for way in (1, -1))
    assert put_right_slope(amount, often, 2.0)[0] == pytest.approx((up - down) / (2 * step), rel=1e-8)


@pytest.mark.parametrize("seed", range(12))
def test_put_right_at_once_nothing_waits(seed: int) -> None:
    """With repair_every tending to 0 a part that waits costs what it costs without waiting, whatever the kit.

    Days aside, which parts that wait do not count, and a group that parts of both kinds share, which is then reached
    twice; and without guards that do harm, whose falls may cost more than the cap although they are not whole.
    """
    scenario = replace(
        random_scenario(seed, guards=5, falls_sampled=20), repair_every=1e-9, strip_down={}, exposures=()
    )
    scenario = replace(scenario, parts=tuple(replace(part, days=0.0, waits=True) for part in scenario.parts))
    never = replace(scenario, parts=tuple(replace(part, waits=False) for part in scenario.parts))
    kits = all_kits(scenario)[::4]
    late, at_once = (price(Bike(one), sample_of(one), kits, errors=False).bills for one in (scenario, never))
    for one, other in zip(late, at_once, strict=True):
        assert one.yearly_cost == pytest.approx(other.yearly_cost, rel=1e-6, abs=1e-6)


def test_with_one_fall_in_ten_years_waiting_saves_next_to_nothing(
    make_scenario: MakeScenario, price_kits: PriceKits
) -> None:
    """To first order: 1 - exp(-0.1) is 0.1 less half of 0.01."""
    parts = [Part("tank", "tank", CENTRE, 200.0, waits=True)]
    scenario = make_scenario(parts=parts, falls=[Fall("fall", 0.1)])
    waits = price_kits(scenario, BARE).bills[0].yearly_cost
    never = price_kits(replace(scenario, parts=(replace(parts[0], waits=False),)), BARE).bills[0].yearly_cost
    assert never == pytest.approx(20.0)
    assert waits == pytest.approx(20.0 * (1.0 - 0.05), rel=0.002)


def test_a_fall_that_costs_the_bare_bike_more_than_the_cap_is_whole(
    make_scenario: MakeScenario, price_kits: PriceKits
) -> None:
    """An excess of 100: a tank of 150 that waits is put right after the fall, also where a pad spares the mirror."""
    scenario = make_scenario(
        parts=[Part("tank", "tank", CENTRE, 80.0, waits=True), Part("mirror", "mirror", CENTRE, 70.0, waits=True)],
        guards=[Guard("pad", "pad", CENTRE, 1000)],
        covers=[Cover(("pad",), "mirror", 1.0)],
        falls=[Fall("fall", 0.25)],
        insurance=Insurance(100.0),
    )
    bare, guarded = price_kits(scenario, BARE, frozenset({"pad"})).bills
    assert (bare.yearly_cost, guarded.yearly_cost) == (pytest.approx(25.0), pytest.approx(20.0))
    assert bare.put_right.sum() == guarded.put_right.sum() == 0.0
    roomy = replace(scenario, insurance=Insurance(150.0))
    assert price_kits(roomy, BARE).bills[0].owner_cost[0] == 0.0


def test_the_longest_of_the_days_counts_and_recovery_once(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """Parts that take 2, 5 and 5 days, all broken: 5 days at 30 and 80 to get it home; what waits stops nothing."""
    parts = [
        Part("lever", "lever", CENTRE, 10.0, days=2.0),
        Part("fork", "fork", CENTRE, 20.0, days=5.0),
        Part("case", "case", CENTRE, 30.0, days=5.0),
        Part("panel", "panel", CENTRE, 40.0, days=60.0, waits=True),
    ]
    scenario = make_scenario(parts=parts, day_without=30.0, recovery=80.0, falls=[Fall("fall", 2.0)])
    (bill,) = price_kits(scenario, BARE).bills
    assert (bill.days[0], bill.off_road[0]) == (5.0, pytest.approx(230.0))
    assert bill.days_per_year == pytest.approx(10.0)
    waiting = replace(scenario, parts=tuple(replace(part, waits=True) for part in parts))
    (still,) = price_kits(waiting, BARE).bills
    assert (still.days[0], still.off_road[0]) == (0.0, 0.0)


def test_days_come_on_top_of_the_cap(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """An excess of 100 and three days at 30: no insurer pays for the bus."""
    parts = [Part("fork", "fork", CENTRE, 900.0, days=3.0)]
    scenario = make_scenario(parts=parts, day_without=30.0, insurance=Insurance(100.0))
    assert price_kits(scenario, BARE).bills[0].yearly_cost == pytest.approx(190.0)


def test_expected_days_are_the_order_statistic_of_independent_parts(
    make_scenario: MakeScenario, price_kits: PriceKits
) -> None:
    """E[max] is the sum over levels of 1 - product of P(below); three parts broken with chance 0.5, 0.4 and 0.2.

    H. A. David and H. N. Nagaraja, Order Statistics, 3rd edition, Wiley 2003, chapter 2 (cited from memory).
    """
    parts = [
        Part("a", "a", CENTRE, 0.0, days=1.0, break_chance=0.5),
        Part("b", "b", CENTRE, 0.0, days=4.0, break_chance=0.4),
        Part("c", "c", CENTRE, 0.0, days=10.0, break_chance=0.2),
    ]
    scenario = make_scenario(parts=parts, day_without=1.0, falls_sampled=60_000)
    expected = (1 - 0.5 * 0.6 * 0.8) * 1 + (1 - 0.6 * 0.8) * 3 + 0.2 * 6
    prices = price_kits(scenario, BARE)
    error = prices.standard_error(0)
    assert error is not None
    assert abs(prices.bills[0].yearly_cost - expected) < 4.0 * error


def test_selling_pays_for_the_cage(make_scenario: MakeScenario, best_kit: Callable[..., Best]) -> None:
    """A cage of 100 is over a budget of 60, but the sliders it replaces fetch 45 now; kept, they would be for nothing."""
    sliders = Guard("sliders", "sliders", CENTRE, 8000, slot="frame", owned=True, sells_cents=4500)
    cage = Guard("cage", "cage", CENTRE, 10_000, slot="frame")
    scenario = make_scenario(
        parts=[Part("tank", "tank", CENTRE, 500.0)],
        guards=[sliders, cage],
        covers=[Cover(("sliders",), "tank", 0.0), Cover(("cage",), "tank", 1.0)],
        budget_cents=6000,
    )
    assert best_kit(scenario).kit == {"cage"}
    assert scenario.spend_cents({"cage"}) == 5500
    assert scenario.spend_cents(BARE) == -4500
    kept = replace(scenario, guards=(replace(sliders, sells_cents=0), cage))
    assert "cage" not in best_kit(kept).kit


def test_what_an_owned_guard_fetches_at_the_end_counts_if_it_stays(
    make_scenario: MakeScenario, best_kit: Callable[..., Best]
) -> None:
    """It fetches 30 now and, kept, 40 at the end without interest: the aim outlay keeps it, at 20 at the end it sells."""
    guard = Guard("bar", "bar", CENTRE, 8000, owned=True, sells_cents=3000, resale_share=0.5)
    scenario = make_scenario(parts=[Part("tank", "tank", CENTRE, 500.0)], guards=[guard])
    assert best_kit(scenario, Aim.OUTLAY).kit == {"bar"}
    less = replace(scenario, guards=(replace(guard, resale_share=0.25),))
    assert best_kit(less, Aim.OUTLAY).kit == BARE


@pytest.mark.parametrize(("chance", "kit"), [(0.9, BARE), (0.1, frozenset({"bar"}))])
def test_a_guard_that_does_more_harm_than_good_is_left_out_though_it_costs_nothing(
    make_scenario: MakeScenario, best_kit: Callable[..., Best], chance: float, kit: frozenset[str]
) -> None:
    """A free bar spares a case of 100 and bends into a frame of 200 with some chance."""
    scenario = make_scenario(
        parts=[Part("case", "case", CENTRE, 100.0), Part("frame", "frame", CENTRE, 200.0)],
        guards=[Guard("bar", "bar", CENTRE, 0)],
        covers=[Cover(("bar",), "case", 1.0)],
        exposures=(Exposure(("bar",), "frame", chance),),
        hits={("fall", "frame"): 0.0},
        falls_sampled=400,
    )
    for aim in (Aim.BILLS, Aim.OUTLAY):
        assert best_kit(scenario, aim).kit == kit


def test_a_cover_spares_a_part_from_what_another_guard_does_to_it(
    make_scenario: MakeScenario, price_kits: PriceKits
) -> None:
    """The bar drives the case into the road, a plate on the case holds; a part struck anyway is struck no more."""
    scenario = make_scenario(
        parts=[Part("case", "case", CENTRE, 100.0)],
        guards=[Guard("bar", "bar", CENTRE, 0), Guard("plate", "plate", CENTRE, 0)],
        covers=[Cover(("plate",), "case", 1.0)],
        exposures=(Exposure(("bar",), "case", 1.0),),
        hits={("fall", "case"): 0.0},
    )
    kits = [BARE, frozenset({"bar"}), frozenset({"plate"}), frozenset({"bar", "plate"})]
    assert [bill.yearly_cost for bill in price_kits(scenario, *kits).bills] == [0.0, 100.0, 0.0, 0.0]
    struck = replace(scenario, hits={("fall", "case"): 1.0})
    assert [bill.yearly_cost for bill in price_kits(struck, *kits).bills] == [100.0, 100.0, 0.0, 0.0]


@pytest.mark.parametrize("seed", range(20))
def test_whole_falls_are_told_by_the_bare_bike_alone(seed: int) -> None:
    """Whichever kit is on, what is noted in a fall and what is paid for it agree with the plain twin."""
    scenario = random_scenario(seed, guards=5, falls_sampled=8)
    bike = Bike(scenario)
    for sample in sample_of(scenario):
        whole = whole_falls(bike, sample)
        for kit in all_kits(scenario)[::6]:
            found = outcome(bike, sample, bike.kit_array(kit), whole)
            for fall in range(sample.falls):
                noted = price_fall(scenario, sample, fall, kit).waiting
                assert bool(noted) or not found.noted[:, fall].any()
                assert whole is None or not (whole[fall] and noted)


def test_errors_of_what_waits_are_those_of_its_tangent(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """Over 200 seeds a part broken with chance 0.3 four times a year: errors in standard errors have variance 1."""
    parts = [Part("tank", "tank", CENTRE, 100.0, break_chance=0.3, waits=True)]
    truth = 100.0 * (1.0 - math.exp(-1.2))
    scores = []
    for seed in range(200):
        scenario = make_scenario(parts=parts, falls=[Fall("fall", 4.0)], falls_sampled=400, seed=seed)
        prices = price_kits(scenario, BARE)
        scores.append((prices.bills[0].yearly_cost - truth) / (prices.standard_error(0) or math.nan))
    assert abs(np.mean(scores)) < 0.35
    assert abs(np.var(scores) - 1.0) < 4.0 * math.sqrt(2.0 / 200)
