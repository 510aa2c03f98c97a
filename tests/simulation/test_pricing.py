"""A kit's price is what the definition of a fall says it is, and its standard error means what it says."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import product

import numpy as np
import pytest
from plain_twin import drawn_seasons, price_fall, yearly_cost
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.model.pieces import Cover, Fall, Guard, Insurance, Kit, KnockOn, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.batch_pricing import mean_costs, mean_renewals
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import cost_at_once, outcome
from guardopt.simulation.pricing import Prices, price
from guardopt.simulation.sampling import Stratum, draw

LEFT, CENTRE, PAIR = Side.LEFT, Side.CENTRE, Side.PAIR
BARE: Kit = frozenset()

MakeScenario = Callable[..., Scenario]
PriceKits = Callable[..., Prices]


@pytest.mark.parametrize("seed", range(25))
def test_every_simulated_fall_costs_what_the_definition_says(seed: int) -> None:
    """Bill, owner's cost and renewals of each fall agree with a plain reading of the rules, for every third kit."""
    scenario = random_scenario(seed, guards=5, falls_sampled=8)
    bike = Bike(scenario)
    for kit in all_kits(scenario)[::3]:
        for sample in sample_of(scenario):
            found = outcome(bike, sample, bike.kit_array(kit))
            falls = [price_fall(scenario, sample, fall, kit) for fall in range(sample.falls)]
            expected = [(one.bill, one.cost, one.renewals, one.off_road, one.days) for one in falls]
            got = np.stack([found.repair_bill, found.owner_cost, found.renewals, found.off_road, found.days], axis=1)
            np.testing.assert_allclose(got, expected, rtol=1e-12, atol=1e-9)
            at_once = cost_at_once(bike, sample, bike.kit_array(kit))
            np.testing.assert_allclose(at_once, [one.at_once for one in falls], rtol=1e-12, atol=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_a_year_costs_what_the_definition_says(seed: int) -> None:
    """The yearly cost of every fifth kit is that of plain loops, and so is that of many kits priced at once."""
    scenario = random_scenario(seed, guards=6, falls_sampled=6)
    bike, sample, kits = Bike(scenario), sample_of(scenario), all_kits(scenario)[::5]
    expected = [yearly_cost(scenario, sample, kit) for kit in kits]
    bills = price(bike, sample, kits, errors=False).bills
    np.testing.assert_allclose([bill.yearly_cost for bill in bills], expected, rtol=1e-11, atol=1e-9)
    rates = np.array([fall.per_year for fall in scenario.falls])
    np.testing.assert_allclose(mean_costs(bike, sample, kits).yearly(rates), expected, rtol=1e-11, atol=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_seasons_drawn_fall_by_fall_cost_what_the_formula_says(seed: int) -> None:
    """Whole repair intervals, each fall drawn from the sample, cost on average the yearly cost within their error."""
    scenario = random_scenario(seed, guards=5, falls_sampled=25)
    sample, kit = sample_of(scenario), all_kits(scenario)[-1]
    seasons = drawn_seasons(scenario, sample, kit, 300, np.random.default_rng(seed))
    (bill,) = price(Bike(scenario), sample, [kit], errors=False).bills
    assert abs(seasons.mean() - bill.yearly_cost) < 4.0 * seasons.std(ddof=1) / math.sqrt(seasons.size) + 1e-9


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
                total += fall.per_year * share * chance * price_fall(scenario, sample, 0, kit).paid
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


def test_a_guard_that_serves_is_worn_whether_its_partner_serves_or_is_fitted(make_scenario: MakeScenario) -> None:
    """A pair that only protects the tank together with a left guard is worn in falls to either side."""
    for share in (0.0, 0.25, 1.0):
        scenario = make_scenario(
            [Part("tank", "tank", Side.CENTRE, 100.0)],
            [
                Guard("bar", "bar", Side.PAIR, 900, wear_per_fall=8.0),
                Guard("tip.left", "tip", Side.LEFT, 900, wear_per_fall=30.0),
            ],
            [Cover(("bar", "tip.left"), "tank", 0.5, None, Side.LEFT)],
            [Fall("fall", 1.0, left_share=share, correlation=0.0)],
            falls_sampled=50,
        )
        found = mean_renewals(Bike(scenario), list(draw(scenario, 50, 1, "price")))
        assert found.tolist() == [pytest.approx([8.0, 30.0 * share])]


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


def test_price_takes_falls_as_they_are_drawn(make_scenario: MakeScenario) -> None:
    """A sample drawn on the fly gives the prices of one that is kept, alone or along with other kits."""
    scenario = tiny(make_scenario)
    bike = Bike(scenario)
    kept = price(bike, list(draw(scenario, 200, 1, "price")), KITS)
    for number, kit in enumerate(KITS):
        on_the_fly = price(bike, draw(scenario, 200, 1, "price"), [kit])
        assert on_the_fly.bills[0].yearly_cost == pytest.approx(kept.bills[number].yearly_cost)
        assert on_the_fly.standard_error(0) == pytest.approx(kept.standard_error(number))
