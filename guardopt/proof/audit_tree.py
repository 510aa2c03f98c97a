"""Whether the leaves of a proof's tree hold every kit, and what each leaf shows that none of its kits is below.

With multipliers λ ≥ 0, for v with l ≤ v ≤ u and A v ≤ b,

    c·v ≥ Σ_j min(d_j l_j, d_j u_j) − λ·b,   d = c + Aᵀλ                                                     (1)

and with c = 0 a bound above 0 shows that nothing is in the leaf.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from guardopt.proof.audit_money import exact
from guardopt.proof.format import Branch, StatedLeaf


@dataclass(frozen=True)
class ExactRow:
    """Σ entries ≤ at_most, by column."""

    entries: list[tuple[int, Fraction]]
    at_most: Fraction


class TreeCheck:
    """Goes through the tree.

    Parameters
    ----------
    columns
        The column of each kind and name.
    rows
        The rows of the proof, which hold.
    cost, constant
        ``(columns,)``: what is minimised, and what is added to it.

    Attributes
    ----------
    faults
        What is wrong, a sentence each.
    leaves
        How many there are.
    is_covered
        Whether every kit is in a leaf.
    """

    def __init__(
        self,
        columns: Mapping[tuple[str, str], int],
        rows: Sequence[ExactRow],
        cost: Sequence[Fraction],
        constant: Fraction,
    ) -> None:
        self._columns, self._rows, self._cost, self._constant = columns, rows, cost, constant
        self.faults: list[str] = []
        self.leaves = 0
        self.is_covered = True

    def bounds(self, node: Branch, lower: list[Fraction], upper: list[Fraction], path: str) -> Iterator[Fraction]:
        """The bounds of the leaves below a node that hold something; every branch has to be there."""
        if node.leaf is not None and node.branch is None and node.off is None and node.on is None:
            self.leaves += 1
            yield from self._check_leaf(node.leaf, lower, upper, path)
            return
        column = self._columns.get(("x", node.branch or ""), self._columns.get(("y", node.branch or "")))
        if (
            node.leaf is not None
            or column is None
            or node.off is None
            or node.on is None
            or lower[column] == upper[column]
        ):
            self.faults.append(f"The tree does not cover every kit: something is missing or twice {path}.")
            self.is_covered = False
            return
        for child, value, word in ((node.off, Fraction(0), "without"), (node.on, Fraction(1), "with")):
            low, high = lower.copy(), upper.copy()
            low[column] = high[column] = value
            yield from self.bounds(child, low, high, f"{path}, {word} {node.branch}")

    def _check_leaf(
        self, leaf: StatedLeaf, lower: Sequence[Fraction], upper: Sequence[Fraction], path: str
    ) -> Iterator[Fraction]:
        numbers = {str(number): number for number in range(len(self._rows))}
        if not leaf.multipliers.keys() <= numbers.keys() or (leaf.bound is None) is not leaf.empty:
            self.faults.append(f"A leaf is not complete {path}.")
            self.is_covered = False
            return
        multipliers = [(numbers[name], exact(value)) for name, value in leaf.multipliers.items()]
        shown = self._bound(multipliers, lower, upper, with_cost=not leaf.empty)
        if leaf.empty and shown <= 0:
            self.faults.append(f"A leaf is said to be empty but is not shown to be {path}.")
            self.is_covered = False
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
            bound += self._constant
            reduced |= dict(enumerate(self._cost))
        for number, value in multipliers:
            for column, coefficient in self._rows[number].entries:
                reduced[column] += value * coefficient
            bound -= value * self._rows[number].at_most
        return bound + sum(min(one * lower[column], one * upper[column]) for column, one in reduced.items())
