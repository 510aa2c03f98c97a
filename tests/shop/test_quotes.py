"""A quote is the plan that its rider would get alone, however many riders are quoted at once."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from folders import write_folder
from random_scenarios import price_every_kit, random_scenario, sample_of
from shops import COLUMNS, RIDING, some_riders, write_riders, write_shop

import guardopt
from guardopt.errors import InputError
from guardopt.loading.rider_sheets import read_sheets
from guardopt.model.aims import GAP, Aim, Limits
from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.plan import NO_LIMIT
from guardopt.shop.curve_lookup import corners, neighbours
from guardopt.shop.rider_curves import LadderJob, Ladders, find_ladders
from guardopt.shop.riders import Reader
from guardopt.shop.shop import Shop, Wish
from guardopt.simulation.batch_pricing import mean_costs
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price


def frame_of(lines: list[str]) -> pd.DataFrame:
    """Lines of a table of riders as a frame of text."""
    return pd.read_csv(io.StringIO("\n".join([COLUMNS, *lines])), dtype=str, keep_default_na=False)


def rider_alone(bikes: dict[str, Scenario], row: pd.Series) -> tuple[Scenario, float | None]:
    """The scenario and budget of one rider, put together by hand."""
    scenario = bikes[row["bike"]]
    rates = scenario.ridings[row["riding"]] if row["riding"] else [fall.per_year for fall in scenario.falls]
    times = float(row["times"] or 1)
    falls = tuple(replace(fall, per_year=rate * times) for fall, rate in zip(scenario.falls, rates, strict=True))
    if row["owned"]:
        owned = set() if row["owned"] == "none" else scenario.expand(row["owned"].split())
        guards = tuple(replace(guard, owned=guard.id in owned) for guard in scenario.guards)
        scenario = replace(scenario, guards=guards)
    budget = NO_LIMIT if row["budget"] == "none" else float(row["budget"]) if row["budget"] else None
    return replace(scenario, falls=falls), budget


@pytest.fixture(scope="module")
def bikes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Scenario]:
    """The bikes of the small shop."""
    root = write_shop(tmp_path_factory.mktemp("shop"))
    return {name: guardopt.load(root / name) for name in ("twin", "single")}


def test_every_quote_is_the_plan_of_that_rider(bikes: dict[str, Scenario]) -> None:
    """Kit as good, spend the same, and the same yearly costs and saving to the cent, dislikes and multiples included."""
    riders = frame_of(some_riders(40))
    quotes = guardopt.quote(bikes, riders)
    for (_, rider), (_, said) in zip(riders.iterrows(), quotes.iterrows(), strict=True):
        scenario, budget = rider_alone(bikes, rider)
        try:
            made = guardopt.plan(
                scenario, budget=budget, must=rider["must"].split(), never=rider["never"].split(), reasons=False
            )
        except guardopt.NoKitError:
            assert said["status"] == "no_kit"
            assert "no kit" in said["note"]
            continue
        assert said["status"] == "quoted"
        assert said["spend"] == made.spend
        assert sorted(said["kit"].split()) == sorted(made.kit)
        assert said["buy"].split() == made.buy
        assert said["yearly_cost_bare"] == pytest.approx(made.bare.yearly_cost, abs=0.0051)
        assert said["yearly_cost_now"] == pytest.approx(made.stock.yearly_cost, abs=0.0051)
        assert said["yearly_cost_fitted"] == pytest.approx(made.fitted.yearly_cost, abs=0.0051)
        assert said["saving_over_years"] == pytest.approx(made.saving_over_years, abs=0.0051)


@pytest.mark.parametrize("aim", [Aim.BILLS, Aim.OUTLAY])
@pytest.mark.parametrize("seed", range(5))
def test_a_ladder_is_exhaustive_search_at_every_multiple(seed: int, aim: Aim) -> None:
    """Dislikes and prices stay the same however many falls there are, so each multiple has best kits of its own."""
    scenario = random_scenario(seed, guards=5, own_costs=False)
    rng = np.random.default_rng(seed)
    guards = tuple(replace(guard, dislike=float(rng.integers(0, 80))) for guard in scenario.guards)
    scenario = replace(scenario, guards=guards)
    multiples = (0.05, 0.2, 0.5, 1.0, 1.7, 4.0, 20.0)
    (ladders,) = find_ladders(LadderJob(scenario, ((frozenset(), frozenset(), multiples),), aim))
    assert len(ladders.ladders) > 1
    for row, multiple in enumerate(multiples):
        falls = tuple(replace(fall, per_year=fall.per_year * multiple) for fall in scenario.falls)
        every = price_every_kit(replace(scenario, falls=falls), sample_of(scenario))
        ladder = ladders.ladders[ladders.which[row]]
        for budget in sorted({max(0, spend) for spend in every.spend_cents.tolist()}):
            least = every.least(aim, Limits(budget))
            reached = [rung for rung in ladder if rung.spend_cents <= budget]
            assert least is not None
            measured = multiple * reached[-1].cost + reached[-1].beside
            assert measured == pytest.approx(least, abs=3 * GAP * max(1.0, abs(least)))


def test_a_quote_for_the_outlay_is_the_plan_for_the_outlay(bikes: dict[str, Scenario]) -> None:
    """The same kit or one as good, for riders with every kind of wish."""
    riders = frame_of(some_riders(20, seed=5))
    quotes = guardopt.quote(bikes, riders, aim="outlay")
    for (_, rider), (_, said) in zip(riders.iterrows(), quotes.iterrows(), strict=True):
        if said["status"] != "quoted":
            continue
        scenario, budget = rider_alone(bikes, rider)
        forced = {"must": rider["must"].split(), "never": rider["never"].split()}
        made = guardopt.plan(scenario, budget=budget, aim="outlay", reasons=False, **forced)
        assert said["spend"] == made.spend
        assert said["saving_over_years"] == pytest.approx(made.saving_over_years, abs=0.0051)


def test_a_kit_that_saves_less_than_it_costs_is_noted_and_not_quoted_for_the_outlay(
    make_scenario: Callable[..., Scenario],
) -> None:
    """By hand: a pad of 25 spares 20 a year, a bar of 30 spares 100; whoever counts the price leaves the pad."""
    parts = [Part("tank", "tank", Side.CENTRE, 100.0), Part("seat", "seat", Side.CENTRE, 20.0)]
    guards = [Guard("bar", "bar", Side.CENTRE, 3000), Guard("pad", "pad", Side.CENTRE, 2500)]
    scenario = make_scenario(parts, guards, [Cover(("bar",), "tank", 1.0), Cover(("pad",), "seat", 1.0)])
    riders = pd.DataFrame({"rider": ["a", "b", "c"], "budget": [25, 30, 55]})
    bills = guardopt.quote(scenario, riders)
    assert bills["buy"].tolist() == ["pad", "bar", "bar pad"]
    assert bills["note"].tolist() == ["saves less than it costs", "", "the last 25.00 of it save only 20.00"]
    outlay = guardopt.quote(scenario, riders, aim="outlay")
    assert outlay["buy"].tolist() == ["", "bar", "bar"]
    assert outlay["note"].tolist() == ["", "", ""]
    with pytest.raises(InputError, match="aim: found 'worst', expected one of bills, outlay"):
        guardopt.quote(scenario, riders, aim="worst")


def test_ladders_are_written_and_read_to_the_last_digit(bikes: dict[str, Scenario]) -> None:
    """What a journal keeps of them is all there is to them."""
    (found,) = find_ladders(LadderJob(bikes["twin"], ((frozenset(), frozenset(), (0.3, 1.0)),)))
    assert Ladders.from_json(found.to_json()) == found


@pytest.mark.parametrize("seed", range(12))
def test_many_kits_at_once_cost_what_each_costs_alone(seed: int) -> None:
    """Reduced to items or walked through one by one, falls cost the same, caps and knock-ons included."""
    scenario = random_scenario(seed, guards=6, own_costs=False)
    sample = sample_of(scenario)
    bike = Bike(scenario)
    kits = [frozenset(), *price_every_kit(scenario, sample).kits[1::7]]
    bills = price(bike, sample, kits, errors=False).bills
    expected = np.array([bill.owner_cost + bill.renewals for bill in bills])
    assert mean_costs(bike, sample, kits).of_fall == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_corners_are_where_a_further_euro_begins_to_save_less() -> None:
    """By hand: from 0 to 10 a euro saves 3, to 30 it saves 2, to 40 it saves 0.5; 20 lies above the line."""
    spend, cost = np.array([0.0, 10.0, 20.0, 30.0, 40.0]), np.array([100.0, 70.0, 65.0, 30.0, 25.0])
    assert corners(spend, cost) == [0, 1, 3, 4]
    cheaper, dearer = neighbours(spend.astype(np.int64), cost)
    assert cheaper.tolist() == [-1, 0, 1, 1, 3]
    assert dearer.tolist() == [1, 3, 3, 4, -1]


def test_the_kits_beside_a_quote_cost_less_and_more(bikes: dict[str, Scenario]) -> None:
    """The cheaper one saves less, the dearer one more than the quoted kit on the planning sample, and both say how."""
    quotes = guardopt.quote(
        {"single": bikes["single"]}, pd.DataFrame({"rider": ["a"], "bike": ["single"], "budget": [90]})
    )
    said = quotes.iloc[0]
    assert said["cheaper_spend"] < said["spend"] < said["dearer_spend"]
    assert said["cheaper_change"].startswith("without")
    assert "with " in said["dearer_change"]


def test_more_budget_never_saves_less_and_more_falls_never_cost_less(bikes: dict[str, Scenario]) -> None:
    """On the planning sample, where kits are picked, money only helps, and every multiple scales what is not disliked."""
    scenario = bikes["single"]
    (ladders,) = find_ladders(LadderJob(scenario, ((frozenset(), frozenset(), ()),)))
    costs = [rung.cost for rung in ladders.ladders[0]]
    assert costs == sorted(costs, reverse=True)
    frame = pd.DataFrame({"rider": ["once", "twice"], "times": [1, 2], "budget": [120, 120]})
    once, twice = guardopt.quote(scenario, frame).to_dict("records")
    assert once["kit"] == twice["kit"]
    assert twice["saving_over_years"] == pytest.approx(2 * once["saving_over_years"], abs=0.011)
    assert twice["pays_back_years"] == pytest.approx(once["pays_back_years"] / 2, abs=0.011)


def test_a_row_that_is_wrong_says_all_that_is_wrong_and_the_rest_is_quoted(bikes: dict[str, Scenario]) -> None:
    """Each fault with its row, column, what was found and what was meant; the riders around it get their quotes."""
    lines = [
        "good,twin,town,100,,,,",
        "bad,twin,twon,12 %,0,case_covr,,",
        "lost,tandem,,50,1,,,",
        ",twin,,50,1,,,",
        "clash,twin,,50,x,,radiator_grille radiator_grille,",
        "fine,single,,50,1,,,",
    ]
    quotes = guardopt.quote(bikes, frame_of(lines))
    assert quotes["status"].tolist() == ["quoted", *["wrong_row"] * 4, "quoted"]
    notes = quotes["note"].tolist()
    for part in (
        "row 2, column budget: found '12 %', a percent sign: write 0.12",
        "row 2, column times: found '0', expected a number above 0",
        "column riding: found 'twon', expected a way of riding of riding.csv; did you mean town?",
        "column owned: found 'case_covr', expected a guard of guards.csv; did you mean case_cover?",
    ):
        assert part in notes[1]
    assert "column bike: found 'tandem', expected the folder of a bike; known: twin, single" in notes[2]
    assert "row 4, column rider: nothing found" in notes[3]
    assert "radiator_grille is named twice" in notes[4]


def test_unknown_columns_are_refused_before_anything_else(bikes: dict[str, Scenario]) -> None:
    """A misspelt column would leave every rider without it."""
    with pytest.raises(InputError, match="column budgets: unknown column; did you mean budget"):
        guardopt.quote(bikes, pd.DataFrame({"rider": ["a"], "budgets": [3]}))


def test_nothing_forced_is_left_out_and_no_budget_is_broken(bikes: dict[str, Scenario]) -> None:
    """Of every quote, whoever asks: spend within budget, must in the kit, never out of it."""
    riders = frame_of(some_riders(60, seed=2))
    quotes = guardopt.quote(bikes, riders)
    for (_, rider), (_, said) in zip(riders.iterrows(), quotes.iterrows(), strict=True):
        if said["status"] != "quoted":
            continue
        scenario = bikes[rider["bike"]]
        kit = set(said["kit"].split())
        assert scenario.expand(rider["must"].split()) <= kit
        assert not scenario.expand(rider["never"].split()) & kit
        if said["budget"] != "":
            assert said["spend"] <= float(said["budget"])


def test_chunks_of_any_size_give_the_same_riders(tmp_path: Path, bikes: dict[str, Scenario]) -> None:
    """A book may be cut anywhere; lines are counted through blank rows, quotation marks and line breaks in cells."""
    lines = some_riders(30)
    lines[4] = '"rider, the\nfifth",twin,town,"100",,,,'
    lines.insert(7, "")
    lines.insert(9, "short,twin")
    lines.insert(11, "long,twin,,1,5,,,,,")
    path = write_riders(tmp_path / "riders.csv", lines)
    known: list[tuple[object, ...]] | None = None
    for size in (1, 3, 7, 1000):
        reader = Reader(Shop.of(bikes))
        rows: list[tuple[object, ...]] = []
        for sheet in read_sheets(path, size):
            read = reader.read(sheet)
            for row in range(len(read.wish)):
                wish = None if read.wish[row] < 0 else reader.wishes[read.wish[row]]
                rows.append(
                    (sheet.place(row), sheet.cells["rider"][row], wish, read.budget_cents[row], read.times[row])
                )
        known = known or rows
        assert [repr(row) for row in rows] == [repr(row) for row in known]
    assert known is not None
    places = [row[0] for row in known]
    assert [str(place) for place in places[4:7]] == ["riders.csv, line 6", "riders.csv, line 8", "riders.csv, line 9"]
    assert [row[1] for row in known if row[2] is None] == ["rider, the\nfifth", "long"]


def test_a_table_for_spreadsheets_is_read(tmp_path: Path, bikes: dict[str, Scenario]) -> None:
    """Semicolons, a byte-order mark, blanks around cells, columns in any order."""
    path = tmp_path / "riders.csv"
    path.write_bytes("\ufeffbudget; rider ;bike\r\n 100;anna; twin\r\n;bert;single\r\n".encode())
    reader = Reader(Shop.of(bikes))
    (sheet,) = read_sheets(path)
    read = reader.read(sheet)
    assert read.problems == {}
    assert read.budget_cents.tolist() == [10_000, bikes["single"].budget_cents]
    assert reader.wishes[0] == Wish("twin", None, bikes["twin"].stock, frozenset(), frozenset())


def test_ways_of_riding_are_checked_like_every_table(tmp_path: Path) -> None:
    """All at once: an unknown fall, a rate below 0, a name twice, a name missing."""
    wrong = "riding,tip_over,low_sied\ntown,-1,\ntown,1,\n,2,\nin town,1,\n"
    with pytest.raises(InputError) as caught:
        guardopt.load(write_folder(tmp_path / "wrong", riding=wrong))
    assert [str(problem) for problem in caught.value.problems] == [
        "riding.csv, line 1, column low_sied: unknown column; did you mean low_side?",
        "riding.csv, line 2, column tip_over: found '-1', expected a number of at least 0",
        "riding.csv, line 3, column riding: found 'town' again, first in riding.csv, line 2",
        "riding.csv, line 4, column riding: nothing found, expected a name for this way of riding",
        "riding.csv, line 5, column riding: found 'in town', expected an id of letters, digits, _ and -",
    ]


def test_a_blank_rate_is_that_of_the_scenario_and_what_ifs_reach_every_cell(tmp_path: Path) -> None:
    """``riding.NAME.FALL`` is an address like the others."""
    folder = write_folder(tmp_path / "twin", riding=RIDING)
    assert guardopt.load(folder).ridings["town"] == (1.2, 0.2)
    assert guardopt.load(folder, {"riding.town.low_side": 0.9}).ridings["town"] == (1.2, 0.9)
