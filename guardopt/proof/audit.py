"""Checks the proof that a plan is best, from the scenario and the simulated falls alone, in exact arithmetic.

1. Every row holds for every allowed kit: rules, money and weight are compared with the scenario, and each cut with the
   one worked out again at its point (`audit_rows`, `audit_cuts`); a stated cut may say less than that, never more.
2. Every kit is in a leaf: the tree goes on both with a guard (or offer) off and with it on, and the costs that the kit
   decides lie between what they are at least and at most.
3. Every leaf's bound follows from its multipliers (`audit_tree`).
4. The kit is allowed and costs what is said, found by following every blow of every fall; the least bound of the
   leaves is within the gap asked for of that.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from guardopt.errors import InputError, Problem
from guardopt.model.scenario import Scenario
from guardopt.proof.audit_columns import Columns, FallCosts, TailMean
from guardopt.proof.audit_falls import Falls
from guardopt.proof.audit_money import exact
from guardopt.proof.audit_rows import WEIGHED_TO, RowCheck, all_sold_cents, holds_within, purse_cents
from guardopt.proof.audit_tree import ExactRow, TreeCheck
from guardopt.proof.format import Column, Proof, read_proof

STATED_TO = exact(1e-9)
"""Relative difference at which the objective stated is not the one found."""


@dataclass(frozen=True)
class Audit:
    """What became of the check.

    Attributes
    ----------
    faults
        What is wrong, a sentence each; none if the proof holds.
    leaves, rows
        How many cases and inequalities were checked.
    objective, bound, gap
        What the kit measures; what no allowed kit is below, None if that is not shown; their difference relative to
        max(1, |objective|).
    asked_gap, falls, seed
        What the question says: the relative gap, and the simulated falls of each kind and side and their seed.
    """

    faults: tuple[str, ...]
    leaves: int
    rows: int
    objective: float
    bound: float | None
    gap: float | None
    asked_gap: float
    falls: int
    seed: int

    @property
    def valid(self) -> bool:
        """Whether the kit is proven best to within the gap asked for."""
        return not self.faults

    def to_json(self) -> dict[str, Any]:
        """The answer as one JSON object."""
        return {
            "valid": self.valid,
            "leaves": self.leaves,
            "rows": self.rows,
            "objective": self.objective,
            "bound": self.bound,
            "gap": self.gap,
            "faults": list(self.faults),
        }


def audit(scenario: Scenario, text: str, where: str = "proof") -> Audit:
    """Check a proof.

    Parameters
    ----------
    scenario
        What the plan was made for.
    text
        What the proof's file holds.
    where
        What the file is called, to be quoted.

    Raises
    ------
    InputError
        It is no proof, or one about another scenario.
    """
    proof, is_whole = read_proof(text, where)
    asked = proof.question
    theirs = [one.id for one in scenario.guards], [one.id for one in scenario.offers]
    if (asked.guards, asked.offers) != theirs:
        raise InputError([Problem(where, "is about another scenario: its guards or offers are not those of this one")])
    unknown = sorted({*asked.must, *asked.never, *proof.kit} - set(asked.guards))
    if unknown:
        raise InputError([Problem(where, f"names guards that the scenario does not have: {', '.join(unknown)}")])
    check = _Check(scenario, proof)
    if not is_whole:
        check.faults.insert(0, "The file was changed after it was written: its seal does not fit what it holds.")
    return check.result()


class _Check:
    """One proof, checked step by step; what is wrong is collected."""

    def __init__(self, scenario: Scenario, proof: Proof) -> None:
        self.faults: list[str] = []
        self._scenario, self._proof, self._kit = scenario, proof, frozenset(proof.kit)
        asked = proof.question
        is_tail = asked.aim == "worst"
        self._falls = falls = Falls(scenario, asked.falls, asked.seed, self._kit, at_once=is_tail)
        self._costs: Columns = TailMean(falls, asked.tail) if is_tail else FallCosts(falls, proof.columns)
        self._names = [*asked.guards, *asked.offers]
        self._binaries = len(self._names)
        self._column = {("x", one): row for row, one in enumerate(asked.guards)}
        self._column |= {("y", one): row for row, one in enumerate(asked.offers, start=len(asked.guards))}
        self._column |= {("theta", one): row for row, one in enumerate(proof.columns, start=self._binaries)}
        self._offer = {offer.id: offer for offer in scenario.offers}
        self._purse_cents = purse_cents(scenario)
        self._guard_cost = self._costs_of_guards()
        self._lower, self._upper = self._bounds()
        self._rows = self._check_rows()

    def _costs_of_guards(self) -> list[Fraction]:
        """What each guard adds to the objective, by itself, and what each offer does."""
        scenario, aim = self._scenario, self._proof.question.aim
        if aim == "worst":
            return [Fraction(0)] * self._binaries
        years = exact(scenario.annuity)
        costs = [
            years * worn * exact(guard.wear_per_fall) + exact(guard.dislike)
            for guard, worn in zip(scenario.guards, self._falls.worn, strict=True)
        ]
        savings = [Fraction(0)] * len(scenario.offers)
        if aim == "outlay":
            end = exact(scenario.discount_at_end)
            for row, guard in enumerate(scenario.guards):
                resale = end * exact(guard.resale_share) * guard.price_cents / 100
                costs[row] += Fraction(self._purse_cents[guard.id], 100) - resale
            savings = [Fraction(-scenario.offer_saving_cents(offer), 100) for offer in scenario.offers]
        return costs + savings

    def _bounds(self) -> tuple[list[Fraction], list[Fraction]]:
        """What each column is at least and at most, before any branch."""
        asked = self._proof.question
        lower = [Fraction(one in asked.must) for one in asked.guards] + [Fraction(0)] * len(asked.offers)
        upper = [Fraction(one not in asked.never) for one in asked.guards]
        upper += [Fraction(self._scenario.offer_saving_cents(self._offer[one]) > 0) for one in asked.offers]
        costly = {name for name, most in self._costs.ceiling.items() if most > 0}
        missing = costly - self._proof.columns.keys()
        if missing:
            self.faults.append(f"Costs of falls are left out: {', '.join(sorted(missing))}.")
        if self._costs.ungrouped:
            self.faults.append("Some falls that may reach the cap are in no group of falls, or in several.")
        for name, column in self._proof.columns.items():
            least, most = exact(column.floor), exact(column.ceiling)
            if not self._costs.is_known(name, column):
                self.faults.append(f"{name} is no cost that this aim looks at.")
            self._check_limits(name, column, least, most)
            lower.append(least)
            upper.append(most)
        return lower, upper

    def _check_limits(self, name: str, column: Column, least: Fraction, most: Fraction) -> None:
        if not holds_within(column.floor_budget_cents, self._proof.question.budget_cents):
            self.faults.append(f"The floor of {name} is for a smaller budget than the one asked about.")
        if least > 0 and least > self._costs.floor(name, column.floor_budget_cents):
            self.faults.append(f"{name} can be less than its floor.")
        if most < self._costs.ceiling.get(name, 0) or most < least:
            self.faults.append(f"{name} can be more than its ceiling.")

    def _check_rows(self) -> list[ExactRow]:
        check = RowCheck(self._scenario, self._proof.question, self._costs)
        rows = []
        for number, row in enumerate(self._proof.rows):
            entries = [("x", name, value) for name, value in row.x.items()]
            entries += [("y", name, value) for name, value in row.y.items()]
            entries += [("theta", name, value) for name, value in row.theta.items()]
            known = all((kind, name) in self._column for kind, name, _ in entries)
            if not known or not check.follows(row):
                self.faults.append(f"Row {number} ({row.kind}) does not follow from the scenario.")
            exactly = [(self._column[kind, name], exact(value)) for kind, name, value in entries if known]
            rows.append(ExactRow(exactly, exact(row.at_most)))
        return rows

    def _tree(self) -> TreeCheck:
        cost = [*self._guard_cost, *[Fraction(1)] * (len(self._lower) - self._binaries)]
        constant = self._costs.fixed_cost
        if self._proof.question.aim == "outlay":
            constant -= Fraction(all_sold_cents(self._scenario), 100)
        return TreeCheck(self._column, self._rows, cost, constant)

    def _check_kit(self) -> None:
        scenario, asked, kit = self._scenario, self._proof.question, self._kit
        self.faults += [f"The kit is not allowed: {clash}." for clash in scenario.clashes(kit)]
        missing, barred = sorted(set(asked.must) - kit), sorted(kit & set(asked.never))
        if missing or barred:
            self.faults.append(f"The kit is not allowed: it forgets what was forced ({', '.join(missing + barred)}).")
        if asked.budget_cents is not None and scenario.spend_cents(kit) > asked.budget_cents:
            self.faults.append("The kit is not allowed: it costs more than the budget.")
        weight = sum(exact(scenario.guard[name].weight_kg) for name in kit)
        if scenario.max_weight_kg is not None and weight > exact(scenario.max_weight_kg) + WEIGHED_TO:
            self.faults.append("The kit is not allowed: it is too heavy.")

    def _objective(self) -> Fraction:
        """What the kit measures, without any cut."""
        scenario, kit = self._scenario, self._kit
        guards = sum(self._guard_cost[self._column["x", name]] for name in kit)
        if self._proof.question.aim == "outlay":
            singly = sum(self._purse_cents[name] for name in kit)
            guards += Fraction(scenario.spend_cents(kit) - singly, 100)
        return guards + self._costs.measure()

    def result(self) -> Audit:
        """The answer."""
        asked = self._proof.question
        self._check_kit()
        objective = self._objective()
        if abs(exact(self._proof.objective) - objective) > STATED_TO * max(Fraction(1), abs(objective)):
            self.faults.append(f"The kit measures {float(objective)!r}, not {self._proof.objective!r} as is said.")
        tree = self._tree()
        bounds = list(tree.bounds(self._proof.tree, self._lower, self._upper, "in the tree"))
        self.faults += tree.faults
        bound = min(bounds) if bounds and tree.is_covered else None
        gap = None if bound is None else (objective - bound) / max(Fraction(1), abs(objective))
        if bound is not None and exact(self._proof.bound) > bound:
            self.faults.append(
                f"The least bound of the leaves is {float(bound)!r}, not {self._proof.bound!r} as is said."
            )
        if gap is not None and gap < 0 and not self.faults:
            self.faults.append("The kit costs less than what was shown to be the least there can be.")
        if gap is not None and gap > exact(asked.gap):
            self.faults.append(f"The gap is {float(gap):.3g}, and {asked.gap:g} was asked for.")
        if not bounds:
            self.faults.append("No leaf of the tree holds a kit, so nothing is said about any.")
        shown = None if bound is None else float(bound), None if gap is None else float(gap)
        return Audit(
            tuple(self.faults),
            tree.leaves,
            len(self._rows),
            float(objective),
            *shown,
            asked.gap,
            asked.falls,
            asked.seed,
        )
