"""Prices are whole cents, wear is the share of a renewal, blank cells are defaults."""

from decimal import Decimal
from pathlib import Path

import pytest
from folders import edited, write_folder
from hypothesis import given
from hypothesis import strategies as st

from guardopt.loading.load import load
from guardopt.model.pieces import in_cents


@pytest.mark.parametrize(
    ("written", "whole"), [("0.005", 1), ("0.004", 0), ("1.005", 101), ("2.675", 268), ("19.99", 1999), ("1e2", 10000)]
)
def test_halves_of_a_cent_are_rounded_up_as_written(written: str, whole: int) -> None:
    """1.005 is a little less in binary, but the rider wrote 1.005."""
    assert in_cents(Decimal(written)) == whole


@given(st.integers(0, 10**12))
def test_an_amount_in_whole_cents_is_kept_to_the_cent(whole: int) -> None:
    """Reading never changes an amount that a shop could charge."""
    assert in_cents(Decimal(f"{whole // 100}.{whole % 100:02d}")) == whole


def test_fitting_is_hours_times_the_rate_in_whole_cents(tmp_path: Path) -> None:
    """1.5 hours at 33.33 come to 49.995, so 50.00."""
    scenario = load(write_folder(tmp_path, **edited("scenario", "[labour]\n", "[labour]\nfitting_rate = 33.33\n")))
    assert scenario.guard["crash_bar"].fit_cents == 5000


def test_guards_fitted_at_home_cost_no_labour(tmp_path: Path) -> None:
    """Without a fitting rate the hours are free."""
    assert {guard.fit_cents for guard in load(write_folder(tmp_path)).guards} == {0}


@pytest.mark.parametrize(
    ("cells", "wear"),
    [(",4,40,", 10.0), (",4,,", 15.0), (",,,", 0.0), (",4,0,", 0.0), (",0.5,40,", 80.0)],
)
def test_wear_in_a_fall_is_the_share_of_a_renewal(cells: str, wear: float, tmp_path: Path) -> None:
    """A guard of 60 that takes four falls loses 15 in each unless renewing it has a price of its own."""
    scenario = load(write_folder(tmp_path, **edited("guards", "60,0.5,,4,40,", f"60,0.5,{cells}")))
    assert scenario.guard["case_cover"].wear_per_fall == wear


def test_blank_cells_take_the_defaults(tmp_path: Path) -> None:
    """What a rider does not fill in costs nothing, weighs nothing, never wears and goes with everything."""
    scenario = load(write_folder(tmp_path, **edited("guards", "180,1.5,engine,,,,,no,4,20,0.3", "180")))
    guard = scenario.guard["crash_bar"]
    assert guard.slot is None
    assert guard.needs == ()
    assert guard.not_with == frozenset()
    assert not guard.owned
    assert (guard.fit_cents, guard.wear_per_fall, guard.weight_kg, guard.dislike, guard.resale_share) == (0, 0, 0, 0, 0)
    fall = scenario.falls[1]
    assert (fall.left_share, fall.correlation) == (0.5, 0.5)
    part = scenario.parts[3]
    assert (part.break_chance, part.touch_up, part.strip_down, part.x, part.y) == (1.0, 0.0, None, None, None)


def test_an_owned_guard_is_on_the_bike_as_it_stands(tmp_path: Path) -> None:
    """What the owner has costs nothing more."""
    scenario = load(write_folder(tmp_path, **edited("guards", ",no,", ",yes,")))
    assert scenario.stock == {"crash_bar"}
    assert scenario.spend_cents(scenario.stock) == 0


def test_owned_guards_that_need_and_suit_each_other_are_sound(tmp_path: Path) -> None:
    """A bar and a cover bolted to it can both be on the bike already."""
    guards = {
        name: text.replace(",no,", ",yes,")
        for name, text in edited("guards", "4,40,,,,", "4,40,crash_bar,,yes,").items()
    }
    assert load(write_folder(tmp_path, **guards)).stock == {"crash_bar", "case_cover"}


def test_a_cover_for_all_falls_and_one_for_one_kind_are_two_chances(tmp_path: Path) -> None:
    """A second row for low-sides is not a repeat of the row for all falls."""
    extra = edited("covers", "lever_guard,lever,0.7,\n", "lever_guard,lever,0.7,\nlever_guard,lever,0.2,low_side\n")
    covers = load(write_folder(tmp_path, **extra)).covers
    assert [cover.fall for cover in covers if cover.part == "lever.left"] == [None, "low_side"]
