"""Rows for both sides become two parts or guards, and sided things meet only on their own side."""

from pathlib import Path

import pytest
from folders import SMALL_TWIN, edited, write_folder

from guardopt.loading.load import load
from guardopt.model.pieces import Cover, Guard, KnockOn, Side
from guardopt.model.scenario import Scenario

GUARD_COLUMNS = "guard,side,price,needs,not_with,slot\n"


def with_guards(folder: Path, guards: str, covers: str = "bar,lever,0.5\n") -> Scenario:
    """Load the tiny scenario with other guards and covers."""
    return load(write_folder(folder, guards=GUARD_COLUMNS + guards, covers="guard,part,holds\n" + covers, offers=None))


def needs_of(scenario: Scenario, guard: str) -> tuple[frozenset[str], ...]:
    """The sets of alternatives that a guard needs one each of."""
    return scenario.guard[guard].needs


def test_a_part_on_both_sides_is_two_parts(tmp_path: Path) -> None:
    """The bike has a left and a right lever, each at the price in the row."""
    parts = {part.id: part for part in load(write_folder(tmp_path)).parts}
    assert list(parts) == ["lever.left", "lever.right", "engine_case", "radiator", "tank"]
    assert parts["lever.right"].side is Side.RIGHT
    assert parts["lever.left"].price == parts["lever.right"].price == 30.0
    assert parts["lever.left"].row == "lever"


def test_a_guard_for_both_sides_is_sold_singly_and_a_pair_is_one_purchase(tmp_path: Path) -> None:
    """Two lever guards at 25 each against one pair of crash bars at 180."""
    guards = load(write_folder(tmp_path)).guard
    assert guards["lever_guard.left"].price_cents == guards["lever_guard.right"].price_cents == 2500
    assert guards["crash_bar"].side is Side.PAIR
    assert guards["crash_bar"].price_cents == 18000


def test_a_sided_guard_covers_its_own_side_and_the_centre(tmp_path: Path) -> None:
    """The left one spares the left lever always, and the tank only if the left side is struck."""
    covers = with_guards(tmp_path, "bar,both,10,,,\n", "bar,lever,0.5\nbar,tank,0.4\n").covers
    assert covers == (
        Cover(("bar.left",), "lever.left", 0.5, None, Side.LEFT),
        Cover(("bar.right",), "lever.right", 0.5, None, Side.RIGHT),
        Cover(("bar.left",), "tank", 0.4, None, Side.LEFT),
        Cover(("bar.right",), "tank", 0.4, None, Side.RIGHT),
    )


@pytest.mark.parametrize("side", ["pair", "centre"])
def test_pairs_and_centre_guards_cover_every_side_in_every_fall(side: str, tmp_path: Path) -> None:
    """No side has to be struck for them to serve."""
    covers = with_guards(tmp_path, f"bar,{side},10,,,\n").covers
    assert [(cover.part, cover.side) for cover in covers] == [("lever.left", None), ("lever.right", None)]


def test_an_id_with_a_suffix_means_exactly_that_side(tmp_path: Path) -> None:
    """A row for lever.left says nothing about the right lever."""
    covers = with_guards(tmp_path, "bar,pair,10,,,\n", "bar,lever.left,0.5\n").covers
    assert [cover.part for cover in covers] == ["lever.left"]


def test_guards_that_only_work_together_are_matched_by_side(tmp_path: Path) -> None:
    """A left slider works with the left bobbin or with a pair of bars, never with the right bobbin."""
    guards = "slider,both,10,,,\nbobbin,both,5,,,\nbar,pair,50,,,\n"
    covers = with_guards(tmp_path, guards, "slider + bobbin,lever,0.5\nslider+bar,tank,0.4\n").covers
    assert [(cover.guards, cover.part, cover.side) for cover in covers] == [
        (("slider.left", "bobbin.left"), "lever.left", Side.LEFT),
        (("slider.right", "bobbin.right"), "lever.right", Side.RIGHT),
        (("slider.left", "bar"), "tank", Side.LEFT),
        (("slider.right", "bar"), "tank", Side.RIGHT),
    ]


def test_a_sided_guard_needs_the_one_of_its_side(tmp_path: Path) -> None:
    """The left slider needs the left mount; a slider that needs a pair of bars is content with the pair."""
    scenario = with_guards(
        tmp_path, "slider,both,10,mount bar,,\nmount,both,5,,,\nbar,pair,50,,,\n", "slider,lever,0.5\n"
    )
    assert needs_of(scenario, "slider.left") == (frozenset({"mount.left"}), frozenset({"bar"}))
    assert needs_of(scenario, "slider.right") == (frozenset({"mount.right"}), frozenset({"bar"}))


