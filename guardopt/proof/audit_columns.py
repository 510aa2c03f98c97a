"""The costs that a kit decides, as a proof calls them: what each is at least and at most, and its cuts anew.

`bills` and `outlay` look at ā Σ λ_f times what falls cost: one column for each part, each strip-down and each level of
days without the bike over all bills that are not kept apart, one for each thing that waits, and one for each group of
falls that are kept apart. `worst` has one column, the mean cost of the worst share of falls: the largest mean under
weights q with q ≤ w / tail (R. T. Rockafellar and S. Uryasev, Conditional value-at-risk for general loss distributions,
Journal of Banking and Finance 26, 2002), so that any such q bounds it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from guardopt.proof.audit_cuts import CHORD, POINT, Choice, Cut, LeastBills, Line, capped_cut, sum_of
from guardopt.proof.audit_falls import FallClass, Falls, Item
from guardopt.proof.audit_money import BILLION, exact
from guardopt.proof.audit_waiting import Waits
from guardopt.proof.format import Column

RANK = 2**34
"""Falls whose costs lie in the same of so many steps, up to the dearest, are equally bad: the earlier goes first."""

TAIL = "tail"


@dataclass(frozen=True)
class Found:
    """Where a cut was found: the point in multiples of 1 / POINT, the budget it holds within, and the guards off."""

    point: tuple[int, ...]
    budget_cents: int | None
    off: frozenset[int]


class Columns(Protocol):
    """The cost columns of an aim; all amounts in money."""

    fixed_cost: Fraction
    ceiling: Mapping[str, Fraction]
    ungrouped: int

    def is_known(self, name: str, column: Column) -> bool:
        """Whether the aim looks at such a column."""

    def floor(self, column: str, budget_cents: int | None) -> Fraction:
        """What a column is at least with any kit within a budget."""

    def cut(self, column: str, found: Found) -> Line:
        """The cut found there, by guard."""

    def measure(self) -> Fraction:
        """What the columns and the fixed cost come to with the kit, or a little more."""


def group_of(fall: FallClass, kind: str, unit: int, columns: Mapping[str, Column]) -> list[str]:
    """The columns of falls kept apart that say they hold this fall; there has to be one."""
    bare = Fraction(fall.bare, unit)
    return [
        name
        for name, one in columns.items()
        if one.fall == kind
        and exact(one.bare_from or 0.0) <= bare
        and (one.bare_below is None or bare < exact(one.bare_below))
    ]


class FallCosts:
    """The columns of `bills` and `outlay`.

    Parameters
    ----------
    falls
        The simulated falls.
    columns
        Those of the proof; they say how falls kept apart are grouped.

    Attributes
    ----------
    ungrouped
        How many kinds of like falls kept apart are in no group or in several; no cut about a group holds then.
    """

    def __init__(self, falls: Falls, columns: Mapping[str, Column]) -> None:
        self._falls, self._least = falls, LeastBills(falls)
        self._guards = len(falls.scenario.guards)
        self._money = exact(falls.scenario.annuity) / (falls.money.unit * falls.weight_unit)
        self._items: dict[str, Counter[Item]] = {name: Counter() for name in falls.money.names}
        self._groups: dict[str, Counter[FallClass]] = defaultdict(Counter)
        self._known: dict[Found, Choice] = {}
        self.ungrouped, fixed = 0, 0
        kept: Counter[FallClass] = Counter()
        for fall, weight in falls.falls:
            if fall.items and falls.money.reaches_cap(fall.most):
                kept[fall] += weight
                continue
            fixed += weight * fall.base
            for item in fall.items:
                self._items[falls.money.names[item.name]][item] += weight
        for fall, weight in kept.items():
            groups = group_of(fall, falls.scenario.falls[fall.kind].id, falls.money.unit, columns)
            self.ungrouped += len(groups) != 1
            for name in groups:
                self._groups[name][fall] += weight
        waiting: dict[int, dict[int, Counter[Item]]] = {number: defaultdict(Counter) for number in falls.money.amounts}
        for (kind, item), weight in falls.beside.items():
            if item.name in falls.money.amounts:
                waiting[item.name][kind][item] += weight
            elif item.can_be_spared:
                self._items[falls.money.names[item.name]][item] += weight
            else:
                fixed += weight * item.cost
        self._waits = {falls.money.names[number]: Waits(falls, number, items) for number, items in waiting.items()}
        self.fixed_cost = fixed * self._money
        self.ceiling: Mapping[str, Fraction] = (
            {
                name: self._money * sum(weight * item.cost for item, weight in items.items())
                for name, items in self._items.items()
            }
            | {name: waits.ceiling for name, waits in self._waits.items()}
            | {
                name: self._money * sum(weight * min(fall.most, falls.money.cap) for fall, weight in group.items())
                for name, group in self._groups.items()
            }
        )

    def is_known(self, name: str, column: Column) -> bool:
        """Whether it is something that an item can be, or else a group of falls."""
        return (name in self._items) is (column.fall is None)

    def floor(self, column: str, budget_cents: int | None) -> Fraction:
        """What a column is at least with any kit within a budget."""
        if column in self._waits:
            return self._waits[column].floor
        group = self._groups.get(column, Counter())
        return self._money * sum(weight * self._least.within(fall, budget_cents) for fall, weight in group.items())

    def cut(self, column: str, found: Found) -> Line:
        """The cut found there, by guard."""
        choice = self._known.setdefault(found, Choice(self._falls.covers, found.point))
        if column in self._waits:
            return self._waits[column].cut(choice)
        total = Cut()
        for item, weight in self._items.get(column, Counter()).items():
            total.add(sum_of([item], choice), weight)
        for fall, weight in self._groups.get(column, Counter()).items():
            total.add(capped_cut(self._falls, self._least, fall, choice, found.budget_cents, found.off), weight)
        return total.scaled(self._money, self._guards)

    def measure(self) -> Fraction:
        """ā Σ λ_f times the mean cost of falls with the kit, and what putting right costs, a hair more at most."""
        falls = self._falls
        paid = sum(weight * cost for (_, weight), cost in zip(falls.falls, falls.costs, strict=True))
        waited = (waits.cost_of(falls.noted[number])[1] for number, waits in self._by_number.items())
        return self._money * paid + sum(waited)

    @property
    def _by_number(self) -> Mapping[int, Waits]:
        return {number: self._waits[self._falls.money.names[number]] for number in self._falls.money.amounts}


class TailMean:
    """The one column of `worst`.

    Parameters
    ----------
    falls
        The simulated falls.
    tail
        The share of falls that count as the worst.
    """

    ungrouped = 0
    """Falls are not grouped."""

    def __init__(self, falls: Falls, tail: float) -> None:
        self._falls, self._least = falls, LeastBills(falls)
        self.fixed_cost = Fraction(0)
        self._mass = exact(tail) * sum(weight for _, weight in falls.falls)
        self._guards = len(falls.scenario.guards)
        most = [min(fall.most, falls.money.cap) + sum(item.cost for item in fall.on_top) for fall, _ in falls.falls]
        base = [fall.base + sum(item.cost for item in fall.on_top if not item.can_be_spared) for fall, _ in falls.falls]
        self._scale = max(most, default=0)
        self.ceiling: Mapping[str, Fraction] = {TAIL: self._mean(most)}
        # With all spared that can be, the worst share begins at this cost, so a fall that never costs as much is never
        # among the worst.
        begins = min((base[number] for number, _ in self._worst(base)), default=0)
        clear = begins - Fraction(self._scale, BILLION)
        self._doubtful = dict.fromkeys(fall for (fall, _), one in zip(falls.falls, most, strict=True) if one >= clear)
        self._known: dict[Found, Line] = {}

    def is_known(self, name: str, column: Column) -> bool:
        """Whether it is the tail mean."""
        return name == TAIL and column.fall is None

    def floor(self, column: str, budget_cents: int | None) -> Fraction:
        """Falls cost nothing at least."""
        return Fraction(0)

    def _worst(self, ranks: Sequence[int]) -> Iterable[tuple[int, Fraction]]:
        """Falls of the highest ranks, by their number, and how much of each lies within the worst share."""
        falls = self._falls.falls
        left = self._mass
        for number in sorted(range(len(falls)), key=ranks.__getitem__, reverse=True):
            if left <= 0:
                return
            taken = min(left, Fraction(falls[number][1]))
            left -= taken
            yield number, taken

    def cut(self, column: str, found: Found) -> Line:
        """The cut of each of the worst falls at the point, weighed by how much of it is within the share."""
        if found not in self._known:
            choice = Choice(self._falls.covers, found.point)
            cuts = {fall: sum_of(fall.on_top, choice) for fall in self._doubtful}
            for fall, cut in cuts.items():
                cut.add(capped_cut(self._falls, self._least, fall, choice, found.budget_cents, found.off), 1)
            step = 2 * self._scale * CHORD * POINT
            rank = {
                fall: (2 * RANK * one.at(choice.z) + self._scale * CHORD * POINT) // step if step else 0
                for fall, one in cuts.items()
            }
            shares: Counter[FallClass] = Counter()
            unit = self._mass.denominator
            for number, taken in self._worst([rank.get(fall, -1) for fall, _ in self._falls.falls]):
                shares[self._falls.falls[number][0]] += int(taken * unit)
            total = Cut()
            for fall, share in shares.items():
                total.add(cuts[fall], share)
            self._known[found] = total.scaled(self._per_mass / unit, self._guards)
        return self._known[found]

    @property
    def _per_mass(self) -> Fraction:
        return 1 / (self._mass * self._falls.money.unit) if self._mass else Fraction(0)

    def measure(self) -> Fraction:
        """Mean cost of the worst share of falls with the kit."""
        return self._mean(self._falls.costs)

    def _mean(self, costs: Sequence[int]) -> Fraction:
        return self._per_mass * sum(taken * costs[number] for number, taken in self._worst(costs))
