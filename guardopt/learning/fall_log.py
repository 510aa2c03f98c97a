"""Real falls of bikes that were watched, as frozen objects with every side spelled out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

from guardopt.errors import Problem
from guardopt.model.pieces import Cover, Exposure, Kit, Part, Side
from guardopt.model.scenario import Scenario

DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Watched:
    """A time during which every fall of one bike was written down, first and last day included."""

    bike: str
    first: date
    last: date

    @property
    def years(self) -> float:
        """How long it was, in years of 365.25 days."""
        return ((self.last - self.first).days + 1) / DAYS_A_YEAR


@dataclass(frozen=True, slots=True)
class LoggedFall:
    """What one real fall did.

    Attributes
    ----------
    sides
        The sides struck.
    fitted
        The guards on the bike that day.
    struck
        Parts that reached the road, or were kept from it only by a guard.
    scuffed, broken
        Parts that were harmed: touched up, and replaced.
    """

    day: date
    bike: str
    fall: str
    sides: frozenset[Side]
    fitted: Kit
    struck: frozenset[str]
    scuffed: frozenset[str]
    broken: frozenset[str]

    @property
    def harmed(self) -> frozenset[str]:
        """Parts that were harmed, by the road or by another part."""
        return self.scuffed | self.broken

    @property
    def spared(self) -> frozenset[str]:
        """Parts that were struck and not harmed: what guards did."""
        return self.struck - self.harmed

    def exposes(self, part: Part) -> bool:
        """A centre part is exposed in every fall, another one if its side is struck."""
        return not part.side.is_sided or part.side in self.sides

    def serving(self, scenario: Scenario, part: str) -> list[int]:
        """Rows of the covers of a part whose guards were all fitted and serve in this fall."""
        return [row for row, cover in enumerate(scenario.covers) if cover.part == part and self.serves(cover)]

    def tells_strikes_of(self, scenario: Scenario, part: Part) -> bool:
        """Whether it shows if the bare bike would have been struck there.

        The part was exposed, and no guard was fitted that may have been what struck it.
        """
        return self.exposes(part) and not any(self.serves(row) for row in scenario.exposures_of.get(part.id, ()))

    def serves(self, row: Cover | Exposure) -> bool:
        """Whether all guards of a row were fitted and serve in this kind of fall, on a side struck."""
        is_meant = row.fall in (None, self.fall) and (row.side is None or row.side in self.sides)
        return is_meant and self.fitted.issuperset(row.guards)


@dataclass(frozen=True)
class Log:
    """Real falls of bikes that were watched. Made by `read_log`, or by hand in Python.

    Attributes
    ----------
    watched
        Times of watching; those of one bike do not overlap.
    falls
        All falls within these times.
    warnings
        What is legal but looks like a slip.
    """

    watched: tuple[Watched, ...] = ()
    falls: tuple[LoggedFall, ...] = ()
    warnings: tuple[Problem, ...] = ()

    @cached_property
    def years_of(self) -> dict[str, float]:
        """How long each bike was watched."""
        years: dict[str, float] = {}
        for one in self.watched:
            years[one.bike] = years.get(one.bike, 0.0) + one.years
        return years

    @property
    def years(self) -> float:
        """How long all bikes together were watched."""
        return sum(self.years_of.values())

    @property
    def unwatched_months(self) -> tuple[int, ...]:
        """The months of the year, 1 to 12, in which no bike was watched on any day; all of them if none ever was."""
        watched: set[int] = set()
        for one in self.watched:
            months = 12 * (one.last.year - one.first.year) + one.last.month - one.first.month
            watched |= {(one.first.month - 1 + after) % 12 + 1 for after in range(min(months, 11) + 1)}
        return tuple(month for month in range(1, 13) if month not in watched)


def givers(scenario: Scenario, fall: LoggedFall, part: str) -> list[float]:
    """The chances of the knock-ons by which broken parts of this fall may have harmed a part."""
    return [one.chance for one in scenario.knock_ons if one.takes == part and one.part in fall.broken]
