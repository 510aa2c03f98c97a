"""In which order to buy while saving up: money to the cent, months, offers, and what is told of bad questions."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from folders import write_folder
from random_scenarios import random_scenario

import guardopt
from guardopt.errors import InputError, OutOfTimeError
from guardopt.model.pieces import Cover, Guard, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.plan import plan
from guardopt.questions.purchase_schedule import GAP, MOST_MONTHS, order
from guardopt.questions.schedule_result import BuyingOrder
from guardopt.reports.question_text import order_text


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


def tank_and_lamp(make_scenario: Callable[..., Scenario], **rest: Any) -> Scenario:
    """A tank at 240 and a lamp at 60, each broken once a year, with a guard at 100 and one at 20."""
    return make_scenario(
        [Part("tank", "tank", Side.CENTRE, 240.0), Part("lamp", "lamp", Side.CENTRE, 60.0)],
        [Guard("pad", "pad", Side.CENTRE, 10_000), Guard("cage", "cage", Side.CENTRE, 2000)],
        [Cover(("pad",), "tank", 1.0), Cover(("cage",), "lamp", 1.0)],
        **rest,
    )


def months_of(found: BuyingOrder) -> list[tuple[int, tuple[str, ...]]]:
    """What is bought when."""
    return [(step.month, step.buy) for step in found.steps]


def check_money(found: BuyingOrder) -> None:
    """No month spends what has not been saved, cents are exact, and nothing is bought twice."""
    scenario, owned, spent = found.scenario, found.scenario.stock, 0
    for step in found.steps:
        bought = frozenset(step.buy)
        assert bought or step.take_off
        assert not bought & owned
        cents = scenario.spend_cents(bought)
        spent += cents
        owned |= bought
        left = round((found.in_hand + found.put_by * step.month) * 100) - spent
        assert step.spend == cents / 100
        assert step.purse == left / 100
        assert left >= 0
        assert step.kit <= owned
        assert not scenario.clashes(step.kit)
        assert scenario.is_within_weight(step.kit)


def test_a_cheap_guard_first_if_it_delays_the_dear_one_by_little(make_scenario: Callable[..., Scenario]) -> None:
    """Worked by hand: 20 a month. The lamp's guard in month 1 and the tank's in month 6 cost least.

    Lamp first: 60 × 1/12 + 240 × 6/12 = 125. Tank first: 240 × 5/12 + 60 × 6/12 = 130. All at once in month 6:
    300 × 6/12 = 150.
    """
    found = order(tank_and_lamp(make_scenario), 20.0, months=6)
    assert months_of(found) == [(1, ("cage",)), (6, ("pad",))]
    assert found.cost == pytest.approx(125.0)
    assert (found.wait_months, found.cost_if_waiting) == (6, pytest.approx(150.0))
    assert [step.purse for step in found.steps] == [0.0, 0.0]
    assert [step.yearly_cost for step in found.steps] == pytest.approx([240.0, 0.0])
    check_money(found)


def test_the_dear_guard_first_if_the_cheap_one_would_delay_it_by_much(make_scenario: Callable[..., Scenario]) -> None:
    """With a tank at 960 a month without its guard costs 80: the tank's first, in month 5, then the lamp's in month 6."""
    scenario = tank_and_lamp(make_scenario)
    dear = replace(scenario, parts=(replace(scenario.parts[0], price=960.0), scenario.parts[1]))
    found = order(dear, 20.0, months=6)
    assert months_of(found) == [(5, ("pad",)), (6, ("cage",))]
    assert found.cost == pytest.approx(960 * 5 / 12 + 60 * 6 / 12)


def test_a_guard_that_does_not_pay_is_named_and_not_bought_for_the_outlay(
    make_scenario: Callable[..., Scenario],
) -> None:
    """By hand, 1 year: the tank's guard costs 100 and spares 240 × 6/12 from month 6 on, 120; the lamp's at 70 never 60."""
    scenario = tank_and_lamp(make_scenario)
    dear = replace(scenario, guards=(scenario.guards[0], replace(scenario.guards[1], price_cents=7000)))
    bills = order(dear, 50.0, months=4)
    assert bills.losing == ("cage",)
    told = " ".join(order_text(bills).split())
    assert "But cage saves less than it costs; to buy only what pays for itself, ask for the aim outlay." in told
    outlay = order(dear, 50.0, months=4, aim="outlay")
    assert months_of(outlay) == [(2, ("pad",))]
    assert outlay.cost == pytest.approx(240 * 2 / 12 + 60 + 100)
    assert outlay.cost_if_waiting == pytest.approx(outlay.cost)
    assert "falls and guards then cost EUR 200 over 1 year" in " ".join(order_text(outlay).split())


def test_a_last_month_that_brings_more_than_the_budget_is_said_to(make_scenario: Callable[..., Scenario]) -> None:
    """A budget of 100 is met after three months of 40; all 120 of them are spent, and that is told."""
    scenario = tank_and_lamp(make_scenario, budget_cents=10_000)
    found = order(scenario, 40.0)
    assert sum(step.spend for step in found.steps) == 120.0
    told = " ".join(order_text(found).split())
    assert "That is EUR 120.00 in all, more than the budget of EUR 100.00, which only says how long to save." in told
    assert "in all, more than" not in order_text(order(replace(scenario, budget_cents=12_000), 40.0))


def test_what_has_to_come_off_for_it_is_said(make_scenario: Callable[..., Scenario]) -> None:
    """An owned slider has the place of the bar that is bought in month 2; one that wears out comes off at once."""
    parts = [Part("tank", "tank", Side.CENTRE, 240.0), Part("lamp", "lamp", Side.CENTRE, 60.0)]
    guards = [
        Guard("slider", "slider", Side.CENTRE, 3000, slot="side", owned=True),
        Guard("bar", "bar", Side.CENTRE, 8000, slot="side"),
        Guard("shell", "shell", Side.CENTRE, 3000, wear_per_fall=90.0, owned=True),
    ]
    covers = [Cover(("slider",), "tank", 0.25), Cover(("bar",), "tank", 1.0), Cover(("shell",), "lamp", 1.0)]
    found = order(make_scenario(parts, guards, covers, falls_sampled=400), 40.0, months=3)
    assert [(step.month, step.buy, step.take_off) for step in found.steps] == [
        (0, (), ("shell",)),
        (2, ("bar",), ("slider",)),
    ]
    told = " ".join(order_text(found).split())
    assert re.search(r"now 0\.00 0\.00 \S+ take off shell month 2 80\.00 0\.00 \S+ buy bar; take off slider", told)
    assert told.partition("Buy ")[2].startswith("in month 2: falls then cost")
    check_money(found)
    alone = order(make_scenario(parts, guards[2:], covers[2:], falls_sampled=400), 40.0, months=1)
    told = " ".join(order_text(alone).split())
    assert "Buy nothing: no guard that the EUR 40.00 saved by month 1 can pay for makes falls cost less." in told
    assert re.search(r"now 0\.00 0\.00 \S+ take off shell", told)


def test_what_is_saved_already_is_spent_at_once(make_scenario: Callable[..., Scenario]) -> None:
    """With 20 in hand the lamp's guard is bought now; with 120 both are, and waiting is no worse."""
    scenario = tank_and_lamp(make_scenario)
    some = order(scenario, 20.0, months=6, in_hand=20.0)
    assert months_of(some) == [(0, ("cage",)), (5, ("pad",))]
    all_at_once = order(scenario, 0.0, in_hand=120.0)
    assert months_of(all_at_once) == [(0, ("pad", "cage"))]
    assert all_at_once.cost == all_at_once.cost_if_waiting == 0.0
    assert (all_at_once.months, all_at_once.wait_months) == (0, 0)


