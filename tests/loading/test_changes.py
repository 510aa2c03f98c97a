"""A what-if changes single cells before the scenario is checked, and is checked like any other cell."""

from pathlib import Path

import pytest
from folders import SMALL_TWIN, edited, write_folder

from guardopt.errors import InputError
from guardopt.loading.load import load, parse_change
from guardopt.model.scenario import Scenario

INSURED = edited("scenario", "[sampling]", "[insurance]\nexcess = 500\n\n[sampling]")


@pytest.mark.parametrize(
    ("address", "value", "edit"),
    [
        ("scenario.title", "Another", ("scenario", "Small twin (invented)", "Another")),
        ("scenario.owner.years", 5, ("scenario", "years = 3.0", "years = 5.0")),
        ("scenario.owner.years", "5", ("scenario", "years = 3.0", "years = 5.0")),
        ("scenario.bike.value", 4100.5, ("scenario", "value = 4000.0", "value = 4100.5")),
        ("scenario.owner.budget", "", ("scenario", "budget = 300.0\n", "")),
        ("scenario.owner.budget", None, ("scenario", "budget = 300.0\n", "")),
        ("scenario.owner.max_weight_kg", 6, ("scenario", "budget = 300.0\n", "budget = 300.0\nmax_weight_kg = 6\n")),
        ("scenario.insurance.excess", 500, ("scenario", "[sampling]", "[insurance]\nexcess = 500\n[sampling]")),
        ("scenario.strip_down.left_fairing", "1.5", ("scenario", "left_fairing = 0.8", "left_fairing = 1.5")),
        ("scenario.sampling.seed", "7", ("scenario", "seed = 1", "seed = 7")),
        ("falls.low_side.per_year", "0.8", ("falls", "0.2,,", "0.8,,")),
        ("falls.tip_over.left_share", "", ("falls", "0.6,0.6,", "0.6,,")),
        ("parts.lever.price", 31, ("parts", "both,30", "both,31")),
        ("parts.tank.side", "left", ("parts", "tank,centre", "tank,left")),
        ("hits.lever.low_side", 0.9, ("hits", "0.5,0.8", "0.5,0.9")),
        ("guards.crash_bar.owned", "yes", ("guards", ",no,", ",yes,")),
        ("guards.crash_bar.owned", True, ("guards", ",no,", ",yes,")),
        ("guards.case_cover.needs", "crash_bar", ("guards", "4,40,,,,", "4,40,crash_bar,,,")),
        ("offers.engine_set.price", "199.50", ("offers", "210", "199.50")),
        ("knock_on.radiator.chance", 0.4, ("knock_on", "0.1", "0.4")),
        ("knock_on.radiator.tank.chance", 0.4, ("knock_on", "0.1", "0.4")),
        ("covers.lever_guard.holds", 0.9, ("covers", "lever,0.7", "lever,0.9")),
        ("covers.crash_bar.tank.holds", 0.9, ("covers", "tank,0.5", "tank,0.9")),
        ("covers.crash_bar.tank.low_side.holds", 0.9, ("covers", "tank,0.5", "tank,0.9")),
        ("covers.crash_bar.tank.fall", "", ("covers", "low_side", "")),
        ("covers.crash_bar+case_cover.holds", 0.9, ("covers", "engine_case,0.5", "engine_case,0.9")),
        ("covers.crash_bar + case_cover.engine_case.holds", 0.9, ("covers", "engine_case,0.5", "engine_case,0.9")),
    ],
)
def test_a_what_if_is_the_same_as_editing_the_file(
    address: str, value: object, edit: tuple[str, str, str], tmp_path: Path
) -> None:
    """Nobody has to copy a folder to ask what if; numbers may be given as text or as numbers."""
    changed = load(write_folder(tmp_path / "plain"), {address: value})
    assert changed == load(write_folder(tmp_path / "edited", **edited(*edit)))


def test_an_address_may_stop_at_the_guard_and_then_means_all_its_covers(tmp_path: Path) -> None:
    """One doubt about how well the bars hold is one what-if."""
    covers = load(write_folder(tmp_path), {"covers.crash_bar.holds": 0.25}).covers
    assert [(cover.part, cover.holds) for cover in covers if cover.guards == ("crash_bar",)] == [
        ("engine_case", 0.25),
        ("tank", 0.25),
    ]


def test_several_what_ifs_are_all_applied(tmp_path: Path) -> None:
    """Two questions at a time make one scenario."""
    scenario = load(write_folder(tmp_path), {"scenario.owner.years": 1, "parts.tank.price": 1})
    assert (scenario.years, scenario.parts[-1].price) == (1.0, 1.0)


def test_a_column_left_out_of_the_file_can_be_set(tmp_path: Path) -> None:
    """Default columns need not be in the file to be asked about."""
    folder = write_folder(
        tmp_path,
        offers=None,
        guards="guard,side,price\ncrash_bar,pair,180\n",
        covers="guard,part,holds\ncrash_bar,tank,1\n",
    )
    assert load(folder, {"guards.crash_bar.owned": "yes"}).stock == {"crash_bar"}


def test_blanking_the_excess_cancels_the_insurance(tmp_path: Path) -> None:
    """An owner may ask what dropping the policy would change."""
    folder = write_folder(tmp_path, **INSURED)
    insured: Scenario = load(folder)
    assert insured.insurance is not None
    assert load(folder, {"scenario.insurance.excess": ""}).insurance is None


