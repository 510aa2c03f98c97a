"""Ready-made kits are chosen as exhaustive search would, and as published p-median problems are solved."""

from __future__ import annotations

import csv
from itertools import combinations, pairwise, product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from shops import some_riders, write_riders, write_shop
from test_quotes import frame_of

import guardopt
from guardopt.arrays import Floats
from guardopt.cli.commands import main
from guardopt.errors import InputError
from guardopt.model.pieces import Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.p_median import MedianProgram, best_kept, choose_with_stock
from guardopt.shop.assortment import kits
from guardopt.shop.assortment_result import ReadyKits
from guardopt.shop.candidate_kits import NONE, Box, fitted_with
from guardopt.shop.shop import Wish

STORES = Path(__file__).parents[1] / "published" / "san_francisco_stores.csv"


def gains_of(seed: int, classes: int = 9, boxes: int = 8) -> tuple[Floats, Floats]:
    """A random table of gains, with many zeros and some ties, and weights."""
    rng = np.random.default_rng(seed)
    gains = rng.integers(0, 12, (classes, boxes)) * rng.integers(0, 2, (classes, boxes)) * 1.5
    return gains.astype(float), rng.integers(1, 30, classes).astype(float)


def exhaustive(gains: Floats, weight: Floats, count: int) -> float:
    """The most that any choice of so many boxes gains."""
    choices = combinations(range(gains.shape[1]), min(count, gains.shape[1]))
    return max(float(weight @ best_kept(gains, choice)) for choice in choices)


@pytest.mark.parametrize("seed", range(12))
def test_a_choice_is_what_trying_every_choice_finds(seed: int) -> None:
    """For every number of kits, one program answering for one after the other, proven each time."""
    gains, weight = gains_of(seed)
    program = MedianProgram(gains, weight)
    for count in (1, 2, 3, 5, 8, 20):
        choice = program.choose(count)
        assert choice.value == pytest.approx(exhaustive(gains, weight, count), rel=1e-9)
        assert choice.value == pytest.approx(float(weight @ best_kept(gains, choice.kept)), rel=1e-12)
        assert choice.proven
        assert len(choice.kept) <= count


@given(st.integers(0, 10_000))
def test_more_kits_never_save_less_and_each_further_one_is_bounded_by_the_first(seed: int) -> None:
    """Savings rise with the number of kits; no choice gains more than a kit for every class."""
    gains, weight = gains_of(seed, 6, 6)
    program = MedianProgram(gains, weight)
    values = [program.choose(count).value for count in range(1, 7)]
    assert all(more >= less - 1e-9 for less, more in pairwise(values))
    assert values[-1] == pytest.approx(float(weight @ gains.max(axis=1)))


def test_published_p_median_of_san_francisco_stores() -> None:
    """Four of 16 sites for 205 census tracts: mean distance 2982.1268579890657 m.

    Distances, populations and that value are from spopt 0.7.0 (PySAL, BSD 3-clause), tests/test_locate: data/SF_*.csv
    and test_p_median.py, test_mixin_mean_distance. Distances are kept to 0.1 m here.
    """
    table = np.loadtxt(STORES, delimiter=",", skiprows=1)
    population, distance = table[:, 0], table[:, 1:]
    farthest = distance.max()
    choice = MedianProgram(farthest - distance, population).choose(4)
    assert choice.proven
    mean = farthest - choice.value / population.sum()
    assert mean == pytest.approx(2982.1268579890657, abs=0.05)
    assert distance[:, choice.kept].min(axis=1) @ population / population.sum() == pytest.approx(mean)


def test_published_coverage_of_san_francisco_stores() -> None:
    """Within 5 km, four sites leave 21 tracts uncovered: the same program with gains of all or nothing.

    Source: spopt 0.7.0, tests/test_locate/test_mclp.py, as reproduced by enumeration (875,247 people).
    """
    table = np.loadtxt(STORES, delimiter=",", skiprows=1)
    population, near = table[:, 0], table[:, 1:] <= 5000.0
    choice = MedianProgram(near.astype(float), population).choose(4)
    assert choice.value == pytest.approx(875_247)
    assert int((~near[:, choice.kept].any(axis=1)).sum()) == 21


@pytest.mark.parametrize("seed", range(6))
def test_enough_of_every_guard_is_as_good_as_no_limit(seed: int) -> None:
    """The program that assigns riders one by one and the one that lets each take the best agree."""
    gains, weight = gains_of(seed, 6, 5)
    riders = weight.astype(np.int64)
    uses = np.ones((1, 5), dtype=np.int64)
    for count in (1, 2, 4):
        found = choose_with_stock(gains, riders, count, uses, np.array([10_000]))
        assert found.value == pytest.approx(MedianProgram(gains, weight).choose(count).value)