def test_a_cent_too_little_is_too_little(make_scenario: Callable[..., Scenario]) -> None:
    """Three times 33.34 pays for a guard at 100.00, three times 33.33 does not."""
    scenario = tank_and_lamp(make_scenario, offers=())
    scenario = replace(scenario, guards=scenario.guards[:1], covers=scenario.covers[:1])
    assert months_of(order(scenario, 33.34, months=3)) == [(3, ("pad",))]
    assert months_of(order(scenario, 33.33, months=3)) == []
    # 0.1 + 0.2 is not 0.3 in binary fractions; a purse is.
    pennies = replace(scenario, guards=(replace(scenario.guards[0], price_cents=30),))
    assert months_of(order(pennies, 0.1, months=3)) == [(3, ("pad",))]


def test_an_offer_is_taken_only_by_those_who_buy_its_guards_together(make_scenario: Callable[..., Scenario]) -> None:
    """Both at 80 for 100, 50 a month. Singly they would cost 160: the pair is bought in month 2, and not one in each."""
    scenario = make_scenario(
        [Part(name, name, Side.CENTRE, 120.0) for name in ("tank", "lamp")],
        [Guard(name, name, Side.CENTRE, 8000) for name in ("pad", "cage")],
        [Cover(("pad",), "tank", 1.0), Cover(("cage",), "lamp", 1.0)],
        offers=(Offer("set", frozenset({"pad", "cage"}), 10_000),),
    )
    found = order(scenario, 50.0, months=3)
    assert months_of(found) == [(2, ("pad", "cage"))]
    assert found.steps[0].spend == 100.0
    # With money for one of them now, taking it now forgoes the offer: 80 + 80 is there in month 4 only.
    early = order(scenario, 20.0, months=4, in_hand=80.0)
    assert early.cost == pytest.approx(240 / 12)
    assert months_of(early) == [(1, ("pad", "cage"))]


