"""Reports on budgets, buying order, forecast and doubts: plain sentences that say what the numbers say."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest
from folders import write_folder
from shipped import FOLDER, NAMES

import guardopt
from guardopt.model.aims import Aim, Best
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.break_even import BreakEven
from guardopt.questions.budgets import BudgetCurve, Step, budgets
from guardopt.questions.forecast import Forecast, forecast
from guardopt.questions.plan import plan
from guardopt.questions.purchase_schedule import order
from guardopt.questions.schedule_result import BuyingOrder
from guardopt.reports.layout import CAUTIONS, IN_SHORT
from guardopt.reports.plan_text import plan_text
from guardopt.reports.question_text import budgets_text, forecast_text, order_text
from guardopt.words import exact_money, money, number

BEST = Best(frozenset(), 100.0, 100.0, proven=True)


@cache
def shipped_bench(name: str) -> Bench:
    """A shipped scenario on few falls, ready for several questions."""
    return Bench(guardopt.load(FOLDER / name, {"scenario.sampling.falls": 40}))


@cache
def reports(name: str) -> dict[str, str]:
    """All reports on one shipped scenario."""
    bench = shipped_bench(name)
    curve = budgets(bench)
    made = plan(bench, reasons=False, sure=3)
    multiples = {guard.id: BreakEven(0.25, 12.5 if row % 2 else None) for row, guard in enumerate(made.scenario.guards)}
    return {
        "budgets": budgets_text(curve, curve.thinned(step=curve.readable_step)),
        "all budgets": budgets_text(curve, curve),
        "order": order_text(order(bench, 110.0, months=2)),
        "forecast": forecast_text(forecast(bench, made.kit)),
        "doubts": plan_text(replace(made, break_even=multiples)),
    }


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


def in_one_line(text: str) -> str:
    """A report as one line, so that sentences can be looked for wherever they were wrapped."""
    return " ".join(text.split())


def answer(text: str) -> str:
    """What stands between the title and the first blank line."""
    return in_one_line("\n".join(text.split("\n\n")[0].splitlines()[2:]))


@pytest.mark.parametrize("name", NAMES)
def test_every_report_keeps_to_eighty_plain_columns_and_ends_with_the_cautions(name: str) -> None:
    """No line too long, no trailing blanks, no colours, the title first and all cautions last."""
    for report in reports(name).values():
        lines = report.splitlines()
        assert max(map(len, lines)) <= 80
        assert [line for line in lines if line != line.rstrip()] == []
        assert report.replace("\n", "").isprintable()
        assert lines[0] == shipped_bench(name).scenario.title[:80]
        assert set(lines[1]) == {"="}
        said = in_one_line(report)
        assert said.endswith(IN_SHORT) or (said.endswith(CAUTIONS[-1]) and all(one in said for one in CAUTIONS))


@pytest.mark.parametrize("name", NAMES)
def test_the_answer_comes_first(name: str) -> None:
    """Right below the title: the budget, the order and the amounts that were asked for."""
    said = reports(name)
    assert answer(said["budgets"]).startswith("Spending pays up to ")
    assert re.match(r"Buy (now|in month \d|in \d steps, the last in month \d): falls then cost ", answer(said["order"]))
    assert answer(said["forecast"]).startswith("With ")
    assert " years on average, and with a chance of 80 % between " in answer(said["forecast"])


def test_budgets_say_where_money_stops_paying_and_where_it_stops_mattering(twin: Scenario) -> None:
    """Two different budgets, each in a sentence of its own; the numbers are the record's."""
    curve = budgets(twin)
    record, said = curve.to_json(), answer(budgets_text(curve, curve))
    last = record["steps"][-1]["budget"]
    assert record["pays_until"] < last
    assert f"Spending pays up to {exact_money(round(100 * record['pays_until']), 'EUR')}, on " in said
    assert "together cost least; past that, guards cost more than they save (" in said
    changes = len(record["steps"]) - 1
    assert f"changes {changes} times, the last time at EUR {last:.2f}." in said


def test_every_step_of_the_curve_is_a_row(twin: Scenario) -> None:
    """Budget and cost as in the record; what is bought and dropped adds up to the kit."""
    curve = budgets(twin)
    text = budgets_text(curve, curve)
    rows = re.findall(r"^ +([\d,]+\.\d\d) +([\d,.]+)  (\S.*(?:\n {20,}\S.*)*)$", text, re.MULTILINE)
    record = curve.to_json()["steps"]
    assert [(row[0], row[1]) for row in rows] == [
        (f"{step['budget']:,.2f}", number(step["cost_over_years"])) for step in record
    ]
    kit: set[str] = set()
    for row, step in zip(rows, record, strict=True):
        change = in_one_line(row[2])
        if change.startswith("drop "):
            bought, dropped = "", change.removeprefix("drop ")
        else:
            bought, _, dropped = change.removeprefix("+ ").partition(" instead of ")
        kit |= ids_in(bought) - {"no guard", ""}
        kit -= ids_in(dropped)
        assert kit == set(step["kit"])


