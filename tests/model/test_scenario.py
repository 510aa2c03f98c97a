"""Sides, mounting places, money in whole cents, and the terms of ownership and insurance."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from guardopt.model.offers import best_saving
from guardopt.model.pieces import Fall, Guard, Insurance, Kit, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.pricing import Prices

LEFT, RIGHT, CENTRE, PAIR = Side.LEFT, Side.RIGHT, Side.CENTRE, Side.PAIR
TANK = Part("tank", "tank", CENTRE, 500.0)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_shares_of_the_sides_struck_add_up_to_one(left_share: float, tumble: float) -> None:
    """Every fall strikes the left, the right or both sides, and each side as often as its share and the tumbles say."""
    shares = Fall("fall", 1.0, left_share=left_share, tumble=tumble).side_shares()
    assert math.fsum(shares.values()) == pytest.approx(1.0)
    struck_left = math.fsum(share for sides, share in shares.items() if LEFT in sides)
    assert struck_left == pytest.approx(left_share + (1.0 - left_share) * tumble)


def test_sides_that_are_never_struck_are_left_out() -> None:
    """A fall that only ever goes to the left has one set of sides."""
    assert Fall("fall", 1.0, left_share=1.0).side_shares() == {frozenset({LEFT}): 1.0}
    assert Fall("fall", 1.0, left_share=0.3, tumble=1.0).side_shares() == {frozenset({LEFT, RIGHT}): 1.0}


def test_left_meets_everything_but_right() -> None:
    """Sides that do not go together are left and right, whichever is asked first."""
    apart = {(one, other) for one in Side for other in Side if not one.goes_with(other)}
    assert apart == {(LEFT, RIGHT), (RIGHT, LEFT)}


def test_a_pair_fills_both_sides_of_its_slot(make_scenario: Callable[..., Scenario]) -> None:
    """A pair in a slot keeps out a left guard, a right guard and another pair, but not what is mounted elsewhere."""
    guards = [
        Guard("bars", "bars", PAIR, 1, slot="engine"),
        Guard("slider.left", "slider", LEFT, 1, slot="engine"),
        Guard("slider.right", "slider", RIGHT, 1, slot="engine"),
        Guard("cage", "cage", PAIR, 1, slot="engine"),
        Guard("grille", "grille", CENTRE, 1, slot="radiator"),
        Guard("pad", "pad", CENTRE, 1),
    ]
    scenario = make_scenario([TANK], guards)
    clashing = {(one.id, other.id) for one, other in combinations(guards, 2) if scenario.clashes({one.id, other.id})}
    assert clashing == {("bars", "slider.left"), ("bars", "slider.right"), ("bars", "cage")} | {
        ("slider.left", "cage"),
        ("slider.right", "cage"),
    }


def test_clashes_name_the_guards(make_scenario: Callable[..., Scenario]) -> None:
    """A need that is not met, one that never can be, and a not-with held by either guard are each told by name."""
    guards = [
        Guard("upper", "upper", PAIR, 1, needs=(frozenset({"bars", "cage"}),)),
        Guard("bars", "bars", PAIR, 1),
        Guard("cage", "cage", PAIR, 1, not_with=frozenset({"bars"})),
        Guard("orphan", "orphan", LEFT, 1, needs=(frozenset(),)),
    ]
    scenario = make_scenario([TANK], guards)
    assert scenario.clashes({"upper"}) == ["upper needs bars or cage"]
    assert scenario.clashes({"upper", "cage"}) == []
    assert scenario.clashes({"upper", "cage", "bars"}) == ["bars and cage cannot both be fitted"]
    assert scenario.clashes({"orphan"}) == ["orphan needs a guard that is not on offer for its side"]


def test_an_id_without_a_side_stands_for_all_its_sides(make_scenario: Callable[..., Scenario]) -> None:
    """`lever_guard` is both lever guards, `lever_guard.left` is one; an unknown id is told by name."""
    guards = [Guard(f"lever_guard.{side}", "lever_guard", side, 1) for side in (LEFT, RIGHT)]
    scenario = make_scenario([TANK], [*guards, Guard("pad", "pad", CENTRE, 1)])
    assert scenario.expand(["lever_guard", "pad"]) == {"lever_guard.left", "lever_guard.right", "pad"}
    assert scenario.expand(["lever_guard.left"]) == {"lever_guard.left"}
    with pytest.raises(KeyError, match="level_guard"):
        scenario.expand(["level_guard"])


def best_saving_by_trying_all(offers: list[tuple[Kit, int]], kit: Kit) -> int:
    """The most that any set of offers without a common guard saves."""
    usable = [(guards, saving) for guards, saving in offers if guards <= kit]
    most = 0
    for size in range(len(usable) + 1):
        for chosen in combinations(usable, size):
            taken = [name for guards, _ in chosen for name in guards]
            if len(taken) == len(set(taken)):
                most = max(most, sum(saving for _, saving in chosen))
    return most


LOTS = st.lists(
    st.tuples(st.frozensets(st.sampled_from("abcdef"), min_size=1, max_size=4), st.integers(0, 99)), max_size=6
)


@given(LOTS, st.frozensets(st.sampled_from("abcdef")))
def test_offers_are_taken_where_they_save_most(offers: list[tuple[Kit, int]], kit: Kit) -> None:
    """No choice of offers that share no guard saves more on the kit than the choice made."""
    assert best_saving(offers, kit) == best_saving_by_trying_all(offers, kit)


def test_spend_counts_what_is_bought_and_only_that(make_scenario: Callable[..., Scenario]) -> None:
    """Fitting is paid on top, an owned guard costs nothing, and an offer is set against what is still to be bought."""
    guards = [
        Guard("bars", "bars", PAIR, 18_000, fit_cents=5_000),
        Guard("cover", "cover", LEFT, 6_000, fit_cents=1_000),
        Guard("pad", "pad", CENTRE, 2_000, owned=True),
    ]
    both = Offer("set", frozenset({"bars", "cover"}), 20_000)
    with_pad = Offer("all", frozenset({"bars", "cover", "pad"}), 23_000)
    dear = Offer("dear", frozenset({"bars", "pad"}), 18_500)
    scenario = make_scenario([TANK], guards, offers=(both, with_pad, dear))
    assert scenario.spend_cents({"bars"}) == 23_000
    assert scenario.spend_cents({"bars", "cover"}) == 26_000
    assert scenario.spend_cents({"pad"}) == 0
    assert scenario.offer_saving_cents(with_pad) == 1_000
    assert scenario.offer_saving_cents(dear) == 0


@given(st.lists(st.integers(0, 10**9), min_size=1, max_size=12))
def test_spend_is_exact_in_cents(make_scenario: Callable[..., Scenario], prices: list[int]) -> None:
    """Prices such as 0.10 and 0.20 add up to 0.30 and not a hair more, however many there are and however dear."""
    guards = [Guard(str(row), str(row), CENTRE, price) for row, price in enumerate(prices)]
    assert make_scenario([TANK], guards).spend_cents([guard.id for guard in guards]) == sum(prices)


@pytest.mark.parametrize("years", [0.5, 3.0, 20.0])
@pytest.mark.parametrize("rate", [1e-12, 0.001, 0.05, 0.9])
def test_annuity_is_the_integral_of_the_discount_factor(
    make_scenario: Callable[..., Scenario], rate: float, years: float
) -> None:
    """A unit of money a year, paid evenly, is worth the integral of (1+i)⁻ᵗ over the years."""
    scenario = make_scenario([TANK], years=years, discount_rate=rate)
    assert scenario.annuity == pytest.approx(quad(lambda t: (1.0 + rate) ** -t, 0.0, years)[0])
    assert scenario.discount_at_end == pytest.approx((1.0 + rate) ** -years)


def test_without_discount_the_years_count_in_full(make_scenario: Callable[..., Scenario]) -> None:
    """At a rate of nothing the factor is the number of years, and a rate near nothing comes close to it."""
    assert make_scenario([TANK], years=7.0).annuity == 7.0
    assert make_scenario([TANK], years=7.0, discount_rate=1e-14).annuity == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("insurance", "cap", "write_off_above"),
    [
        (None, 3300.0, 3300.0),
        (Insurance(500.0, 300.0, 0.7), 800.0, 2940.0),
        (Insurance(500.0), 500.0, 4200.0),
        (Insurance(3200.0, 300.0, 1.0), 3300.0, 4200.0),
    ],
)
def test_one_fall_costs_at_most_the_wreck_or_the_excess(
    make_scenario: Callable[..., Scenario], insurance: Insurance | None, cap: float, write_off_above: float
) -> None:
    """A bike of 4200 whose wreck fetches 900 loses 3300 at most, or excess and dearer premiums if these are less."""
    scenario = make_scenario([TANK], value=4200.0, salvage=900.0, insurance=insurance)
    assert scenario.cap == cap
    assert scenario.write_off_above == pytest.approx(write_off_above)


def test_resale_is_paid_at_the_end_for_owned_guards_too(make_scenario: Callable[..., Scenario]) -> None:
    """A quarter of 200 after two years at ten per cent is worth 50 / 1.21 now, half of an owned guard's 20 as well."""
    guards = [
        Guard("bars", "bars", PAIR, 20_000, fit_cents=9_999, resale_share=0.25, dislike=15.0),
        Guard("pad", "pad", CENTRE, 2_000, owned=True, resale_share=0.5, dislike=4.0),
    ]
    scenario = make_scenario([TANK], guards, years=2.0, discount_rate=0.1)
    assert scenario.resale_value({"bars", "pad"}) == pytest.approx(60.0 / 1.21)
    assert scenario.dislike({"bars", "pad"}) == 19.0
    assert scenario.stock == {"pad"}


