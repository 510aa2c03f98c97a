"""A kit's price is what the definition of a fall says it is, and its standard error means what it says."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.aims import Measure
from guardopt.bike import Bike
from guardopt.bills import Prices, outcome, price, tail_weights, worst_mean
from guardopt.falls import Stratum, draw
from guardopt.pieces import Cover, Fall, Guard, Insurance, Kit, KnockOn, Part, Side
from guardopt.planner import Planner
from guardopt.scenario import Scenario

LEFT, CENTRE, PAIR = Side.LEFT, Side.CENTRE, Side.PAIR
BARE: Kit = frozenset()

MakeScenario = Callable[..., Scenario]
PriceKits = Callable[..., Prices]


def fall_in_words(scenario: Scenario, sample: Stratum, fall: int, kit: Kit) -> tuple[float, float, float]:
    """Repair bill, owner's cost and renewals of one simulated fall, part by part as the definition reads."""
    struck = {part.id for row, part in enumerate(scenario.parts) if sample.struck[row, fall]}
    breaks = {part.id for row, part in enumerate(scenario.parts) if sample.breaks[row, fall]}
    working = [
        (row, cover)
        for row, cover in enumerate(scenario.covers)
        if cover.fall in (None, scenario.falls[sample.fall].id) and (cover.side is None or cover.side in sample.sides)
    ]
    spared = {cover.part for row, cover in working if set(cover.guards) <= kit and sample.holds[row, fall]}
    harmed = struck - spared
    while True:
        reached = {
            knock_on.takes
            for row, knock_on in enumerate(scenario.knock_ons)
            if knock_on.part in harmed & breaks and sample.passes[row, fall]
        }
        if reached <= harmed:
            break
        harmed |= reached
    bill, opened = 0.0, set()
    for part in scenario.parts:
        if part.id in harmed & breaks:
            bill += part.price + part.hours * scenario.repair_rate
            opened.add(part.strip_down)
        elif part.id in harmed:
            bill += part.touch_up
    bill += sum(scenario.strip_down[name] * scenario.repair_rate for name in opened if name)
    worn = {name for _, cover in working if cover.part in struck for name in cover.guards}
    return bill, min(bill, scenario.cap), math.fsum(scenario.guard[name].wear_per_fall for name in worn & kit)


@pytest.mark.parametrize("seed", range(25))
def test_every_simulated_fall_costs_what_the_definition_says(seed: int) -> None:
    """Bill, owner's cost and renewals of each fall agree with a plain reading of the rules, for every third kit."""
    scenario = random_scenario(seed, guards=5, falls_sampled=8)
    bike = Bike(scenario)
    for kit in all_kits(scenario)[::3]:
        for sample in sample_of(scenario):
            found = outcome(bike, sample, bike.kit_array(kit))
            expected = [fall_in_words(scenario, sample, fall, kit) for fall in range(sample.falls)]
            got = np.stack([found.repair_bill, found.owner_cost, found.renewals], axis=1)
            np.testing.assert_allclose(got, expected, rtol=1e-12, atol=1e-9)


def expected_yearly_cost(scenario: Scenario, kit: Kit) -> float:
    """The yearly cost in closed form: every way a fall can go, each with its chance; correlations must be 0."""
    total = 0.0
    for number, fall in enumerate(scenario.falls):
        for sides, share in fall.side_shares().items():
            exposed = [not part.side.is_sided or part.side in sides for part in scenario.parts]
            chances = [scenario.hits[fall.id, part.id] * on for part, on in zip(scenario.parts, exposed, strict=True)]
            chances += [part.break_chance for part in scenario.parts]
            chances += [knock_on.chance for knock_on in scenario.knock_ons]
            chances += [cover.holds for cover in scenario.covers]
            ends = np.cumsum([len(scenario.parts), len(scenario.parts), len(scenario.knock_ons)])
            for way in product(*[(False, True) if 0.0 < chance < 1.0 else (chance > 0.0,) for chance in chances]):
                chance = math.prod(p if happens else 1.0 - p for p, happens in zip(chances, way, strict=True))
                draws = [np.array(some, dtype=bool)[:, np.newaxis] for some in np.split(np.array(way), ends)]
                sample = Stratum(number, sides, share, *draws, serves=np.array([]))
                _, owner_cost, renewals = fall_in_words(scenario, sample, 0, kit)
                total += fall.per_year * share * chance * (owner_cost + renewals)
    return total


