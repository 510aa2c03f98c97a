"""What a search over a tree is made of: what is asked, who answers about kits, nodes and how they were closed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.optimization.linear_rows import Row, Rows

WHOLE = 1e-6
"""A value this near to a whole number is taken for one; what follows is then checked exactly."""


@dataclass(frozen=True)
class Statement:
    """What is minimised over which variables, cuts aside.

    The first variables are guards, then offers, both 0 or 1; the others are costs that cuts bound from below.

    Attributes
    ----------
    guards, binaries
        Number of guards, and of guards and offers.
    cost
        ``(columns,)``, and `constant` on top.
    lower, upper
        ``(columns,)``: bounds of the variables, all finite.
    rows
        Rules, money and ceilings.
    step
        The least by which two different values of the objective differ; 0 if that is not known.
    fractional_nodes
        Nodes below the root at whose first fractional point cuts are looked for: few where one cut says little.
    """

    guards: int
    binaries: int
    cost: Floats
    constant: float
    lower: Floats
    upper: Floats
    rows: Sequence[Row]
    step: float = 0.0
    fractional_nodes: int = 10


class Oracle(Protocol):
    """What knows the scenario and its falls."""

    def value(self, kit: Bools) -> float | None:
        """The objective of a whole kit, priced exactly; None if the kit is not allowed."""

    def known_cuts(self, point: Floats) -> Sequence[Row]:
        """Cuts found before that a point ``(columns,)`` breaks."""

    def new_cuts(self, point: Floats, off: Bools) -> Sequence[Row]:
        """Cuts found at a point that it breaks; if a whole kit breaks none, the point's costs are those of the kit.

        They hold for every kit, and are to say most where the guards in `off` ``(guards,)`` are off.
        """

    def near(self, point: Floats) -> Bools | None:
        """A kit near the fractional guards of a point, a guess that `value` judges; None if there is none."""


@dataclass(frozen=True)
class Leaf:
    """How a node was closed: by a bound on its objective, or by one above 0 on nothing at all, so that it is empty.

    Attributes
    ----------
    bound
        Infinite if no point of the node keeps the rows.
    multipliers
        ``(rows so far,)``: they prove it by (1) of `linear_rows`, with the objective's costs or, if empty, without.
    """

    bound: float
    multipliers: Floats


@dataclass
class Node:
    """A node of the tree; a child differs from its parent in one column, fixed at 0 or 1.

    `distance` is how far the column was from that value in the parent's relaxation.
    """

    number: int
    bound: float
    parent: Node | None = None
    column: int = -1
    value: int = 0
    distance: float = 0.0
    leaf: Leaf | None = None
    children: tuple[Node, ...] = ()

    def fix(self, lower: Floats, upper: Floats) -> None:
        """Narrow the bounds of variables by what is fixed on the way from the root."""
        node = self
        while node.parent is not None:
            lower[node.column] = upper[node.column] = float(node.value)
            node = node.parent


@dataclass(frozen=True)
class Found:
    """What a search found.

    Attributes
    ----------
    kit
        ``(guards,)``; None if no kit was found.
    value, bound
        Its objective, infinite without a kit; and a value that no allowed kit is below.
    is_complete
        Whether every node is closed: the kit is the best to within the gap asked for or, if there is none, none is
        allowed.
    nodes
        How many were looked at.
    root, rows
        The tree, and the rows that its multipliers belong to.
    """

    kit: Bools | None
    value: float
    bound: float
    is_complete: bool
    nodes: int
    root: Node
    rows: Rows


@dataclass(frozen=True)
class Box:
    """The bounds of the variables in one node."""

    lower: Floats
    upper: Floats

    def holds(self, kit: Bools) -> bool:
        """Whether a kit is in the node."""
        guards = slice(kit.size)
        return bool(((self.lower[guards] <= kit) & (kit <= self.upper[guards])).all())

    def has_free(self, statement: Statement, columns: slice) -> bool:
        """Whether none of some columns is fixed but by the statement."""
        lower, upper = self.lower[columns] == statement.lower[columns], self.upper[columns] == statement.upper[columns]
        return bool(lower.all() and upper.all())


class PseudoCosts:
    """How much the bound rose when a column was fixed at 0 or at 1, by how far it had to move."""

    def __init__(self, columns: int) -> None:
        self._rise = np.zeros((2, columns))
        self._times = np.zeros((2, columns))

    def learn(self, node: Node, rise: float) -> None:
        """Take note of how much the bound of a child is above its parent's."""
        if node.parent is not None and math.isfinite(rise) and node.distance > WHOLE:
            self._rise[node.value, node.column] += rise / node.distance
            self._times[node.value, node.column] += 1.0

    def choose(self, free: Ints, values: Floats) -> int:
        """Of the free columns the one whose two children are expected to rise most, by the product of the rises."""
        known = self._times > 0.0
        mean = float(self._rise[known].sum() / self._times[known].sum()) if known.any() else 1.0
        per_unit = np.where(known, self._rise / np.maximum(self._times, 1.0), mean)
        small = max(mean, np.finfo(float).tiny) * WHOLE
        down = np.maximum(per_unit[0, free] * values[free], small)
        up = np.maximum(per_unit[1, free] * (1.0 - values[free]), small)
        return int(free[np.argmax(down * up)])


@dataclass(frozen=True)
class Earlier:
    """A search over the same columns and limits for another measure, of which at most so much is allowed now."""

    found: Found
    at_most: float

    def tree(self) -> Node:
        """The search's tree; leaves proven to lie above `at_most` are closed as empty, all others are open."""
        top = Node(0, -math.inf)
        waiting = [(self.found.root, top)]
        while waiting:
            old, new = waiting.pop()
            if old.leaf is not None and old.leaf.bound > self.at_most:
                new.leaf = Leaf(math.inf, old.leaf.multipliers)
            new.children = tuple(
                Node(one.number, -math.inf, new, one.column, one.value, one.distance) for one in old.children
            )
            waiting.extend(zip(old.children, new.children, strict=True))
        return top


def undivided(root: Node) -> list[Node]:
    """The nodes without children, those closed and those not yet."""
    found, waiting = [], [root]
    while waiting:
        node = waiting.pop()
        waiting.extend(node.children)
        if not node.children:
            found.append(node)
    return found


def least_bound(root: Node) -> float:
    """The least bound of the nodes that were closed or not yet divided."""
    return min(node.bound if node.leaf is None else node.leaf.bound for node in undivided(root))