def test_an_offer_may_be_cheaper_than_a_part_of_it(make_scenario: Callable[..., Scenario]) -> None:
    """A guard at 100 comes for 60 together with one that is disliked: it is bought, and the other left off."""
    scenario = make_scenario(
        [Part("tank", "tank", Side.CENTRE, 240.0)],
        [Guard("pad", "pad", Side.CENTRE, 10_000), Guard("horn", "horn", Side.CENTRE, 2000, dislike=500.0)],
        [Cover(("pad",), "tank", 1.0)],
        offers=(Offer("set", frozenset({"pad", "horn"}), 6000),),
    )
    found = order(scenario, 30.0, months=2)
    assert found.steps[0].kit == {"pad"}
    assert found.wait_months == 2
    assert found.cost == pytest.approx(found.cost_if_waiting) == pytest.approx(40.0)
    check_money(found)


@pytest.mark.parametrize("seed", range(12))
def test_purses_are_exact_and_no_course_is_worse_than_waiting(seed: int) -> None:
    """On random bikes with offers, needs, slots and weight limits, with odd cents saved."""
    scenario = replace(random_scenario(seed, guards=5, own_costs=False), falls_sampled=30)
    found = order(scenario, 17.37 + seed, months=5, in_hand=3.33)
    check_money(found)
    assert found.cost <= found.cost_if_waiting + 1e-9
    assert found.bound <= found.cost
    assert found.proven == (found.cost - found.bound <= GAP * max(1.0, abs(found.cost)))


@pytest.mark.parametrize("seed", range(6))
def test_more_money_or_more_months_never_cost_more(seed: int) -> None:
    """What could be bought before can still be bought."""
    scenario = replace(random_scenario(seed, guards=4, own_costs=False), falls_sampled=30)
    less = order(scenario, 30.0, months=3)
    for more in (order(scenario, 45.0, months=3), order(scenario, 30.0, months=3, in_hand=25.0)):
        assert more.cost <= less.cost * (1 + 2 * GAP) + 1e-9
    assert order(scenario, 30.0, months=5).cost <= less.cost * (1 + 2 * GAP) + 1e-9


def test_saving_goes_on_until_the_budget_is_reached(twin: Scenario) -> None:
    """300 at 40 a month take 8 months, with 60 in hand 6; without a budget, until all that money can do is paid."""
    assert order(twin, 40.0).months == 8
    assert order(twin, 40.0, in_hand=60.0).months == 6
    assert order(twin, 40.0, in_hand=400.0).months == 0
    endless = replace(twin, budget_cents=None)
    everything = plan(endless, reasons=False)
    found = order(endless, 60.0)
    assert found.months == math.ceil(everything.spend / 60.0)
    assert found.steps[-1].kit == everything.kit


def test_a_budget_beyond_reach_ends_with_five_years_or_with_the_bike(twin: Scenario) -> None:
    """A cent a month reaches nothing within the three years the bike is kept, nor within five of ten."""
    assert order(twin, 0.01).months == 36
    assert order(twin, 0.01).steps == ()
    plain = replace(twin, years=10.0, guards=twin.guards[:1], covers=(), offers=(), falls_sampled=5)
    assert order(plain, 0.01).months == MOST_MONTHS
    assert order(twin, 5.0, months=60).months == 36


