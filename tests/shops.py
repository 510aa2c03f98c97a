"""A small shop for tests: two invented bikes, three ways of riding, riders of every kind."""

from __future__ import annotations

import random
from pathlib import Path

from folders import SMALL_TWIN, write_folder

RIDING = "riding,tip_over,low_side\ntown,1.2,\nlearning,2.5,0.4\ncalm,0.2,0.05\n"

COLUMNS = "rider,bike,riding,budget,times,owned,must,never"


def write_shop(path: Path, *, dislike: bool = True) -> Path:
    """A folder with two bikes; on one of them a guard is disliked, unless said."""
    plain = SMALL_TWIN["guards"].replace(",4,20,0.3", ",4,,0.3")
    write_folder(path / "twin", guards=SMALL_TWIN["guards"] if dislike else plain, riding=RIDING)
    dearer = SMALL_TWIN["parts"].replace("radiator,centre,260", "radiator,centre,410")
    write_folder(path / "single", parts=dearer, guards=plain, riding=RIDING.replace("calm", "trail"))
    return path


def some_riders(count: int, seed: int = 1, *, bikes: bool = True) -> list[str]:
    """Lines of a table of riders, without its first."""
    rng = random.Random(seed)  # noqa: S311
    lines = []
    for number in range(1, count + 1):
        bike = rng.choice(["twin", "single"])
        riding = rng.choice(["", "town", "learning", "calm" if bike == "twin" or not bikes else "trail"])
        budget = rng.choice(["", "none", str(rng.randrange(0, 30_000) / 100)])
        times = rng.choice(["", "1", "0.5", "3"])
        owned = rng.choice(["", "", "", "case_cover", "none", "lever_guard"])
        must = rng.choice(["", "", "", "radiator_grille"])
        never = rng.choice(["", "", "", "crash_bar", "case_cover"])
        cells = [f"rider_{number:03}", bike if bikes else "", riding, budget, times, owned, must, never]
        lines.append(",".join(cells))
    return lines


def write_riders(path: Path, lines: list[str]) -> Path:
    """A table of riders as a file."""
    path.write_text("\n".join([COLUMNS, *lines]) + "\n", encoding="utf-8")
    return path