def test_the_files_are_left_as_they_are(tmp_path: Path) -> None:
    """A what-if is a question, not an edit."""
    folder = write_folder(tmp_path)
    load(folder, {"parts.lever.price": 99})
    assert (folder / "parts.csv").read_text() == SMALL_TWIN["parts"]


@pytest.mark.parametrize(
    ("address", "value", "problem"),
    [
        ("falls.low_side.per_year", -1, "found '-1', expected a number of at least 0"),
        ("scenario.owner.years", "5,5", "found '5,5', a decimal comma: write 5.5"),
        ("hits.lever.low_side", 40, "found '40', expected a chance from 0 to 1 (a chance is written 0.40, not 40)"),
        ("parts.lever.price", "", "nothing found, expected a number of at least 0"),
        ("scenario.title", "", "nothing found, expected one line of text"),
        (
            "guards.crash_bar.needs",
            "lever_gard",
            "found 'lever_gard', expected a guard of guards.csv; did you mean lever_guard?",
        ),
        ("fals.low_side.per_year", 1, "unknown file 'fals'; did you mean falls?"),
        ("owner.years", 8, "unknown file 'owner'; did you mean scenario.owner.years?"),
        ("falls.lowside.per_year", 1, "no row 'lowside' in falls.csv; did you mean low_side?"),
        ("falls.low_side.peryear", 1, "unknown column 'peryear'; did you mean per_year?"),
        ("hits.lever.lowside", 1, "unknown column 'lowside'; did you mean low_side?"),
        ("covers.crashbar.holds", 1, "no row 'crashbar' in covers.csv; did you mean crash_bar?"),
        ("covers.crash_bar.lever.holds", 1, "no row 'crash_bar.lever' in covers.csv; did you mean crash_bar?"),
        ("scenario.owner.yeers", 1, "unknown key; did you mean years?"),
        ("scenario.ower.years", 1, "unknown table [ower]; did you mean owner?"),
        ("scenario.years", 1, "unknown key; it belongs in the table [owner]"),
        ("parts.lever.left.price", 1, "one row of parts.csv stands for every side of lever; write parts.lever.price"),
        (
            "guards.lever_guard.right.fit_hours",
            1,
            "one row of guards.csv stands for every side of lever_guard; write guards.lever_guard.fit_hours",
        ),
        (
            "hits.lever.left.low_side",
            1,
            "one row of hits.csv stands for every side of lever; write hits.lever.low_side",
        ),
        ("parts.lever", 1, "expected parts.PART.COLUMN"),
        ("parts..price", 1, "expected parts.PART.COLUMN"),
        ("covers.holds", 1, "expected covers.GUARD.PART.FALL.COLUMN"),
        ("scenario", 1, "expected scenario.TABLE.KEY, or scenario.KEY for one above the tables"),
        ("scenario.a.b.c", 1, "expected scenario.TABLE.KEY, or scenario.KEY for one above the tables"),
    ],
)
def test_a_what_if_that_fits_nowhere_is_told_like_any_mistake(
    address: str, value: object, problem: str, tmp_path: Path
) -> None:
    """The place is the option itself, since no line of a file is to blame."""
    with pytest.raises(InputError) as caught:
        load(write_folder(tmp_path), {address: value})
    assert str(caught.value) == f"change {address}: {problem}"


def test_half_a_policy_is_an_error(tmp_path: Path) -> None:
    """Dearer premiums without an excess are no terms of insurance."""
    with pytest.raises(InputError, match=r"\[insurance\] excess: nothing found"):
        load(write_folder(tmp_path), {"scenario.insurance.premium_rise": 100})


def test_a_file_that_is_not_there_has_nothing_to_set(tmp_path: Path) -> None:
    """An optional file that is missing is told; a required one is told once only."""
    with pytest.raises(InputError) as caught:
        load(write_folder(tmp_path, offers=None, falls=None), {"offers.x.price": 1, "falls.low_side.per_year": 1})
    assert str(caught.value).split("\n") == [
        "falls.csv: no such file in the folder",
        "change offers.x.price: there is no offers.csv in the folder",
    ]


def test_a_change_is_written_with_an_equals_sign() -> None:
    """The address comes before the first one; whatever follows is the value."""
    assert parse_change("falls.low_side.per_year=0.8") == ("falls.low_side.per_year", "0.8")
    assert parse_change("scenario.title = a=b ") == ("scenario.title", "a=b")
    assert parse_change("scenario.owner.budget=") == ("scenario.owner.budget", "")


@pytest.mark.parametrize("text", ["falls.low_side.per_year", "=0.8", ""])
def test_a_change_without_both_halves_is_an_error(text: str) -> None:
    """The form to write is part of the message."""
    with pytest.raises(InputError) as caught:
        parse_change(text)
    assert str(caught.value) == f"change: found '{text}', expected FILE.ID.COLUMN=VALUE or FILE.COLUMN*FACTOR"


def test_a_number_from_a_program_is_not_taken_for_thousands(tmp_path: Path) -> None:
    """As text 185.185 may be a price in thousands; as a number it is what it is, rounded to the cent with a warning."""
    folder = write_folder(tmp_path)
    scenario = load(folder, {"guards.crash_bar.price": 185.185})
    assert scenario.guard["crash_bar"].price_cents == 18_519
    with pytest.raises(InputError, match=r"write 185185 or 185\.19"):
        load(folder, {"guards.crash_bar.price": "185.185"})
