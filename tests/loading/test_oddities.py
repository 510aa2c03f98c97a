"""What is legal but has no effect, or looks like a slip, is a warning: it is told and stops nothing."""

from pathlib import Path

import pytest
from folders import SMALL_TWIN, edited, write_folder

from guardopt.loading.load import load

WEIGHT_LIMIT = ("scenario", "budget = 300.0", "max_weight_kg = 1.5")

ODDITIES = [
    (
        [("scenario", "salvage = 800.0", "salvage = 4000.0")],
        "scenario.toml, line 5, [bike] value: found 4000, no more than the wreck would fetch: "
        "no fall can cost anything",
    ),
    (
        [("scenario", "[sampling]", "[insurance]\nexcess = 0\n[sampling]")],
        "scenario.toml, line 20, [insurance] excess: found 0 and no rise of the premium: "
        "no fall can cost the owner anything but wear",
    ),
    (
        [("scenario", "[sampling]", "[insurance]\nexcess = 500\nwrite_off_share = 1.2\n[sampling]")],
        "scenario.toml, line 21, [insurance] write_off_share: found 1.2: "
        "bills above the value of the bike would still be repaired",
    ),
    (
        [("scenario", "[sampling]", "[insurance]\nexcess = 5000\n[sampling]")],
        "scenario.toml, line 20, [insurance] excess: found 5000, more than the whole bike is worth, 4000: "
        "the insurer would never pay",
    ),
    (
        [
            ("guards", "resale_share\n", "resale_share,sells_for\n"),
            ("guards", "no,4,20,0.3\n", "yes,4,20,0.3,49\n"),
        ],
        # 0.3 of 180, at 3 % for 3 years: 54 / 1.03^3.
        "guards.csv, line 3, column sells_for: found 49.00, less than it fetches at the end by its resale_share, worth "
        "49.42 today: lower resale_share if this is all it will fetch",
    ),
    (
        [("scenario", "discount_rate = 0.03", "discount_rate = 0.3")],
        "scenario.toml, line 10, [owner] discount_rate: found 0.3, a high rate for one year",
    ),
    (
        [("scenario", "left_fairing = 0.8", "left_fairing = 0.8\nright_fairing = 0.8")],
        "scenario.toml, line 18, [strip_down] right_fairing: has no effect: no part names this group",
    ),
    (
        [("parts", "260,1.2,,,", "260,1.2,,50,")],
        "parts.csv, line 4, column touch_up: found 50, which has no effect: with break_chance 1 the part always breaks",
    ),
    (
        [("hits", "lever,0.5,0.8", "lever,0,0"), ("covers", "lever_guard,lever,0.7", "lever_guard,tank,0.7")],
        "parts.csv, line 2, column part: no fall strikes lever",
    ),
    (
        [("falls", "0.2,,0.05", "0,,0.05")],
        "falls.csv, line 3, column per_year: found 0: this kind of fall never happens",
    ),
    (
        [("falls", "0.2,,0.05", "500,,0.05")],
        "falls.csv, line 3, column per_year: found 500, more than one fall a day",
    ),
    ([("knock_on", "0.1", "0")], "knock_on.csv, line 2, column chance: found 0: this knock-on has no effect"),
    (
        [("knock_on", "radiator,tank", "lever,tank"), ("parts", "0.2,0.6,5", "0.2,0,5")],
        "knock_on.csv, line 2, column part: has no effect: lever never breaks",
    ),
    (
        [("guards", "both,25", "both,25.1251")],
        "guards.csv, line 2, column price: found 25.1251, taken as 25.13",
    ),
    (
        [("guards", "bar,5,12", "bar,,12")],
        "guards.csv, line 2, column renew_price: has no effect: without lasts_falls the guard never wears out",
    ),
    (
        [("covers", "radiator_grille,radiator,0.6,\n", "")],
        "guards.csv, line 5, column guard: radiator_grille covers nothing, and no guard needs it",
    ),
    (
        [("hits", "radiator,0.02,0.15", "radiator,0,0"), ("knock_on", "radiator,tank", "tank,radiator")],
        "guards.csv, line 5, column guard: radiator_grille covers only parts that no fall strikes",
    ),
    (
        [("guards", ",,0.2,,\n", ",,2,,\n"), WEIGHT_LIMIT, ("guards", ",no,4,", ",no,,")],
        "guards.csv, line 5, column weight_kg: found 2, above max_weight_kg 1.5",
    ),
    (
        [("guards", "4,40,,,,", "4,40,lever_guard.right,,,")],
        "guards.csv, line 4, column needs: case_cover can never be fitted: no guard it needs goes with it",
    ),
    (
        [("guards", "bar,5,12,,", "bar,5,12,case_cover,")],
        "guards.csv, line 2, column needs: lever_guard.right can never be fitted: no guard it needs goes with it",
    ),
    (
        [
            ("guards", "60,0.5,,4,40,,", "60,0.5,engine,4,40,crash_bar,"),
            ("covers", "crash_bar + ", ""),
            ("offers", "crash_bar ", "radiator_grille "),
            ("offers", "210", "100"),
        ],
        "guards.csv, line 4, column needs: case_cover can never be fitted: no guard it needs goes with it",
    ),
    (
        [("guards", "4,40,,,,", "4,40,,lever_guard.right,,")],
        "guards.csv, line 4, column not_with: has no effect: those guards are on the other side",
    ),
    ([("covers", "lever,0.7", "lever,0")], "covers.csv, line 2, column holds: found 0: this cover has no effect"),
    (
        [("covers", "radiator,0.6,\n", "radiator,0.6,\nlever_guard.right,engine_case,1,\n")],
        "covers.csv, line 8: has no effect: lever_guard.right and engine_case never meet on one side",
    ),
    (
        [("covers", "radiator,0.6,\n", "radiator,0.6,\nlever_guard.right + case_cover,tank,1,\n")],
        "covers.csv, line 8: has no effect: lever_guard.right + case_cover and tank never meet on one side",
    ),
    (
        [
            ("guards", "45,0.4,,", "45,0.4,engine,"),
            ("guards", "60,0.5,,", "60,0.5,engine,"),
            ("offers", "crash_bar ", "radiator_grille "),
            ("offers", "210", "100"),
        ],
        "covers.csv, line 6, column guard: has no effect: crash_bar and case_cover cannot both be fitted",
    ),
    (
        [("guards", "4,40,,,,", "4,40,,crash_bar,,"), ("covers", "crash_bar + case_cover", "case_cover")],
        "offers.csv, line 2, column guards: can never be taken: case_cover and crash_bar cannot both be fitted",
    ),
    (
        [("hits", "tank,0.05,0.2", "tank,0.05,0")],
        "covers.csv, line 4, column fall: has no effect: tank is never struck in low_side",
    ),
    (
        [("offers", "crash_bar case_cover", "crash_bar")],
        "offers.csv, line 2, column guards: is an offer of a single guard",
    ),
    (
        [("offers", "210", "240")],
        "offers.csv, line 2, column price: found 240.00, no less than the 240.00 the guards cost singly",
    ),
    (
        [("offers", "210", "209.9999")],
        "offers.csv, line 2, column price: found 209.9999, taken as 210.00",
    ),
    (
        [("scenario", "budget = 300.0", "budget = 300.0051")],
        "scenario.toml, line 11, [owner] budget: found 300.0051, taken as 300.01",
    ),
]


