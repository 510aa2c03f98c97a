"""One bike on the bench: its simulated falls and the planner that every question about it is put to.

Questions take a scenario or a bench. Passing the same bench again saves simulating the falls and finding the
facts anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.simulation.sampling import Stratum, draw

if TYPE_CHECKING:
    from guardopt.optimization.benders import Planner

TAIL = 0.1
"""The share of falls that count as the worst."""

FRESH_SAMPLE = 4
"""Kits are judged on a sample this many times larger than the one that plans are made on, and independent of it."""


@dataclass(frozen=True)
class Bench:
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
        # HiGHS is loaded here before PuLP may do it, since PuLP takes an interrupt in the middle for a missing package.
        from guardopt.optimization.benders import Planner

        return Planner(self.scenario, self.sample, tail=self.tail)

    def with_terms(self, scenario: Scenario) -> Bench:
        """A bench for a scenario whose falls cost what those of this one do; it shares the sample and the facts.

        Parameters
        ----------
        scenario
            One that `try_values.same_falls` says this of.
        """
        other = Bench(scenario, self.tail, self.solver)
        other.__dict__.update(sample=self.sample, planner=self.planner.with_terms(scenario))
        return other

    def fresh(self, kits: Iterable[Kit]) -> Iterator[Stratum]:
        """Falls to judge these kits on, drawn on the fly; they are the same at every call and for all kits."""
        falls = FRESH_SAMPLE * self.scenario.falls_sampled
        return draw(self.scenario, falls, self.scenario.seed, "price", frozenset().union(*kits))


def on_bench(subject: Scenario | Bench) -> Bench:
    """The bench of a scenario, or the one that was given."""
    return subject if isinstance(subject, Bench) else Bench(subject)
