"""A plan keeps its contract: its numbers can be recomputed, its limits hold, and what is wrong with a question is told."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import chain, combinations
from typing import Any

import numpy as np
import pytest
from folders import write_folder
from random_scenarios import random_scenario

import guardopt
from guardopt.errors import SolverError
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome
from guardopt.simulation.pricing import price
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.sampling import draw

AIMS = ("bills", "outlay", "worst")
SEEDS = range(60, 66)


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


@pytest.fixture(scope="module", params=AIMS)
def made(request: pytest.FixtureRequest, twin: Scenario) -> Plan:
    """Its plan, for each aim."""
    return plan(twin, aim=request.param)


def cheapest_way_to_buy(scenario: Scenario, kit: list[str]) -> int:
    """What a kit costs in cents, every set of offers that do not overlap tried."""
    lots = list(chain.from_iterable(combinations(scenario.offers, count) for count in range(len(scenario.offers) + 1)))
    return min(
        sum(offer.price_cents for offer in taken)
        + sum(
            (0 if any(name in offer.guards for offer in taken) else scenario.guard[name].price_cents)
            + scenario.guard[name].fit_cents
            for name in kit
            if not scenario.guard[name].owned
        )
        for taken in lots
        if all(offer.guards <= set(kit) for offer in taken)
        and not any(one.guards & other.guards for one, other in combinations(taken, 2))
    )


def test_json_holds_what_is_promised_in_plain_types(made: Plan) -> None:
    """Every key is there, the object survives being written and read, and each guard has a verdict of its own."""
    said = made.to_json()
    assert said.keys() >= {
        *("scenario", "currency", "aim", "budget", "kit", "spend", "status", "objective", "bound", "gap"),
        *("stock", "fitted", "guards"),
    }
    assert said["stock"].keys() >= {"yearly_cost", "cost_over_years"}
    assert said["fitted"].keys() >= {"yearly_cost", "yearly_cost_se", "cost_over_years", "cost_over_years_se"}
    assert json.loads(json.dumps(said, allow_nan=False)) == said
    assert (said["scenario"], said["currency"], said["budget"]) == ("Small twin (invented)", "EUR", 300.0)
    assert (said["aim"], said["status"]) == (made.aim.name, "optimal")
    assert [record["guard"] for record in said["guards"]] == [guard.id for guard in made.scenario.guards]
    assert said["kit"] == [record["guard"] for record in said["guards"] if record["picked"]]
    for record in said["guards"]:
        assert record.keys() >= {"guard", "picked", "price", "spend", "reason", "text"}
        of_picked, of_left_out = (
            {"loss_if_dropped", "loss_if_barred", "pays_back_years"},
            {"gain_if_added", "loss_if_forced", "enters_at_budget"},
        )
        assert record.keys() >= (of_picked if record["picked"] else of_left_out)
        assert not record.keys() & (of_left_out if record["picked"] else of_picked)


@pytest.mark.parametrize("aim", AIMS)
@pytest.mark.parametrize("seed", SEEDS)
def test_spend_and_gap_follow_from_the_kit_and_the_bound(seed: int, aim: str) -> None:
    """Spend is the cheapest way to buy the kit, to the cent; gap = (objective − bound) / max(1, |objective|)."""
    scenario = random_scenario(seed, guards=7, own_costs=False)
    said = plan(scenario, aim=aim, reasons=False).to_json()
    assert said["spend"] == cheapest_way_to_buy(scenario, said["kit"]) / 100
    assert said["spend"] <= said["budget"]
    assert said["gap"] == (said["objective"] - said["bound"]) / max(1.0, abs(said["objective"]))
    assert 0.0 <= said["gap"] <= 1e-6


@pytest.mark.parametrize("aim", AIMS)
@pytest.mark.parametrize("seed", SEEDS)
def test_objective_is_what_pricing_the_kit_on_the_planning_falls_gives(seed: int, aim: str) -> None:
    """Cost over the years and dislike; with what is laid out; or the mean of the worst tenth of falls."""
    scenario = random_scenario(seed, guards=7, own_costs=False)
    said = plan(scenario, aim=aim, reasons=False).to_json()
    bike, kit = Bike(scenario), frozenset(said["kit"])
    sample = list(draw(scenario, scenario.falls_sampled, scenario.seed, "plan"))
    dislike = sum(scenario.guard[name].dislike for name in kit)
    expected = price(bike, sample, [kit]).bills[0].cost_over_years + dislike
    if aim == "outlay":
        resale = sum(guard.price * guard.resale_share for guard in map(scenario.guard.get, kit))
        expected += said["spend"] - resale * (1 + scenario.discount_rate) ** -scenario.years
    if aim == "worst":
        rates = np.array([fall.per_year for fall in scenario.falls])
        costs = [outcome(bike, one, bike.kit_array(kit)).owner_cost for one in sample]
        shares = [np.full(one.falls, rates[one.fall] / rates.sum() * one.share / one.falls) for one in sample]
        expected = worst_mean(np.concatenate(costs), np.concatenate(shares), 0.1)
    assert said["objective"] == pytest.approx(expected, rel=1e-9)


def test_stock_and_fitted_are_priced_on_falls_the_plan_was_not_made_on(made: Plan) -> None:
    """They are what `bill` says of these kits, and not what the planning sample says."""
    said, twin = made.to_json(), made.scenario
    keys = ("yearly_cost", "yearly_cost_se", "cost_over_years", "cost_over_years_se")
    for name, fit in (("stock", None), ("fitted", said["kit"])):
        priced = guardopt.bill(twin, fit).to_json()
        assert {key: said[name][key] for key in keys} == pytest.approx({key: priced[key] for key in keys})
    assert said["saving_over_years"] == said["stock"]["cost_over_years"] - said["fitted"]["cost_over_years"]
    planning = price(Bike(twin), draw(twin, twin.falls_sampled, twin.seed, "plan"), [made.kit]).bills[0]
    assert said["fitted"]["yearly_cost"] != planning.yearly_cost


def test_a_saving_is_surer_than_either_cost(twin: Scenario) -> None:
    """Both bikes meet the same falls, so the luck of the sample cancels out for the most part."""
    said = plan(twin, reasons=False).to_json()
    assert 0.0 < said["saving_over_years_se"] < said["stock"]["cost_over_years_se"]


@pytest.mark.parametrize("aim", AIMS)
@pytest.mark.usefixtures("flattering_planner")
def test_an_objective_that_does_not_survive_being_recomputed_is_refused(twin: Scenario, aim: str) -> None:
    """A planner that claims one euro less than its kit costs is not believed."""
    with pytest.raises(SolverError, match="pricing it again gives"):
        plan(twin, aim=aim)


def test_a_kit_that_the_budget_curve_beats_is_refused(twin: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    """A planner that calls the bare bike proven best is found out by the other way to the best kit."""
    honest = Planner.best

    def lazy(planner: Planner, *args: Any, **options: Any) -> Any:
        best = honest(planner, *args, **options)
        bare = price(planner.bike, draw(twin, twin.falls_sampled, twin.seed, "plan"), [frozenset()]).bills[0]
        return replace(best, kit=frozenset(), objective=bare.cost_over_years, bound=bare.cost_over_years)

    monkeypatch.setattr(Planner, "best", lazy)
    with pytest.raises(SolverError, match="a kit was found at"):
        plan(twin)


def test_reasons_can_be_left_out(twin: Scenario) -> None:
    """The plan is the same without them, and sooner there."""
    bare, full = plan(twin, reasons=False), plan(twin)
    assert bare.to_json()["guards"] == []
    assert bare.kit == full.kit
    assert bare.best.objective == full.best.objective
    assert bare.guards.empty


def test_tables_have_one_row_for_each_thing_and_agree_with_the_json(made: Plan) -> None:
    """`guards` and `falls` in the scenario's order, `parts` with those first that still cost most."""
    said, twin = made.to_json(), made.scenario
    guards = made.guards
    assert list(guards["guard"]) == [guard.id for guard in twin.guards]
    for row, record in zip(guards.to_dict("records"), said["guards"], strict=True):
        for key, value in record.items():
            assert row[key] == (pytest.approx(value) if isinstance(value, float) else value) or value is None
    assert list(made.falls["fall"]) == [fall.id for fall in twin.falls]
    for row, record in zip(made.falls.to_dict("records"), said["falls"], strict=True):
        assert row["per_year"] == record["per_year"]
        for bike in ("stock", "fitted"):
            assert {key: row[f"{bike}_{key}"] for key in record[bike]} == record[bike]
    parts = made.parts
    assert sorted(parts["part"]) == sorted(part.id for part in twin.parts)
    assert parts["bill_per_year_fitted"].is_monotonic_decreasing
    priced = {row["part"]: row for row in guardopt.bill(twin, said["kit"]).to_json()["parts"]}
    for row in parts.to_dict("records"):
        assert row["bill_per_year_fitted"] == pytest.approx(priced[row["part"]]["bill_per_year"])


