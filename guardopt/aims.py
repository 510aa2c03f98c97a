"""What can be asked of the best kit: what it is to be best at, and within which limits; and how good an answer is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from guardopt.pieces import Kit

TIME_LIMIT = 60.0
"""Seconds after which a search stops and the best so far is reported. Everyday catalogues take two."""

GAP = 1e-6
"""Relative gap at which a kit counts as proven best."""


class Measure(StrEnum):
    """What can be minimised or capped."""

    COST = "cost"
    OUTLAY = "outlay"
    TAIL = "tail"
    SPEND = "spend"


@dataclass(frozen=True)
class Limits:
    """Which kits are allowed, besides what the scenario says.

    `at_most` caps measures, which is how ties are broken: the first measure is capped at its best value and the next
    one minimised.
    """

    budget_cents: int | None = None
    must: Kit = frozenset()
    never: Kit = frozenset()
    at_most: Mapping[Measure, float] = field(default_factory=dict)


class Aim(StrEnum):
    """What the best kit is best at."""

    BILLS = "bills"
    OUTLAY = "outlay"
    WORST = "worst"

    @property
    def measures(self) -> tuple[Measure, ...]:
        """What is minimised, then what breaks ties, in turn."""
        return {
            Aim.BILLS: (Measure.COST, Measure.SPEND),
            Aim.OUTLAY: (Measure.OUTLAY, Measure.SPEND),
            Aim.WORST: (Measure.TAIL, Measure.COST, Measure.SPEND),
        }[self]


@dataclass(frozen=True)
class Best:
    """A kit, what it measures on the planner's sample and how far it can be from the best.

    Attributes
    ----------
    objective, bound
        The aim's measure of the kit, and a value that no allowed kit is below. Both are on the sample.
    proven
        False if the gap did not close in the time allowed.
    """

    kit: Kit
    objective: float
    bound: float
    proven: bool

    @property
    def gap(self) -> float:
        """(objective − bound) / max(1, |objective|)."""
        return (self.objective - self.bound) / max(1.0, abs(self.objective))


class Status(StrEnum):
    """How the search ended."""

    OPTIMAL = "optimal"
    TIME_LIMIT = "time_limit"


def status_of(proven: bool) -> Status:
    """How a search ended whose answer is proven best, or is not."""
    return Status.OPTIMAL if proven else Status.TIME_LIMIT
