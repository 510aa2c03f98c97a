"""The loop: solve the program, price its kit exactly, stop if the price meets the bound, else add the facts found.

It ends, because there are finitely many kits and a fact is exact at its own. One planner owns one sample, one pool of
facts and one program; every question about the same bike is put to the same planner, and leaves it wiser.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from guardopt.bills import Bike
from guardopt.errors import NoKitError, OutOfTimeError
from guardopt.facts import FactFinder, Facts, TailFinder
from guardopt.falls import Floats, Stratum
from guardopt.kit_table import KitTable, legal_kits
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
        self._bike = Bike(scenario)
        self._sample, self._tail, self._solver = sample, tail, solver
        self._finder = FactFinder(self._bike, sample)
        self._found: list[tuple[Facts, Floats]] = []
        self._table = self._list_kits(scenario)
        self._take_rates(scenario)

    def with_rates(self, per_year: Sequence[float]) -> Planner:
        """A planner for the same bike with other fall rates, which shares sample, facts and table with this one.

        Parameters
        ----------
        per_year
            ``(kinds of fall,)``: λ_f, in the order of the scenario.
        """
        falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(self.scenario.falls, per_year, strict=True))
        other = copy(self)
        for name in ("_program_and_pool", "_tail_finder"):
            other.__dict__.pop(name, None)
        other._take_rates(replace(self.scenario, falls=falls))
        return other

    def _take_rates(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self._years_of = scenario.annuity * np.array([fall.per_year for fall in scenario.falls])
        self._terms = Terms(
            bundle_floor=self._bundled(self._finder.group_floor),
            guard_cost=self._years_of @ self._finder.renewals + np.array([guard.dislike for guard in scenario.guards]),
            fixed_cost=float(self._years_of @ self._finder.fixed_cost),
        )
        self._tail_pool = _Pool(np.zeros(1), len(scenario.guards))
        self._known: dict[tuple[Kit, Measure], float] = {}
        self._relaxed: set[Measure] = set()

    @property
    def bike(self) -> Bike:
        """The scenario as arrays."""
        return self._bike

    @cached_property
    def _tail_finder(self) -> TailFinder:
        return TailFinder(Bike(self.scenario), self._sample, self._tail)

    @cached_property
    def _program_and_pool(self) -> tuple[Program, _Pool]:
        """The program, with the facts that were found before it was needed, and what it has been told."""
        program = Program(self.scenario, self._terms, self._solver)
        pool = _Pool(self._terms.bundle_floor, len(self.scenario.guards))
        for found, x in self._found:
            program.add_bundle_facts(*pool.news(self._bundled(found.constant), self._bundled(found.slope), x))
        return program, pool

    @property
    def _program(self) -> Program:
        return self._program_and_pool[0]

    def _bundled(self, per_group: Floats) -> Floats:
        """Sum groups, each at what a year of its falls weighs over the years, into the program's variables."""
        bundles = self._finder.group_bundle.max(initial=-1) + 1
        total = np.zeros((bundles, *per_group.shape[1:]))
        np.add.at(total, self._finder.group_bundle, (self._years_of[self._finder.group_fall] * per_group.T).T)
        return total

    def measure(self, measure: Measure, kit: Kit) -> float:
        """What a kit measures, exact on the sample; the facts found on the way are kept."""
        if measure is Measure.SPEND:
            return self.scenario.spend_cents(kit) / 100
        if measure is Measure.OUTLAY:
            return (
                self.measure(Measure.COST, kit) + self.scenario.spend_cents(kit) / 100 - self.scenario.resale_value(kit)
            )
        if (kit, measure) not in self._known:
            x = self.bike.kit_array(kit).astype(float)
            says = self._learn(measure, x)
            guards = float(self._terms.guard_cost @ x) + self._terms.fixed_cost
            self._known[kit, measure] = says + (guards if measure is Measure.COST else 0.0)
        return self._known[kit, measure]

    def _learn(self, measure: Measure, x: Floats) -> float:
        """Find facts at a kit, keep those that say more there than was known, and add up what they say."""
        if measure is Measure.TAIL:
            facts = self._tail_finder.at(x)
            self._program.add_tail_facts(*self._tail_pool.news(facts.constant, facts.slope, x)[1:])
            return float(facts.at(x)[0])
        found = self._finder.at(x)
        constant, slope = self._bundled(found.constant), self._bundled(found.slope)
        if "_program_and_pool" in self.__dict__:
            program, pool = self._program_and_pool
            news = pool.news(constant, slope, x)
            program.add_bundle_facts(*news)
            is_news = bool(news[0].size)
        else:
            is_news = not any(np.array_equal(x, known) for _, known in self._found)
        if is_news:
            self._found.append((found, x))
        return float((constant - slope @ x).sum())

    def bundled_facts(self, kit: Kit) -> tuple[Floats, Floats]:
        """Facts at a kit about the variables of the program: constants ``(bundles,)``, slopes ``(bundles, guards)``."""
        found = self._finder.at(self.bike.kit_array(kit).astype(float))
        return self._bundled(found.constant), self._bundled(found.slope)

    @property
    def known_facts(self) -> Iterator[tuple[Floats, Floats]]:
        """All facts found so far, shaped as `bundled_facts`."""
        return ((self._bundled(found.constant), self._bundled(found.slope)) for found, _ in self._found)

    @property
    def terms(self) -> Terms:
        """The numbers that the program takes from the sample."""
        return self._terms

    def best(self, aim: Aim, limits: Limits | None = None, *, gap: float = GAP, seconds: float | None = None) -> Best:
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
        OutOfTimeError
            The time ran out before any kit was found.
        SolverError
            The solver failed.
        """
        limits = limits or Limits()
        end = None if seconds is None else time.monotonic() + seconds
        first, *tie_breakers = aim.measures
        best = self._minimise(first, limits, None, gap, end)
        ceilings: dict[Measure, float] = {}
        previous, kit = first, best.kit
        for measure in tie_breakers:
            value = self.measure(previous, kit)
            ceilings[previous] = value + TIE * max(1.0, abs(value))
            kit = self._minimise(measure, replace(limits, at_most=dict(ceilings)), kit, gap, end).kit
            previous = measure
        objective = self.measure(first, kit)
        return replace(best, kit=kit, objective=objective, bound=min(best.bound, objective))

    def best_untied(self, aim: Aim, limits: Limits, *, gap: float = GAP, end: float | None = None) -> Best | None:
        """One of the best kits, ties left unbroken; None if no kit is allowed or none was found in time.

        Meant for many questions about one bike: where its kits are few they are listed once and for all.
        """
        if end is not None and time.monotonic() >= end:
            return None
        table = None if aim is Aim.WORST else self._table()
        if table is not None:
            found = table.best(
                self._years_of,
                limits.budget_cents,
                limits.must,
                limits.never,
                outlay=aim is Aim.OUTLAY,
                gap=gap,
            )
            return None if found is None else Best(*found, proven=True)
        try:
            return self._minimise(aim.measures[0], limits, None, gap, end)
        except (NoKitError, OutOfTimeError):
            return None

    def least_spend(self, cost_at_most: float, limits: Limits, *, end: float | None = None) -> int | None:
        """The least spend, in cents, of a kit that costs no more than this over the years; its budget is not looked at.

        None if there is no such kit, or none was found in time.
        """
        table = self._table()
        if table is not None:
            return table.cheapest(self._years_of, cost_at_most, limits.must, limits.never)
        wanted = replace(limits, budget_cents=None, at_most={Measure.COST: cost_at_most})
        try:
            best = self._minimise(Measure.SPEND, wanted, None, GAP, end)
        except (NoKitError, OutOfTimeError):
            return None
        return self.scenario.spend_cents(best.kit)

    def _list_kits(self, scenario: Scenario) -> Callable[[], KitTable | None]:
        """The table of every kit, made when it is first asked for; None where they are too many to list."""

        @cache
        def table() -> KitTable | None:
            kits = legal_kits(scenario)
            if kits is None:
                return None
            finder = self._finder
            exact = finder.merged_costs(kits) + finder.renewals @ kits.T + finder.fixed_cost[:, np.newaxis]
            kept = np.flatnonzero(finder.group_is_kept)

            def price_kit(x: Floats) -> tuple[Floats, Floats]:
                found = finder.at(x)
                return found.constant[kept], found.slope[kept]

            return KitTable(scenario, kits, exact, finder.group_fall[kept], finder.group_floor[kept], price_kit)

        return table

    def _minimise(self, measure: Measure, limits: Limits, kit: Kit | None, gap: float, end: float | None) -> Best:
        """The loop, starting from a kit that is allowed, if one is known."""
        if measure not in self._relaxed:
            self._close_relaxation(measure, limits, end)
        kit = kit or self._best_known(measure, limits)
        value = np.inf if kit is None else self.measure(measure, kit)
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
            measured = self.measure(measure, found)
            fits = all(self.measure(one, found) <= most for one, most in limits.at_most.items())
            if fits and measured < value:
                kit, value = found, measured
            if found in tried or (end is not None and time.monotonic() >= end):
                break
            tried.add(found)
        if kit is None:
            raise OutOfTimeError("no kit was found in the time allowed")
        return Best(kit, value, min(bound, value), value - bound <= gap * max(1.0, abs(value)))

    def _best_known(self, measure: Measure, limits: Limits) -> Kit | None:
        """The best of the kits measured so far that are allowed."""
        if limits.at_most:
            return None
        known = sorted(
            ((value, kit) for (kit, one), value in self._known.items() if one is measure), key=lambda pair: pair[0]
        )
        return next((kit for _, kit in known if self._is_allowed(kit, limits)), None)

    def _close_relaxation(self, measure: Measure, limits: Limits, end: float | None) -> None:
        """Find facts at fractional kits until the relaxed program stops rising: cheap, and most of the proof."""
        self._relaxed.add(measure)
        last = -np.inf
        for _ in range(RELAXATION_ROUNDS):
            answer = self._program.solve(measure, limits, whole=False, seconds=_left(end))
            if answer.kit is None or answer.bound is None or answer.bound <= last + 1e-4 * max(1.0, abs(last)):
                return
            last = answer.bound
            for one in {measure, Measure.COST} & {Measure.COST, Measure.TAIL}:
                self._learn(one, answer.kit)

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


class _Pool:
    """The facts kept so far about each variable, to tell whether another says more at a kit than they do."""

    def __init__(self, floor: Floats, guards: int) -> None:
        self._floor = floor
        self._variable = np.zeros(0, dtype=np.int64)
        self._constant = np.zeros(0)
        self._slope = np.zeros((0, guards))

    def news(self, constant: Floats, slope: Floats, x: Floats) -> tuple[NDArray[np.int64], Floats, Floats]:
        """Keep the facts, one a variable, that say more at x: the variables, constants and slopes of these."""
        known = self._floor.copy()
        np.maximum.at(known, self._variable, self._constant - self._slope @ x)
        news = np.flatnonzero(constant - slope @ x > known * (1.0 + TIE) + TIE)
        self._variable = np.concatenate([self._variable, news])
        self._constant = np.concatenate([self._constant, constant[news]])
        self._slope = np.concatenate([self._slope, slope[news]])
        return news, constant[news], slope[news]