def overrides(edits: list[tuple[str, str, str]]) -> dict[str, str]:
    """Files of the tiny scenario with all of these edits made."""
    files: dict[str, str] = {}
    for name, old, new in edits:
        if name not in files:
            files |= edited(name, old, new)
        else:
            assert files[name].count(old) == 1
            files[name] = files[name].replace(old, new)
    return files


@pytest.mark.parametrize(("edits", "warning"), ODDITIES)
def test_an_oddity_is_one_warning(edits: list[tuple[str, str, str]], warning: str, tmp_path: Path) -> None:
    """The scenario loads, and says just this."""
    scenario = load(write_folder(tmp_path, **overrides(edits)))
    assert [str(found) for found in scenario.warnings] == [warning]


def test_owned_guards_above_the_weight_limit_are_a_warning(tmp_path: Path) -> None:
    """The bike as it stands carries more than its owner allows; the single guard is told as well."""
    edits = [WEIGHT_LIMIT, ("guards", ",no,4,", ",yes,4,")]
    assert [str(found) for found in load(write_folder(tmp_path, **overrides(edits))).warnings] == [
        "scenario.toml, line 11, [owner] max_weight_kg: found 1.5, but the guards owned weigh 4",
        "guards.csv, line 3, column weight_kg: found 4, above max_weight_kg 1.5",
    ]


