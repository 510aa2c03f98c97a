"""Answers which kit is best: cuts from the falls, a tree over the guards, ties broken in turn.

One planner owns one sample and one pool of cuts; every question about the same bike is put to the same planner, and
leaves it with more cuts. A cut says "with any kit within this budget, falls of this group cost at least this", so
what one question adds can never mislead another (J. F. Benders, Numerische Mathematik 4, 1962; cuts at whole and at
fractional points as in M. Fischetti, I. Ljubić, M. Sinnl, Management Science 63(7), 2017).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import replace
from functools import cache, cached_property

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.cuts.cut_finder import BareBills, FactFinder
from guardopt.cuts.cut_pool import BundledCuts, CutPool, CutSet
from guardopt.cuts.enumeration import KitTable, legal_kits
from guardopt.cuts.tail_cuts import TailFinder
from guardopt.cuts.ties import TIE
from guardopt.cuts.waiting import Waiting, WaitingTable
from guardopt.deadline import NEVER, Deadline
from guardopt.errors import NoKitError, OutOfTimeError
from guardopt.model.aims import GAP, Aim, Best, Limits
from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.formulation import Terms, columns_of, fitting_rows
from guardopt.optimization.infeasibility import why_no_kit
from guardopt.optimization.measures import COST, MEASURES, SPEND
from guardopt.optimization.nodes import Found
from guardopt.optimization.question import Question
from guardopt.optimization.tree import Tree
from guardopt.simulation.compiled import Bike
from guardopt.simulation.sampling import Stratum

GRID = 1024
"""Fractional points are moved to multiples of 1 / GRID before cuts are found there, so that sums of them are exact."""


class Focus:
    """What is known for budgets up to one: the least that falls can cost within it, and the program's bounds."""

    def __init__(self, budget_cents: int | None, least: Floats, floor: Floats) -> None:
        self.budget_cents, self.least, self.floor = budget_cents, least, floor
        self.least_of_tail: Floats | None = None

    def serves(self, budget_cents: int | None) -> bool:
        """Whether what is known holds within this budget and was not found for a much larger one."""
        if budget_cents is None or self.budget_cents is None:
            return budget_cents is self.budget_cents
        return self.budget_cents / 2 <= budget_cents <= self.budget_cents


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
    """

    def __init__(self, scenario: Scenario, sample: Sequence[Stratum], *, tail: float = 0.1) -> None:
        self._sample, self.tail = sample, tail
        self._bike = Bike(scenario)
        self._finder = FactFinder(self._bike, sample)
        self._pool = CutPool()
        self._table = self._list_kits(scenario)
        self._take_rates(scenario)

    def with_rates(self, per_year: Sequence[float]) -> Planner:
        """A planner for the same bike with other fall rates, which shares sample, cuts and table with this one.

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
        """A planner for the same falls under other terms, which shares sample and cuts with this one.

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
        other._pool = CutPool()
        for cuts in self._pool.sets:
            if cuts.budget_cents is None:
                other._pool.add(cuts)

        @cache
        def same_kits() -> KitTable | None:
            known = table()
            return None if known is None else known.with_terms(scenario)

        other._table = same_kits if is_worn_alike else other._list_kits(scenario)
        other._take_rates(scenario)
        return other

    def _take_rates(self, scenario: Scenario) -> None:
        finder = self._finder
        self.scenario = scenario
        self._years_of = scenario.annuity * np.array([fall.per_year for fall in scenario.falls])
        self.columns = columns_of(scenario, int(finder.group_bundle.max(initial=-1)) + 1)
        terms, self._waiting = _terms(finder, scenario, self._bike, self.columns.bundles)
        self._terms = terms
        self._bundled = BundledCuts(self._pool, terms.weights, len(scenario.guards), self._waiting)
        self._tail_pool = CutPool()
        self._bundled_tail = BundledCuts(self._tail_pool, np.ones((1, 1)), len(scenario.guards))
        self._known: dict[tuple[Kit, str], float] = {}
        self._focus: Focus | None = None
        self.fitting_rows = fitting_rows(scenario)

    def bundled(self, *, is_tail: bool) -> BundledCuts:
        """The cuts found so far, as they bound the tail mean or the cost columns."""
        return self._bundled_tail if is_tail else self._bundled

    def cut_sets(self, *, is_tail: bool) -> Sequence[CutSet]:
        """Where these cuts were found, by the number that rows of a program name."""
        return (self._tail_pool if is_tail else self._pool).sets

    @property
    def kept_groups(self) -> Sequence[BareBills]:
        """The groups of falls that may reach the cap; their cost columns are the last ones before the tail mean."""
        return self._finder.kept_groups

    @property
    def bike(self) -> Bike:
        """The scenario as arrays."""
        return self._bike

    @property
    def terms(self) -> Terms:
        """The numbers of the program that come from the sample."""
        return self._terms

    @cached_property
    def _tail_finder(self) -> TailFinder:
        return TailFinder(Bike(self.scenario), self._sample, self.tail)

    def focus_on(self, budget_cents: int | None) -> Focus:
        """What is known for kits within a budget."""
        if self._focus is None or not self._focus.serves(budget_cents):
            if self._pool.trim():
                terms = self._terms
                self._bundled = BundledCuts(self._pool, terms.weights, len(self.scenario.guards), self._waiting)
            least = self._finder.least_costs(budget_cents)
            floor = self._waiting.bundled(self._terms.weights @ self._finder.group_floor(least))
            self._focus = Focus(budget_cents, least, floor)
        return self._focus

    @property
    def most_tail(self) -> float:
        """The most that the tail mean can be with any kit."""
        return self._tail_finder.most

    def measure(self, name: str, kit: Kit) -> float:
        """What a kit measures, exact on the sample; `name` is that of a measure (`measures.MEASURES`)."""
        if (kit, name) not in self._known:
            self._known[kit, name] = MEASURES[name].value(self, kit)
        return self._known[kit, name]

    def falls_cost(self, kit: Kit) -> float:
        """Cost of falls over the years with a kit, renewals and dislikes included."""
        x, terms = self.bike.kit_array(kit).astype(float), self._terms
        falls = float(self._waiting.bundled(terms.weights @ self._finder.at(x).at(x)).sum())
        return falls + float(terms.guard_cost @ x) + terms.fixed_cost

    def tail_mean(self, kit: Kit) -> float:
        """Mean cost of the worst share of falls with a kit."""
        x = self.bike.kit_array(kit).astype(float)
        return float(self._tail_finder.at(x).at(x)[0])

    def cuts_at(self, point: Floats, budget_cents: int | None = None, off: Bools | None = None) -> CutSet:
        """The cuts found at a point, kept for what is asked later.

        Parameters
        ----------
        point
            ``(guards,)``; fractional ones are moved to multiples of 1 / `GRID`.
        budget_cents
            The budget of a focus that the cuts are to hold within; None: for every kit.
        off
            ``(guards,)``: guards that are off where the cuts are to say most.
        """
        return self._find(self._pool, point, budget_cents, off, is_tail=False)

    def tail_cuts_at(self, point: Floats, budget_cents: int | None = None, off: Bools | None = None) -> CutSet:
        """The cut about the tail mean found at a point, shaped as one group; as `cuts_at`."""
        return self._find(self._tail_pool, point, budget_cents, off, is_tail=True)

    def _find(
        self, pool: CutPool, point: Floats, budget_cents: int | None, off: Bools | None, *, is_tail: bool
    ) -> CutSet:
        near = np.round(point * GRID) / GRID
        # A guard that is off but in the kit would make the cuts less than exact there.
        without = np.zeros(near.size, dtype=bool) if off is None else off & (near == 0.0)
        known = pool.at(near, budget_cents, without)
        if known is None:
            finder = self._tail_finder if is_tail else self._finder
            found = finder.at(near, self._least(budget_cents, is_tail=is_tail), without)
            known = CutSet(near, found.constant, found.slope, budget_cents, without)
            pool.add(known)
        return known

    def _least(self, budget_cents: int | None, *, is_tail: bool) -> Floats:
        """``(falls,)``: what falls that may reach the cap cost at least within a budget."""
        focus = self.focus_on(budget_cents)
        if not is_tail:
            return focus.least
        if focus.least_of_tail is None:
            focus.least_of_tail = self._tail_finder.least_costs(budget_cents)
        return focus.least_of_tail

    def bundle_cuts_at(self, kit: Kit) -> tuple[Floats, Floats]:
        """Cuts at a kit about the cost columns: constants ``(bundles,)``, slopes ``(bundles, guards)``."""
        return self._bundled.of(self.cuts_at(self.bike.kit_array(kit).astype(float)))

    @property
    def known_bundle_cuts(self) -> Iterator[tuple[Floats, Floats]]:
        """Cuts found so far that hold for every kit, shaped as those of `bundle_cuts_at`."""
        for cuts in self._pool.sets:
            if cuts.budget_cents is None:
                yield self._bundled.of(cuts)

    def search(
        self,
        measure: str,
        limits: Limits,
        kits: Sequence[Kit] = (),
        *,
        gap: float = GAP,
        deadline: Deadline = NEVER,
    ) -> Found:
        """Minimise one measure; spend counts in cents.

        Parameters
        ----------
        measure, limits
            What is minimised, over which kits.
        kits
            Kits to start from.
        gap, deadline
            When to stop.
        """
        focus = self.focus_on(limits.budget_cents)
        question = Question(self, measure, limits, focus)
        tree = Tree(question.statement(), question, gap=gap, deadline=deadline)
        return tree.run([self.bike.kit_array(kit) for kit in kits])

    def best(
        self,
        aim: Aim,
        limits: Limits | None = None,
        *,
        kits: Sequence[Kit] = (),
        gap: float = GAP,
        deadline: Deadline = NEVER,
    ) -> Best:
        """The best kit for an aim within limits; ties go as the aim says.

        Parameters
        ----------
        aim
            What is to be least.
        limits
            Budget, and guards forced in or out. Default: none.
        kits
            Kits to start from.
        gap
            Relative gap at which to stop.
        deadline
            When to stop; the best kit found by then is returned with its honest gap.

        Raises
        ------
        NoKitError
            No kit is allowed.
        OutOfTimeError
            The search stopped before any kit was found.
        SolverError
            Numbers that should agree do not.
        """
        limits = limits or Limits()
        first, *tie_breakers = aim.measures
        found = self.search(first, limits, [*kits, *self._known_kits(first, limits)], gap=gap, deadline=deadline)
        if found.kit is None:
            if not found.is_complete:
                raise OutOfTimeError("no kit was found in the time allowed")
            least = self.least_spend(math.inf, limits, deadline=deadline)
            raise NoKitError(why_no_kit(self.scenario, limits, least))
        kit, bound = self.kit_of(found.kit), found.bound
        is_out_of_time = not found.is_complete and deadline.is_over
        ceilings: dict[str, float] = {}
        previous = first
        for measure in tie_breakers:
            if deadline.is_over:
                break
            value = self.measure(previous, kit)
            ceilings[previous] = value + TIE * max(1.0, abs(value))
            tied = self.search(measure, replace(limits, at_most=dict(ceilings)), [kit], gap=gap, deadline=deadline)
            kit = kit if tied.kit is None else self.kit_of(tied.kit)
            previous = measure
        objective = self.measure(first, kit)
        best = Best(kit, objective, min(bound, objective), found.is_complete, is_out_of_time)
        # A search may end without a bound that proves its kit; then nothing is called proven. Among very large amounts
        # rounding alone leaves more than the gap; less than half a cent of it is nothing.
        is_close = best.gap <= max(gap, TIE) or best.objective - best.bound < HALF_A_CENT
        return best if is_close else replace(best, proven=False)

    def counted_of_price(self, aim: Aim, name: str) -> float:
        """What each unit of money of a guard's price counts in an aim's objective, if the guard is in the kit.

        The price itself, less what it fetches at the end, in the aim outlay; and its renewals where they cost as much.
        """
        guard, scenario = self.scenario.guard[name], self.scenario
        row = self.bike.guard_row[name]
        wear = float(self._years_of @ self._finder.renewals[:, row]) if guard.renews_at_price else 0.0
        per_unit = wear / guard.price if guard.price else 0.0
        if aim.counts_price:
            return per_unit + 1.0 - scenario.discount_at_end * guard.resale_share
        return per_unit if aim.adds_up else 0.0

    def best_or_none(self, aim: Aim, limits: Limits, *, gap: float = GAP, deadline: Deadline = NEVER) -> Best | None:
        """The best kit, as `best`; None if no kit is allowed.

        Meant for many questions about one bike: where its kits are few they are listed once and for all.

        Raises
        ------
        OutOfTimeError
            The search stopped before any kit was found.
        """
        if deadline.is_over:
            raise OutOfTimeError("the time allowed is over")
        table = None if not aim.adds_up else self._table()
        if table is not None:
            found = table.best(
                self._years_of,
                limits.budget_cents,
                limits.must,
                limits.never,
                limits.other_than,
                outlay=aim.counts_price,
                gap=gap,
            )
            return None if found is None else Best(*found, proven=True)
        try:
            return self.best(aim, limits, gap=gap, deadline=deadline)
        except NoKitError:
            return None

    def least_spend(self, cost_at_most: float, limits: Limits, *, deadline: Deadline = NEVER) -> int | None:
        """The least spend, in cents, of a kit that costs no more than this over the years; its budget is not looked at.

        None if there is no such kit, or none was proven in time.
        """
        if deadline.is_over:
            return None
        table = self._table()
        if table is not None:
            return table.cheapest(self._years_of, cost_at_most, limits.must, limits.never)
        at_most = {} if math.isinf(cost_at_most) else {COST: cost_at_most}
        wanted = replace(limits, budget_cents=None, at_most=at_most)
        found = self.search(SPEND, wanted, deadline=deadline)
        if found.kit is None or not found.is_complete:
            return None
        return self.scenario.spend_cents(self.kit_of(found.kit))

    def _list_kits(self, scenario: Scenario) -> Callable[[], KitTable | None]:
        """The table of every kit, made when it is first asked for; None where they are too many to list."""

        @cache
        def table() -> KitTable | None:
            return self._list(scenario, None)

        return table

    def _list(self, scenario: Scenario, among: Kit | None) -> KitTable | None:
        kits = legal_kits(scenario, among)
        if kits is None:
            return None
        finder = self._finder
        exact = finder.renewals @ kits.T + finder.fixed_cost[:, np.newaxis]
        waiting = WaitingTable(self._bike, finder.waits, finder.fixed_noted)
        for one in finder.merged_costs(kits):
            if not waiting.takes(one):
                exact[one.kind] += one.cost[one.which]
        kept = np.flatnonzero(finder.group_is_kept)
        floor = finder.group_floor(finder.least_costs())

        def price_kit(x: Floats) -> tuple[Floats, Floats]:
            found = finder.at_kept(x)
            return found.constant, found.slope

        of_kits = waiting.of_kits(len(kits)) if finder.waits.size else None
        return KitTable(scenario, kits, exact, finder.group_fall[kept], floor[kept], price_kit, of_kits)

    def listed(self, among: Kit | None = None) -> KitTable | None:
        """Every kit that can be fitted, with what it costs; None if they are too many to list.

        Parameters
        ----------
        among
            Only kits of these guards. Default: of all.
        """
        return self._table() if among is None else self._list(self.scenario, among)

    @property
    def years_of(self) -> Floats:
        """``(kinds of fall,)``: ā λ_f, how many falls of each kind count over the years."""
        return self._years_of

    def _known_kits(self, measure: str, limits: Limits) -> list[Kit]:
        """The best of the kits measured so far that are allowed, to start from."""
        known = sorted((value, sorted(kit)) for (kit, one), value in self._known.items() if one is measure)
        allowed = (frozenset(kit) for _, kit in known if self.is_allowed(frozenset(kit), limits))
        first = next(allowed, None)
        return [] if first is None else [first]

    def kit_of(self, fitted: Bools) -> Kit:
        """The ids of the guards fitted, from ``(guards,)``."""
        return frozenset(guard.id for guard, is_on in zip(self.scenario.guards, fitted, strict=True) if is_on)

    def is_allowed(self, kit: Kit, limits: Limits) -> bool:
        """Whether a kit keeps every rule and limit, money in whole cents."""
        budget = limits.budget_cents
        return (
            limits.must <= kit
            and not limits.never & kit
            and kit not in limits.other_than
            and (budget is None or self.scenario.spend_cents(kit) <= budget)
            and self.scenario.is_within_weight(kit)
            and not self.scenario.clashes(kit)
            and all(self.measure(one, kit) <= most for one, most in limits.at_most.items())
        )


def _terms(finder: FactFinder, scenario: Scenario, bike: Bike, bundles: int) -> tuple[Terms, Waiting]:
    """The numbers of the program under the scenario's rates and years, and what comes of what waits."""
    rates = np.array([fall.per_year for fall in scenario.falls])
    years_of = scenario.annuity * rates
    groups = np.arange(finder.group_fall.size)
    weights = np.zeros((bundles, groups.size))
    weights[finder.group_bundle, groups] = years_of[finder.group_fall]
    of_waiting = groups[np.isin(finder.group_bundle, finder.waits) & ~finder.group_is_kept]
    weights[finder.group_bundle[of_waiting], of_waiting] = rates[finder.group_fall[of_waiting]]
    floor, ceiling = weights @ finder.group_floor(finder.least_costs()), weights @ finder.group_ceiling
    amount = np.array([bike.costs.items[name].amount for name in finder.waits])
    waiting = Waiting(
        finder.waits, scenario.annuity * amount, scenario.repair_every, floor[finder.waits], ceiling[finder.waits]
    )
    terms = Terms(
        weights=weights,
        floor=waiting.bundled(floor),
        ceiling=waiting.bundled(ceiling),
        guard_cost=years_of @ finder.renewals + np.array([guard.dislike for guard in scenario.guards]),
        fixed_cost=float(years_of @ finder.fixed_cost),
    )
    return terms, waiting