@pytest.mark.parametrize("seed", range(10))
def test_handing_out_scarce_guards_is_what_trying_every_way_finds(seed: int) -> None:
    """Five riders in three classes, three boxes, two scarce guards, at most two boxes: every assignment is tried."""
    rng = np.random.default_rng(seed)
    riders = np.array([2, 1, 2])
    gains = rng.integers(0, 30, (3, 3)).astype(float)
    uses, stock = rng.integers(0, 3, (2, 3)), rng.integers(0, 5, 2)
    one_by_one = np.append(gains, np.zeros((3, 1)), axis=1)[np.repeat(np.arange(3), riders)]
    taken = np.append(uses, np.zeros((2, 1), dtype=np.int64), axis=1)
    best = 0.0
    for boxes in product(range(4), repeat=5):
        if len({*boxes} - {3}) <= 2 and (taken[:, list(boxes)].sum(axis=1) <= stock).all():
            best = max(best, float(one_by_one[np.arange(5), list(boxes)].sum()))
    found = choose_with_stock(gains, riders, 2, uses, stock)
    assert found.proven
    assert found.value == pytest.approx(best)


def test_scarce_guards_go_where_they_save_most() -> None:
    """By hand: two boxes of one scarce guard for three riders who gain 9, 7 and 4; the third takes the box without it."""
    gains = np.array([[9.0, 1.0], [7.0, 1.0], [4.0, 3.0]])
    uses = np.array([[1, 0]])
    found = choose_with_stock(gains, np.array([1, 1, 1]), 2, uses, np.array([2]))
    assert found.value == pytest.approx(19.0)
    assert found.handed_out is not None
    assert found.handed_out.tolist() == [[1, 0], [1, 0], [0, 1]]
    one = choose_with_stock(gains, np.array([1, 1, 1]), 1, uses, np.array([2]))
    assert one.value == pytest.approx(16.0)


@pytest.fixture(scope="module")
def bikes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Scenario]:
    """The bikes of the small shop."""
    root = write_shop(tmp_path_factory.mktemp("shop"))
    return {name: guardopt.load(root / name) for name in ("twin", "single")}


@pytest.fixture(scope="module")
def riders() -> pd.DataFrame:
    """Thirty riders of both bikes."""
    return frame_of(some_riders(30, seed=3))


@pytest.fixture(scope="module")
def chosen(bikes: dict[str, Scenario], riders: pd.DataFrame) -> ReadyKits:
    """Three kits for them."""
    return kits(bikes, riders, 3)


def test_kits_are_proven_and_add_up_rider_by_rider(chosen: ReadyKits, riders: pd.DataFrame) -> None:
    """Value meets bound, and the riders' own savings come to it."""
    said = chosen.to_json()
    assert said["status"] == "optimal"
    assert said["saving_over_years"] == pytest.approx(float(chosen.saving.sum()))
    assert said["saving_over_years"] == pytest.approx(sum(kit["saving_over_years"] for kit in said["kits"]))
    assert sum(kit["riders"] for kit in said["kits"]) + said["without"] == len(riders)
    assert [one["kits"] for one in said["curve"]] == [1, 2, 3]
    assert len(said["kits"]) <= 3


def test_no_rider_does_better_with_a_ready_made_kit_than_with_one_made_to_measure(chosen: ReadyKits) -> None:
    """Nor does anybody do worse than with no kit; so the share caught is between nothing and all."""
    assert (chosen.saving <= chosen.tailor_made + 1e-5).all()
    assert (chosen.saving >= 0.0).all()
    shares = [one["share"] for one in chosen.to_json()["curve"]]
    assert 0.0 < shares[0] <= shares[1] <= shares[2] <= 1.0 + 1e-9


def test_each_rider_gets_the_best_of_the_kits_within_budget(
    chosen: ReadyKits, bikes: dict[str, Scenario], riders: pd.DataFrame
) -> None:
    """A kit is for the rider's bike, costs no more than the budget and has what is forced in once it is on."""
    budgets = guardopt.quote(bikes, riders)["budget"]
    for row, (_, rider) in enumerate(riders.iterrows()):
        number = int(chosen.taken[row])
        if number == NONE:
            continue
        box = chosen.boxes[number]
        assert box.bike == rider["bike"]
        assert budgets[row] == "" or box.price_cents <= round(float(budgets[row]) * 100)
        assert not bikes[box.bike].expand(rider["never"].split()) & set(box.guards)


def test_as_many_kits_as_riders_want_catch_all_that_owners_of_nothing_could_save(bikes: dict[str, Scenario]) -> None:
    """Riders with no guards of their own, and a box for each: ready-made is made to measure."""
    frame = pd.DataFrame(
        {"rider": list("abcd"), "budget": [60, 120, 200, 300], "riding": ["town", "", "trail", "town"]}
    )
    found = kits(bikes["single"], frame, 4)
    assert found.choice.value == pytest.approx(found.tailor_made_saving, rel=1e-6)