def test_nothing_to_come_means_to_buy_now(twin: Scenario) -> None:
    """Nothing a month with something in hand is the plan for that sum."""
    found = order(twin, 0.0, in_hand=100.0)
    assert (found.months, [step.month for step in found.steps]) == (0, [0])
    assert found.steps[0].kit == plan(twin, budget=100.0, reasons=False).kit


def test_a_bike_that_is_better_left_alone_is_left_alone(make_scenario: Callable[..., Scenario]) -> None:
    """No guard holds anything: nothing is bought, and waiting costs the same."""
    scenario = make_scenario([Part("tank", "tank", Side.CENTRE, 240.0)], [Guard("badge", "badge", Side.CENTRE, 500)])
    found = order(scenario, 10.0, months=3)
    assert found.steps == ()
    assert found.cost == pytest.approx(240.0) == pytest.approx(found.cost_if_waiting)
    assert found.to_json()["steps"] == []
    assert found.table.empty


def slider_or_cage(make_scenario: Callable[..., Scenario]) -> Scenario:
    """A case at 300 a year; an owned slider that holds a fifth and fetches 15.50, or a cage at 90 that holds nine tenths."""
    case = Part("case", "case", Side.CENTRE, 300.0)
    slider = Guard("slider", "slider", Side.CENTRE, 4000, owned=True, sells_cents=1550, not_with=frozenset({"cage"}))
    cage = Guard("cage", "cage", Side.CENTRE, 9000)
    covers = [Cover(("slider",), "case", 0.2), Cover(("cage",), "case", 0.9)]
    return make_scenario([case], [slider, cage], covers, falls_sampled=200)


def test_what_takes_the_place_of_an_owned_guard_is_paid_with_what_that_fetches(
    make_scenario: Callable[..., Scenario],
) -> None:
    """A month earlier than without: 75 saved and 15.50 for the slider pay the cage; sold by itself it is at no time."""
    (step,) = order(slider_or_cage(make_scenario), 25.0, months=5).steps
    assert (step.month, step.buy, step.take_off, step.sell) == (3, ("cage",), ("slider",), ("slider",))
    assert (step.fetches, step.spend, step.purse) == (15.5, 74.5, 0.5)
    assert order(slider_or_cage(make_scenario), 24.0, months=3).steps == ()
    text = order_text(order(slider_or_cage(make_scenario), 25.0, months=5))
    assert re.search(
        r"month 3 74\.50 0\.50 \S+ buy cage; take off slider and sell for EUR 15\.50", " ".join(text.split())
    )


def test_a_guard_that_is_never_to_be_on_the_bike_is_sold_at_once(make_scenario: Callable[..., Scenario]) -> None:
    """It costs nothing to do, and the money counts: 15.50 and three times 25 pay for the cage."""
    early, late = order(slider_or_cage(make_scenario), 25.0, months=5, never=["slider"]).steps
    assert (early.month, early.take_off, early.sell, early.purse) == (0, ("slider",), ("slider",), 15.5)
    assert (late.month, late.buy, late.spend, late.purse) == (3, ("cage",), 90.0, 0.5)


def test_a_guard_that_has_to_stay_on_is_not_sold(make_scenario: Callable[..., Scenario]) -> None:
    """The pad that the slider could pay for waits until it is saved for."""
    parts = [Part("case", "case", Side.CENTRE, 300.0), Part("tank", "tank", Side.CENTRE, 400.0)]
    guards = [
        Guard("slider", "slider", Side.CENTRE, 4000, owned=True, sells_cents=3000),
        Guard("pad", "pad", Side.CENTRE, 5000),
    ]
    scenario = make_scenario(
        parts, guards, [Cover(("slider",), "case", 0.2), Cover(("pad",), "tank", 0.9)], falls_sampled=200
    )
    assert [(step.month, step.sell) for step in order(scenario, 20.0, months=4).steps] == [(1, ("slider",))]
    assert [(step.month, step.sell) for step in order(scenario, 20.0, months=4, must=["slider"]).steps] == [(3, ())]