@pytest.mark.parametrize(
    "edits",
    [
        [("parts", "30,0.2,0.6,5", "30,0.2,0,5")],
        [("falls", "0.6,0.6", "0.6,1")],
        [("hits", "radiator,0.02,0.15", "radiator,0,0.15")],
        [("hits", "lever,0.5,0.8", "lever.left,0.5,0.8\nlever.right,0,0")],
        [("covers", "lever,0.7", "lever,1")],
        [("scenario", "budget = 300.0", "budget = 0")],
        [
            ("guards", "60,0.5,,4,40,,", "60,0.5,,4,40,radiator_grille,"),
            ("covers", "radiator_grille,radiator,0.6,\n", ""),
        ],
        [
            ("hits", "radiator,0.02,0.15", "radiator,0,0"),
            ("knock_on", "radiator,tank", "tank,radiator"),
            ("covers", "radiator_grille,radiator", "radiator_grille,tank"),
        ],
    ],
    ids=[
        "a part that is never replaced has a price",
        "all falls go to one side",
        "one kind of fall spares a part",
        "one side of a part is never struck",
        "a cover always holds",
        "there is no money",
        "a guard covers nothing but another needs it",
        "a part is struck by another part only",
    ],
)
def test_what_makes_sense_is_no_oddity(edits: list[tuple[str, str, str]], tmp_path: Path) -> None:
    """Warnings that cry wolf would not be read."""
    assert load(write_folder(tmp_path, **overrides(edits))).warnings == ()


def test_a_misnamed_optional_file_is_pointed_out(tmp_path: Path) -> None:
    """knock-on.csv would be looked past in silence, unlike a shopping list."""
    folder = write_folder(tmp_path)
    (folder / "knock_on.csv").rename(folder / "knock-on.csv")
    (folder / "shopping.csv").write_text("eggs\n")
    assert [str(found) for found in load(folder).warnings] == ["knock-on.csv: is not read; did you mean knock_on.csv?"]


def test_optional_files_may_be_missing_or_have_no_rows(tmp_path: Path) -> None:
    """Many bikes have no knock-ons and many shops no offers."""
    bare = load(write_folder(tmp_path / "without", knock_on=None, offers=None))
    assert bare == load(write_folder(tmp_path / "blank", knock_on="part,takes,chance\n", offers="offer,guards,price\n"))
    assert (bare.knock_ons, bare.offers, bare.warnings) == ((), (), ())


def test_three_decimals_are_no_thousands_where_no_money_is_meant(tmp_path: Path) -> None:
    """Hours, weights and rates may have as many decimals as their owner likes, and 0.125 can be nothing else."""
    parts = SMALL_TWIN["parts"].replace("260,1.2,", "0.125,1.250,")
    guards = SMALL_TWIN["guards"].replace(",0.1,,", ",1.125,,")
    assert parts != SMALL_TWIN["parts"] and guards != SMALL_TWIN["guards"]
    assert load(write_folder(tmp_path, parts=parts, guards=guards)).warnings == ()


@pytest.mark.parametrize("sells_for", ["50", "0", ""])
def test_what_fetches_more_now_than_later_may_be_sold(sells_for: str, tmp_path: Path) -> None:
    """Nor is anything said where no price is given: then it is not for sale."""
    guards = SMALL_TWIN["guards"].replace("resale_share\n", "resale_share,sells_for\n")
    guards = guards.replace("no,4,20,0.3\n", f"yes,4,20,0.3,{sells_for}\n")
    assert load(write_folder(tmp_path, guards=guards)).warnings == ()
