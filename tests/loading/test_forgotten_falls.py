"""A kind of fall that is added where guards are said to hold in other falls only is not passed over in silence."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from folders import SMALL_TWIN, write_folder

from guardopt.loading.load import load
from guardopt.writing.starter import write_starter
from guardopt.writing.starter_kinds import KINDS

FALLS = SMALL_TWIN["falls"] + "slow_turn,0.3,,,,5\n"
COLUMN = {"part": "slow_turn", "lever": "0.6", "engine_case": "0.4", "radiator": "0.05", "tank": "0.1"}
HITS = "".join(f"{line},{COLUMN[line.partition(',')[0]]}\n" for line in SMALL_TWIN["hits"].splitlines())
COVERS = """\
guard,part,holds,fall
lever_guard,lever,0.7,
crash_bar,engine_case,0.9,tip_over
crash_bar,engine_case,0.8,low_side
crash_bar,tank,0.5,low_side
case_cover,engine_case,0.6,low_side
radiator_grille,radiator,0.6,
"""


def warnings_of(folder: Path, **overrides: str) -> list[str]:
    """What the tiny scenario with a third kind of fall warns of."""
    files = {"falls": FALLS, "hits": HITS, "covers": COVERS} | overrides
    return [str(found) for found in load(write_folder(folder, **files)).warnings]


def test_guards_that_hold_in_harder_falls_but_not_in_a_new_one_are_named(tmp_path: Path) -> None:
    """The bar that holds in low-sides surely holds in a slow turn, and nobody would see from a plan that it does not."""
    assert warnings_of(tmp_path) == [
        "falls.csv, line 4, column fall: no row of covers.csv names slow_turn, so crash_bar and case_cover cover less "
        "in it than in other falls; add rows to covers.csv for it, or leave their fall blank"
    ]


def test_a_fall_hardly_harder_than_the_one_it_was_copied_from_counts_as_that(tmp_path: Path) -> None:
    """Whoever changes a column a little has changed nothing about what guards do."""
    hits = HITS
    for harder, copied in (("0.8,0.6", "0.8,0.5"), ("0.6,0.4", "0.6,0.35"), ("0.15,0.05", "0.15,0.02")):
        hits = hits.replace(harder, copied)
    covers = COVERS.replace("crash_bar,engine_case,0.8,low_side\ncrash_bar,tank,0.5,low_side\n", "")
    (told,) = warnings_of(tmp_path, hits=hits, covers=covers.replace("low_side", "tip_over"))
    assert "so crash_bar and case_cover cover less" in told


def test_a_part_that_is_struck_in_no_fall_tells_nothing_about_one(tmp_path: Path) -> None:
    """There are other warnings then."""
    hits = HITS.replace("0.3,0.6,0.4", "0,0,0").replace("0.05,0.2,0.1", "0,0,0")
    told = warnings_of(tmp_path, hits=hits)
    assert told
    assert not any("no row of covers" in one for one in told)


@pytest.mark.parametrize(
    "overrides",
    [
        {"covers": COVERS + "crash_bar,engine_case,0.85,slow_turn\n"},
        {"covers": COVERS.replace("0.6,low_side", "0.6,")},
        {"covers": COVERS.replace("case_cover,engine_case", "case_cover + lever_guard,engine_case")},
        {"covers": COVERS + "case_cover,engine_case,0.5,\n"},
        {"hits": HITS.replace("0.3,0.6,0.4", "0.3,0.6,0").replace("0.05,0.2,0.1", "0.05,0.2,0")},
        {"hits": HITS.replace("0.3,0.6,0.4", "0.3,0.6,0.1").replace("0.05,0.2,0.1", "0.05,0.2,0.01")},
        {"hits": HITS.replace("0.3,0.6,0.4", "0.3,0.6,1").replace("0.05,0.2,0.1", "0.05,0.2,1")},
    ],
    ids=[
        "it has a row",
        "a single guard is meant for other falls",
        "the other guard does it only together with a third",
        "a guard covers the part in all falls besides",
        "it strikes nothing that they cover",
        "it hardly strikes what they cover",
        "it is the hardest fall",
    ],
)
def test_falls_that_guards_may_well_do_nothing_in_are_no_oddity(overrides: dict[str, str], tmp_path: Path) -> None:
    """A row for it shows that its owner thought of it; in a harder fall than all others guards fail."""
    assert warnings_of(tmp_path, **overrides) == []


def test_a_fall_that_never_happens_needs_no_rows(tmp_path: Path) -> None:
    """It is told as that and no more."""
    (told,) = warnings_of(tmp_path, falls=FALLS.replace("slow_turn,0.3", "slow_turn,0"))
    assert told.endswith("found 0: this kind of fall never happens")


@pytest.mark.parametrize("kind", KINDS)
def test_a_copied_column_is_not_enough_in_a_starter(kind: str, tmp_path: Path) -> None:
    """Whoever adds a fall to a starter as the messages say is told what else it needs, and only that."""
    write_starter(tmp_path / kind, kind)
    for name in ("falls", "hits"):
        path = tmp_path / kind / f"{name}.csv"
        rows = list(csv.reader(path.read_text().splitlines()))
        if name == "falls":
            (old,) = (row for row in rows if row[0] == "tip_over")
            rows.append(["kerb_drop", "0.2", "0.4", *old[3:]])
        else:
            column = rows[0].index("tip_over")
            rows = [[*row, "kerb_drop" if number == 0 else row[column]] for number, row in enumerate(rows)]
        path.write_text("".join(",".join(row) + "\n" for row in rows))
    (told,) = load(tmp_path / kind).warnings
    assert "no row of covers.csv names kerb_drop" in told.message


@pytest.mark.parametrize("kind", [None, *KINDS])
def test_a_starter_whose_guards_forget_the_slow_turn_is_told_so(kind: str | None, tmp_path: Path) -> None:
    """It lies between a tip-over and a low-side, and guards hold in both."""
    write_starter(tmp_path / "mine", kind)
    covers = tmp_path / "mine" / "covers.csv"
    lines = covers.read_text().splitlines()
    covers.write_text("".join(f"{line}\n" for line in lines if not line.endswith(",slow_turn")))
    (told,) = load(tmp_path / "mine").warnings
    assert "no row of covers.csv names slow_turn" in told.message


@pytest.mark.parametrize("kind", KINDS)
def test_an_insurance_makes_no_fall_seem_forgotten(kind: str, tmp_path: Path) -> None:
    """With an excess most falls cost the owner the same; which is the harder one is a matter of the bill."""
    write_starter(tmp_path / kind, kind)
    settings = tmp_path / kind / "scenario.toml"
    text = settings.read_text()
    settings.write_text(text.replace("# [insurance]", "[insurance]").replace("# excess = 500.0", "excess = 50.0"))
    scenario = load(tmp_path / kind)
    assert scenario.insurance is not None
    assert scenario.warnings == ()
