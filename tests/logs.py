"""Simulated logs: falls drawn by the package itself for a bike whose true numbers are known, written down as a log."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from guardopt.learning.fall_log import Log, LoggedFall, Watched
from guardopt.model.pieces import Kit, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import harmed_parts
from guardopt.simulation.sampling import Stratum, draw

BEGIN = date(2024, 1, 1)


@dataclass(frozen=True)
class Rider:
    """A bike watched for so many days, with one kit on it, that falls `clumsiness` times as often as the others."""

    bike: str
    days: int
    kit: Kit = frozenset()
    clumsiness: float = 1.0


def simulated_log(truth: Scenario, riders: Sequence[Rider], seed: int) -> Log:
    """Watch riders fall: Poisson counts at the true rates, and what each fall does to the bike with its kit on."""
    rng = np.random.default_rng(seed)
    watched = tuple(Watched(one.bike, BEGIN, BEGIN + timedelta(days=one.days - 1)) for one in riders)
    counts = _counts(truth, riders, watched, rng)
    most = max((int(one.sum()) for one in counts.values()), default=0)
    falls: list[LoggedFall] = []
    if most:
        bike = Bike(truth)
        for stratum in draw(truth, most, seed, "log"):
            taken = 0
            for rider, count in zip(riders, counts[stratum.fall, stratum.sides], strict=True):
                columns = range(taken, taken + int(count))
                falls += _logged(bike, stratum, rider, columns, rng)
                taken += int(count)
    return Log(watched, tuple(sorted(falls, key=lambda fall: (fall.day, fall.bike, fall.fall))))


def _counts(
    truth: Scenario, riders: Sequence[Rider], watched: Sequence[Watched], rng: np.random.Generator
) -> Mapping[tuple[int, frozenset[Side]], np.ndarray]:
    exposure = np.array([rider.clumsiness * one.years for rider, one in zip(riders, watched, strict=True)])
    return {
        (row, sides): rng.poisson(fall.per_year * share * exposure)
        for row, fall in enumerate(truth.falls)
        for sides, share in fall.side_shares().items()
    }


def _logged(bike: Bike, stratum: Stratum, rider: Rider, columns: range, rng: np.random.Generator) -> list[LoggedFall]:
    if not columns:
        return []
    scenario = bike.scenario
    fitted = bike.kit_array(rider.kit)
    harmed, struck = harmed_parts(bike, stratum, fitted), stratum.struck.copy()
    for row, (part, guards) in enumerate(bike.exposures):
        if all(fitted[guard] for guard in guards):
            struck[part] |= stratum.exposes[row]
    found = []
    for column in columns:
        day = BEGIN + timedelta(days=int(rng.integers(rider.days)))
        ids = {
            name: frozenset(part.id for part, yes in zip(scenario.parts, rows[:, column], strict=True) if yes)
            for name, rows in (
                ("struck", struck),
                ("scuffed", harmed & ~stratum.breaks),
                ("broken", harmed & stratum.breaks),
            )
        }
        fall = scenario.falls[stratum.fall].id
        found.append(LoggedFall(day, rider.bike, fall, stratum.sides, rider.kit, **ids))
    return found


def write_log(folder: Path, scenario: Scenario, log: Log) -> Path:
    """Write a log as its two files."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = [f"{one.bike},{one.first},{one.last}" for one in log.watched]
    (folder / "watched.csv").write_text("\n".join(["bike,from,to", *lines, ""]), encoding="utf-8")
    order = [*(part.id for part in scenario.parts), *(guard.id for guard in scenario.guards)]
    rows = ["date,bike,fall,side,fitted,struck,scuffed,broken"]
    for fall in log.falls:
        side = "both" if len(fall.sides) == 2 else next(iter(fall.sides)).value
        lists = [
            " ".join(one for one in order if one in ids)
            for ids in (fall.fitted, fall.struck, fall.scuffed, fall.broken)
        ]
        rows.append(",".join([str(fall.day), fall.bike, fall.fall, side, *lists]))
    (folder / "log.csv").write_text("\n".join([*rows, ""]), encoding="utf-8")
    return folder


COURIER_TRUTH = {
    "falls.tip_over.per_year": 2.4,
    "falls.slow_drop.per_year": 1.3,
    "falls.low_side.per_year": 0.5,
    "falls.high_side.per_year": 0.0,
    "covers.engine_bar.engine_case.holds": 0.7,
    "covers.bar_end_slider.lever.holds": 0.3,
    "hits.delivery_box.tip_over": 0.45,
    "parts.mirror.break_chance": 0.3,
}
"""What the courier's guesses get wrong, in the log that is shipped with that scenario."""


def courier_log(courier: Callable[[Mapping[str, object]], Scenario]) -> Log:
    """The log that is shipped with the courier: six bikes of one firm, for a year or two, one clumsy rider.

    `courier` loads that scenario with what-ifs.
    """
    truth = courier(COURIER_TRUTH)
    city = truth.expand(["bar_end_slider", "engine_bar", "soft_indicator"])
    full = truth.expand(["hand_guard", "engine_bar", "case_cover", "tank_pad"])
    riders = [
        Rider("courier_1", 600, city),
        Rider("courier_2", 600, city),
        Rider("courier_3", 500, full),
        Rider("courier_4", 420, truth.expand(["frame_slider", "exhaust_slider"])),
        Rider("courier_5", 600, clumsiness=2.2),
        Rider("courier_6", 300),
    ]
    return simulated_log(truth, riders, seed=5)
