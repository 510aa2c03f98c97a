"""Checks the proof that a plan is best, from the scenario and the simulated falls alone, in exact arithmetic.

1. Every row holds for every allowed kit: rules, money and weight are compared with the scenario, and each cut with the
   one worked out again at its point (`audit_cuts`); a stated cut may say less than that, never more.
2. Every kit is in a leaf: the tree goes on both with a guard (or offer) off and with it on, and the costs that the kit
   decides lie between what they are at least and at most.
3. Every leaf's bound follows from its multipliers λ ≥ 0: for v with l ≤ v ≤ u and A v ≤ b,

       c·v ≥ Σ_j min(d_j l_j, d_j u_j) − λ·b,   d = c + Aᵀλ                                                 (1)

   and with c = 0 a bound above 0 shows that nothing is in the leaf.
4. The kit is allowed and costs what is said, found by following every blow of every fall; the least bound of the
   leaves is within the gap asked for of that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from typing import Any

from guardopt.errors import InputError, Problem
from guardopt.model.scenario import Scenario
from guardopt.proof.audit_columns import Columns, FallCosts, Found, TailMean
from guardopt.proof.audit_cuts import POINT, Line
from guardopt.proof.audit_falls import Falls
from guardopt.proof.audit_money import exact
from guardopt.proof.format import Branch, Column, Proof, StatedLeaf, StatedRow, read_proof

WEIGHED_TO = exact(1e-7)
"""Kilograms by which a kit may be over the limit: a tenth of a milligram."""

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
        self._guard_cost = self._costs_of_guards()
        self._lower, self._upper = self._bounds()
        self._rows_checked = self._check_rows()
        self._leaves = 0
        self._is_covered = True

    @property
    def _purse_cents(self) -> dict[str, int]:
        """What each guard takes out of the purse if it is on: what it costs, or what it would fetch if it is owned."""
        guards = self._scenario.guards
        return {one.id: one.sells_cents if one.owned else one.price_cents + one.fit_cents for one in guards}

    @property
    def _sold_cents(self) -> int:
        """What all owned guards would fetch."""
        return sum(guard.sells_cents for guard in self._scenario.guards if guard.owned)

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
        if not self._holds_within(column.floor_budget_cents):
            self.faults.append(f"The floor of {name} is for a smaller budget than the one asked about.")
        if least > 0 and least > self._costs.floor(name, column.floor_budget_cents):
            self.faults.append(f"{name} can be less than its floor.")
        if most < self._costs.ceiling.get(name, 0) or most < least:
            self.faults.append(f"{name} can be more than its ceiling.")

    def _holds_within(self, budget_cents: int | None) -> bool:
        """Whether what holds for kits within a budget holds for all that were asked about."""
        asked = self._proof.question.budget_cents
        return budget_cents is None or (asked is not None and asked <= budget_cents)

    def _check_rows(self) -> int:
        checks: dict[str, Callable[[StatedRow], bool]] = {
            "budget": self._is_budget,
            "weight": self._is_weight,
            "place": self._is_place,
            "need": self._is_need,
            "not_with": self._is_not_with,
            "offer": self._is_offer,
            "cut": self._is_cut,
        }
        self._rows: list[list[tuple[int, Fraction]]] = []
        for number, row in enumerate(self._proof.rows):
            entries = [("x", name, value) for name, value in row.x.items()]
            entries += [("y", name, value) for name, value in row.y.items()]
            entries += [("theta", name, value) for name, value in row.theta.items()]
            known = all((kind, name) in self._column for kind, name, _ in entries)
            if not known or not checks[row.kind](row):
                self.faults.append(f"Row {number} ({row.kind}) does not follow from the scenario.")
            self._rows.append([(self._column[kind, name], exact(value)) for kind, name, value in entries if known])
        return len(self._rows)

    def _is_budget(self, row: StatedRow) -> bool:
        scenario, budget = self._scenario, self._proof.question.budget_cents
        spend = {name: cents for name, cents in self._purse_cents.items() if cents}
        saving = {name: -scenario.offer_saving_cents(offer) for name, offer in self._offer.items()}
        is_spend = row.x == spend and row.y == {name: cents for name, cents in saving.items() if cents}
        return is_spend and not row.theta and budget is not None and row.at_most >= budget + self._sold_cents

    def _is_weight(self, row: StatedRow) -> bool:
        scenario = self._scenario
        weight = {guard.id: guard.weight_kg for guard in scenario.guards if guard.weight_kg}
        limit = scenario.max_weight_kg
        is_weight = limit is not None and row.x == weight and not row.y and not row.theta
        return is_weight and exact(row.at_most) >= exact(limit or 0.0) + WEIGHED_TO

    def _is_place(self, row: StatedRow) -> bool:
        """At most one of some guards that fill one place."""
        places = [set(self._scenario.guard[name].places) for name in row.x]
        return self._is_at_most_one(row) and bool(places) and bool(set.intersection(*places))

    def _is_not_with(self, row: StatedRow) -> bool:
        guard = self._scenario.guard
        pairs = combinations(row.x, 2)
        return self._is_at_most_one(row) and all(b in guard[a].not_with or a in guard[b].not_with for a, b in pairs)

    @staticmethod
    def _is_at_most_one(row: StatedRow) -> bool:
        return set(row.x.values()) == {1.0} and not row.y and not row.theta and row.at_most >= 1.0

    def _is_need(self, row: StatedRow) -> bool:
        """A guard only with one of its alternatives."""
        needing = [name for name, value in row.x.items() if value == 1.0]
        others = frozenset(name for name, value in row.x.items() if value == -1.0)
        is_pure = not row.y and not row.theta and row.at_most >= 0.0 and len(needing) + len(others) == len(row.x)
        return is_pure and len(needing) == 1 and others in self._scenario.guard[needing[0]].needs

    def _is_offer(self, row: StatedRow) -> bool:
        """Offers with a guard in common: one at most is taken, and only with that guard."""
        (guard,) = row.x if len(row.x) == 1 else ("",)
        has_it = all(guard in self._scenario.bought_in(self._offer[name]) for name in row.y)
        is_one = row.x == {guard: -1.0} and all(value == 1.0 for value in row.y.values())
        return is_one and has_it and not row.theta and row.at_most >= 0.0

    def _is_cut(self, row: StatedRow) -> bool:
        """A cut that says no more than the one found anew at its point."""
        names = self._proof.question.guards
        at = [exact(row.at.get(name, 0.0)) * POINT for name in names]
        on_grid = all(value.denominator == 1 and 0 <= value <= POINT for value in at)
        if not on_grid or not {*row.at, *row.off}.issubset(names) or not self._holds_within(row.budget_cents):
            return False
        if row.y or len(row.theta) != 1 or set(row.theta.values()) != {-1.0}:
            return False
        off = frozenset(number for number, name in enumerate(names) if name in row.off)
        found = Found(tuple(int(value) for value in at), row.budget_cents, off)
        again = self._costs.cut(next(iter(row.theta)), found)
        slope = {number: -exact(row.x[name]) for number, name in enumerate(names) if name in row.x}
        return again.says_no_less_than(Line(-exact(row.at_most), slope))

    def _leaf_bounds(self, node: Branch, lower: list[Fraction], upper: list[Fraction], path: str) -> Iterator[Fraction]:
        """The bounds of the leaves below a node that hold something; every branch has to be there."""
        if node.leaf is not None and node.branch is None and node.off is None and node.on is None:
            self._leaves += 1
            yield from self._check_leaf(node.leaf, lower, upper, path)
            return
        column = self._column.get(("x", node.branch or ""), self._column.get(("y", node.branch or "")))
        if (
            node.leaf is not None
            or column is None
            or node.off is None
            or node.on is None
            or lower[column] == upper[column]
        ):
            self.faults.append(f"The tree does not cover every kit: something is missing or twice {path}.")
            self._is_covered = False
            return
        for child, value, word in ((node.off, Fraction(0), "without"), (node.on, Fraction(1), "with")):
            low, high = lower.copy(), upper.copy()
            low[column] = high[column] = value
            yield from self._leaf_bounds(child, low, high, f"{path}, {word} {node.branch}")

    def _check_leaf(
        self, leaf: StatedLeaf, lower: Sequence[Fraction], upper: Sequence[Fraction], path: str
    ) -> Iterator[Fraction]:
        numbers = {str(number): number for number in range(len(self._rows))}
        if not leaf.multipliers.keys() <= numbers.keys() or (leaf.bound is None) is not leaf.empty:
            self.faults.append(f"A leaf is not complete {path}.")
            self._is_covered = False
            return
        multipliers = [(numbers[name], exact(value)) for name, value in leaf.multipliers.items()]
        shown = self._bound(multipliers, lower, upper, with_cost=not leaf.empty)
        if leaf.empty and shown <= 0:
            self.faults.append(f"A leaf is said to be empty but is not shown to be {path}.")
            self._is_covered = False
        elif leaf.bound is not None:
            if exact(leaf.bound) > shown:
                self.faults.append(f"The bound {leaf.bound!r} of a leaf does not follow from its multipliers {path}.")
            yield min(exact(leaf.bound), shown)

    def _bound(
        self,
        multipliers: Sequence[tuple[int, Fraction]],
        lower: Sequence[Fraction],
        upper: Sequence[Fraction],
        *,
        with_cost: bool,
    ) -> Fraction:
        """What (1) says, exactly; without the cost it has to be above 0 to show that nothing is there."""
        reduced: dict[int, Fraction] = dict.fromkeys(range(len(lower)), Fraction(0))
        bound = Fraction(0)
        if with_cost:
            bound += self._costs.fixed_cost
            bound -= Fraction(self._sold_cents, 100) if self._proof.question.aim == "outlay" else 0
            reduced |= dict(enumerate([*self._guard_cost, *[Fraction(1)] * (len(lower) - self._binaries)]))
        for number, value in multipliers:
            for column, coefficient in self._rows[number]:
                reduced[column] += value * coefficient
            bound -= value * exact(self._proof.rows[number].at_most)
        return bound + sum(min(one * lower[column], one * upper[column]) for column, one in reduced.items())

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
        bounds = list(self._leaf_bounds(self._proof.tree, self._lower, self._upper, "in the tree"))
        bound = min(bounds) if bounds and self._is_covered else None
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
            self._leaves,
            len(self._rows),
            float(objective),
            *shown,
            asked.gap,
            asked.falls,
            asked.seed,
        )
