"""What an order of buying says, done by hand month by month, and every other course tried beside it."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest
from random_scenarios import EveryKit, price_every_kit, random_scenario, sample_of
from shipped import shipped

from guardopt.errors import NoKitError
from guardopt.model.aims import BILLS, OUTLAY, Aim
from guardopt.model.pieces import Cover, Guard, Kit, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.purchase_schedule import GAP, order
from guardopt.questions.schedule_result import BuyingOrder


def shares(scenario: Scenario, months: int) -> list[float]:
    """The share of the years' present value in each month, the last with all that follows; by integrals written out."""
    edges = [*(month / 12 for month in range(months + 1)), scenario.years]
    force = math.log1p(scenario.discount_rate)
    until = edges if force == 0.0 else [(1.0 - math.exp(-force * edge)) / force for edge in edges]
    return [(after - before) / until[-1] for before, after in pairwise(until)]


def present(scenario: Scenario, month: int) -> float:
    """What one unit of money paid in a month is worth now."""
    return float((1.0 + scenario.discount_rate) ** (-month / 12))


def done_by_hand(found: BuyingOrder, falls: Callable[[Kit], float]) -> float:
    """What it costs to do what the steps say, in their months, and nothing else; every rule is checked on the way."""
    scenario, on, owned = found.scenario, found.scenario.stock, found.scenario.stock
    kept = owned
    steps = {step.month: step for step in found.steps}
    assert len(steps) == len(found.steps)
    spent, total = 0, 0.0
    for month, share in enumerate(shares(scenario, found.months)):
        step = steps.get(month)
        if step is not None:
            before, bought, sold = on, frozenset(step.buy), frozenset(step.sell)
            assert not bought & owned
            assert frozenset(step.take_off) <= on
            on = (on - frozenset(step.take_off)) | frozenset(step.put_on)
            assert sold <= kept
            assert not sold & on
            kept -= sold
            owned = (owned | bought) - sold
            fetched = sum(scenario.guard[name].sells_cents for name in sold)
            assert step.fetches == fetched / 100
            paid = scenario.bought_cents(bought) - fetched
            assert step.spend == paid / 100
            spent += paid
            assert step.purse == (round((found.in_hand + found.put_by * month) * 100) - spent) / 100
            assert spent <= round((found.in_hand + found.put_by * month) * 100)
            assert on == step.kit
            assert on <= owned
            assert not scenario.clashes(on)
            assert scenario.is_within_weight(on)
            if scenario.is_within_weight(before):
                assert falls(on) <= falls(before) + 1e-9 * max(1.0, falls(before)), "a step makes falls dearer"
            assert bought or month == 0, "what comes off without anything to buy comes off now"
            if found.aim.counts_price:
                total += paid / 100 * present(scenario, month)
        total += share * falls(on)
    return total - (scenario.resale_value(owned) if found.aim.counts_price else 0.0)


def least_of_all_courses(
    scenario: Scenario,
    every: EveryKit,
    purse: list[int],
    aim: Aim,
    must: Kit = frozenset(),
    never: Kit = frozenset(),
) -> float:
    """The least that any way of spreading purchases and sales over the months costs; infinite if none buys what it must.

    No month in which something is sold leaves falls dearer than they were.
    """
    to_buy = sorted({guard.id for guard in scenario.guards} - scenario.stock - never)
    to_sell = {guard.id: guard.sells_cents for guard in scenario.guards if guard.owned and guard.id not in must}
    names = to_buy + sorted(name for name, cents in to_sell.items() if cents)
    falls = {
        owned: least_with(every, owned, must, never)
        for owned in (
            scenario.stock ^ {name for name, is_in in zip(names, some, strict=True) if is_in}
            for some in product((False, True), repeat=len(names))
        )
    }
    spend = {owned - scenario.stock: scenario.bought_cents(owned - scenario.stock) for owned in falls}
    weights, best = shares(scenario, len(purse) - 1), math.inf
    # For each guard the month in which it is bought or sold; the last number stands for never.
    for when in product(range(len(purse) + 1), repeat=len(names)):
        spent, cost, owned = 0, 0.0, scenario.stock
        for month, weight in enumerate(weights):
            moved = frozenset(name for name, one in zip(names, when, strict=True) if one == month)
            sold, before = moved & scenario.stock, falls[owned]
            paid = spend[moved - sold] - sum(to_sell[name] for name in sold)
            spent += paid
            owned ^= moved
            if spent > purse[month] or (sold and falls[owned] > before + 1e-9 * max(1.0, before)):
                break
            cost += weight * falls[owned]
            cost += paid / 100 * present(scenario, month) if aim.counts_price else 0.0
        else:
            if not any(must <= kit <= owned - never for kit in every.kits):
                continue
            best = min(best, cost - (scenario.resale_value(owned) if aim.counts_price else 0.0))
    return best


