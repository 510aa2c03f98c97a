"""Answers do not hang on the currency: with all money multiplied the kit is the same and what it costs is multiplied.

The factors are about what a euro is worth in yen, won, pesos, rupiah and dong, and a million.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pandas as pd
import pytest
from random_scenarios import random_scenario
from scaled_money import with_money_times
from shipped import FOLDER, NAMES

from guardopt.loading.load import load
from guardopt.model.aims import AIMS, Aim, Limits, Status
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.bench import Bench
from guardopt.questions.budgets import BudgetCurve, budgets
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.questions.purchase_schedule import order
from guardopt.shop.assortment import kits

MakeScenario = Callable[..., Scenario]
PlannerOf = Callable[..., Planner]

FACTORS = (150, 1_300, 4_300, 17_000, 26_000, 1_000_000)
NEAR = 1e-9

MONEY_OF_GUARDS = ("price", "spend", "loss_if_dropped", "loss_if_barred", "gain_if_added", "loss_if_forced")
RANDOM = range(6000, 6100)


@cache
def bike(name: str | int, falls: int) -> Scenario:
    """A shipped scenario on so many falls of each kind, or the random one of a number."""
    if isinstance(name, int):
        return random_scenario(name, guards=5 + name % 4, falls_sampled=falls)
    return load(FOLDER / name, {"scenario.sampling.falls": falls})


@cache
def planned(name: str | int, falls: int, aim: str, factor: int) -> Plan:
    """The plan with reasons and break-even, all money multiplied."""
    scenario = bike(name, falls)
    scenario = scenario if factor == 1 else with_money_times(scenario, factor)
    return plan(scenario, aim=aim, break_even=aim == "outlay", time_limit=None)


def check_plan(name: str | int, falls: int, aim: str, factor: int) -> None:
    """Every number of the plan is that of the plan in euros, money multiplied, with the same kit and the same proof."""
    before, after = planned(name, falls, aim, 1), planned(name, falls, aim, factor)
    assert after.status is before.status is Status.OPTIMAL
    assert after.kit == before.kit
    assert round(after.spend * 100) == round(before.spend * 100) * factor
    assert after.best.objective == pytest.approx(before.best.objective * factor, rel=NEAR, abs=NEAR * factor)
    old, new = before.to_json(), after.to_json()
    for one, two in zip(old["guards"], new["guards"], strict=True):
        assert two["reason"] == one["reason"]
        for key in set(MONEY_OF_GUARDS) & set(one):
            least = max(1.0, before.best.objective)
            expected = (
                None if one[key] is None else pytest.approx(one[key] * factor, rel=1e-7, abs=1e-7 * least * factor)
            )
            assert two[key] == expected, (one["guard"], key)
        if not one["picked"]:
            entry = one["enters_at_budget"]
            assert two["enters_at_budget"] == (None if entry is None else pytest.approx(entry * factor, rel=1e-12))
            check_entry_price(one["enters_at_price"], two["enters_at_price"], factor)
    for guard, worth in (before.break_even or {}).items():
        assert after.break_even is not None
        again = after.break_even[guard]
        assert (again.worth_it_from is None, again.worth_it_until is None) == (
            worth.worth_it_from is None,
            worth.worth_it_until is None,
        )
        for old_edge, new_edge in (
            (worth.worth_it_from, again.worth_it_from),
            (worth.worth_it_until, again.worth_it_until),
        ):
            assert old_edge is None or new_edge == pytest.approx(old_edge, rel=1e-6, abs=1e-9)


def check_entry_price(old: float | None, new: float | None, factor: int) -> None:
    """Prices named are whole cents and rounded down, so a finer currency names one up to a cent of the old one higher."""
    if old is None:
        assert new is None or new < 0.01 * factor
    else:
        assert new is not None
        assert old * factor - 1e-6 * factor <= new < (old + 0.01) * factor + 1e-6 * factor


def check_budgets(name: str | int, falls: int, aim: str, factor: int) -> None:
    """The steps of the budget curve are the same kits at budgets multiplied."""
    before, after = curve(name, falls, aim, 1), curve(name, falls, aim, factor)
    assert [step.best.kit for step in after.steps] == [step.best.kit for step in before.steps]
    assert [step.budget_cents for step in after.steps] == [step.budget_cents * factor for step in before.steps]
    assert round(after.pays_until * 100) == round(before.pays_until * 100) * factor


@cache
def curve(name: str | int, falls: int, aim: str, factor: int) -> BudgetCurve:
    """The budget curve, all money multiplied."""
    scenario = bike(name, falls)
    return budgets(scenario if factor == 1 else with_money_times(scenario, factor), aim=aim, time_limit=None)


def check_order(name: str | int, falls: int, aim: str, factor: int) -> None:
    """The same guards in the same months, at costs multiplied."""
    scenario, (put_by, in_hand) = bike(name, falls), (35.0, 20.0)
    before = order(scenario, put_by, months=6, in_hand=in_hand, aim=aim, time_limit=None)
    after = order(
        with_money_times(scenario, factor),
        put_by * factor,
        months=6,
        in_hand=in_hand * factor,
        aim=aim,
        time_limit=None,
    )
    assert after.proven
    assert before.proven
    assert [(one.month, one.buy, one.take_off, one.put_on) for one in after.steps] == [
        (one.month, one.buy, one.take_off, one.put_on) for one in before.steps
    ]
    assert [round(one.purse * 100) for one in after.steps] == [round(one.purse * 100) * factor for one in before.steps]
    assert after.cost == pytest.approx(before.cost * factor, rel=NEAR, abs=NEAR * factor)
    assert after.cost_if_waiting == pytest.approx(before.cost_if_waiting * factor, rel=NEAR, abs=NEAR * factor)


def check_kits(name: str | int, falls: int, aim: str, factor: int) -> None:
    """The same ready-made kits for the same riders, who save as much more."""
    scenario = bike(name, falls)
    before, after = (
        kits(with_money_times(scenario, times), riders_with(times), 3, aim=aim, time_limit=None)
        for times in (1, factor)
    )
    assert [box.guards for box in after.boxes] == [box.guards for box in before.boxes]
    assert after.taken.tolist() == before.taken.tolist()
    # What curves say of many riders is kept to a millionth of the currency, and how often to a thousand-millionth.
    assert after.saving == pytest.approx(before.saving * factor, rel=1e-6, abs=5e-6 * factor)
    assert after.choice.proven is before.choice.proven is True


def riders_with(factor: int) -> pd.DataFrame:
    """Riders who fall more or less often, with budgets of so much money."""
    riders = [(budget, times) for budget in (25, 60, 110, 240) for times in (0.5, 1, 3)]
    return pd.DataFrame(
        {
            "rider": [f"rider_{number}" for number in range(len(riders))],
            "budget": [str(budget * factor) for budget, _ in riders],
            "times": [str(times) for _, times in riders],
        }
    )


@pytest.mark.parametrize("factor", [17_000])
def test_a_shipped_plan_is_the_same_in_any_currency(factor: int) -> None:
    """On few falls, for the default aim, with reasons."""
    check_plan("courier", 20, "bills", factor)


def test_budgets_and_break_evens_of_a_shipped_bike_are_the_same_in_any_currency() -> None:
    """For the aim outlay with break-even, and the steps of the budget curve."""
    check_plan("riding_school", 20, "outlay", 150)
    check_budgets("riding_school", 20, "bills", 26_000)


@pytest.mark.parametrize("seed", RANDOM[:4])
def test_random_plans_are_the_same_in_any_currency(seed: int) -> None:
    """Four random bikes, one factor and one aim each, with reasons."""
    factor = FACTORS[seed % len(FACTORS)]
    check_plan(seed, 20, list(AIMS)[seed % 3], factor)
    check_budgets(seed, 20, "bills", factor)
    check_order(seed, 20, ["bills", "outlay"][seed % 2], factor)
    check_kits(seed, 20, ["bills", "outlay"][seed % 2], factor)


@pytest.mark.slow
@pytest.mark.parametrize("aim", list(AIMS))
@pytest.mark.parametrize("factor", FACTORS)
@pytest.mark.parametrize("name", NAMES)
def test_shipped_answers_are_the_same_in_any_currency_at_length(name: str, factor: int, aim: str) -> None:
    """Every factor and aim, on more falls."""
    check_plan(name, 300, aim, factor)
    if aim != "worst":
        check_budgets(name, 300, aim, factor)
        check_order(name, 100, aim, factor)
        check_kits(name, 100, aim, factor)


@pytest.mark.slow
@pytest.mark.parametrize("aim", list(AIMS))
@pytest.mark.parametrize("seed", RANDOM)
def test_random_answers_are_the_same_in_any_currency_at_length(seed: int, aim: str) -> None:
    """A hundred random bikes under every factor and aim."""
    for factor in FACTORS:
        check_plan(seed, 60, aim, factor)
        check_budgets(seed, 60, aim, factor)
        if aim != "worst":
            check_order(seed, 60, aim, factor)
            check_kits(seed, 60, aim, factor)


def parts_and_guards(make_scenario: MakeScenario, *prices: int) -> Scenario:
    """Parts that cost ten million each and are always struck, and for each a guard at a price in cents."""
    parts = [Part(f"part{row}", f"part{row}", Side.CENTRE, 1e7 + row) for row in range(len(prices))]
    guards = [Guard(f"guard{row}", f"guard{row}", Side.CENTRE, price) for row, price in enumerate(prices)]
    return make_scenario(parts, guards, [Cover((f"guard{row}",), f"part{row}", 1.0) for row in range(len(prices))])


@pytest.mark.parametrize("count", [2, 5, 9])
def test_a_budget_of_ten_millions_is_kept_to_the_cent(
    make_scenario: MakeScenario, planner_of: PlannerOf, count: int
) -> None:
    """What all guards cost buys all of them; a cent less leaves out the one that saves least, whose part is cheapest."""
    prices = [1_000_000_007 - 2 * row for row in range(count)]
    planner = planner_of(parts_and_guards(make_scenario, *prices))
    everything = frozenset(f"guard{row}" for row in range(count))
    for _ in range(2):
        for best in (planner.best, planner.best_or_none):
            assert (met := best(Aim.BILLS, Limits(sum(prices)))) is not None
            assert met.kit == everything
            assert (missed := best(Aim.BILLS, Limits(sum(prices) - 1))) is not None
            assert missed.kit == everything - {"guard0"}
            assert met.proven
            assert missed.proven


@pytest.mark.parametrize("reasons", [False, True])
def test_what_one_budget_rules_out_the_next_may_have(make_scenario: MakeScenario, reasons: bool) -> None:
    """A guard at 0.07 and one at 10,000,000.07, asked on one bench with the first barred, a cent short, and in full."""
    scenario = parts_and_guards(make_scenario, 7, 1_000_000_007)
    bench = Bench(scenario)
    whole = 10_000_000.14
    dear = {"guard1"}
    barred = plan(bench, budget=whole, never=["guard0"], reasons=reasons)
    short = plan(bench, budget=whole - 0.01, reasons=reasons)
    full = plan(bench, budget=whole, reasons=reasons)
    assert [made.status for made in (barred, short, full)] == [Status.OPTIMAL] * 3
    assert (barred.kit, short.kit, full.kit) == (dear, dear, dear | {"guard0"})
    assert barred.best.objective == 1e7
    assert short.best.objective == 1e7
    assert full.best.objective == 0.0


def test_a_guard_that_protects_nothing_is_forced_in_and_out_on_one_bench(make_scenario: MakeScenario) -> None:
    """Whether an owned sticker is kept or barred, the rest of the kit is the best there is, and costs the same."""
    parts = [Part("tank", "tank", Side.CENTRE, 400.0), Part("lever", "lever", Side.CENTRE, 11.25)]
    guards = [
        Guard("sticker", "sticker", Side.CENTRE, 0, owned=True),
        Guard("pad", "pad", Side.CENTRE, 900),
        Guard("knob", "knob", Side.CENTRE, 500),
    ]
    covers = [Cover(("pad",), "tank", 1.0), Cover(("knob",), "lever", 1.0)]
    scenario = make_scenario(parts, guards, covers, budget_cents=1000)
    bench = Bench(scenario)
    asked = [{"must": ["sticker"]}, {"never": ["sticker"]}, {}, {"must": ["sticker"]}]
    for forced, kit in zip(asked, ({"sticker", "pad"}, {"pad"}, {"sticker", "pad"}, {"sticker", "pad"}), strict=True):
        made = plan(bench, **forced)
        assert made.kit == kit
        assert made.best.objective == 11.25
        loss = {one.guard: one.loss_if_forced for one, _ in made.verdicts if not one.picked}
        assert loss["knob"] == (400.0 - 11.25)
