"""The budget curve as a record: what it is asked, what it holds, and how it is thinned for reading."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from folders import write_folder
from random_scenarios import random_scenario

import guardopt
from guardopt.errors import InputError, NoKitError, OutOfTimeError
from guardopt.model.aims import Aim, Best
from guardopt.model.pieces import Cover, Guard, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.alternatives import next_step
from guardopt.questions.bench import Bench
from guardopt.questions.bill import bill
from guardopt.questions.budgets import READABLE, BudgetCurve, Step, budgets
from guardopt.questions.plan import plan
from guardopt.reports.question_text import budgets_text


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


@pytest.fixture(scope="module")
def curve(twin: Scenario) -> BudgetCurve:
    """The budget curve of the small twin."""
    return budgets(twin)


def made_of(scenario: Scenario, *cents: int) -> BudgetCurve:
    """A curve with steps at these budgets, each saving more than it costs."""
    best = Best(frozenset(), 0.0, 0.0, proven=True)
    return BudgetCurve(scenario, Aim.BILLS, tuple(Step(one, best, 1e6 - one / 10) for one in cents))


def test_record_has_the_promised_keys(curve: BudgetCurve, twin: Scenario) -> None:
    """Each step with its budget, kit, spend and cost; the kit spends just the budget."""
    record = curve.to_json()
    assert list(record) == ["scenario", "currency", "aim", "steps", "pays_until"]
    assert (record["scenario"], record["currency"], record["aim"]) == (twin.title, "EUR", "bills")
    for step in record["steps"]:
        assert list(step) == ["budget", "kit", "spend", "cost_over_years"]
        assert step["spend"] == step["budget"] == twin.spend_cents(frozenset(step["kit"])) / 100
    assert record["pays_until"] == curve.pays_until


def test_table_is_the_record_in_rows(curve: BudgetCurve) -> None:
    """One row for each step, also as HTML."""
    assert curve.table.to_dict("records") == curve.to_json()["steps"]
    assert curve._repr_html_().count("<tr") == len(curve.steps) + 1


@pytest.mark.parametrize("aim", ["bills", "outlay", "worst"])
def test_the_plan_for_a_budget_is_the_step_it_reaches(aim: str, twin: Scenario) -> None:
    """At each step, a cent below the next and in between."""
    bench = Bench(twin)
    whole = budgets(bench, aim=aim)
    for cents in (0, 2499, 2500, 10_000, 18_000, 30_000, 99_999):
        step = whole.at(cents)
        made = plan(bench, budget=cents / 100, aim=aim, reasons=False)
        assert step is not None
        assert step.best.objective == pytest.approx(made.best.objective, rel=1e-6)


def test_costs_of_steps_are_those_of_their_kits_on_the_planning_sample(curve: BudgetCurve, twin: Scenario) -> None:
    """Dislikes left out; on fresh falls a kit costs the same within some standard errors."""
    for step in curve.steps:
        fresh = bill(twin, step.best.kit).bill.cost_over_years
        assert step.cost_over_years == pytest.approx(fresh, rel=0.2)
        assert step.best.objective == pytest.approx(step.cost_over_years + twin.dislike(step.best.kit))


def test_a_budget_reaches_the_last_step_that_it_pays_for(twin: Scenario) -> None:
    """None below the first; to the cent at each."""
    one = made_of(twin, 1000, 2500, 2501)
    reached = {cents: one.at(cents) for cents in (0, 999, 1000, 2499, 2500, 2501, 10**9)}
    assert [step and step.budget_cents for step in reached.values()] == [None, None, 1000, 1000, 2500, 2501, 2501]


@pytest.mark.parametrize(
    ("budget", "later", "found"),
    [(10_000, 10_400, True), (10_000, 10_600, False), (9_000, 10_400, False), (12_000, None, False)],
)
def test_a_little_more_money_is_worth_a_word(budget: int, later: int | None, found: bool, twin: Scenario) -> None:
    """Up to a twentieth of the budget more, where the next kit saves as much; nothing beyond the last step."""
    curve = made_of(twin, 0, 8000, *([later] if later else []))
    assert (next_step(curve.steps, budget) is not None) == found


def test_a_little_more_money_has_to_come_back(twin: Scenario) -> None:
    """By hand: 3 more than a budget of 100 that save 3.01, and that save 2.99."""
    best, kit = Best(frozenset(), 100.0, 100.0, proven=True), frozenset({"crash_bar"})
    own = Step(9000, best, 500.0)
    for saves, is_told in ((3.01, True), (2.99, False)):
        later = Step(10_300, replace(best, kit=kit), 500.0 - saves)
        step = next_step((own, later), 10_000)
        assert (step is not None) == is_told
        if step is not None:
            assert (step.budget_cents, step.kit, step.more) == (10_300, kit, 3.0)
            assert step.saves == pytest.approx(saves)
            assert step.to_json(twin) == {"budget": 103.0, "kit": ["crash_bar"], "more": 3.0, "saves": step.saves}


def test_the_answer_says_what_a_little_more_money_would_buy(make_scenario: Callable[..., Scenario]) -> None:
    """A pad at 50 spares 80 a year, a hood in its place at 52 spares 95; with 50 the hood is two short."""
    parts = [Part("tank", "tank", Side.CENTRE, 80.0), Part("lamp", "lamp", Side.CENTRE, 15.0)]
    guards = [
        Guard("pad", "pad", Side.CENTRE, 5000, slot="tank"),
        Guard("hood", "hood", Side.CENTRE, 5200, slot="tank"),
    ]
    covers = [Cover(("pad",), "tank", 1.0), Cover(("hood",), "tank", 1.0), Cover(("hood",), "lamp", 1.0)]
    made = plan(make_scenario(parts, guards, covers, budget_cents=5000))
    assert "For EUR 2.00 more, hood instead of pad saves EUR 15.00 more." in " ".join(made.headline)
    assert made.to_json()["next_step"]["kit"] == ["hood"]
    assert plan(make_scenario(parts, guards, covers, budget_cents=5000), aim="outlay").next_step is None


def test_thinning_keeps_the_steps_that_round_budgets_reach(twin: Scenario) -> None:
    """Every 10 from 0: budgets 0, 10, 20, 30 and the end; steps in between are left out, the last one stays."""
    one = made_of(twin, 0, 400, 900, 1500, 2900, 3100)
    assert [step.budget_cents for step in one.thinned(step=10.0).steps] == [0, 900, 1500, 2900, 3100]
    assert [step.budget_cents for step in one.thinned(upto=15.0).steps] == [0, 400, 900, 1500]
    assert [step.budget_cents for step in one.thinned(upto=14.99, step=5.0).steps] == [0, 400, 900]
    assert one.thinned(upto=31.0) == one.thinned() == one
    assert one.thinned(step=0.01) == one


@pytest.mark.parametrize("count", [1, READABLE, READABLE + 1, 60, 400])
@pytest.mark.parametrize("width", [1, 7, 1234])
def test_a_long_curve_is_thinned_to_a_readable_one(count: int, width: int, twin: Scenario) -> None:
    """By a round distance, to no more than a page and not to next to nothing; a short one is left as it is."""
    one = made_of(twin, *range(500, 500 + count * width, width))
    if count <= READABLE:
        assert one.readable_step is None
        return
    assert one.readable_step is not None
    leading = one.readable_step / 10.0 ** math.floor(math.log10(one.readable_step) + 1e-9)
    assert leading == pytest.approx(round(leading))
    assert round(leading) in (1, 2, 5)
    if one.readable_step >= 0.01:
        assert READABLE / 3 <= len(one.thinned(step=one.readable_step).steps) <= READABLE + 2


def test_money_that_does_not_pay_at_all_pays_until_nothing(make_scenario: Callable[..., Scenario]) -> None:
    """A guard at 500 against a part at 30 is a step of the curve, and pays until 0."""
    scenario = make_scenario(
        [Part("lamp", "lamp", Side.CENTRE, 30.0)],
        [Guard("cage", "cage", Side.CENTRE, 50_000)],
        [Cover(("cage",), "lamp", 1.0)],
    )
    one = budgets(scenario)
    assert [step.budget_cents for step in one.steps] == [0, 50_000]
    assert one.pays_until == 0.0


def test_a_bad_step_may_lead_to_a_good_one(make_scenario: Callable[..., Scenario]) -> None:
    """At 40 a guard saves 30 only, at 50 another saves 100: money pays until 50 all the same."""
    scenario = make_scenario(
        [Part("lamp", "lamp", Side.CENTRE, 30.0), Part("tank", "tank", Side.CENTRE, 100.0)],
        [Guard("cage", "cage", Side.CENTRE, 4000), Guard("pad", "pad", Side.CENTRE, 5000)],
        [Cover(("cage",), "lamp", 1.0), Cover(("pad",), "tank", 1.0)],
        offers=(Offer("set", frozenset({"cage", "pad"}), 8500),),
    )
    one = budgets(scenario)
    assert [step.budget_cents for step in one.steps] == [0, 4000, 5000, 8500]
    assert one.pays_until == 50.0


def test_the_same_for_less_is_taken_where_two_budgets_pay_alike(twin: Scenario) -> None:
    """Where spend and cost add up to the same, the smaller budget is named."""
    best = Best(frozenset(), 0.0, 0.0, proven=True)
    steps = (Step(0, best, 100.0), Step(1000, best, 80.0), Step(2000, best, 70.0))
    assert BudgetCurve(twin, Aim.BILLS, steps).pays_until == 10.0


def test_forced_guards_raise_the_least_budget(twin: Scenario) -> None:
    """The curve then begins at what they cost, offer taken, and below that there is no kit."""
    one = budgets(twin, must=["crash_bar", "case_cover"], never=["lever_guard"])
    assert one.steps[0].budget_cents == 21_000
    assert one.at(20_999) is None
    assert all({"crash_bar", "case_cover"} <= step.best.kit for step in one.steps)
    assert not any("lever_guard" in name for step in one.steps for name in step.best.kit)
    with pytest.raises(NoKitError, match=r"up to a budget of 100\.00 .* the least is 210\.00"):
        one.thinned(upto=100.0)


def test_everything_wrong_with_a_curve_is_told_at_once(twin: Scenario) -> None:
    """Aim, gap, time and ids, each in a line of its own."""
    with pytest.raises(InputError) as caught:
        budgets(twin, aim="cheapest", must=["crash_baar"], gap=math.nan, time_limit=-1.0)
    assert [str(problem) for problem in caught.value.problems] == [
        "aim: found 'cheapest', expected one of bills, outlay, worst",
        "gap: found nan, expected a share of at least 0 and below 1",
        "time_limit: found -1, expected seconds above 0",
        "must: no guard 'crash_baar' in this scenario; did you mean crash_bar?",
    ]


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"upto": -1.0}, ["upto: found -1, expected an amount of at least 0"]),
        ({"upto": math.inf}, ["upto: found inf, expected an amount of at least 0"]),
        ({"step": 0.0}, ["step: found 0, expected an amount of at least 0.01"]),
        (
            {"upto": math.nan, "step": 0.001},
            [
                "upto: found nan, expected an amount of at least 0",
                "step: found 0.001, expected an amount of at least 0.01",
            ],
        ),
    ],
)
def test_budgets_to_show_that_make_no_sense_are_refused(
    asked: dict[str, Any], told: list[str], curve: BudgetCurve
) -> None:
    """Before anything is thinned, all at once."""
    with pytest.raises(InputError) as caught:
        curve.thinned(**asked)
    assert [str(problem) for problem in caught.value.problems] == told


def test_part_of_a_curve_is_no_answer(tmp_path: Path) -> None:
    """Out of time there is an error, and never a curve that stops half way."""
    scenario = replace(random_scenario(1, guards=8), falls_sampled=40)
    with pytest.raises(OutOfTimeError):
        budgets(scenario, time_limit=1e-9)
    assert budgets(scenario, time_limit=None) == budgets(scenario)


def test_what_cannot_be_had_at_any_budget_is_no_curve(twin: Scenario) -> None:
    """A guard forced both in and out."""
    with pytest.raises(NoKitError):
        budgets(twin, must=["crash_bar"], never=["crash_bar"])


def test_falls_may_cost_more_with_a_dearer_kit_that_is_disliked_less(make_scenario: Callable[..., Scenario]) -> None:
    """By hand: the cage of 10 spares 50 and is disliked by 40, the bar of 20 spares 30 and is not disliked."""
    parts = [Part("tank", "tank", Side.CENTRE, 50.0), Part("seat", "seat", Side.CENTRE, 30.0)]
    cage = Guard("cage", "cage", Side.CENTRE, 1000, slot="side", dislike=40.0)
    bar = Guard("bar", "bar", Side.CENTRE, 2000, slot="side")
    scenario = make_scenario(parts, [cage, bar], [Cover(("cage",), "tank", 1.0), Cover(("bar",), "seat", 1.0)])
    found = budgets(scenario)
    assert [step.cost_over_years for step in found.steps] == pytest.approx([80.0, 30.0, 50.0])
    assert found.dislikes_decide
    told = " ".join(budgets_text(found, found).split())
    assert "Where a dearer kit comes with dearer falls, it is one that you dislike less." in told
    liked = budgets(make_scenario(parts, [replace(cage, dislike=0.0), bar], list(scenario.covers)))
    assert not liked.dislikes_decide
    assert "dislike less" not in budgets_text(liked, liked)


@pytest.mark.parametrize("aim", ["bills", "outlay", "worst"])
def test_a_gap_of_none_gives_the_whole_curve(twin: Scenario, aim: str) -> None:
    """The solver works to a tolerance; a gap below it is met at it, and no step goes missing."""
    whole, close = budgets(twin, aim=aim), budgets(twin, aim=aim, gap=0.0)
    assert [step.budget_cents for step in close.steps] == [step.budget_cents for step in whole.steps]
    assert all(step.best.proven for step in close.steps)


def test_a_stalled_search_gives_no_part_of_a_curve(twin: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    """A step that is not proven although there was time would leave the rest of the curve out."""
    monkeypatch.setattr(
        "guardopt.optimization.benders.Planner.best_or_none",
        lambda *_, **__: Best(frozenset({"crash_bar"}), 9.0, 1.0, False),
    )
    with pytest.raises(guardopt.OutOfTimeError, match="not whole"):
        budgets(twin)
