"""Writes down why a kit is best, so that it can be checked without this package's search (`audit`).

The search ends with a tree, rows and multipliers (`tree`, `linear_rows`). They are sums of many floating-point numbers,
the check is exact: so cuts are stated a little weaker than they were found, by more than rounding can be, and leaves'
bounds are those that follow from the rows as stated.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from guardopt.arrays import Floats
from guardopt.cuts.separation import GRID
from guardopt.deadline import NEVER, Deadline
from guardopt.errors import OutOfTimeError
from guardopt.model.aims import GAP, Aim, Best, Limits
from guardopt.optimization.benders import Planner
from guardopt.optimization.linear_rows import Row, RowKind, Rows
from guardopt.optimization.measures import MEASURES
from guardopt.optimization.nodes import Node, Statement
from guardopt.optimization.question import Question
from guardopt.proof.format import FORMAT, sealed
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Kind

ROUNDING = 1e-11
"""Share of a cost column's ceiling by which its cuts are weakened: far above rounding, far below any gap asked for."""

LEAST_GAP = 1e-9
"""The gap that proofs are written for if a smaller one was asked for; amounts are known no better than that."""

TO_SPARE = (0.9, 0.01)
"""Shares of the gap that the search leaves open, so that weakened cuts still prove the whole; the second if they do not
after the first."""

ABOVE = 1.01
"""What a gap that was worked out with rounding is multiplied by, so that it is not below the exact one."""


def proof_of(
    planner: Planner,
    aim: Aim,
    limits: Limits,
    best: Best,
    *,
    tail: float,
    gap: float = GAP,
    deadline: Deadline = NEVER,
) -> dict[str, Any]:
    """The proof that a kit is best, as the JSON object of a proof's file.

    Parameters
    ----------
    planner, aim, limits, best
        Who found the kit, what it is best at, within which limits, and the answer.
    tail
        The planner's share of worst falls.
    gap
        Relative gap to prove. Where amounts of the scenario are so much larger than the objective that their rounding
        leaves more, the proof states, and proves, that larger gap.
    deadline
        When to give up.

    Raises
    ------
    OutOfTimeError
        The search stopped before the proof was complete.
    """
    gap = max(gap, LEAST_GAP)
    measure = aim.measures[0]
    statement = Question(planner, measure, limits, planner.cuts.focus_on(limits.budget_cents)).statement()
    content: dict[str, Any] = {}
    for share in TO_SPARE:
        found = planner.search(measure, limits, [best.kit], gap=share * gap, deadline=deadline)
        if not found.is_complete:
            raise OutOfTimeError("the kit was not proven best in the time allowed, so there is no proof to write")
        content = _Writer(planner, statement, found.rows, measure, limits).content(found.root, aim, best, tail, gap)
        objective = content["objective"]
        reached = (objective - content["bound"]) / max(1.0, abs(objective))
        if reached <= gap:
            return sealed(content)
    content["question"]["gap"] = ABOVE * reached
    return sealed(content)


@dataclass(frozen=True)
class _Names:
    """What columns are called; cost columns from the first one on."""

    guards: list[str]
    offers: list[str]
    costs: list[str]

    def parted(self, row: Row) -> dict[str, dict[str, float]]:
        """The coefficients of a row by guard, by offer and by cost."""
        parts: dict[str, dict[str, float]] = {"x": {}, "y": {}, "theta": {}}
        offers, costs = len(self.guards), len(self.guards) + len(self.offers)
        for column, value in zip(row.columns.tolist(), row.coefficients.tolist(), strict=True):
            if column < offers:
                parts["x"][self.guards[column]] = value
            elif column < costs:
                parts["y"][self.offers[column - offers]] = value
            else:
                parts["theta"][self.costs[column - costs]] = value
        return parts