def tiny(make_scenario: MakeScenario, falls_sampled: int = 200, seed: int = 1) -> Scenario:
    """Three parts, a joint cover, a knock-on, wear, a cap and two kinds of fall, all with chances strictly between."""
    return make_scenario(
        parts=[
            Part("lever", "lever", LEFT, 40.0, hours=0.5, break_chance=0.6, touch_up=12.0, strip_down="fairing"),
            Part("radiator", "radiator", CENTRE, 150.0, strip_down="fairing"),
            Part("mount", "mount", CENTRE, 220.0),
        ],
        guards=[
            Guard("tip.left", "tip", LEFT, 2000, wear_per_fall=7.0),
            Guard("bars", "bars", PAIR, 18_000),
            Guard("grille", "grille", CENTRE, 4_000),
        ],
        covers=[
            Cover(("tip.left",), "lever", 0.7, side=LEFT),
            Cover(("bars", "grille"), "radiator", 0.8),
            Cover(("bars",), "radiator", 0.4, fall="low_side"),
        ],
        falls=[
            Fall("low_side", 0.3, left_share=0.6, tumble=0.25, correlation=0.0),
            Fall("tip_over", 4.0, left_share=0.3, correlation=0.0),
        ],
        hits={
            ("low_side", "lever"): 0.8,
            ("low_side", "radiator"): 0.5,
            ("low_side", "mount"): 0.1,
            ("tip_over", "lever"): 0.4,
            ("tip_over", "radiator"): 0.2,
            ("tip_over", "mount"): 0.0,
        },
        knock_ons=(KnockOn("radiator", "mount", 0.35),),
        repair_rate=60.0,
        strip_down={"fairing": 0.5},
        insurance=Insurance(180.0, 70.0),
        falls_sampled=falls_sampled,
        seed=seed,
    )


KITS = [BARE, frozenset({"tip.left"}), frozenset({"bars"}), frozenset({"tip.left", "bars", "grille"})]


@pytest.mark.parametrize("kit", KITS, ids=["bare", "tip", "bars", "all"])
def test_prices_approach_the_closed_form(make_scenario: MakeScenario, price_kits: PriceKits, kit: Kit) -> None:
    """On many falls the yearly cost comes within its standard error of the sum over all ways a fall can go."""
    scenario = tiny(make_scenario, falls_sampled=40_000)
    prices = price_kits(scenario, kit)
    error = prices.standard_error(0)
    assert error is not None
    assert abs(prices.bills[0].yearly_cost - expected_yearly_cost(scenario, kit)) < 4.0 * error
    assert error < 0.02 * prices.bills[0].yearly_cost


def test_standard_errors_cover_the_truth_as_often_as_they_should(
    make_scenario: MakeScenario, price_kits: PriceKits
) -> None:
    """Over 250 seeds the error in standard errors has mean 0 and variance 1, and 95 in 100 are within 1.96 of them."""
    scenario = tiny(make_scenario)
    truth = [expected_yearly_cost(scenario, kit) for kit in (BARE, KITS[-1])]
    scores, savings = [], []
    for seed in range(250):
        prices = price_kits(tiny(make_scenario, seed=seed), BARE, KITS[-1])
        bare, guarded = (bill.yearly_cost for bill in prices.bills)
        scores.append((bare - truth[0]) / (prices.standard_error(0) or math.nan))
        savings.append((bare - guarded - truth[0] + truth[1]) / (prices.saving_standard_error(0, 1) or math.nan))
    for found in (np.array(scores), np.array(savings)):
        assert abs(found.mean()) < 4.0 / math.sqrt(250)
        assert abs(found.var() - 1.0) < 4.0 * math.sqrt(2.0 / 250)
        assert abs((np.abs(found) < 1.96).mean() - 0.95) < 4.0 * math.sqrt(0.95 * 0.05 / 250)


