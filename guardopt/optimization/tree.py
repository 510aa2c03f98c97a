"""Branch and bound over guards: a search that ends with a proof which does not rest on any solver's word.

A node is a set of guards fitted and a set left off. Its relaxation gives dual values, and these a safe bound
(`linear_rows`, eq. 1). A node is closed by that bound alone: because it is no better than the best kit so far, or
because it shows that no kit of the node keeps the rows. Cuts are added wherever the relaxation claims less than falls
cost: at whole kits, where they are exact, and at fractional points near the root, where they are cheap and raise the
bound most. Nodes are taken best bound first, going down before going back; columns to branch on are chosen by
pseudo-costs (M. Bénichou et al., Experiments in mixed-integer linear programming, Mathematical Programming 1, 1971).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from heapq import heapify, heappop, heappush
from itertools import count

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.deadline import NEVER, Deadline
from guardopt.errors import SolverError
from guardopt.optimization.linear_rows import MARGIN, UNIT_ROUNDOFF, Row, RowKind, Rows
from guardopt.optimization.nodes import (
    WHOLE,
    Box,
    Earlier,
    Found,
    Leaf,
    Node,
    Oracle,
    PseudoCosts,
    Statement,
    least_bound,
    undivided,
)
from guardopt.optimization.relaxation import Relaxation, scales

ROOT_ROUNDS = 40
"""Times that cuts are looked for at the fractional points of the root."""

ENOUGH = 1e-4
"""Relative rise of the bound below which no more cuts are looked for at fractional points."""

CONTRADICTED = 1e-9
"""Relative amount by which a priced kit may be below a bound before the bound is called wrong."""


class Tree:
    """One search.

    Parameters
    ----------
    statement
        What is minimised.
    oracle
        Prices kits and finds cuts.
    gap
        Relative gap, against max(1, |value|), at which a node is no better than the best kit.
    deadline
        When to stop whatever was found.
    """

    def __init__(self, statement: Statement, oracle: Oracle, *, gap: float, deadline: Deadline = NEVER) -> None:
        self._statement, self._oracle, self._gap = statement, oracle, gap
        self._deadline = deadline
        self._cuts: set[tuple[str | int, ...]] = set()
        self._begin(statement.rows)
        self._kit: Bools | None = None
        self._value = math.inf
        self._pseudo_costs = PseudoCosts(statement.binaries)
        self._looked_at = self._made = self._fractional_nodes = 0

    def run(self, kits: Sequence[Bools] = (), earlier: Earlier | None = None) -> Found:
        """Search, starting from the best of some kits; after an earlier search only where that one leaves room.

        Raises
        ------
        SolverError
            A kit was priced below a bound that was proven: something is wrong, and no answer can be trusted.
        """
        for kit in kits:
            self._price(kit)
        root = Node(0, -math.inf) if earlier is None else earlier.tree()
        if earlier is not None:
            self._take_cuts(earlier.found.rows)
        waiting = [(one.bound, one.number, one) for one in undivided(root) if one.leaf is None]
        self._made = max(node.number for node in undivided(root))
        heapify(waiting)
        following: Node | None = None
        while waiting or following is not None:
            # The root is always looked at, since a kit is found there that is better than none.
            if self._looked_at and (self._looked_at >= self._deadline.nodes or self._deadline.is_over):
                break
            node, following = following or heappop(waiting)[2], None
            self._looked_at += 1
            point = self._close(node)
            if node.leaf is not None:
                continue
            following, other = self._branch(node, point)
            heappush(waiting, (other.bound, other.number, other))
        unclosed = [one for _, _, one in waiting] + ([] if following is None else [following])
        bound = min(least_bound(root), self._value)
        return Found(self._kit, self._value, bound, not unclosed, self._looked_at, root, self._rows)

    def _add(self, rows: Sequence[Row]) -> None:
        self._rows.add(rows)
        self._relaxation.add(rows)

    def _take_cuts(self, rows: Rows) -> None:
        """Take over the cuts of another search; they hold for every kit."""
        cuts = [row for row in rows.rows if row.kind is RowKind.CUT]
        self._cuts |= {row.about for row in cuts}
        self._add(cuts)

    def _add_cuts(self, point: Floats, box: Box) -> bool:
        """Add cuts that a point breaks, new ones where no known one would; whether there were any."""
        off = box.upper[: self._statement.guards] == 0.0
        for find in (self._oracle.known_cuts, partial(self._oracle.new_cuts, off=off)):
            rows = [row for row in find(point) if row.about not in self._cuts]
            if rows:
                self._cuts |= {row.about for row in rows}
                self._add(rows)
                return True
        return False

    def _drop_slack_cuts(self, multipliers: Floats) -> None:
        """Begin anew with the cuts that the root's bound rests on; others are found again where they are broken."""
        kept = [
            row
            for row, multiplier in zip(self._rows.rows, multipliers.tolist(), strict=True)
            if row.kind is not RowKind.CUT or multiplier > 0.0
        ]
        self._cuts = {row.about for row in kept if row.kind is RowKind.CUT}
        self._begin(kept)

    def _begin(self, rows: Sequence[Row]) -> None:
        statement = self._statement
        size = np.maximum(np.abs(statement.lower), np.abs(statement.upper))
        self._rows = Rows(statement.cost.size)
        self._relaxation = Relaxation(statement.lower, statement.upper, scales(size))
        self._relaxation.set_cost(statement.cost)
        self._add(rows)

    def _price(self, kit: Bools) -> float | None:
        """Price a kit and keep it if it is the best so far; None if it is not allowed."""
        value = self._oracle.value(kit)
        if value is not None and value < self._value:
            self._kit, self._value = kit.copy(), value
        return value

    @property
    def _closes_at(self) -> float:
        """A node whose bound is at least this holds nothing better than the best kit so far."""
        if math.isinf(self._value):
            return math.inf
        return self._value - max(self._gap * max(1.0, abs(self._value)), self._statement.step * (1.0 - WHOLE))

    def _close(self, node: Node) -> Floats | None:
        """Close a node if it can be closed; otherwise the last point of its relaxation, None if it had none."""
        box = Box(self._statement.lower.copy(), self._statement.upper.copy())
        node.fix(box.lower, box.upper)
        self._relaxation.move_bounds(box.lower, box.upper)
        inherited, last = node.bound, -math.inf
        for rounds in count():
            relaxed = self._relaxation.solve()
            point = relaxed.point
            if point is None or not np.isfinite(point).all():
                if self._shows_empty(box, relaxed.multipliers):
                    node.leaf = Leaf(math.inf, relaxed.multipliers)
                else:
                    self._close_last(node, box)
                return None
            point = np.clip(point, box.lower, box.upper)
            bound = self._bound(box, relaxed.multipliers)
            node.bound = max(node.bound, bound)
            if bound >= self._closes_at:
                node.leaf = Leaf(bound, relaxed.multipliers)
                return None
            is_whole = self._is_whole(point)
            if not is_whole and not self._wants_cuts(node, bound, last, rounds):
                break
            last = bound
            kit = point[: self._statement.guards] > 0.5 if is_whole else self._oracle.near(point)
            if kit is not None:
                value = self._price(kit)
                self._check(node, box, kit, value)
            if not self._add_cuts(self._rounded(point) if is_whole else point, box):
                if is_whole:
                    self._close_last(node, box)
                break
        if node.parent is None:
            self._drop_slack_cuts(relaxed.multipliers)
        self._pseudo_costs.learn(node, node.bound - inherited)
        return point

    def _bound(self, box: Box, multipliers: Floats) -> float:
        rounding = MARGIN * UNIT_ROUNDOFF * abs(self._statement.constant)
        found = self._rows.bound(self._statement.cost, box.lower, box.upper, multipliers) + self._statement.constant
        return found - rounding - MARGIN * UNIT_ROUNDOFF * abs(found)

    def _shows_empty(self, box: Box, multipliers: Floats) -> bool:
        return self._rows.bound(np.zeros_like(box.lower), box.lower, box.upper, multipliers) > 0.0

    def _is_whole(self, point: Floats) -> bool:
        binaries = point[: self._statement.binaries]
        return bool((np.abs(binaries - np.round(binaries)) <= WHOLE).all())

    def _rounded(self, point: Floats) -> Floats:
        whole = point.copy()
        whole[: self._statement.binaries] = np.round(whole[: self._statement.binaries])
        return whole

    def _wants_cuts(self, node: Node, bound: float, last: float, rounds: int) -> bool:
        """Whether to look for cuts at a fractional point."""
        if node.parent is None:
            return rounds == 0 or (rounds < ROOT_ROUNDS and bound > last + ENOUGH * max(1.0, abs(bound)))
        if rounds:
            return False
        self._fractional_nodes += 1
        return self._fractional_nodes <= self._statement.fractional_nodes

    def _check(self, node: Node, box: Box, kit: Bools, value: float | None) -> None:
        """Refuse to go on where a kit is priced below a bound that it should keep."""
        offers = slice(self._statement.guards, self._statement.binaries)
        # Where an offer is ruled out, the kit may be too dear for the node although each of its guards is in it.
        if not box.has_free(self._statement, offers):
            return
        if value is not None and box.holds(kit) and value < node.bound - CONTRADICTED * max(1.0, abs(value)):
            raise SolverError(
                f"a kit was priced at {value:.6f} where {node.bound:.6f} had been proven to be the least there can be"
            )

    def _close_last(self, node: Node, box: Box) -> None:
        """Close a node in which no binary is free, with multipliers that need no solver."""
        binaries = slice(self._statement.binaries)
        if (box.lower[binaries] < box.upper[binaries]).any():
            return
        kit = box.lower[: self._statement.guards] > 0.5
        self._price(kit)
        while self._add_cuts(box.lower, box):
            pass
        for multipliers in self._rows.plain_multipliers(np.zeros_like(box.lower), box.lower, box.upper):
            if self._shows_empty(box, multipliers):
                node.leaf = Leaf(math.inf, multipliers)
                return
        (multipliers,) = self._rows.plain_multipliers(self._statement.cost, box.lower, box.upper, rows=())
        bound = self._bound(box, multipliers)
        node.bound = max(node.bound, bound)
        node.leaf = Leaf(bound, multipliers)

    def _branch(self, node: Node, point: Floats | None) -> tuple[Node, Node]:
        """Divide a node by one column: the child to look at next, and the other."""
        box = Box(self._statement.lower.copy(), self._statement.upper.copy())
        node.fix(box.lower, box.upper)
        binaries = slice(self._statement.binaries)
        free = np.flatnonzero(box.lower[binaries] < box.upper[binaries])
        values = np.full(self._statement.binaries, 0.5) if point is None else point[binaries]
        column = self._pseudo_costs.choose(free, values)
        first = int(values[column] >= 0.5)
        children = []
        for value in (first, 1 - first):
            self._made += 1
            distance = abs(value - float(values[column]))
            children.append(Node(self._made, node.bound, node, column, value, distance))
        node.children = (children[0], children[1])
        return node.children