class _Writer:
    """One search's answer in the terms of a proof."""

    def __init__(self, planner: Planner, statement: Statement, rows: Rows, measure: str, limits: Limits) -> None:
        self._planner, self._limits = planner, limits
        self._is_tail = MEASURES[measure].counts_tail
        scenario, bike = planner.scenario, planner.bike
        groups = planner.cuts.kept_groups
        counts = [sum(one.kind == group.kind for one in groups[:number]) for number, group in enumerate(groups)]
        self._names = _Names(
            [guard.id for guard in scenario.guards],
            [offer.id for offer in scenario.offers],
            _item_names(bike)
            + [f"falls {scenario.falls[one.kind].id} {count}" for one, count in zip(groups, counts, strict=True)]
            + ["tail"],
        )
        slack = ROUNDING * statement.upper
        binaries = statement.binaries
        self._cost, self._constant = statement.cost, statement.constant
        self._lower, self._upper = statement.lower.copy(), statement.upper.copy()
        self._lower[binaries:] = np.maximum(statement.lower - slack, 0.0)[binaries:]
        self._upper[binaries:] += slack[binaries:]
        self._slack = slack
        self._rows = Rows(statement.cost.size)
        self._rows.add([self._weakened(row) if row.kind is RowKind.CUT else row for row in rows.rows])
        terms = np.abs(self._cost) * np.maximum(np.abs(self._lower), np.abs(self._upper))
        self._rounding = ROUNDING * (abs(self._constant) + float(terms.sum()))

    def _weakened(self, row: Row) -> Row:
        """A cut that says a little less."""
        column = int(row.columns[0])
        coefficients = row.coefficients - self._slack[column]
        coefficients[0] = -1.0
        return Row(row.kind, row.columns, coefficients, row.at_most + self._slack[column], row.about)

    def content(self, root: Node, aim: Aim, best: Best, tail: float, gap: float) -> dict[str, Any]:
        """All that the file holds but the seal."""
        scenario, limits = self._planner.scenario, self._limits
        used = sorted({int(one) for leaf in _leaves(root) for one in np.flatnonzero(leaf)})
        number = {old: new for new, old in enumerate(used)}
        tree = self._tree(root, self._lower, self._upper, number)
        objective = self._planner.measure(aim.measures[0], best.kit)
        return {
            "format": FORMAT,
            "question": {
                "aim": aim.name,
                "budget_cents": limits.budget_cents,
                "must": sorted(limits.must),
                "never": sorted(limits.never),
                "tail": tail,
                "seed": scenario.seed,
                "falls": scenario.falls_sampled,
                "gap": gap,
                "guards": self._names.guards,
                "offers": self._names.offers,
            },
            "kit": [name for name in self._names.guards if name in best.kit],
            "objective": objective,
            "bound": min(objective, _least_bound(tree)),
            "columns": dict(self._columns()),
            "rows": [self._row(self._rows.rows[old]) for old in used],
            "tree": tree,
        }

    def _columns(self) -> Iterator[tuple[str, dict[str, Any]]]:
        names, groups = self._names.costs, self._planner.cuts.kept_groups
        first = len(self._names.guards) + len(self._names.offers)
        tail = len(names) - 1
        for number, name in enumerate(names):
            if (number == tail) is not self._is_tail:
                continue
            limits = {"floor": float(self._lower[first + number]), "ceiling": float(self._upper[first + number])}
            column: dict[str, Any] = limits | {
                "floor_budget_cents": self._planner.cuts.focus_on(self._limits.budget_cents).budget_cents
            }
            if tail - len(groups) <= number < tail:
                group = groups[number - (tail - len(groups))]
                column |= {
                    "fall": self._planner.scenario.falls[group.kind].id,
                    "bare_from": group.least,
                    "bare_below": None if math.isinf(group.below) else group.below,
                }
            yield name, column

    def _row(self, row: Row) -> dict[str, Any]:
        stated: dict[str, Any] = {"kind": row.kind.value, **self._names.parted(row), "at_most": row.at_most}
        if row.kind is RowKind.CUT:
            cuts = self._planner.cuts.sets(is_tail=self._is_tail)[int(row.about[1])]
            named = zip(self._names.guards, cuts.point.tolist(), strict=True)
            stated["at"] = {name: round(value * GRID) / GRID for name, value in named if value}
            stated["budget_cents"] = cuts.budget_cents
            stated["off"] = [name for name, is_off in zip(self._names.guards, cuts.off, strict=True) if is_off]
        return stated

    def _tree(self, node: Node, lower: Floats, upper: Floats, number: Mapping[int, int]) -> dict[str, Any]:
        if node.leaf is None:
            column = node.children[0].column
            name = [*self._names.guards, *self._names.offers][column]
            branches: dict[str, Any] = {"branch": name}
            for child in sorted(node.children, key=lambda one: one.value):
                low, high = lower.copy(), upper.copy()
                low[column] = high[column] = float(child.value)
                branches["on" if child.value else "off"] = self._tree(child, low, high, number)
            return branches
        padded = np.zeros(len(self._rows))
        padded[: node.leaf.multipliers.size] = node.leaf.multipliers
        leaf: dict[str, Any] = {
            "multipliers": {str(number[int(one)]): float(padded[one]) for one in np.flatnonzero(padded)}
        }
        if math.isinf(node.leaf.bound):
            return {"leaf": leaf | {"empty": True}}
        bound = self._rows.bound(self._cost, lower, upper, padded) + self._constant - self._rounding
        return {"leaf": leaf | {"bound": bound}}


def _item_names(bike: Bike) -> list[str]:
    """What the items of the list of costs are called, in its order."""
    parts, costs = [part.id for part in bike.scenario.parts], bike.costs
    bill = [f"part {part}" for part in parts] + [f"strip_down {name}" for name in costs.groups]
    days = [f"days {number}" for number, _ in enumerate(costs.of_kind(Kind.ON_TOP), start=1)]
    waits = [
        f"waits {'harmed' if costs.items[number].scuffed else 'broken'} {parts[part]}"
        if part >= 0
        else f"waits strip_down {costs.groups[group]}"
        for number, part, group in zip(costs.of_kind(Kind.WAITS), costs.of_part, costs.of_group, strict=True)
    ]
    return bill + days + waits


def _leaves(node: Node) -> Iterator[Floats]:
    """The multipliers of the leaves below a node."""
    if node.leaf is not None:
        yield node.leaf.multipliers
    for child in node.children:
        yield from _leaves(child)


def _least_bound(tree: Mapping[str, Any]) -> float:
    """The least bound stated in a tree."""
    if "leaf" in tree:
        return float(tree["leaf"].get("bound", math.inf))
    return min(_least_bound(tree["off"]), _least_bound(tree["on"]))