def test_what_fetches_more_in_the_end_is_kept_in_the_drawer_where_money_counts(
    make_scenario: Callable[..., Scenario],
) -> None:
    """For outlay: the slider that the cage replaces fetches 15.50 now and 20 when the bike goes, so it is not sold."""
    scenario = slider_or_cage(make_scenario)
    guards = tuple(replace(one, resale_share=0.5) if one.owned else one for one in scenario.guards)
    scenario = replace(scenario, guards=guards, years=2.0, discount_rate=0.0)
    kept = order(scenario, 50.0, months=3, aim="outlay")
    (step,) = kept.steps
    assert (step.take_off, step.sell, step.fetches) == (("slider",), (), 0.0)
    (sold,) = order(replace(scenario, discount_rate=0.2), 50.0, months=3, aim="outlay").steps
    assert (sold.take_off, sold.sell, sold.fetches) == (("slider",), ("slider",), 15.5)


def test_record_has_the_promised_keys(twin: Scenario) -> None:
    """Amounts unrounded, and finite in every case."""
    found = order(twin, 40.0)
    record = found.to_json()
    assert list(record) == [
        *("scenario", "currency", "aim", "put_by", "in_hand", "months", "steps", "losing", "cost", "bound", "gap"),
        *("status", "cost_if_waiting", "wait_months"),
    ]
    assert record["status"] == "optimal"
    assert 0.0 <= record["gap"] <= GAP
    for step in record["steps"]:
        assert list(step) == [
            "month",
            "buy",
            "take_off",
            "put_on",
            "sell",
            "fetches",
            "spend",
            "purse",
            "yearly_cost",
            "kit",
        ]
    assert found.table.to_dict("records") == record["steps"]
    assert found._repr_html_().count("<tr") == len(found.steps) + 1
    check_money(found)


@pytest.mark.parametrize("seed", range(4))
def test_stopped_early_the_course_is_allowed_and_its_gap_honest(seed: int) -> None:
    """By the clock or by a count: the best lies between bound and cost, and how the search ended is said."""
    scenario = replace(random_scenario(seed, guards=5, own_costs=False), falls_sampled=30)
    best = order(scenario, 30.0, months=3)
    out_of_time, out_of_effort = (
        order(scenario, 30.0, months=3, time_limit=1e-9),
        order(scenario, 30.0, months=3, effort=1),
    )
    for found, status in ((out_of_time, "time_limit"), (out_of_effort, "effort_limit")):
        check_money(found)
        assert found.bound <= best.cost + 1e-9
        assert best.bound <= found.cost + 1e-9
        assert found.cost <= found.cost_if_waiting + 1e-9
        said = found.to_json()
        assert json.loads(json.dumps(said, allow_nan=False)) == said
        assert said["status"] == ("optimal" if said["gap"] <= GAP else status)


def test_too_little_time_to_know_for_how_long_to_save_is_an_error(
    twin: Scenario, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a budget the plan without limit comes first."""
    endless = replace(twin, budget_cents=None)
    monkeypatch.setattr(
        "guardopt.optimization.benders.Planner.best",
        lambda *_, **__: (_ for _ in ()).throw(OutOfTimeError("no kit in time")),
    )
    with pytest.raises(OutOfTimeError):
        order(endless, 20.0, time_limit=1e-9)


def test_everything_wrong_with_an_order_is_told_at_once(twin: Scenario) -> None:
    """Amounts, months and time, each in a line of its own."""
    with pytest.raises(InputError) as caught:
        order(twin, -5.0, months=61, in_hand=math.nan, aim="worst", time_limit=0.0)
    assert [str(problem) for problem in caught.value.problems] == [
        "put_by: found -5, expected an amount of at least 0",
        "in_hand: found nan, expected an amount of at least 0",
        "months: found 61, expected 0 to 60",
        "time_limit: found 0, expected seconds above 0",
        "aim: found 'worst', expected one of bills, outlay",
    ]


@pytest.mark.parametrize("asked", [{"put_by": 0.0}, {"put_by": math.inf}, {"put_by": 1.0, "months": -1}])
def test_questions_without_sense_are_refused(asked: dict[str, Any], twin: Scenario) -> None:
    """No money at all, endless money, and months before now."""
    with pytest.raises(InputError):
        order(twin, **asked)


def test_a_folder_is_not_touched(tmp_path: Path) -> None:
    """Questions read a scenario and write nothing."""
    folder = write_folder(tmp_path / "twin")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    order(guardopt.load(folder), 40.0, months=2)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
