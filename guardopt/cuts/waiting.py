"""Cuts about damage that waits: what it costs to put right is a concave function of how often it comes about.

With Λ(x) how often a year something comes about and φ(Λ) what that costs a year (`repair_interval`), cuts of the usual
kind say Λ(x) ≥ L(x), with L(x̄) = Λ(x̄) where they were found. φ rises and is concave, so on the stretch from the least
Λ that can be reached, Λ₀, to the most that L can be, L₁, it is nowhere below its chord:

    φ(Λ(x)) ≥ φ(Λ₀) + s (L(x) − Λ₀),     s = (φ(L₁) − φ(Λ₀)) / (L₁ − Λ₀)                                    (1)

Where L(x) is below Λ₀ the right side is no more than φ(Λ₀). At x̄ no term of L counts, so L₁ = L(x̄) and (1) is exact.
The chord is hung up at L₁ and s rounded up by more than rounding can have taken from it, which only weakens the cut.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.scenario import Scenario
from guardopt.simulation.batch_pricing import MergedCost, merged_costs
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import Items
from guardopt.simulation.repair_interval import put_right

MOST_LISTED = 12
"""Guards of one item whose combinations are listed to know the least it can come to."""

ROUNDING = 2.0**-48
"""Relative error that a cost, or how often something comes about, can have; several times more than it has."""

NO_ROOM = 2.0**-40
"""Relative distance of L₁ from Λ₀ below which a cut says no more than φ(Λ₀)."""


@dataclass(frozen=True)
class Waiting:
    """What waits under some fall rates.

    Attributes
    ----------
    bundles
        ``(items that wait,)``: the bundle of each.
    amount
        ``(items that wait,)``: ā times what is paid when it is put right.
    every
        T, in years.
    least, most
        ``(items that wait,)``: Λ₀, and the most that Λ can be with any kit.
    """

    bundles: Ints
    amount: Floats
    every: float
    least: Floats
    most: Floats

    def cost(self, often: Floats) -> Floats:
        """``(items that wait,)``: ā φ(Λ)."""
        return put_right(self.amount, often, self.every)

    def bundled(self, values: Floats) -> Floats:
        """``(bundles,)`` with, for what waits, its cost in place of how often a year it comes about."""
        costs = values.copy()
        costs[self.bundles] = self.cost(values[self.bundles])
        return costs

    def chords(self, constant: Floats, slope: Floats) -> tuple[Floats, Floats]:
        """Cuts about bundles, ``(bundles,)`` and ``(bundles, guards)``, in which those about what waits became (1)."""
        constant, slope = constant.copy(), slope.copy()
        often, falling = constant[self.bundles], slope[self.bundles]
        most = np.minimum(often + np.maximum(-falling, 0.0).sum(axis=1), self.most)
        room = most - self.least
        is_open = room > NO_ROOM * most
        chord = np.zeros(room.size)
        low, high = self.cost(self.least), self.cost(np.maximum(most, self.least))
        rise = np.maximum(high - low, 0.0) + ROUNDING * high
        chord[is_open] = (rise[is_open] / room[is_open]) * (1.0 + ROUNDING * most[is_open] / room[is_open])
        constant[self.bundles] = np.where(is_open, high - chord * (most - often), low)
        slope[self.bundles] = chord[:, np.newaxis] * falling
        return constant, slope


@dataclass(frozen=True)
class WaitingOfKits:
    """How often what waits comes about with each of many kits, for any fall rates.

    Attributes
    ----------
    which
        For each set of guards that matter, ``(kits,)``: the combination of them that each kit has.
    noted
        For each item that waits, the number of its set and ``(kinds of fall, combinations)``: how often in one fall.
    amount
        ``(items that wait,)``: what is paid when it is put right.
    every
        T, in years.
    """

    which: tuple[Ints, ...]
    noted: tuple[tuple[int, Floats], ...]
    amount: Floats
    every: float

    def yearly(self, rates: Floats, kits: int) -> Floats:
        """``(kits,)``: what putting it right costs a year, with ``(kinds of fall,)`` falls a year."""
        total = np.zeros(kits)
        by_set: dict[int, Floats] = {}
        for (number, noted), amount in zip(self.noted, self.amount, strict=True):
            cost = put_right(amount, rates @ noted, self.every)
            by_set[number] = by_set.get(number, 0.0) + cost
        for number, cost in by_set.items():
            total += cost[self.which[number]]
        return total


class WaitingTable:
    """Puts together what merged costs say of what waits.

    Parameters
    ----------
    bike
        The scenario as arrays.
    names
        Numbers of the items that wait in the list of costs.
    fixed
        ``(kinds of fall, items of the list)``: how often it comes about whatever is fitted.
    """

    def __init__(self, bike: Bike, names: Ints, fixed: Floats) -> None:
        self._bike, self._names, self._fixed = bike, names.tolist(), fixed
        self._which: dict[int, tuple[int, Ints]] = {}
        self._noted: dict[int, tuple[int, Floats]] = {}

    def takes(self, one: MergedCost) -> bool:
        """Take in what is about something that waits; whether it was."""
        if one.name not in self._names:
            return False
        number, _ = self._which.setdefault(id(one.which), (len(self._which), one.which))
        if one.name not in self._noted:
            base = np.repeat(self._fixed[:, one.name, np.newaxis], one.cost.size, axis=1)
            self._noted[one.name] = (number, base)
        self._noted[one.name][1][one.kind] += one.cost
        return True

    def of_kits(self, kits: int) -> WaitingOfKits:
        """All of it, for so many kits."""
        none = (len(self._which), np.zeros(kits, dtype=np.int64))
        which = [one for _, one in self._which.values()] + [none[1]]
        noted = [self._noted.get(name, (none[0], self._fixed[:, name, np.newaxis])) for name in self._names]
        amount = np.array([self._bike.costs.items[name].amount for name in self._names])
        return WaitingOfKits(tuple(which), tuple(noted), amount, self._bike.scenario.repair_every)


def least_merged(
    items: Items, literals: Sequence[tuple[int, ...]], names: int, scenario: Scenario
) -> Iterator[MergedCost]:
    """What the merged items of one name cost with every combination of their guards that do not exclude each other.

    Parameters
    ----------
    items
        Items of one name.
    literals, names
        As for `merged_costs`.
    scenario
        Says which guards exclude each other.
    """
    guards = sorted(
        {entry % len(scenario.guards) for cover in np.unique(items.against_cover).tolist() for entry in literals[cover]}
    )
    kits = _combinations(guards, scenario) if len(guards) <= MOST_LISTED else None
    if kits is not None and items.cost.size:
        yield from merged_costs(items, literals, names, kits)


def _combinations(guards: Sequence[int], scenario: Scenario) -> Bools:
    """``(combinations, guards of the scenario)``: every combination of these that do not exclude each other."""
    numbers = np.arange(1 << len(guards))
    chosen = (numbers[:, np.newaxis] >> np.arange(len(guards)) & 1).astype(bool)
    for (a, one), (b, other) in combinations(enumerate(guards), 2):
        if scenario.exclude_each_other(scenario.guards[one], scenario.guards[other]):
            chosen = chosen[~(chosen[:, a] & chosen[:, b])]
    kits = np.zeros((len(chosen), len(scenario.guards)), dtype=bool)
    kits[:, guards] = chosen
    return kits