def least_with(every: EveryKit, owned: Kit, must: Kit, never: Kit) -> float:
    """The least cost of a kit of guards in hand that has those of them which are forced in, if there is one."""
    kits = [kit for kit in every.kits if kit <= owned - never]
    with_all = [kit for kit in kits if must & owned <= kit]
    return min(every.of(BILLS, kit) for kit in with_all or kits)


def check_forced(seed: int) -> bool:
    """One random bike with guards forced in and out; whether there is an order at all."""
    scenario = replace(random_scenario(seed, guards=4 + seed % 2), falls_sampled=25)
    rng = np.random.default_rng(seed)
    names = [guard.id for guard in scenario.guards]
    must, never = (frozenset(rng.choice(names, 1 + seed % 2, replace=False).tolist()) for _ in range(2))
    never -= must
    every, found = price_every_kit(scenario, sample_of(scenario)), None
    for aim in (BILLS, OUTLAY):
        purse = [round((30.0 + 25.0 * month) * 100) for month in range(4)]
        least = least_of_all_courses(scenario, every, purse, aim, must, never)
        if math.isinf(least):
            with pytest.raises(NoKitError):
                order(scenario, 25.0, months=3, in_hand=30.0, aim=aim.name, must=must, never=never)
            continue
        found = order(scenario, 25.0, months=3, in_hand=30.0, aim=aim.name, must=must, never=never)
        last = found.steps[-1].kit if found.steps else scenario.stock
        assert must <= last
        assert not any(never & {*step.buy, *step.kit} for step in found.steps)
        assert found.proven
        assert found.cost == pytest.approx(least, rel=1e-8, abs=1e-8)
        assert found.bound <= least + 1e-9 * max(1.0, abs(least))
    return found is not None


@pytest.mark.parametrize("seeds", [range(400 + 10 * part, 410 + 10 * part) for part in range(6)])
def test_what_is_forced_in_and_out_against_every_course(seeds: range) -> None:
    """Sixty bikes, of which some have no order that keeps to what is forced."""
    assert sum(check_forced(seed) for seed in seeds) >= 3


def check_against_all(seed: int, rate: float | None) -> None:
    """One random bike: with owned guards, dislikes, offers, needs, slots and limits of weight."""
    scenario = replace(random_scenario(seed, guards=4 + seed % 2), falls_sampled=25)
    scenario = scenario if rate is None else replace(scenario, discount_rate=rate)
    bench, every = Bench(scenario), price_every_kit(scenario, sample_of(scenario))
    put_by, in_hand = 20.0 + 7 * (seed % 11), 15.0 * (seed % 3)
    for aim in (BILLS, OUTLAY):
        found = order(bench, put_by, months=3, in_hand=in_hand, aim=aim.name)
        purse = [round((in_hand + put_by * month) * 100) for month in range(found.months + 1)]
        least = least_of_all_courses(scenario, every, purse, aim)
        by_hand = done_by_hand(found, lambda kit: every.of(BILLS, kit))
        assert by_hand == pytest.approx(found.cost, rel=1e-9, abs=1e-9)
        assert found.proven
        assert found.cost == pytest.approx(least, rel=1e-8, abs=1e-8)
        assert found.bound <= least + 1e-9 * max(1.0, abs(least))
        assert found.bound <= found.cost <= found.cost_if_waiting + 1e-9 * max(1.0, abs(least))


@pytest.mark.parametrize("rate", [None, 0.3])
@pytest.mark.parametrize("seed", [*range(10), 149])
def test_what_the_steps_say_costs_what_the_answer_says_and_no_course_costs_less(seed: int, rate: float | None) -> None:
    """At the scenario's own rate, and at one at which it pays to keep money as long as one can."""
    check_against_all(seed, rate)


@pytest.mark.slow
@pytest.mark.parametrize("rate", [None, 0.05, 0.3])
@pytest.mark.parametrize("seed", range(10, 210))
def test_the_same_on_many_more_bikes(seed: int, rate: float | None) -> None:
    """The claim above, two hundred times and at three rates."""
    check_against_all(seed, rate)


def test_owned_sliders_stay_on_until_the_cage_that_replaces_them_is_there(
    make_scenario: Callable[..., Scenario],
) -> None:
    """A cage in the place of the owned sliders costs four months' money; a guard for the lamp comes first."""
    parts = [Part("frame", "frame", Side.CENTRE, 600.0), Part("lamp", "lamp", Side.CENTRE, 60.0)]
    guards = [
        Guard("sliders", "sliders", Side.CENTRE, 4000, slot="side", owned=True),
        Guard("cage", "cage", Side.CENTRE, 10_000, slot="side"),
        Guard("grid", "grid", Side.CENTRE, 2000),
    ]
    covers = [Cover(("sliders",), "frame", 0.5), Cover(("cage",), "frame", 1.0), Cover(("grid",), "lamp", 1.0)]
    found = order(make_scenario(parts, guards, covers, falls_sampled=400), 30.0, months=6)
    assert [(step.month, step.buy, step.take_off, step.put_on) for step in found.steps] == [
        (1, ("grid",), (), ("grid",)),
        (4, ("cage",), ("sliders",), ("cage",)),
    ]


