"""What can be asked of the best kit: what it is to be best at, and within which limits; and how good an answer is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar

from guardopt.model.pieces import Kit

TIME_LIMIT = 300.0
"""Seconds after which a search stops in the last resort. Everyday catalogues take two."""

GAP = 1e-9
"""Relative gap at which a kit counts as proven best: that of costs which are the same but for rounding."""


@dataclass(frozen=True)
class Limits:
    """Which kits are allowed, besides what the scenario says.

    `other_than` are single kits that are ruled out. `at_most` caps measures, which is how ties are broken: the first
    measure is capped at its best value and the next one minimised.
    """

    budget_cents: int | None = None
    must: Kit = frozenset()
    never: Kit = frozenset()
    other_than: frozenset[Kit] = frozenset()
    at_most: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Aim:
    """What the best kit is best at. Questions, commands and reports know aims by what stands here alone.

    Attributes
    ----------
    name
        As it is typed.
    measures
        Names of what is minimised and of what then breaks ties, in turn (`optimization.measures`).
    adds_up
        Whether its values add up over months and riders, so that orders, forecasts and quotes can use it.
    counts_price
        Whether what guards cost counts in it.
    help
        What is to be least, for the list of aims.
    measured, per
        What the objective is called, where ``{tail}`` stands for a share, and what a loss in it is a loss in.
    purpose
        What a kit that is best at it does.
    """

    name: str
    measures: tuple[str, ...]
    adds_up: bool
    counts_price: bool
    help: str
    measured: str
    per: str
    purpose: str

    BILLS: ClassVar[Aim]
    OUTLAY: ClassVar[Aim]
    WORST: ClassVar[Aim]

    def __str__(self) -> str:
        """The name."""
        return self.name


BILLS = Aim(
    name="bills",
    measures=("cost", "spend", "change"),
    adds_up=True,
    counts_price=False,
    help="what falls cost",
    measured="cost over the years",
    per="over the years",
    purpose="falls cost you least over the years",
)

OUTLAY = Aim(
    name="outlay",
    measures=("outlay", "spend", "change"),
    adds_up=True,
    counts_price=True,
    help="that and the guards, resale taken off",
    measured="cost over the years, purchases included,",
    per="over the years, purchases included",
    purpose="falls and guards together cost you least over the years",
)

WORST = Aim(
    name="worst",
    measures=("tail", "cost", "spend", "change"),
    adds_up=False,
    counts_price=False,
    help="the worst falls' mean",
    measured="mean cost of the worst {tail} of falls",
    per="in the mean of the worst falls",
    purpose="the worst falls cost you least",
)

Aim.BILLS, Aim.OUTLAY, Aim.WORST = BILLS, OUTLAY, WORST

AIMS: dict[str, Aim] = {aim.name: aim for aim in (BILLS, OUTLAY, WORST)}
"""Every aim by its name; the first is the default."""


def aim_named(name: str | Aim) -> Aim:
    """The aim of this name.

    Raises
    ------
    KeyError
        There is none.
    """
    return AIMS[str(name)]


@dataclass(frozen=True)
class Best:
    """A kit, what it measures on the planner's sample and how far it can be from the best.

    Attributes
    ----------
    objective, bound
        The aim's measure of the kit, and a value that no allowed kit is below. Both are on the sample.
    proven
        False if the search stopped before the gap closed.
    is_out_of_time
        Whether it stopped at the time limit, the last resort; what was found then may differ from run to run.
    """

    kit: Kit
    objective: float
    bound: float
    proven: bool
    is_out_of_time: bool = False

    @property
    def status(self) -> Status:
        """How the search ended."""
        if self.proven:
            return Status.OPTIMAL
        return Status.TIME_LIMIT if self.is_out_of_time else Status.EFFORT_LIMIT

    @property
    def gap(self) -> float:
        """(objective − bound) / max(1, |objective|)."""
        return (self.objective - self.bound) / max(1.0, abs(self.objective))


class Status(StrEnum):
    """How the search ended."""

    OPTIMAL = "optimal"
    TIME_LIMIT = "time_limit"
    EFFORT_LIMIT = "effort_limit"


def status_of(proven: bool) -> Status:
    """How a search ended whose answer is proven best, or is not."""
    return Status.OPTIMAL if proven else Status.TIME_LIMIT
