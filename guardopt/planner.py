"""The loop: solve the program, price its kit exactly, stop if the price meets the bound, else add the facts found there.

It ends, because there are finitely many kits and a fact is exact at its own. One planner owns one sample, one pool of
facts and one program; every question about the same bike is put to the same planner, and leaves it wiser.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from guardopt.bills import Bike
from guardopt.errors import NoKitError, SolverError
from guardopt.facts import FactFinder, Facts
from guardopt.falls import Floats, Stratum
from guardopt.program import Limits, Measure, Program, Terms
from guardopt.scenario import Kit, Scenario

GAP = 1e-6
"""Relative gap at which a kit counts as proven best."""

TIE = 1e-9
"""Relative difference below which two costs are the same; sums of the same costs in another order differ by less."""

RELAXATION_ROUNDS = 30


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
        False if the time ran out before the gap closed.
    """

    kit: Kit
    objective: float
    bound: float
    proven: bool

    @property
    def gap(self) -> float:
        """(objective − bound) / max(1, |objective|)."""
        return (self.objective - self.bound) / max(1.0, abs(self.objective))


class Planner:
    """Answers which kit is best, for any aim, budget and guards forced in or out.

    Parameters
    ----------
    scenario
        The bike, its falls and the guards on offer.
    sample
        The simulated falls it plans on.
    tail
        Share of falls that the aim ``worst`` looks at.
    solver
        Name of a solver that PuLP knows.
    """

    def __init__(
        self, scenario: Scenario, sample: Sequence[Stratum], *, tail: float = 0.1, solver: str = "HiGHS"
    ) -> None:
        self.scenario = scenario
        self.bike = Bike(scenario)
        self._finder = FactFinder(self.bike, sample, tail)
        years_of = scenario.annuity * np.array([fall.per_year for fall in scenario.falls])
        self._terms = Terms(
            group_weight=years_of[self._finder.group_fall],
            group_floor=self._finder.group_floor,
            guard_cost=years_of @ self._finder.renewals + np.array([guard.dislike for guard in scenario.guards]),
            fixed_cost=float(years_of @ self._finder.fixed_cost),
        )
        self._program = Program(scenario, self._terms, solver)
        self._pool: list[list[tuple[float, Floats]]] = [[] for _ in self._terms.group_floor]
        self._tail_pool: list[tuple[float, Floats]] = []
        self._known: dict[Kit, dict[Measure, float]] = {}
        self._relaxed: set[Measure] = set()

    def measures(self, kit: Kit) -> dict[Measure, float]:
        """Every measure of a kit, exact on the sample; the facts found on the way are kept."""
        if kit not in self._known:
            x = self.bike.kit_array(kit).astype(float)
            facts = self._finder.at(x)
            self._keep(facts, x)
            cost = (
                float(self._terms.group_weight @ facts.constant + self._terms.guard_cost @ x) + self._terms.fixed_cost
            )
            spend = self.scenario.spend_cents(kit) / 100
            outlay = cost + spend - self.scenario.resale_value(kit)
            self._known[kit] = {
                Measure.COST: cost,
                Measure.OUTLAY: outlay,
                Measure.TAIL: facts.tail_constant,
                Measure.SPEND: spend,
            }
        return self._known[kit]

    def best(
        self, aim: Aim, limits: Limits | None = None, *, gap: float = GAP, seconds: float | None = None
    ) -> Best:
        """The best kit for an aim within limits; ties go as the aim says.

        Parameters
        ----------
        aim
            What is to be least.
        limits
            Budget, and guards forced in or out. Default: none.
        gap
            Relative gap at which to stop.
        seconds
            Time allowed; the best kit found by then is returned with its honest gap.

        Raises
        ------
        NoKitError
            No kit is allowed.
        SolverError
            The solver failed, or the time ran out before any kit was found.
        """
        limits = limits or Limits()
        end = None if seconds is None else time.monotonic() + seconds
        first, *tie_breakers = aim.measures
        best = self._minimise(first, limits, None, gap, end)
        ceilings: dict[Measure, float] = {}
        previous, kit = first, best.kit
        for measure in tie_breakers:
            value = self.measures(kit)[previous]
            ceilings[previous] = value + TIE * max(1.0, abs(value))
            kit = self._minimise(measure, replace(limits, at_most=dict(ceilings)), kit, gap, end).kit
            previous = measure
        objective = self.measures(kit)[first]
        return replace(best, kit=kit, objective=objective, bound=min(best.bound, objective))

    def objective(self, aim: Aim, limits: Limits, *, gap: float = GAP) -> float | None:
        """What the best kit measures, ties left unbroken; None if no kit is allowed."""
        try:
            return self._minimise(aim.measures[0], limits, None, gap, None).objective
        except NoKitError:
            return None

    def _minimise(self, measure: Measure, limits: Limits, kit: Kit | None, gap: float, end: float | None) -> Best:
        """The loop, starting from a kit that is allowed, if one is known."""
        if measure not in self._relaxed:
            self._close_relaxation(measure, limits, end)
        value = np.inf if kit is None else self.measures(kit)[measure]
        bound = -np.inf
        tried: set[Kit] = set()
        while kit is None or value - bound > gap * max(1.0, abs(value)):
            answer = self._program.solve(measure, limits, seconds=_left(end))
            bound = max(bound, -np.inf if answer.bound is None else answer.bound)
            if answer.kit is None:
                break
            found = self._kit(answer.kit)
            if not self._is_allowed(found, limits):
                self._program.exclude(answer.kit)
                continue
            measured = self.measures(found)
            fits = all(measured[one] <= most for one, most in limits.at_most.items())
            if fits and measured[measure] < value:
                kit, value = found, measured[measure]
            if found in tried or (end is not None and time.monotonic() >= end):
                break
            tried.add(found)
        if kit is None:
            raise SolverError("no kit was found in the time allowed")
        return Best(kit, value, min(bound, value), value - bound <= gap * max(1.0, abs(value)))

    def _close_relaxation(self, measure: Measure, limits: Limits, end: float | None) -> None:
        """Find facts at fractional kits until the relaxed program stops rising: cheap, and most of the proof."""
        self._relaxed.add(measure)
        last = -np.inf
        for _ in range(RELAXATION_ROUNDS):
            answer = self._program.solve(measure, limits, whole=False, seconds=_left(end))
            if answer.kit is None or answer.bound is None or answer.bound <= last + 1e-4 * max(1.0, abs(last)):
                return
            last = answer.bound
            self._keep(self._finder.at(answer.kit), answer.kit)

    def _keep(self, facts: Facts, x: Floats) -> None:
        """Add to the program those facts that say more at x than it knew."""
        says = facts.groups_at(x)
        news = [
            group
            for group, known in enumerate(self._pool)
            if says[group] > max([self._terms.group_floor[group], *(c - s @ x for c, s in known)]) * (1 + TIE) + TIE
        ]
        for group in news:
            self._pool[group].append((float(facts.constant[group]), facts.slope[group]))
        self._program.add_group_facts(news, facts.constant[news], facts.slope[news])
        if facts.tail_at(x) > max([0.0, *(c - s @ x for c, s in self._tail_pool)]) * (1 + TIE) + TIE:
            self._tail_pool.append((facts.tail_constant, facts.tail_slope))
            self._program.add_tail_fact(facts.tail_constant, facts.tail_slope)

    def _kit(self, x: Floats) -> Kit:
        return frozenset(guard.id for guard, value in zip(self.scenario.guards, x, strict=True) if value > 0.5)

    def _is_allowed(self, kit: Kit, limits: Limits) -> bool:
        """Recompute from the kit alone what the solver claims of it, money in whole cents."""
        budget = limits.budget_cents
        return (
            not self.scenario.clashes(kit)
            and self.scenario.is_within_weight(kit)
            and limits.must <= kit
            and not limits.never & kit
            and (budget is None or self.scenario.spend_cents(kit) <= budget)
        )


def _left(end: float | None) -> float | None:
    return None if end is None else max(0.0, end - time.monotonic())
