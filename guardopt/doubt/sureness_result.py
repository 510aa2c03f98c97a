"""How sure a kit is, and what it would be worth to know better: the answer, as it is told and printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from guardopt.model.numbers import Number
from guardopt.model.pieces import Kit


@dataclass(frozen=True, slots=True)
class GroupWorth:
    """What it is worth to know all numbers of a group before buying.

    Attributes
    ----------
    group
        Its name (`doubtful_numbers.GROUP_OF`).
    count
        How many of its numbers are in doubt.
    evppi, evppi_se
        Expected value of partial perfect information, in the aim's measure, and its standard error.
    """

    group: str
    count: int
    evppi: float
    evppi_se: float

    def to_json(self) -> dict[str, Any]:
        """The record as ``plan --json`` prints it."""
        return {"group": self.group, "evppi": self.evppi, "evppi_se": self.evppi_se}


@dataclass(frozen=True, slots=True)
class NumberWorth:
    """What it is worth to know one number before buying, and where the best kit changes if it alone is wrong.

    Attributes
    ----------
    number
        Which it is.
    guess, low, high
        The guess, and the values that are undershot and exceeded one time in twenty.
    evppi, evppi_se
        Expected value of partial perfect information, in the aim's measure, and its standard error.
    flips_below, flips_above
        The values below and above the guess at which another kit becomes the best; None if none was found, or was
        looked for.
    kit_below, kit_above
        These kits.
    is_searched
        Whether such values were looked for.
    """

    number: Number
    guess: float
    low: float
    high: float
    evppi: float
    evppi_se: float
    flips_below: float | None = None
    flips_above: float | None = None
    kit_below: Kit | None = None
    kit_above: Kit | None = None
    is_searched: bool = False

    def to_json(self) -> dict[str, Any]:
        """The record as ``plan --json`` prints it."""
        return {
            "number": self.number.address,
            "guess": self.guess,
            "low": self.low,
            "high": self.high,
            "evppi": self.evppi,
            "evppi_se": self.evppi_se,
            "flips_below": self.flips_below,
            "flips_above": self.flips_above,
            "kit_below": None if self.kit_below is None else sorted(self.kit_below),
            "kit_above": None if self.kit_above is None else sorted(self.kit_above),
        }


@dataclass(frozen=True)
class Sureness:
    """How a kit fares when all guesses are doubted.

    Attributes
    ----------
    draws_asked, draws
        Number of draws of all numbers asked for, and how many of them were tried in the time allowed. Where none was,
        the other numbers are None and there are no guards, groups or numbers.
    best_share
        Share of those tried under which the kit is still best, to within the gap.
    best_share_se
        Standard error of that share, √(p(1−p)/draws).
    mean_regret, worst_regret
        How much worse than the best kit it is, in the aim's measure, over the draws. The mean is the expected value of
        perfect information: what it would be worth to know every number before buying.
    mean_regret_se
        Standard error of the mean regret over the draws; None for a single draw.
    guards
        Share of the best kits that each guard is in, guards in the order of the scenario.
    groups
        What it is worth to know each group of numbers, the most valuable one first; none where there were too few draws
        to tell (`information.FEWEST`).
    numbers
        The same for each number.
    kit
        The kit that is doubted.
    kits
        How many different kits were best under some draw.
    better_kit, better_by, better_by_se
        A kit that is better on average over the draws by more than two standard errors, and by how much; None where
        there is none. It is not better under the guesses themselves.
    """

    draws_asked: int
    draws: int
    best_share: float | None = None
    best_share_se: float | None = None
    mean_regret: float | None = None
    mean_regret_se: float | None = None
    worst_regret: float | None = None
    guards: tuple[tuple[str, float], ...] = ()
    groups: tuple[GroupWorth, ...] = ()
    numbers: tuple[NumberWorth, ...] = ()
    kit: Kit = frozenset()
    kits: int = 0
    better_kit: Kit | None = None
    better_by: float | None = None
    better_by_se: float | None = None

    @property
    def evpi(self) -> float | None:
        """Expected value of perfect information: the mean over the draws of what the kit costs more than the best."""
        return self.mean_regret

    @property
    def evpi_se(self) -> float | None:
        """Its standard error."""
        return self.mean_regret_se

    def worth_telling(self, most: int) -> Sequence[NumberWorth]:
        """The numbers that it is worth most to know, those that stand out from their error alone."""
        return [one for one in self.numbers if one.evppi > one.evppi_se][:most]

    def to_json(self) -> dict[str, Any]:
        """The record as ``plan --json`` prints it."""
        return {
            "draws_asked": self.draws_asked,
            "draws": self.draws,
            "best_share": self.best_share,
            "best_share_se": self.best_share_se,
            "mean_regret": self.mean_regret,
            "mean_regret_se": self.mean_regret_se,
            "worst_regret": self.worst_regret,
            "guards": [{"guard": guard, "share": share} for guard, share in self.guards],
            "evpi": self.evpi,
            "evpi_se": self.evpi_se,
            "groups": [one.to_json() for one in self.groups],
            "numbers": [one.to_json() for one in self.numbers],
            "better_kit": None if self.better_kit is None else sorted(self.better_kit),
            "better_by": self.better_by,
            "better_by_se": self.better_by_se,
        }
