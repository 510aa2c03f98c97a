"""Simulated falls have the chances they are given, and a change to one thing leaves the draws of all others alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_scenarios import all_kits, random_scenario
from scipy.stats import multivariate_normal, norm

from guardopt.arrays import Bools
from guardopt.model.pieces import Cover, Fall, Guard, KnockOn, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome
from guardopt.simulation.sampling import Stratum, draw, hold_names

LEFT, RIGHT, CENTRE, PAIR = Side.LEFT, Side.RIGHT, Side.CENTRE, Side.PAIR
PARTS = (
    Part("lever", "lever", LEFT, 30.0, break_chance=0.5),
    Part("mirror", "mirror", RIGHT, 40.0, break_chance=0.5),
    Part("tank", "tank", CENTRE, 500.0, break_chance=0.5),
)
BAR = Guard("bar", "bar", CENTRE, 5000, slot="front")
COVERS = (Cover(("bar",), "tank", 0.5), Cover(("bar",), "lever", 0.5))
FALLS = (Fall("low_side", 1.0, left_share=0.5, tumble=0.2, correlation=0.4), Fall("tip_over", 2.0, left_share=1.0))
HITS = {(fall.id, part.id): 0.5 for fall in FALLS for part in PARTS}

MakeScenario = Callable[..., Scenario]


def small(make_scenario: MakeScenario, **changes: object) -> Scenario:
    """Three parts, one guard, two kinds of fall, with every chance a half."""
    plain = {
        "parts": PARTS,
        "guards": (BAR,),
        "covers": COVERS,
        "falls": FALLS,
        "hits": HITS,
        "knock_ons": (KnockOn("lever", "tank", 0.5),),
    }
    return make_scenario(**(plain | changes))


def drawn(scenario: Scenario, falls: int = 200, seed: int = 1, purpose: str = "plan") -> list[Stratum]:
    """A sample as a list."""
    return list(draw(scenario, falls, seed, purpose))


def arrays(sample: list[Stratum]) -> list[Bools]:
    """All that was drawn."""
    return [array for one in sample for array in (one.struck, one.breaks, one.passes, one.holds)]


def same(one: list[Stratum], other: list[Stratum]) -> bool:
    """Two samples have the same draws."""
    return all(np.array_equal(a, b) for a, b in zip(arrays(one), arrays(other), strict=True))


def as_text(bits: Bools) -> str:
    """Bits as ones and zeros."""
    return "".join("1" if bit else "0" for bit in bits)


def test_a_seed_gives_the_same_falls_on_any_machine(make_scenario: MakeScenario) -> None:
    """The first draws of seed 1, written down once, do not change with time, machine or library."""
    left, right, both, tip_over = drawn(small(make_scenario), falls=24)
    assert [sorted(one.sides) for one in (left, right, both, tip_over)] == [
        ["left"],
        ["right"],
        ["left", "right"],
        ["left"],
    ]
    assert as_text(left.struck[0]) == "101101110110001111000001"
    assert as_text(right.struck[2]) == "111011001111011001100000"
    assert as_text(both.breaks[1]) == "011100111110100110011010"
    assert as_text(left.passes[0]) == "011010100001000011111100"
    assert as_text(tip_over.holds[0]) == "000001100000001010011000"


def test_same_seed_same_falls_other_seed_or_purpose_other_falls(make_scenario: MakeScenario) -> None:
    """A seed settles every draw; another seed, or a sample for another purpose, is another one."""
    scenario = small(make_scenario)
    sample = drawn(scenario)
    assert same(sample, drawn(scenario))
    assert not same(sample, drawn(scenario, seed=2))
    assert not same(sample, drawn(scenario, purpose="price"))


def test_samples_for_other_purposes_are_independent(make_scenario: MakeScenario) -> None:
    """How hard a fall was drawn for the plan tells nothing of the fall it is priced on, nor of another kind of fall."""
    scenario = small(make_scenario, falls=tuple(replace(fall, left_share=1.0, tumble=0.0) for fall in FALLS))
    plan, fresh = (drawn(scenario, 20_000, purpose=purpose) for purpose in ("plan", "price"))
    for one, other in ((plan[0], fresh[0]), (plan[0], plan[1])):
        assert abs(np.corrcoef(one.struck[0], other.struck[0])[0, 1]) < 4.0 / np.sqrt(20_000)


@pytest.mark.parametrize(
    "changes",
    [
        {"parts": tuple(replace(part, price=9.0, hours=2.0, touch_up=5.0) for part in PARTS)},
        {"guards": (replace(BAR, price_cents=1, fit_cents=7, weight_kg=3.0, owned=True),)},
        {"value": 100.0, "years": 9.0, "budget_cents": 1},
        {"falls": tuple(replace(fall, per_year=7.0, watched_years=5.0) for fall in FALLS)},
        {"falls": tuple(replace(fall, left_share=0.9 if fall.left_share < 1.0 else 1.0) for fall in FALLS)},
    ],
)
def test_what_is_no_chance_changes_no_draw(make_scenario: MakeScenario, changes: dict[str, object]) -> None:
    """Prices, hours, weights, terms, rates and how often a side is struck leave every draw as it was."""
    assert same(drawn(small(make_scenario)), drawn(small(make_scenario, **changes)))


def test_another_guard_changes_no_draw_of_the_others(make_scenario: MakeScenario) -> None:
    """With a guard put first in the list and its covers before the others, all that was drawn before is drawn again."""
    pad = Guard("pad", "pad", CENTRE, 900)
    before = drawn(small(make_scenario))
    after = drawn(small(make_scenario, guards=(pad, BAR), covers=(Cover(("pad",), "tank", 0.3), *COVERS)))
    for one, other in zip(before, after, strict=True):
        assert np.array_equal(one.struck, other.struck)
        assert np.array_equal(one.breaks, other.breaks)
        assert np.array_equal(one.passes, other.passes)
        assert np.array_equal(one.holds, other.holds[1:])


def test_another_part_or_kind_of_fall_changes_no_draw_of_the_others(make_scenario: MakeScenario) -> None:
    """A part and a kind of fall put first in their lists leave the rest of the sample as it was."""
    seat = Part("seat", "seat", CENTRE, 90.0, break_chance=0.4)
    u_turn = Fall("u_turn", 1.0, left_share=1.0)
    before = drawn(small(make_scenario))
    after = drawn(
        small(
            make_scenario,
            parts=(seat, *PARTS),
            falls=(u_turn, *FALLS),
            hits=HITS | {(fall.id, "seat"): 0.3 for fall in FALLS},
        )
    )[1:]
    for one, other in zip(before, after, strict=True):
        assert np.array_equal(one.struck, other.struck[1:])
        assert np.array_equal(one.breaks, other.breaks[1:])
        assert np.array_equal(one.passes, other.passes)
        assert np.array_equal(one.holds, other.holds)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
@settings(max_examples=40)
def test_a_higher_chance_only_adds_strikes_and_breaks(make_scenario: MakeScenario, one: float, other: float) -> None:
    """Raising a chance keeps every strike, break, hold and blow passed on that there was."""
    low, high = sorted((one, other))

    def at(chance: float) -> list[Stratum]:
        return drawn(
            small(
                make_scenario,
                parts=tuple(replace(part, break_chance=chance) for part in PARTS),
                hits=dict.fromkeys(HITS, chance),
                covers=tuple(replace(cover, holds=chance) for cover in COVERS),
                knock_ons=(KnockOn("lever", "tank", chance),),
            )
        )

    assert all((more | ~less).all() for less, more in zip(arrays(at(low)), arrays(at(high)), strict=True))


def test_chances_of_nought_and_one_are_certain(make_scenario: MakeScenario) -> None:
    """What cannot happen never happens and what must happen always does, so nothing is left to luck."""
    never = drawn(small(make_scenario, hits=dict.fromkeys(HITS, 0.0)))
    always = drawn(small(make_scenario, hits=dict.fromkeys(HITS, 1.0)))
    assert not any(one.struck.any() for one in never)
    assert all(one.struck[2].all() for one in always)


@given(st.integers(0, 10_000))
@settings(max_examples=40)
def test_only_what_is_exposed_is_struck_and_only_what_is_struck_is_spared(seed: int) -> None:
    """A part is struck on a side that is struck, by the road or by a guard; a cover holds where its part is struck."""
    scenario = random_scenario(seed)
    rows = {part.id: row for row, part in enumerate(scenario.parts)}
    for one in drawn(scenario, falls=40):
        for row, part in enumerate(scenario.parts):
            assert part.side is CENTRE or part.side in one.sides or not one.struck[row].any()
        for row, cover in enumerate(scenario.covers):
            serves = cover.fall in (None, scenario.falls[one.fall].id) and (
                cover.side is None or cover.side in one.sides
            )
            assert one.serves[row] == serves
            exposed = [number for number, each in enumerate(scenario.exposures) if each.part == cover.part]
            struck = one.struck[rows[cover.part]] | one.exposes[exposed].any(axis=0)
            assert (struck | ~one.holds[row]).all()
            assert serves or not one.holds[row].any()
        for row, exposure in enumerate(scenario.exposures):
            part = rows[exposure.part]
            assert not (one.exposes[row] & one.struck[part]).any()
            assert (
                scenario.parts[part].side is CENTRE
                or scenario.parts[part].side in one.sides
                or not one.exposes[row].any()
            )
        for row, knock_on in enumerate(scenario.knock_ons):
            takes = scenario.parts[rows[knock_on.takes]]
            assert takes.side is CENTRE or takes.side in one.sides or not one.passes[row].any()


def test_every_side_and_kind_of_fall_has_its_share_of_the_sample(make_scenario: MakeScenario) -> None:
    """Each kind of fall and set of sides is drawn as often as asked, and the shares of a kind add up to one."""
    sample = drawn(small(make_scenario), falls=70)
    assert {one.falls for one in sample} == {70}
    for kind in range(len(FALLS)):
        assert sum(one.share for one in sample if one.fall == kind) == pytest.approx(1.0)


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.99])
@pytest.mark.parametrize("chance", [0.02, 0.3, 0.9])
def test_correlation_leaves_the_chance_of_a_strike_alone(
    make_scenario: MakeScenario, chance: float, correlation: float
) -> None:
    """A part is struck as often as its chance says, however closely the strikes of one fall hang together."""
    fall = Fall("fall", 1.0, left_share=1.0, correlation=correlation)
    (sample,) = drawn(small(make_scenario, falls=(fall,), hits={("fall", part.id): chance for part in PARTS}), 20_000)
    error = np.sqrt(chance * (1.0 - chance) / 20_000)
    assert abs(sample.struck[0].mean() - chance) < 4.0 * error
    assert abs(sample.struck[2].mean() - chance) < 4.0 * error


def test_the_better_guard_of_a_slot_holds_whenever_the_lesser_does(make_scenario: MakeScenario) -> None:
    """Guards that share a mounting place share their luck; those of different places have luck of their own."""
    guards = (
        Guard("thin", "thin", CENTRE, 1, slot="front"),
        Guard("thick", "thick", CENTRE, 1, slot="front"),
        Guard("other", "other", CENTRE, 1, slot="rear"),
        Guard("free", "free", CENTRE, 1),
    )
    chances = {"thin": 0.3, "thick": 0.8, "other": 0.3, "free": 0.3}
    covers = tuple(Cover((name,), "tank", chance) for name, chance in chances.items())
    sample = drawn(small(make_scenario, guards=guards, covers=covers, hits=dict.fromkeys(HITS, 1.0)), 20_000)
    for one in sample:
        thin, thick, other, free = one.holds
        assert (thick | ~thin).all()
        for unrelated in (other, free):
            assert abs(np.corrcoef(thin, unrelated)[0, 1]) < 4.0 / np.sqrt(one.falls)


def test_a_pair_shares_the_luck_of_the_sided_guards_in_its_slot(make_scenario: MakeScenario) -> None:
    """A pair reaches a left part from the left place of its slot, where the left guard would be."""
    guards = (Guard("bars", "bars", PAIR, 1, slot="engine"), Guard("slider.left", "slider", LEFT, 1, slot="engine"))
    covers = (Cover(("bars",), "lever", 0.8), Cover(("slider.left",), "lever", 0.3, side=LEFT))
    names = hold_names(small(make_scenario, guards=guards, covers=covers))
    assert names[0] == names[1]


def test_second_cover_by_the_same_guard_is_a_chance_of_its_own(make_scenario: MakeScenario) -> None:
    """A guard with a chance for all falls and one for this kind fails only if both fail."""
    covers = (Cover(("bar",), "tank", 0.5), Cover(("bar",), "tank", 0.5, fall="low_side"))
    one = drawn(small(make_scenario, covers=covers, hits=dict.fromkeys(HITS, 1.0)), 20_000)[0]
    assert abs(np.corrcoef(one.holds[0], one.holds[1])[0, 1]) < 4.0 / np.sqrt(20_000)


def many_parts(make_scenario: MakeScenario, count: int, chance: float, correlation: float) -> Scenario:
    """Like parts, all struck with one chance and hanging together by one correlation."""
    fall = Fall("fall", 1.0, left_share=1.0, correlation=correlation)
    parts = [Part(f"part{row}", f"part{row}", CENTRE, 1.0) for row in range(count)]
    return make_scenario(parts, falls=[fall], hits={("fall", part.id): chance for part in parts})


# Default correlations and chances of two defaults are those of O. Vasicek's one-factor model, computed anew.
@pytest.mark.parametrize(("chance", "correlation", "both"), [(0.02, 0.1, 0.000687984), (0.1, 0.2, 0.0171963)])
def test_two_parts_are_struck_together_as_the_bivariate_normal_says(
    make_scenario: MakeScenario, chance: float, correlation: float, both: float
) -> None:
    """The joint chance of two strikes is the bivariate normal distribution at the two limits."""
    limit = norm.ppf(chance)
    exact = multivariate_normal([0.0, 0.0], [[1.0, correlation], [correlation, 1.0]]).cdf([limit, limit])
    assert exact == pytest.approx(both, rel=1e-4)
    (sample,) = drawn(many_parts(make_scenario, 40, chance, correlation), 10_000)
    struck = sample.struck.sum(axis=0)
    pairs = struck * (struck - 1) / (40 * 39)
    assert abs(pairs.mean() - exact) < 4.0 * pairs.std() / np.sqrt(pairs.size)


# O. Vasicek, Loan portfolio value, Risk, December 2002: quantile of the share of a large number of loans lost. The
# second is the example of J. Hull, Options, Futures and Other Derivatives: 2 %, correlation 0.1, 99.9 % gives 0.128.
@pytest.mark.parametrize(
    ("chance", "correlation", "level", "share"),
    [(0.3, 0.3, 0.9, None), (0.02, 0.1, 0.999, 0.128), (0.02, 0.1, 0.95, None), (0.02, 0.1, 0.5, None)],
)
def test_share_of_many_parts_struck_has_the_quantiles_of_the_one_factor_model(
    make_scenario: MakeScenario, chance: float, correlation: float, level: float, share: float | None
) -> None:
    """A share of Φ((√ρ Φ⁻¹(α) + Φ⁻¹(p)) / √(1−ρ)) is exceeded in 1 − α of the falls, within its standard error."""
    root = np.sqrt(correlation)
    quantile = norm.cdf((root * norm.ppf(level) + norm.ppf(chance)) / np.sqrt(1.0 - correlation))
    assert share is None or quantile == pytest.approx(share, abs=0.0005)
    falls = 3000
    (sample,) = drawn(many_parts(make_scenario, 3000, chance, correlation), falls)
    exceeded = (sample.struck.mean(axis=0) > quantile).mean()
    assert abs(exceeded - (1.0 - level)) < 4.0 * np.sqrt(level * (1.0 - level) / falls)


def test_a_sample_for_some_guards_is_the_whole_sample_to_them() -> None:
    """Leaving out the covers of other guards changes no cost of a kit that has none of them."""
    scenario = random_scenario(11, guards=8, falls_sampled=40)
    bike = Bike(scenario)
    for kit in all_kits(scenario)[::7]:
        whole = draw(scenario, 40, 1, "price")
        for one, other in zip(whole, draw(scenario, 40, 1, "price", kit), strict=True):
            fitted = bike.kit_array(kit)
            assert (outcome(bike, one, fitted).owner_cost == outcome(bike, other, fitted).owner_cost).all()
            assert (outcome(bike, one, fitted).renewals == outcome(bike, other, fitted).renewals).all()
