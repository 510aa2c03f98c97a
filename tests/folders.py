"""A tiny scenario folder for tests, sound and without warnings, to be spoilt or varied file by file."""

from __future__ import annotations

from pathlib import Path

import pytest

from guardopt.errors import InputError
from guardopt.loading.load import load

SMALL_TWIN = {
    "scenario": """\
title = "Small twin (invented)"
currency = "EUR"

[bike]
value = 4000.0
salvage = 800.0

[owner]
years = 3.0
discount_rate = 0.03
budget = 300.0

[labour]
repair_rate = 50.0

[strip_down]
left_fairing = 0.8

[sampling]
falls = 200
seed = 1
""",
    "parts": """\
part,side,price,hours,break_chance,touch_up,strip_down
lever,both,30,0.2,0.6,5,
engine_case,left,180,1.5,0.8,20,left_fairing
radiator,centre,260,1.2,,,
tank,centre,500,1,0.5,90,
""",
    "falls": """\
fall,per_year,left_share,tumble,correlation,watched_years
tip_over,0.6,0.6,,0.4,5
low_side,0.2,,0.05,,5
""",
    "hits": """\
part,tip_over,low_side
lever,0.5,0.8
engine_case,0.3,0.6
radiator,0.02,0.15
tank,0.05,0.2
""",
    "knock_on": """\
part,takes,chance
radiator,tank,0.1
""",
    "guards": """\
guard,side,price,fit_hours,slot,lasts_falls,renew_price,needs,not_with,owned,weight_kg,dislike,resale_share
lever_guard,both,25,0.2,bar,5,12,,,,0.1,,
crash_bar,pair,180,1.5,engine,,,,,no,4,20,0.3
case_cover,left,60,0.5,,4,40,,,,0.3,,0.2
radiator_grille,centre,45,0.4,,,,,,,0.2,,
""",
    "covers": """\
guard,part,holds,fall
lever_guard,lever,0.7,
crash_bar,engine_case,0.8,
crash_bar,tank,0.5,low_side
case_cover,engine_case,0.6,
crash_bar + case_cover,engine_case,0.5,tip_over
radiator_grille,radiator,0.6,
""",
    "offers": """\
offer,guards,price
engine_set,crash_bar case_cover,210
""",
}
"""The files of the folder by name, without ``.toml`` or ``.csv``."""


def write_folder(path: Path, **overrides: str | bytes | None) -> Path:
    """Write the tiny scenario into a folder, with some of its files given whole; None leaves a file out."""
    path.mkdir(parents=True, exist_ok=True)
    for name, content in {**SMALL_TWIN, **overrides}.items():
        file = path / (f"{name}.toml" if name == "scenario" else f"{name}.csv")
        if isinstance(content, str):
            file.write_text(content, encoding="utf-8", newline="")
        elif content is not None:
            file.write_bytes(content)
    return path


def edited(name: str, old: str, new: str) -> dict[str, str]:
    """One file of the tiny scenario with a piece of its text replaced, as an override for `write_folder`."""
    if SMALL_TWIN[name].count(old) != 1:
        raise ValueError(f"{old!r} is not in {name} exactly once")
    return {name: SMALL_TWIN[name].replace(old, new)}


def problems_of(path: Path) -> list[str]:
    """Load a folder or a workbook that is wrong and give its problems, line by line."""
    with pytest.raises(InputError) as caught:
        load(path)
    return str(caught.value).split("\n")
