"""Which ready-made kits were chosen, who takes which, and what they save."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.aims import Aim, status_of
from guardopt.model.pieces import HALF_A_CENT
from guardopt.optimization.p_median import Choice
from guardopt.shop.candidate_kits import NONE, Box

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class CurvePoint:
    """What so many ready-made kits save in all, and a value that no other choice of as many is above."""

    count: int
    saving: float
    bound: float


@dataclass(frozen=True)
class ReadyKits:
    """The kits to keep ready, and who gets which.

    Attributes
    ----------
    boxes
        The kits, those that save most first.
    taken
        ``(riders,)``: the number of the box each rider takes, `NONE` for none.
    saving
        ``(riders,)``: what it gains the rider on the planning sample: what falls cost less over the years, dislikes
        counted, and for the aim outlay its price taken off.
    tailor_made
        ``(riders,)``: what the best kit for the rider's budget would gain.
    falls_saved
        ``(riders,)``: what falls cost less over the years on fresh falls, as quotes say it.
    saving_fresh, tailor_made_fresh
        The same in all, on fresh falls.
    choice
        The choice with its bound.
    curve
        What 1, 2, … kits save.
    candidates, classes
        How many boxes there were to choose from, and classes of riders.
    wrong
        Rows that are wrong.
    aim
        What the kits are to do: save most, or leave most once they are paid.
    """

    boxes: tuple[Box, ...]
    taken: Ints
    saving: Floats
    tailor_made: Floats
    falls_saved: Floats
    saving_fresh: float
    tailor_made_fresh: float
    choice: Choice
    curve: tuple[CurvePoint, ...]
    candidates: int
    classes: int
    wrong: int
    aim: Aim

    @property
    def tailor_made_saving(self) -> float:
        """What tailor-made kits would save all riders."""
        return float(self.tailor_made.sum())

    @property
    def loses(self) -> Bools:
        """``(riders,)``: whether the kit saves less than it costs, resale taken off, as quotes say it."""
        paid = np.array([*(box.laid_out for box in self.boxes), 0.0])[self.taken]
        found: Bools = self.falls_saved < paid - HALF_A_CENT
        return found

    @property
    def table(self) -> pd.DataFrame:
        """One row for each kit."""
        import pandas as pd

        return pd.DataFrame(
            self._kits_json(), columns=["kit", "bike", "guards", "price", "riders", "saving_over_years"]
        )

    def share(self, saving: float) -> float:
        """What share of the tailor-made saving that is."""
        return saving / self.tailor_made_saving if self.tailor_made_saving else 1.0

    def to_json(self) -> dict[str, Any]:
        """The record as ``kits --json`` prints it."""
        return {
            "riders": len(self.taken),
            "wrong_rows": self.wrong,
            "aim": self.aim.name,
            "classes": self.classes,
            "candidates": self.candidates,
            "kits": self._kits_json(),
            "losing": int(self.loses.sum()),
            "without": int((self.taken == NONE).sum()) - self.wrong,
            "saving_over_years": self.choice.value,
            "bound": self.choice.bound,
            "gap": self.choice.gap,
            "status": status_of(self.choice.proven).value,
            "tailor_made_saving": self.tailor_made_saving,
            "share": self.share(self.choice.value),
            "fresh": {"saving_over_years": self.saving_fresh, "tailor_made_saving": self.tailor_made_fresh},
            "curve": [
                {
                    "kits": one.count,
                    "saving_over_years": one.saving,
                    "bound": one.bound,
                    "share": self.share(one.saving),
                }
                for one in self.curve
            ],
        }

    def _kits_json(self) -> list[dict[str, Any]]:
        return [
            {
                "kit": number + 1,
                "bike": box.bike,
                "guards": list(box.guards),
                "price": box.price_cents / 100,
                "riders": int((self.taken == number).sum()),
                "saving_over_years": float(self.saving[self.taken == number].sum()),
            }
            for number, box in enumerate(self.boxes)
        ]

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))
