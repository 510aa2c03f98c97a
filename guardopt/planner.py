"""The loop: solve the program, price its kit exactly, stop if the price meets the bound, else add the facts found.

It ends, because there are finitely many kits and a fact is exact at its own. One planner owns one sample, one pool of
facts and one program; every question about the same bike is put to the same planner, and leaves it wiser.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import replace
from functools import cache, cached_property

import numpy as np

from guardopt.aims import GAP, Aim, Best, Limits, Measure
from guardopt.arrays import Floats
from guardopt.bike import Bike
from guardopt.errors import NoKitError, OutOfTimeError
from guardopt.facts import FactFinder, TailFinder
from guardopt.falls import Stratum
from guardopt.focus import TIE, Focus
from guardopt.kit_table import KitTable, legal_kits
from guardopt.no_kit import why_no_kit
from guardopt.pieces import Kit
from guardopt.program import Program, Terms
from guardopt.scenario import Scenario

LEAST_GAP = 1e-9
"""Smaller gaps are not told apart from none: the solver works to such a tolerance."""

RELAXATION_ROUNDS = 30

FACTS_TOLD = 30
"""Kits looked at last whose facts a new program begins with."""


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
        self._visited: dict[bytes, Floats] = {}
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
        other.__dict__.pop("_tail_finder", None)
        other._take_rates(replace(self.scenario, falls=falls))
        return other

    def with_terms(self, scenario: Scenario) -> Planner:
        """A planner for the same falls under other terms, which shares sample and facts with this one.

        Parameters
        ----------
        scenario
            One whose falls cost what those of this planner do (`what_if.same_falls`): rates, years, money for guards
            and what guards cost, their wear included, may differ.
        """
        other = copy(self)
        other.__dict__.pop("_tail_finder", None)
        other._bike = Bike(scenario)
        table, is_worn_alike = self._table, np.array_equal(self._bike.wear, other._bike.wear)
        other._finder = self._finder.with_terms(other._bike, None if is_worn_alike else self._sample)

        @cache
        def same_kits() -> KitTable | None:
            known = table()
            return None if known is None else known.with_terms(scenario)

        other._table = same_kits if is_worn_alike else other._list_kits(scenario)
        other._take_rates(scenario)
        return other

    def _take_rates(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self._years_of = scenario.annuity * np.array([fall.per_year for fall in scenario.falls])
        self._terms = Terms(
            bundle_floor=self._bundled(self._finder.group_floor(self._finder.least_costs())),
            guard_cost=self._years_of @ self._finder.renewals + np.array([guard.dislike for guard in scenario.guards]),
            fixed_cost=float(self._years_of @ self._finder.fixed_cost),
        )
        self._known: dict[tuple[Kit, Measure], float] = {}
        self._focus: Focus | None = None

    @property
    def bike(self) -> Bike:
        """The scenario as arrays."""
        return self._bike

    @cached_property
    def _tail_finder(self) -> TailFinder:
        return TailFinder(Bike(self.scenario), self._sample, self._tail)

    def _focus_on(self, limits: Limits) -> Focus:
        """The program for budgets up to this one, told of the facts at what was looked at last."""
        budget = limits.budget_cents
        if self._focus is None or not self._focus.serves(budget):
            least = self._finder.least_costs(budget)
            terms = replace(self._terms, bundle_floor=self._bundled(self._finder.group_floor(least)))
            self._focus = focus = Focus(budget, least, Program(self.scenario, terms, self._solver), terms)
            for x in list(self._visited.values())[-FACTS_TOLD:]:
                if self._is_within(x, focus):
                    self._tell(Measure.COST, x, focus)
        return self._focus

    def _is_within(self, x: Floats, focus: Focus) -> bool:
        """Whether facts that hold within the budget of the program may be sought here: at kits it can pay for."""
        is_whole = bool(((x == 0.0) | (x == 1.0)).all())
        return (
            focus.budget_cents is None or not is_whole or self.scenario.spend_cents(self._kit(x)) <= focus.budget_cents
        )

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
            return self.measure(Measure.COST, kit) + self.scenario.laid_out(kit)
        x = self.bike.kit_array(kit).astype(float)
        is_told = self._focus is None or (measure, x.tobytes()) in self._focus.told
        if (kit, measure) not in self._known or not is_told:
            says = self._learn(measure, x)
            guards = float(self._terms.guard_cost @ x) + self._terms.fixed_cost
            self._known[kit, measure] = says + (guards if measure is Measure.COST else 0.0)
        return self._known[kit, measure]

    def _learn(self, measure: Measure, x: Floats) -> float:
        """Find facts at a kit, tell the program of those that say something new, and add up what they say."""
        if measure is Measure.COST:
            self._visited[x.tobytes()] = x
        if self._focus is not None and self._is_within(x, self._focus):
            return self._tell(measure, x, self._focus)
        facts = (self._tail_finder if measure is Measure.TAIL else self._finder).at(x)
        return float(facts.at(x)[0]) if measure is Measure.TAIL else float(self._bundled(facts.at(x)).sum())

    def _tell(self, measure: Measure, x: Floats, focus: Focus) -> float:
        focus.told.add((measure, x.tobytes()))
        if measure is Measure.TAIL:
            if focus.least_of_tail is None:
                focus.least_of_tail = self._tail_finder.least_costs(focus.budget_cents)
            facts = self._tail_finder.at(x, focus.least_of_tail)
            focus.program.add_tail_facts(*focus.tail_pool.news(facts.constant, facts.slope, x)[1:])
            return float(facts.at(x)[0])
        facts = self._finder.at(x, focus.least)
        constant, slope = self._bundled(facts.constant), self._bundled(facts.slope)
        focus.program.add_bundle_facts(*focus.pool.news(constant, slope, x))
        return float((constant - slope @ x).sum())

    def bundled_facts(self, kit: Kit) -> tuple[Floats, Floats]:
        """Facts at a kit about the variables of the program: constants ``(bundles,)``, slopes ``(bundles, guards)``."""
        found = self._finder.at(self.bike.kit_array(kit).astype(float))
        return self._bundled(found.constant), self._bundled(found.slope)

    @property
    def known_facts(self) -> Iterator[tuple[Floats, Floats]]:
        """Facts at all that was looked at so far, shaped as `bundled_facts`."""
        for x in self._visited.values():
            found = self._finder.at(x)
            yield self._bundled(found.constant), self._bundled(found.slope)

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
        try:
            best = self._minimise(first, limits, None, gap, end)
        except NoKitError as error:
            least = self.least_spend(math.inf, limits, end=end)
            raise NoKitError(why_no_kit(self.scenario, limits, least)) from error
        ceilings: dict[Measure, float] = {}
        previous, kit = first, best.kit
        for measure in tie_breakers:
            if _is_over(end):
                break
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
        if _is_over(end):
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
        if _is_over(end):
            return None
        table = self._table()
        if table is not None:
            return table.cheapest(self._years_of, cost_at_most, limits.must, limits.never)
        at_most = {} if math.isinf(cost_at_most) else {Measure.COST: cost_at_most}
        wanted = replace(limits, budget_cents=None, at_most=at_most)
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
            floor = finder.group_floor(finder.least_costs())

            def price_kit(x: Floats) -> tuple[Floats, Floats]:
                found = finder.at(x)
                return found.constant[kept], found.slope[kept]

            return KitTable(scenario, kits, exact, finder.group_fall[kept], floor[kept], price_kit)

        return table

    def _minimise(self, measure: Measure, limits: Limits, kit: Kit | None, gap: float, end: float | None) -> Best:
        """The loop, starting from a kit that is allowed, if one is known."""
        gap = max(gap, LEAST_GAP)
        focus = self._focus_on(limits)
        if measure not in focus.relaxed:
            self._close_relaxation(measure, limits, focus, end)
        kit = kit or self._best_known(measure, limits)
        value = np.inf if kit is None else self.measure(measure, kit)
        bound = -np.inf
        tried: set[Kit] = set()
        while kit is None or value - bound > gap * max(1.0, abs(value)):
            answer = focus.program.solve(measure, limits, seconds=_left(end))
            bound = max(bound, -np.inf if answer.bound is None else answer.bound)
            if answer.kit is None:
                break
            found = self._kit(answer.kit)
            if not self._is_allowed(found, limits):
                focus.program.exclude(answer.kit)
                continue
            measured = self.measure(measure, found)
            fits = all(self.measure(one, found) <= most for one, most in limits.at_most.items())
            if fits and measured < value:
                kit, value = found, measured
            if found in tried or _is_over(end):
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

    def _close_relaxation(self, measure: Measure, limits: Limits, focus: Focus, end: float | None) -> None:
        """Find facts at fractional kits until the relaxed program stops rising: cheap, and most of the proof."""
        focus.relaxed.add(measure)
        last = -np.inf
        for _ in range(RELAXATION_ROUNDS):
            if _is_over(end):
                return
            answer = focus.program.solve(measure, limits, whole=False, seconds=_left(end))
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


def _is_over(end: float | None) -> bool:
    return end is not None and time.monotonic() >= end


def _left(end: float | None) -> float | None:
    return None if end is None else max(0.0, end - time.monotonic())