def test_a_notebook_shows_the_answer_and_every_guard(made: Plan) -> None:
    """The HTML begins with what to buy and has a row for each guard."""
    shown = made._repr_html_()
    assert shown.startswith("<p>Buy ")
    assert all(f"<td>{guard.id}</td>" in shown for guard in made.scenario.guards)


def test_progress_is_told_in_words(twin: Scenario) -> None:
    """Whoever waits can be shown what is being done."""
    told: list[str] = []
    plan(twin, progress=told.append)
    assert told == [
        "simulating falls",
        "looking for the best kit",
        "working out the reasons",
        "pricing the kit on fresh falls",
    ]


def test_the_seed_decides_the_falls_and_nothing_else_does(twin: Scenario) -> None:
    """The same question twice gives the same numbers, another seed others."""
    assert plan(twin).to_json() == plan(twin).to_json()
    other = plan(replace(twin, seed=2), reasons=False)
    assert other.best.objective != plan(twin, reasons=False).best.objective


def test_a_guard_that_fetches_its_whole_price_has_no_price_to_enter_at(make_scenario: Callable[..., Scenario]) -> None:
    """Without interest it costs nothing in the end, so no price makes it dearer or cheaper: it is out for another reason."""
    part, other = Part("tank", "tank", Side.CENTRE, 100.0), Part("seat", "seat", Side.CENTRE, 10.0)
    guards = [
        Guard("bar", "bar", Side.CENTRE, 2000, slot="side"),
        Guard("cage", "cage", Side.CENTRE, 3000, slot="side", resale_share=1.0),
    ]
    scenario = make_scenario([part, other], guards, [Cover(("bar",), "tank", 1.0), Cover(("cage",), "seat", 1.0)])
    made = plan(scenario, aim="outlay")
    assert made.kit == {"bar"}
    (cage,) = (one for one in made.to_json()["guards"] if one["guard"] == "cage")
    assert cage["enters_at_price"] is None