def test_weights_that_meet_the_limit_are_within_it(make_scenario: Callable[..., Scenario]) -> None:
    """Ten guards of 0.1 kg keep a limit of 1 kg, though their sum in binary may not; a gram more does not."""
    guards = [Guard(str(row), str(row), CENTRE, 1, weight_kg=0.1) for row in range(10)]
    kit = [guard.id for guard in guards]
    assert make_scenario([TANK], guards, max_weight_kg=1.0).is_within_weight(kit)
    assert not make_scenario([TANK], guards, max_weight_kg=0.999).is_within_weight(kit)
    assert make_scenario([TANK], guards).is_within_weight(kit)
    assert np.isclose(make_scenario([TANK], guards).weight_kg(kit), 1.0)


# Years, rate, factor of the continuous annuity, present value of one at the end, factor of the ordinary annuity. The
# last two are those of the tables in S. G. Kellison, The Theory of Interest, 3rd edition, McGraw-Hill 2009, appendix
# (from memory, and computed again); the first is the ordinary factor times i / ln(1 + i), as chapter 4 there has it.
ANNUITIES = [
    (5, 0.05, 4.43683, 0.783526, 4.32948),
    (10, 0.05, 7.91321, 0.613913, 7.72173),
    (10, 0.08, 6.97504, 0.463193, 6.71008),
    (10, 0.10, 6.44692, 0.385543, 6.14457),
    (15, 0.10, 7.98034, 0.239392, 7.60608),
    (20, 0.05, 12.77123, 0.376889, 12.46221),
    (20, 0.10, 8.93248, 0.148644, 8.51356),
    (30, 0.12, 8.52937, 0.033378, 8.05518),
    (5, 0.03, 4.64806, 0.862609, 4.57971),
]


