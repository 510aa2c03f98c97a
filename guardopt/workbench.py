"""One bike on the bench: its simulated falls and the planner that every question about it is put to.

Questions take a scenario or a workbench. Passing the same workbench again saves simulating the falls and finding the
facts anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from guardopt.falls import Stratum, draw
from guardopt.pieces import Kit
from guardopt.scenario import Scenario

if TYPE_CHECKING:
    from guardopt.planner import Planner

TAIL = 0.1
"""The share of falls that count as the worst."""

FRESH_SAMPLE = 4
"""Kits are judged on a sample this many times larger than the one that plans are made on, and independent of it."""


@dataclass(frozen=True)
class Workbench:
    """A scenario with the falls simulated for it.

    Parameters
    ----------
    scenario
        The bike, its falls and the guards on offer.
    tail
        Share of falls that count as the worst.
    solver
        Name of a solver that PuLP knows.
    """

    scenario: Scenario
    tail: float = TAIL
    solver: str = "HiGHS"

    @cached_property
    def sample(self) -> list[Stratum]:
        """The falls that plans are made on."""
        return list(draw(self.scenario, self.scenario.falls_sampled, self.scenario.seed, "plan"))

    @cached_property
    def planner(self) -> Planner:
        """The planner, with all that it has learned so far."""
        # Loads HiGHS before PuLP does, since PuLP takes an interrupt in the middle of that for a missing package.
        import guardopt.solving  # noqa: F401
        from guardopt.planner import Planner

        return Planner(self.scenario, self.sample, tail=self.tail, solver=self.solver)

    def with_terms(self, scenario: Scenario) -> Workbench:
        """A bench for a scenario whose falls cost what those of this one do; it shares the sample and the facts.

        Parameters
        ----------
        scenario
            One that `what_if.same_falls` says this of.
        """
        other = Workbench(scenario, self.tail, self.solver)
        other.__dict__.update(sample=self.sample, planner=self.planner.with_terms(scenario))
        return other

    def fresh(self, kits: Iterable[Kit]) -> Iterator[Stratum]:
        """Falls to judge these kits on, drawn on the fly; they are the same at every call and for all kits."""
        falls = FRESH_SAMPLE * self.scenario.falls_sampled
        return draw(self.scenario, falls, self.scenario.seed, "price", frozenset().union(*kits))


def on_bench(subject: Scenario | Workbench) -> Workbench:
    """The workbench of a scenario, or the one that was given."""
    return subject if isinstance(subject, Workbench) else Workbench(subject)