@pytest.mark.parametrize("side", ["pair", "centre"])
def test_a_pair_or_centre_guard_that_needs_a_sided_one_is_content_with_either(side: str, tmp_path: Path) -> None:
    """One of the two mounts will do."""
    scenario = with_guards(tmp_path, f"bar,{side},50,mount,,\nmount,both,5,,,\n")
    assert needs_of(scenario, "bar") == (frozenset({"mount.left", "mount.right"}),)


@pytest.mark.parametrize("side", ["pair", "centre"])
def test_a_pair_or_centre_guard_that_cannot_go_with_a_sided_one_goes_with_neither(side: str, tmp_path: Path) -> None:
    """A bar in the way of the sliders is in the way on both sides, whichever row says so."""
    scenario = with_guards(tmp_path, f"bar,{side},50,,slider,\nslider,both,5,,,\n", "bar,lever,0.5\nslider,lever,0.4\n")
    assert scenario.guard["bar"].not_with == {"slider.left", "slider.right"}


def test_a_sided_guard_that_cannot_go_with_another_goes_with_that_of_the_other_side(tmp_path: Path) -> None:
    """A left slider is not in the way of the right bobbin."""
    scenario = with_guards(
        tmp_path, "slider,both,10,,bobbin,\nbobbin,both,5,,,\n", "slider,lever,0.5\nbobbin,lever,0.4\n"
    )
    assert scenario.guard["slider.left"].not_with == {"bobbin.left"}
    assert scenario.guard["slider.right"].not_with == {"bobbin.right"}


def test_a_pair_fills_both_sides_of_its_slot(tmp_path: Path) -> None:
    """With crash bars in the slot there is room for neither slider; the two sliders have a side each."""
    scenario = with_guards(
        tmp_path, "bar,pair,50,,,engine\nslider,both,5,,,engine\n", "bar,lever,0.5\nslider,lever,0.4\n"
    )
    bar, left, right = (scenario.guard[name] for name in ("bar", "slider.left", "slider.right"))
    assert Scenario.exclude_each_other(bar, left)
    assert Scenario.exclude_each_other(bar, right)
    assert not Scenario.exclude_each_other(left, right)


@pytest.mark.parametrize(
    ("row", "pairs"),
    [
        ("lever,peg", [("lever.left", "peg.left"), ("lever.right", "peg.right")]),
        ("lever,tank", [("lever.left", "tank"), ("lever.right", "tank")]),
        ("tank,lever", [("tank", "lever.left"), ("tank", "lever.right")]),
        ("lever,engine_case", [("lever.left", "engine_case")]),
        ("lever.right,peg", [("lever.right", "peg.right")]),
        ("lever.right,peg.left", [("lever.right", "peg.left")]),
        ("lever.right,engine_case", [("lever.right", "engine_case")]),
        ("lever.left,lever.right", [("lever.left", "lever.right")]),
    ],
)
def test_a_knock_on_stays_on_its_side_unless_both_parts_are_named_exactly(
    row: str, pairs: list[tuple[str, str]], tmp_path: Path
) -> None:
    """A broken lever strikes the peg below it; across the bike it strikes only what is named."""
    scenario = load(
        write_folder(
            tmp_path,
            **edited("parts", "tank,centre", "peg,both,40,0.3,,,\ntank,centre"),
            **edited("hits", "tank,", "peg,0.1,0.2\ntank,"),
            knock_on=f"part,takes,chance\n{row},0.3\n",
        )
    )
    assert scenario.knock_ons == tuple(KnockOn(part, takes, 0.3) for part, takes in pairs)


def test_a_chance_holds_for_both_sides_or_for_each_apart(tmp_path: Path) -> None:
    """One row for the lever, or one for each lever."""
    hits = load(write_folder(tmp_path / "one")).hits
    assert hits["tip_over", "lever.left"] == hits["tip_over", "lever.right"] == 0.5
    split = edited("hits", "lever,0.5,0.8\n", "lever.left,0.4,0.7\nlever.right,0.1,0.2\n")
    hits = load(write_folder(tmp_path / "two", **split)).hits
    assert (hits["tip_over", "lever.left"], hits["low_side", "lever.right"]) == (0.4, 0.2)


def test_an_offer_of_a_guard_for_both_sides_is_of_the_two(tmp_path: Path) -> None:
    """The shop sells them as a set."""
    offers = SMALL_TWIN["offers"] + "hands,lever_guard,40\n"
    assert load(write_folder(tmp_path, offers=offers)).offers[1].guards == {"lever_guard.left", "lever_guard.right"}


def test_a_guard_without_a_side_in_its_id_keeps_the_id_of_its_row(tmp_path: Path) -> None:
    """Only rows for both sides get suffixes."""
    guard = load(write_folder(tmp_path)).guard["case_cover"]
    assert isinstance(guard, Guard)
    assert (guard.id, guard.row, guard.side) == ("case_cover", "case_cover", Side.LEFT)