def ids_in(names: str) -> set[str]:
    """The guards that a list names, of which both sides may stand together."""
    apart = re.sub(r"(\S+) \(left and right\)", r"\1.left, \1.right", names)
    return set(re.split(", | and ", apart))


@pytest.mark.parametrize(
    ("cents", "told"),
    [
        ((0,), "No budget, however large, brings a better kit."),
        ((0, 1000), "the best kit changes once, the last time at EUR 10.00."),
        ((0, 1000, 2000), "the best kit changes 2 times, the last time at EUR 20.00."),
    ],
)
def test_changes_are_counted_in_good_grammar(cents: tuple[int, ...], told: str, twin: Scenario) -> None:
    """Never, once, twice: the first kit is no change."""
    curve = BudgetCurve(twin, Aim.BILLS, tuple(Step(one, BEST, 1000.0 - one / 10) for one in cents))
    assert told in answer(budgets_text(curve, curve))


def test_money_that_does_not_pay_is_said_not_to(twin: Scenario) -> None:
    """From nothing on, or beyond what is forced in; where all money pays there is no talk of more."""
    useless = BudgetCurve(twin, Aim.BILLS, (Step(0, BEST, 100.0), Step(5000, BEST, 90.0)))
    assert answer(budgets_text(useless, useless)).startswith("Spending money does not pay: no dearer kit saves over ")
    forced = BudgetCurve(twin, Aim.BILLS, (Step(4000, BEST, 100.0), Step(5000, BEST, 95.0)))
    assert "Spending money beyond the EUR 40.00 that the least kit costs does not" in answer(
        budgets_text(forced, forced)
    )
    useful = BudgetCurve(twin, Aim.BILLS, (Step(0, BEST, 1000.0), Step(5000, BEST, 90.0)))
    assert "pays up to EUR 50.00:" in answer(budgets_text(useful, useful))
    assert "past that" not in answer(budgets_text(useful, useful))


def test_a_thinned_curve_says_that_it_is(twin: Scenario) -> None:
    """How many kits of how many, and how to see the rest."""
    curve = budgets(twin)
    shown = curve.thinned(step=100.0)
    said = answer(budgets_text(curve, shown))
    assert f"Here are {len(shown.steps)} of the {len(curve.steps)} best kits (--step 0: all; --step N: one for" in said
    assert "Here are" not in budgets_text(curve, curve)


def test_an_order_is_a_table_of_amounts_in_one_currency(twin: Scenario) -> None:
    """Price, purse and yearly cost of each month, as in the record."""
    found = order(twin, 40.0)
    said = in_one_line(order_text(found))
    for step in found.to_json()["steps"]:
        row = f"month {step['month']} {step['spend']:,.2f} {step['purse']:,.2f} {number(step['yearly_cost'])} buy "
        assert row in said
    assert "With EUR 40.00 put by each month, the first time a month from now when (EUR) spend left falls" in said
    with_some = in_one_line(order_text(order(twin, 40.0, in_hand=60.0)))
    assert "With EUR 60.00 now and EUR 40.00 put by each month" in with_some
    assert "With EUR 60.00 now and nothing more to come" in order_text(order(twin, 0.0, in_hand=60.0))


def test_an_order_says_what_waiting_would_cost(twin: Scenario) -> None:
    """That falls, not guards, would then cost more, until when one would wait, and by how much."""
    found = order(twin, 40.0)
    assert found.cost_if_waiting > found.cost
    assert (
        f"If you bought nothing before month {found.wait_months} and then the whole of the last kit at once, falls "
        f"would cost {money(found.cost_if_waiting, 'EUR')} over 3 years: "
        f"{money(found.cost_if_waiting - found.cost, 'EUR')} more."
    ) in answer(order_text(found))


def orders(make_scenario: Callable[..., Scenario]) -> dict[str, BuyingOrder]:
    """Orders of every kind: several months, one month, now, nothing."""
    scenario = make_scenario(
        [Part("tank", "tank", Side.CENTRE, 240.0)],
        [Guard("pad", "pad", Side.CENTRE, 10_000)],
        [Cover(("pad",), "tank", 1.0)],
    )
    return {
        "later": order(scenario, 50.0, months=3),
        "now": order(scenario, 0.0, in_hand=100.0),
        "never": order(scenario, 10.0, months=3),
        "not now": order(scenario, 0.0, in_hand=10.0),
    }