@pytest.mark.parametrize(("years", "rate", "continuous", "at_end", "ordinary"), ANNUITIES)
def test_annuity_table(
    make_scenario: Callable[..., Scenario], years: int, rate: float, continuous: float, at_end: float, ordinary: float
) -> None:
    """The factor is the tabled ordinary one times i / ln(1 + i), since bills come evenly through the year."""
    scenario = make_scenario([TANK], years=float(years), discount_rate=rate)
    assert scenario.annuity == pytest.approx(continuous, abs=5.1e-6)
    assert scenario.annuity == pytest.approx(ordinary * rate / math.log1p(rate), rel=2e-6)
    assert scenario.discount_at_end == pytest.approx(at_end, abs=5.1e-7)


# Worked numbers of two rules for a total loss: a share of the value that the repair has to exceed, or the value
# less the salvage (49 U.S.C. § 30501). Value, salvage, share (None: not insured), repair, whether it is one.
TOTAL_LOSSES = [
    (10_000.0, 500.0, None, 7_500.0, False),
    (10_000.0, 500.0, None, 9_501.0, True),
    (10_000.0, 500.0, 0.75, 7_500.0, False),
    (10_000.0, 500.0, 0.75, 8_000.0, True),
]


@pytest.mark.parametrize(("value", "salvage", "share", "repair", "total"), TOTAL_LOSSES)
def test_total_loss(
    make_scenario: Callable[..., Scenario],
    price_kits: Callable[..., Prices],
    value: float,
    salvage: float,
    share: float | None,
    repair: float,
    total: bool,
) -> None:
    """A bike is written off where the repair exceeds the limit, and not where it just meets it."""
    insurance = None if share is None else Insurance(500.0, write_off_share=share)
    part = Part("frame", "frame", CENTRE, repair)
    scenario = make_scenario([part], value=value, salvage=salvage, insurance=insurance)
    assert price_kits(scenario, frozenset()).bills[0].write_off_chance[0] == float(total)
