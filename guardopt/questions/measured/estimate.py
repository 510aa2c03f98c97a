"""Chances from a tape measure: what measured points say that falls strike, and what guards spare and expose."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from guardopt.errors import InputError, Problem
from guardopt.model.scenario import Scenario
from guardopt.questions.measured.touchdown import ground_of, rocking_of
from guardopt.shape.estimating import JointRow, MeasuredChances, estimate_chances
from guardopt.shape.points import measured_centre

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Estimate:
    """The chances of a scenario as its points tell them.

    Attributes
    ----------
    scenario
        As it was.
    measured
        What follows from its points.
    """

    scenario: Scenario
    measured: MeasuredChances

    @property
    def table(self) -> pd.DataFrame:
        """The same as `hits`."""
        return self.hits

    @property
    def hits(self) -> pd.DataFrame:
        """One row for each measured part and kind of fall: the chance that there was, and the chance now."""
        import pandas as pd

        return pd.DataFrame(self.hit_rows())

    def hit_rows(self) -> list[dict[str, Any]]:
        """The same as records, the largest change first."""
        rows = [
            {"fall": fall, "part": part, "before": self.scenario.hits[fall, part], "now": now}
            for (fall, part), now in self.measured.hits.items()
        ]
        return sorted(rows, key=lambda row: -abs(row["now"] - row["before"]))

    def to_json(self) -> dict[str, Any]:
        """The answer as ``estimate --json`` prints it."""
        found = self.measured
        worst = found.worst
        return {
            "scenario": self.scenario.title,
            "falls": list(found.falls),
            "parts": list(found.parts),
            "guards": list(found.guards),
            "kits": found.kits,
            "all_kits": found.all_kits,
            "worst_misfit": None
            if worst is None
            else {
                "fall": worst.fall,
                "part": worst.part,
                "kit": list(worst.kit),
                "simulated": worst.simulated,
                "by_rows": worst.by_rows,
            },
            "mean_misfit": found.mean_misfit,
            "hits": self.hit_rows(),
            "covers": [_record(row, "holds") for row in found.covers],
            "exposes": [_record(row, "chance") for row in found.exposes],
            "only_together": [_record(row, "spared") for row in found.together],
        }

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def _record(row: JointRow, chance: str) -> dict[str, Any]:
    return {"guards": list(row.guards), "part": row.part, "fall": row.fall, chance: row.chance}


def estimate(scenario: Scenario, progress: Callable[[str], None] = lambda _: None) -> Estimate:
    """Estimate the chances of being struck, and what guards spare and expose, from measured points.

    Parameters
    ----------
    scenario
        A bike of which points were measured, and kinds of fall of which the bite is known.
    progress
        Told what is being worked on.

    Raises
    ------
    InputError
        Nothing was measured, or no kind of fall has a bite.
    """
    measured_centre(scenario)
    kinds = [(fall, fall.bite) for fall in scenario.falls if fall.bite is not None]
    if not kinds:
        message = "no kind of fall has a bite, the depth in mm by which the road reaches past where the bike lies"
        raise InputError([Problem("falls.csv, column bite", message)])
    grounds = [(fall, ground_of(fall, bite), rocking_of(scenario, fall)) for fall, bite in kinds]
    return Estimate(scenario, estimate_chances(scenario, grounds, progress))
