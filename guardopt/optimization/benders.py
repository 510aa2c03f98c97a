"""Answers which kit is best: cuts from the falls, a tree over the guards, ties broken in turn.

One planner owns one sample and one pool of cuts; every question about the same bike is put to the same planner, and
leaves it with more cuts. A cut says "with any kit within this budget, falls of this group cost at least this", so
what one question adds can never mislead another (J. F. Benders, Numerische Mathematik 4, 1962; cuts at whole and at
fractional points as in M. Fischetti, I. Ljubić, M. Sinnl, Management Science 63(7), 2017).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.cuts.enumeration import KitTable
from guardopt.cuts.known_falls import KnownFalls
from guardopt.cuts.priced_kits import PricedKits, kit_table
from guardopt.cuts.separation import Separation
from guardopt.cuts.tail_cuts import TailFinder
from guardopt.cuts.ties import TIE
from guardopt.deadline import EFFORT, NEVER, Deadline
from guardopt.errors import NoKitError, OutOfTimeError, SolverError
from guardopt.model.aims import GAP, Aim, Best, Limits
from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.formulation import columns_of, fitting_rows
from guardopt.optimization.infeasibility import why_no_kit
from guardopt.optimization.measures import COST, MEASURES, SPEND
from guardopt.optimization.nodes import Earlier, Found
from guardopt.optimization.question import Question
from guardopt.optimization.sample_average import terms_of
from guardopt.optimization.tree import Tree
from guardopt.simulation.compiled import Bike
from guardopt.simulation.sampling import Stratum


def _tail_finder(scenario: Scenario, sample: Sequence[Stratum], tail: float) -> TailFinder:
    return TailFinder(Bike(scenario), sample, tail)


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
    known
        What is shared with a planner of the same falls. Default: nothing.

    Attributes
    ----------
    bike
        The scenario as arrays.
    columns, terms, fitting_rows, cuts
        The program, limits aside: its columns, its numbers that come from the sample, its rules and its cuts.
    years_of
        ``(kinds of fall,)``: ā λ_f, how many falls of each kind count over the years.
    """

    def __init__(
        self, scenario: Scenario, sample: Sequence[Stratum], *, tail: float = 0.1, known: KnownFalls | None = None
    ) -> None:
        self._sample, self.tail = sample, tail
        self._known = known or KnownFalls.of(scenario, sample)
        self.scenario, self.bike, self._finder = scenario, self._known.bike, self._known.finder
        self.years_of = scenario.annuity * np.array([fall.per_year for fall in scenario.falls])
        self.columns = columns_of(scenario, int(self._finder.group_bundle.max(initial=-1)) + 1)
        self.terms, waiting = terms_of(self._finder, scenario, self.bike, self.columns.bundles)
        tail_finder = partial(_tail_finder, scenario, sample, tail)
        self.cuts = Separation(self._finder, self._known.pool, tail_finder, self.terms.weights, waiting)
        self._lists = PricedKits(scenario, self._known.table, self.years_of, self.cuts.tail_anew)
        self._measured: dict[tuple[Kit, str], float] = {}
        self._spend_of: dict[Kit, float] = {}
        self.fitting_rows = fitting_rows(scenario)

    def with_rates(self, per_year: Sequence[float]) -> Planner:
        """A planner for the same bike with other fall rates, which shares sample, cuts and table with this one.

        Parameters
        ----------
        per_year
            ``(kinds of fall,)``: λ_f, in the order of the scenario.
        """
        falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(self.scenario.falls, per_year, strict=True))
        return Planner(replace(self.scenario, falls=falls), self._sample, tail=self.tail, known=self._known)

    def with_terms(self, scenario: Scenario) -> Planner:
        """A planner for the same falls under other terms, which shares sample and cuts with this one.

        Parameters
        ----------
        scenario
            Its falls cost what those of this planner do; rates, years, money for guards, what they cost and wear may
            differ.
        """
        return Planner(scenario, self._sample, tail=self.tail, known=self._known.under(scenario, self._sample))

    def measure(self, name: str, kit: Kit) -> float:
        """What a kit measures, exact on the sample; `name` is that of a measure (`measures.MEASURES`)."""
        if (kit, name) not in self._measured:
            self._measured[kit, name] = MEASURES[name].value(self, kit)
        return self._measured[kit, name]

    def renewals(self, kit: Kit) -> Floats:
        """``(kinds of fall,)``: what renewing guards of a kit costs in the mean of one fall."""
        return np.asarray(self._finder.renewals @ self.bike.kit_array(kit))

    def search(
        self,
        measure: str,
        limits: Limits,
        kits: Sequence[Kit] = (),
        *,
        gap: float = GAP,
        deadline: Deadline = NEVER,
        earlier: Earlier | None = None,
    ) -> Found:
        """Minimise one measure; spend counts in cents.

        Parameters
        ----------
        measure, limits
            What is minimised, over which kits.
        kits
            To start from.
        gap, deadline, earlier
            When to stop, and a search for another measure within the same limits that need not be done again.
        """
        focus = self.cuts.focus_on(limits.budget_cents)
        question = Question(self, measure, limits, focus)
        tree = Tree(question.statement(), question, gap=gap, deadline=deadline)
        return tree.run([self.bike.kit_array(kit) for kit in kits], earlier)

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
        if not aim.adds_up and (listed := self._lists.best_in_time(aim, limits, gap, deadline)):
            beaten = [kit for kit in kits if self.is_allowed(kit, limits) and self.measure(first, kit) < listed.bound]
            if beaten:
                raise SolverError(f"the least mean of the worst falls is {listed.bound:.4f}, but a kit has less")
            return listed
        found = self.search(first, limits, [*kits, *self._known_kits(first, limits)], gap=gap, deadline=deadline)
        if found.kit is None:
            if not found.is_complete:
                raise OutOfTimeError("no kit was found in the time allowed")
            least = self.least_spend(math.inf, limits, deadline=deadline)
            raise NoKitError(why_no_kit(self.scenario, limits, least))
        kit, bound = self.kit_of(found.kit), found.bound
        is_out_of_time = not found.is_complete and deadline.is_over
        ceilings: dict[str, float] = {}
        previous, last = first, found
        for measure in tie_breakers:
            if deadline.is_over:
                break
            value = self.measure(previous, kit)
            ceilings[previous] = value + TIE * max(1.0, abs(value))
            earlier, tied = Earlier(last, ceilings[previous]), replace(limits, at_most=dict(ceilings))
            last = self.search(measure, tied, [kit], gap=gap, deadline=deadline, earlier=earlier)
            kit = kit if last.kit is None else self.kit_of(last.kit)
            previous = measure
        objective = self.measure(first, kit)
        best = Best(kit, objective, min(bound, objective), found.is_complete, is_out_of_time)
        # A search may end without a bound that proves its kit; then nothing is called proven. Among very large amounts
        # rounding alone leaves more than the gap; less than half a cent of it is nothing.
        is_close = best.gap <= max(gap, TIE) or best.objective - best.bound < HALF_A_CENT
        best = best if is_close else replace(best, proven=False)
        # Where the tree was not done, the list of all kits may still tell, unless less effort was asked for than usual.
        if best.proven or deadline.nodes < EFFORT:
            return best
        return self._lists.best_in_time(aim, limits, gap, deadline) or best

    def counted_of_price(self, aim: Aim, name: str) -> float:
        """What each unit of money of a guard's price counts in an aim's objective, if the guard is in the kit.

        The price itself, less what it fetches at the end, in the aim outlay; and its renewals where they cost as much.
        """
        guard, scenario = self.scenario.guard[name], self.scenario
        row = self.bike.guard_row[name]
        wear = float(self.years_of @ self._finder.renewals[:, row]) if guard.renews_at_price else 0.0
        per_unit = wear / guard.price if guard.price else 0.0
        if aim.counts_price:
            return per_unit + 1.0 - scenario.discount_at_end * guard.resale_share
        return per_unit if aim.adds_up else 0.0

    def best_or_none(self, aim: Aim, limits: Limits, *, gap: float = GAP, deadline: Deadline = NEVER) -> Best | None:
        """The best kit, as `best`; None if no kit is allowed. Where kits are few they are listed once and for all."""
        deadline.check()
        table = self._lists.table_for(aim, limits)
        if table is not None:
            return self._lists.best_of(table, aim, limits, gap, deadline)
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
        table = self._known.table()
        if table is not None:
            return table.cheapest(self.years_of, cost_at_most, limits.must, limits.never)
        at_most = {} if math.isinf(cost_at_most) else {COST: cost_at_most}
        wanted = replace(limits, budget_cents=None, at_most=at_most)
        found = self.search(SPEND, wanted, deadline=deadline)
        if found.kit is None or not found.is_complete:
            return None
        return self.scenario.spend_cents(self.kit_of(found.kit))

    def listed(self, among: Kit | None = None) -> KitTable | None:
        """Every kit that can be fitted, or that some guards make, with its cost; None if too many to list."""
        return self._known.table() if among is None else kit_table(self.scenario, self.bike, self._finder, among)

    def _known_kits(self, measure: str, limits: Limits) -> list[Kit]:
        """The best of the kits measured so far that are allowed, to start from."""
        known = sorted((value, sorted(kit)) for (kit, one), value in self._measured.items() if one is measure)
        allowed = (frozenset(kit) for _, kit in known if self.is_allowed(frozenset(kit), limits))
        first = next(allowed, None)
        return [] if first is None else [first]

    def kit_of(self, fitted: Bools) -> Kit:
        """The ids of the guards fitted, from ``(guards,)``."""
        return frozenset(guard.id for guard, is_on in zip(self.scenario.guards, fitted, strict=True) if is_on)

    def is_allowed(self, kit: Kit, limits: Limits) -> bool:
        """Whether a kit keeps every rule and limit, money in whole cents."""
        budget = math.inf if limits.budget_cents is None else limits.budget_cents
        return (
            limits.must <= kit
            and not limits.never & kit
            and kit not in limits.other_than
            and self._spend_if_legal(kit) <= budget
            and all(self.measure(one, kit) <= most for one, most in limits.at_most.items())
        )

    def _spend_if_legal(self, kit: Kit) -> float:
        """What a kit costs in cents; NaN, which no budget allows, where it breaks a rule."""
        if kit not in self._spend_of:
            is_legal = self.scenario.is_within_weight(kit) and not self.scenario.clashes(kit)
            self._spend_of[kit] = self.scenario.spend_cents(kit) if is_legal else math.nan
        return self._spend_of[kit]