def test_for_the_outlay_a_kit_goes_only_to_those_whom_it_pays(bikes: dict[str, Scenario], riders: pd.DataFrame) -> None:
    """What a rider gains is what is left once the kit is paid; no choice of kits leaves more."""
    bills, outlay = kits(bikes, riders, 2), kits(bikes, riders, 2, aim="outlay")
    assert bills.loses.sum() > outlay.loses.sum()
    assert (outlay.saving >= 0.0).all()
    assert outlay.choice.proven
    paid = np.array([0.0 if number == NONE else bills.boxes[number].laid_out for number in bills.taken])
    assert outlay.choice.value >= float(np.maximum(bills.saving - paid, 0.0).sum()) - 1e-6
    assert (outlay.saving <= outlay.tailor_made + 1e-5).all()
    with pytest.raises(InputError, match="aim: found 'worst'"):
        kits(bikes, riders, 2, aim="worst")


def test_a_box_is_sold_whole_and_what_the_rider_has_stays_on_where_it_fits() -> None:
    """An owned slider comes off for the bar in its slot, and what needed the slider with it; an owned grille stays on.

    A rider who wants the grille off has it taken off, as a plan does.
    """
    scenario_of = {
        "slider": Guard("slider", "slider", Side.CENTRE, 1000, slot="side"),
        "tip": Guard("tip", "tip", Side.CENTRE, 500, needs=(frozenset({"slider"}),)),
        "grille": Guard("grille", "grille", Side.CENTRE, 700),
        "bar": Guard("bar", "bar", Side.CENTRE, 9000, slot="side"),
    }
    scenario = Scenario(
        title="test (invented)",
        currency="EUR",
        value=1000.0,
        salvage=0.0,
        years=1.0,
        discount_rate=0.0,
        budget_cents=None,
        max_weight_kg=None,
        repair_rate=0.0,
        insurance=None,
        strip_down={},
        falls_sampled=1,
        seed=1,
        parts=(Part("tank", "tank", Side.CENTRE, 100.0),),
        falls=(),
        hits={},
        knock_ons=(),
        guards=tuple(scenario_of.values()),
        covers=(),
    )
    none = frozenset[str]()
    owner = Wish("", None, frozenset({"slider", "tip", "grille"}), none, none)
    assert fitted_with(scenario, frozenset({"bar"}), owner) == {"bar", "grille"}
    assert fitted_with(scenario, frozenset({"bar"}), owner._replace(must=frozenset({"tip"}))) is None
    assert fitted_with(scenario, frozenset({"bar"}), owner._replace(never=frozenset({"grille"}))) == {"bar"}
    assert fitted_with(scenario, frozenset({"bar"}), owner._replace(never=frozenset({"bar"}))) is None


def test_stock_is_kept(bikes: dict[str, Scenario], riders: pd.DataFrame) -> None:
    """No more bars are handed out than there are, and scarcity never saves more."""
    free = kits(bikes, riders, 2)
    scarce = kits(bikes, riders, 2, on_shelf={"twin/lever_guard": 3, "single/radiator_grille": 4})
    assert scarce.choice.value <= free.choice.value + 1e-6

    def handed_out(bike: str, row: str) -> int:
        return sum(
            sum(name.partition(".")[0] == row for name in scarce.boxes[number].guards)
            for number in scarce.taken.tolist()
            if number != NONE and scarce.boxes[number].bike == bike
        )

    assert handed_out("twin", "lever_guard") <= 3
    assert handed_out("single", "radiator_grille") <= 4


def test_unknown_guards_and_odd_numbers_are_refused(bikes: dict[str, Scenario], riders: pd.DataFrame) -> None:
    """A limit on a guard that is not there would be no limit."""
    with pytest.raises(InputError, match="did you mean twin/crash_bar"):
        kits(bikes, riders, 2, on_shelf={"twin/crash_bars": 3})
    with pytest.raises(InputError, match="expected at least 1"):
        kits(bikes, riders, 0)


def test_the_list_of_who_gets_which_has_a_line_for_every_rider(tmp_path: Path) -> None:
    """Written whole beside what is printed; an existing file is left alone."""
    root = write_shop(tmp_path / "shop")
    book = write_riders(root / "riders.csv", [*some_riders(12), "slip,twin,,1,,,nothing,"])
    out = tmp_path / "who.csv"
    command = ["kits", str(root), str(book), "--count", "2", "-o", str(out), "--falls", "50"]
    assert CliRunner().invoke(main, command).exit_code == 0
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 13
    assert {row["kit"] for row in rows} <= {"", "1", "2"}
    assert all((row["kit"] == "") == (row["price"] == "") for row in rows)
    assert rows[-1]["kit"] == ""
    assert isinstance(CliRunner().invoke(main, command).exception, InputError)
    assert {path.name for path in tmp_path.iterdir()} == {"shop", "who.csv"}


def test_a_box_costs_what_its_guards_cost_with_offers_taken(chosen: ReadyKits, bikes: dict[str, Scenario]) -> None:
    """Whoever buys it; what a buyer has already takes nothing off."""
    for box in chosen.boxes:
        assert isinstance(box, Box)
        assert box.price_cents == bikes[box.bike].spend_cents(box.guards)