def test_what_is_only_disliked_comes_off_now_and_is_told(make_scenario: Callable[..., Scenario]) -> None:
    """An owned guard that saves 30 a year and is disliked by 200 comes off before anything is bought, though falls rise."""
    parts = [Part("tank", "tank", Side.CENTRE, 240.0), Part("lamp", "lamp", Side.CENTRE, 30.0)]
    guards = [
        Guard("shell", "shell", Side.CENTRE, 3000, owned=True, dislike=200.0),
        Guard("pad", "pad", Side.CENTRE, 5000),
    ]
    covers = [Cover(("shell",), "lamp", 1.0), Cover(("pad",), "tank", 1.0)]
    found = order(make_scenario(parts, guards, covers), 25.0, months=3)
    assert [(step.month, step.buy, step.take_off) for step in found.steps] == [(0, (), ("shell",)), (2, ("pad",), ())]
    assert found.cost == pytest.approx(240 * 2 / 12 + 30)


def test_what_was_taken_off_may_go_back_on(make_scenario: Callable[..., Scenario]) -> None:
    """The owned rack clashes with the pad of month 1; the better pad of month 5 lets it back on, and the step says so."""
    parts = [Part("tank", "tank", Side.CENTRE, 240.0), Part("lamp", "lamp", Side.CENTRE, 60.0)]
    guards = [
        Guard("rack", "rack", Side.CENTRE, 3000, owned=True),
        Guard("pad", "pad", Side.CENTRE, 2000, slot="tank", not_with=frozenset({"rack"})),
        Guard("hood", "hood", Side.CENTRE, 8000, slot="tank"),
    ]
    covers = [Cover(("rack",), "lamp", 1.0), Cover(("pad",), "tank", 0.9), Cover(("hood",), "tank", 1.0)]
    found = order(make_scenario(parts, guards, covers, falls_sampled=400), 20.0, months=6)
    assert [(step.month, step.buy, step.take_off, step.put_back) for step in found.steps] == [
        (1, ("pad",), ("rack",), ()),
        (5, ("hood",), ("pad",), ("rack",)),
    ]


def test_a_shipped_bike_is_proven_over_two_years_whatever_was_asked_before() -> None:
    """The tourer, on fewer falls; the same bytes from a fresh bench and from one that knows much already."""
    scenario = replace(shipped("tourer"), falls_sampled=150)
    bench = Bench(scenario)
    first = order(bench, 20.0, months=6)
    again = order(bench, 9.0, months=24)
    fresh = order(Bench(scenario), 9.0, months=24)
    assert first.proven
    assert fresh.proven
    assert fresh.cost - fresh.bound <= GAP * fresh.cost
    assert fresh.steps == again.steps
    assert fresh.cost == again.cost
    by_hand = done_by_hand(fresh, lambda kit: bench.planner.measure("cost", kit))
    assert by_hand == pytest.approx(fresh.cost, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("aim", ["bills", "outlay"])
@pytest.mark.parametrize("name", ["courier", "riding_school", "tourer", "track_day"])
def test_every_shipped_bike_is_proven_over_two_years(name: str, aim: str) -> None:
    """As they are shipped, with 20, 40 and 80 put by each month."""
    bench = Bench(shipped(name))
    for put_by in (20.0, 40.0, 80.0):
        found = order(bench, put_by, months=24, aim=aim)
        assert found.proven
        by_hand = done_by_hand(found, lambda kit: bench.planner.measure("cost", kit))
        assert by_hand == pytest.approx(found.cost, rel=1e-9)


def test_a_busy_machine_changes_no_byte(monkeypatch: pytest.MonkeyPatch) -> None:
    """A clock on which every look takes a second stands for a machine that is a thousand times slower."""
    scenario = replace(random_scenario(3, guards=6, own_costs=False), falls_sampled=30)
    quick = order(Bench(scenario), 30.0, months=5)
    clock = iter(np.arange(0.0, 1e6))
    monkeypatch.setattr("guardopt.deadline.time.monotonic", lambda: float(next(clock)))
    slow = order(Bench(scenario), 30.0, months=5, time_limit=1e5)
    assert json.dumps(slow.to_json()) == json.dumps(quick.to_json())