def test_an_order_of_one_month_or_none_is_said_in_good_grammar(make_scenario: Callable[..., Scenario]) -> None:
    """No "1 goes", no "0 months", and nothing about waiting where there is nothing to wait for."""
    said = {name: answer(order_text(one)) for name, one in orders(make_scenario).items()}
    assert said == {
        "later": "Buy in month 2: falls then cost EUR 40.00 over 1 year in all. "
        "Buying part of it sooner would not make falls cost less.",
        "now": "Buy now: falls then cost EUR 0.00 over 1 year in all.",
        "never": "Buy nothing: no guard that the EUR 30.00 saved by month 3 can pay for makes falls cost less.",
        "not now": "Buy nothing: no guard that the EUR 10.00 saved can pay for makes falls cost less.",
    }


def test_an_order_out_of_time_says_how_far_it_may_be_off(make_scenario: Callable[..., Scenario]) -> None:
    """Whether something is bought or nothing."""
    for one in orders(make_scenario).values():
        late = replace(one, proven=False, cost=200.0, bound=150.0, cost_if_waiting=200.0)
        said = answer(order_text(late))
        assert said.endswith(
            "The search stopped before this was proven best: another order may be better by 25 % at most."
        )
        assert "sooner would not" not in said
        assert "EUR 150 on the falls it was planned on" in in_one_line(order_text(late))


def test_dislikes_in_a_cost_are_said_to_be_there(twin: Scenario, make_scenario: Callable[..., Scenario]) -> None:
    """The small twin's owner dislikes a bar; nobody dislikes the other's pad."""
    assert " in all, dislikes included." in answer(order_text(order(twin, 40.0)))
    assert "dislikes" not in order_text(orders(make_scenario)["later"])


@cache
def courier_forecast() -> Forecast:
    """The spread for the courier."""
    return forecast(shipped_bench("courier"))


def test_a_forecast_says_the_numbers_of_its_record() -> None:
    """Every amount of both bikes with its standard error, and chances in plain words."""
    found = courier_forecast()
    text, record = forecast_text(found), found.to_json()
    labels = {
        "average": "mean",
        "spread (standard deviation)": "sd",
        "10 % chance of no more than": "0.1",
        "50 % chance of no more than": "0.5",
        "90 % chance of no more than": "0.9",
        "95 % chance of no more than": "0.95",
        "99 % chance of no more than": "0.99",
        "average of the worst tenth": "worst_tenth_mean",
    }
    for label, key in labels.items():
        row = next(line for line in text.splitlines() if line.startswith(f"  {label}  "))
        cells = []
        for bike in ("stock", "fitted"):
            amounts = record[bike] | record[bike]["quantiles"]
            cells += [number(amounts[key]), f"± {number(record[bike]['standard_errors'][key])}"]
        assert re.split(r" {2,}", row.strip()) == [label, *cells]
    quantiles = record["fitted"]["quantiles"]
    assert f"between {money(quantiles['0.1'], 'EUR')} and {money(quantiles['0.9'], 'EUR')}." in answer(text)
    assert f"falls will cost {money(record['fitted']['mean'], 'EUR')} over 3 years on average" in answer(text)


def test_a_forecast_says_how_far_its_grid_may_be_off() -> None:
    """In money and as a share of the average; nothing where nothing is ever paid."""
    found = courier_forecast()
    said = in_one_line(forecast_text(found))
    step = max(found.stock.step, found.fitted.step)
    error = max(found.stock.discretisation_error, found.fitted.discretisation_error)
    assert f"steps of {money(step, 'EUR')} or less, so that each may be off by as much: {100 * error:.2f} % of" in said
    scenario = found.scenario
    still = replace(scenario, falls=tuple(replace(fall, per_year=0.0) for fall in scenario.falls), falls_sampled=20)
    assert "steps of" not in in_one_line(forecast_text(forecast(still, [])))


def test_a_forecast_of_an_unproven_kit_says_so() -> None:
    """With the share by which another may be better; a kit that was given needs no proof."""
    late = replace(courier_forecast(), best=Best(frozenset(), 200.0, 150.0, proven=False))
    assert answer(forecast_text(late)).endswith("another may be better by 25 % at most.")
    assert "time ran out" not in forecast_text(courier_forecast())
    assert "time ran out" not in forecast_text(replace(late, best=None))
