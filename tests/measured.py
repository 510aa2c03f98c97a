"""The tiny scenario with points measured on it, so that it can be laid on its side."""

from __future__ import annotations

from pathlib import Path

from folders import SMALL_TWIN, write_folder

POINTS = """\
id,forward,out,up,wears,thick
lever,1225,385,1040,,
lever,1110,410,1050,,
engine_case,640,235,400,,
radiator,1060,190,560,,
radiator,1060,-190,560,,
tank,830,165,900,,
tank,830,-165,900,,
peg,430,330,365,,
fork_foot,1395,128,310,,
mirror,1130,395,1215,,
tail,-60,125,860,,
front_tyre,1400,20,12,,
front_tyre,1695,20,300,,
rear_tyre,0,70,30,,
rear_tyre,-300,65,310,,
lever_guard,1150,440,1045,1.5,12
crash_bar,800,430,560,0.4,8
crash_bar,880,415,660,0.4,8
"""

SHAPE = "[shape]\ncentre_forward = 640\ncentre_up = 520\n\n[sampling]"

FALLS = """\
fall,per_year,left_share,tumble,correlation,watched_years,bite,bite_spread,tilt,speed,drag
tip_over,0.6,0.6,,0.4,5,12,,,,
low_side,0.2,,0.05,,5,30,0.6,4,50,0.45
"""

MEASURED = {
    "scenario": SMALL_TWIN["scenario"].replace("[sampling]", SHAPE),
    "falls": FALLS,
    "points": POINTS,
}
"""What differs from the tiny scenario."""


def measured_folder(path: Path, **overrides: str | None) -> Path:
    """Write the measured scenario into a folder, with some of its files given whole; None leaves a file out."""
    return write_folder(path, **{**MEASURED, **overrides})