def test_saving_is_known_better_than_either_cost(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """Two kits meet the same falls, so the luck of the draw is mostly common to both."""
    prices = price_kits(tiny(make_scenario, falls_sampled=4000), BARE, KITS[1])
    saving = prices.saving_standard_error(0, 1)
    assert saving is not None
    assert 0.0 < saving < min(prices.standard_error(0) or 0.0, prices.standard_error(1) or 0.0)
    assert prices.saving_standard_error(1, 1) == pytest.approx(0.0, abs=1e-9)


def test_one_fall_tells_nothing_of_its_error(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """With a single simulated fall there is a price, and no standard error rather than one of nothing."""
    prices = price_kits(tiny(make_scenario, falls_sampled=1), BARE, KITS[1])
    assert prices.bills[0].yearly_cost >= 0.0
    assert prices.standard_error(0) is None
    assert prices.saving_standard_error(0, 1) is None


def test_a_fall_priced_by_hand(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """Two broken parts behind one fairing open it once; a scuffed one is touched up and opens nothing."""
    scenario = make_scenario(
        parts=[
            Part("case", "case", CENTRE, 180.0, hours=1.5, strip_down="fairing"),
            Part("radiator", "radiator", CENTRE, 260.0, hours=1.0, strip_down="fairing"),
            Part("tank", "tank", CENTRE, 500.0, hours=2.0, break_chance=0.0, touch_up=90.0, strip_down="seat"),
        ],
        falls=[Fall("fall", 2.0)],
        strip_down={"fairing": 0.8, "seat": 0.3},
        repair_rate=50.0,
        years=3.0,
    )
    (bill,) = price_kits(scenario, BARE).bills
    assert bill.repair_bill[0] == pytest.approx(180.0 + 75.0 + 260.0 + 50.0 + 90.0 + 40.0)
    assert bill.yearly_cost == pytest.approx(2.0 * 695.0)
    assert bill.cost_over_years == pytest.approx(3.0 * 2.0 * 695.0)
    assert bill.part_harmed_per_year.tolist() == [2.0, 2.0, 2.0]
    assert bill.part_bill_per_year == pytest.approx([510.0, 620.0, 180.0])
    assert bill.strip_bill_per_year == pytest.approx([80.0, 0.0])


def test_renewals_come_on_top_of_the_cap(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """No insurer pays for wear: with an excess of 100 the owner pays 100 and what the struck guards wear."""
    scenario = make_scenario(
        parts=[Part("tank", "tank", CENTRE, 400.0), Part("seat", "seat", CENTRE, 90.0)],
        guards=[
            Guard("pad", "pad", CENTRE, 900, wear_per_fall=30.0),
            Guard("strap", "strap", CENTRE, 900, wear_per_fall=8.0),
            Guard("idle", "idle", CENTRE, 900, wear_per_fall=1000.0),
        ],
        covers=[Cover(("pad",), "tank", 0.0), Cover(("pad", "strap"), "tank", 0.0), Cover(("idle",), "seat", 1.0)],
        hits={("fall", "seat"): 0.0},
        insurance=Insurance(100.0),
    )
    bare, pad, everything = price_kits(scenario, BARE, frozenset({"pad"}), frozenset(scenario.guard)).bills
    assert bare.yearly_cost == pytest.approx(100.0)
    assert pad.yearly_cost == pytest.approx(130.0)
    assert everything.yearly_cost == pytest.approx(138.0)


# R. T. Rockafellar and S. Uryasev, J. Banking & Finance 26:1443-1471, 2002, Propositions 6 and 8: an atom that
# straddles the limit is split. The first three are the atom-splitting cases of S. Sarykalin, G. Serraino and
# S. Uryasev, INFORMS TutORials 2008, with losses of 100, 200, ...; in the rest nine falls in ten cost nothing.
SIX, FOUR, RARE = [100.0 * k for k in range(1, 7)], [100.0 * k for k in range(1, 5)], [0.0, 1000.0, 5000.0]
TAIL_MEANS = [
    (SIX, [1 / 6] * 6, 2 / 3, 550.0),
    (SIX, [1 / 6] * 6, 7 / 12, 520.0),
    (FOUR, [1 / 4] * 4, 7 / 8, 400.0),
    (RARE, [0.90, 0.08, 0.02], 0.50, 360.0),
    (RARE, [0.90, 0.08, 0.02], 0.90, 1800.0),
    (RARE, [0.90, 0.08, 0.02], 0.95, 2600.0),
    (RARE, [0.90, 0.08, 0.02], 0.98, 5000.0),
    (RARE, [0.90, 0.08, 0.02], 0.99, 5000.0),
]


@pytest.mark.parametrize(("costs", "chances", "level", "expected"), TAIL_MEANS)
def test_mean_of_the_worst_falls_splits_an_atom(
    make_scenario: MakeScenario, costs: list[float], chances: list[float], level: float, expected: float
) -> None:
    """Falls of known cost and rate have the published tail mean, as a list of numbers and as a bike."""
    assert worst_mean(np.array(costs), np.array(chances), 1.0 - level) == pytest.approx(expected)
    names = [f"kind{row}" for row in range(len(costs))]
    scenario = make_scenario(
        parts=[Part(name, name, CENTRE, cost) for name, cost in zip(names, costs, strict=True)],
        falls=[Fall(name, 3.0 * chance) for name, chance in zip(names, chances, strict=True)],
        hits={(fall, part): float(fall == part) for fall in names for part in names},
    )
    planner = Planner(scenario, sample_of(scenario), tail=1.0 - level)
    assert planner.measure(Measure.TAIL, BARE) == pytest.approx(expected)


COSTS = st.lists(st.floats(0.0, 1e4), min_size=1, max_size=12)


@given(COSTS, st.floats(0.01, 1.0))
def test_tail_mean_lies_between_the_mean_and_the_most(costs: list[float], tail: float) -> None:
    """The worst falls cost at least the mean and at most the most; the worst of all falls are all of them."""
    values = np.array(costs)
    weights = np.full(values.size, 1.0 / values.size)
    found = worst_mean(values, weights, tail)
    assert values.mean() - 1e-6 <= found <= values.max() + 1e-6
    assert worst_mean(values, weights, 1.0) == pytest.approx(values.mean())


@given(COSTS, st.floats(0.01, 1.0), st.integers(0, 1000))
def test_tail_mean_is_the_largest_mean_that_reweighting_can_reach(costs: list[float], tail: float, seed: int) -> None:
    """The tail weights are weights no larger than w / tail, and no other such weights give a larger mean."""
    rng = np.random.default_rng(seed)
    values = np.array(costs)
    weights = rng.dirichlet(np.ones(values.size))
    found = tail_weights(values, weights, tail)
    assert found.sum() == pytest.approx(1.0)
    assert (found >= 0.0).all()
    assert (found <= weights / tail * (1.0 + 1e-9) + 1e-12).all()
    other = tail_weights(rng.permutation(values), weights, tail)
    assert other @ values <= worst_mean(values, weights, tail) + 1e-6


def test_price_takes_falls_as_they_are_drawn(make_scenario: MakeScenario) -> None:
    """A sample drawn on the fly gives the prices of one that is kept, alone or along with other kits."""
    scenario = tiny(make_scenario)
    bike = Bike(scenario)
    kept = price(bike, list(draw(scenario, 200, 1, "price")), KITS)
    for number, kit in enumerate(KITS):
        on_the_fly = price(bike, draw(scenario, 200, 1, "price"), [kit])
        assert on_the_fly.bills[0].yearly_cost == pytest.approx(kept.bills[number].yearly_cost)
        assert on_the_fly.standard_error(0) == pytest.approx(kept.standard_error(number))
