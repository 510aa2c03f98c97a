"""What estimated chances leave of a scenario's rows about guards, and whether all was written as it was estimated."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from guardopt.errors import GuardoptError
from guardopt.loading.load import load
from guardopt.model.pieces import Cover, Exposure
from guardopt.model.scenario import Scenario
from guardopt.shape.estimating import MeasuredChances

DECIMALS = 4
"""Of an estimated chance: simulated ones are not known any better."""


def chance_of(one: Cover | Exposure) -> float:
    """Its chance, whatever the column is called."""
    return one.holds if isinstance(one, Cover) else one.chance


def left_of(one: Cover | Exposure, scenario: Scenario, measured: MeasuredChances) -> list[Cover | Exposure]:
    """What is left of a row once the kinds of fall are taken out in which all it is about was measured."""
    if one.part not in measured.parts or not set(one.guards) <= set(measured.guards):
        return [one]
    falls = [fall.id for fall in scenario.falls] if one.fall is None else [one.fall]
    left = [fall for fall in falls if fall not in measured.falls]
    return [one] if left == falls else [replace(one, fall=fall) for fall in left]


def check_written(draft: Path, scenario: Scenario, measured: MeasuredChances) -> None:
    """Read the new folder as any command would, and compare its chances with those estimated."""
    read = load(draft)
    for key, chance in scenario.hits.items():
        if not math.isclose(read.hits[key], measured.hits.get(key, chance), abs_tol=0.51 * 10**-DECIMALS):
            raise GuardoptError(f"the chance of {key[1]} in {key[0]} was written as {read.hits[key]}")
    for name, before, after, estimated in (
        ("covers", scenario.covers, read.covers, measured.covers),
        ("exposes", scenario.exposures, read.exposures, measured.exposes),
    ):
        found = _by_fall(((one.guards, one.part, one.fall, chance_of(one)) for one in after), read)
        kept = [piece for one in before for piece in left_of(one, scenario, measured)]
        wanted = _by_fall(((one.guards, one.part, one.fall, chance_of(one)) for one in kept), read)
        wanted.update(_by_fall(((row.guards, row.part, row.fall, row.chance) for row in estimated), read))
        if set(found) != set(wanted):
            raise GuardoptError(
                f"{name}.csv was not written as it was estimated: {sorted(set(found) ^ set(wanted))[0]}"
            )
        for row, chance in wanted.items():
            if not math.isclose(found[row], chance, abs_tol=0.51 * 10**-DECIMALS):
                raise GuardoptError(f"{name}.csv: {' + '.join(row[0])} and {row[1]} were written with {found[row]}")


def _by_fall(
    rows: Iterable[tuple[tuple[str, ...], str, str | None, float]], scenario: Scenario
) -> dict[tuple[tuple[str, ...], str, str], float]:
    falls = [fall.id for fall in scenario.falls]
    return {
        (tuple(sorted(guards)), part, kind): chance
        for guards, part, fall, chance in rows
        for kind in (falls if fall is None else [fall])
    }
