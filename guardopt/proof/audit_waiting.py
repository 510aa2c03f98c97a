"""What waits, checked exactly: what it costs to put it right is a concave function of how often it comes about.

Falls are Poisson, so what comes about Λ times a year comes about within T years with chance 1 − exp(−T Λ), and then its
amount a is paid once. Over the years that is φ(Λ) = ā (a / T) (1 − exp(−T Λ)), which rises and is concave. With any kit
Λ ≥ L(x), found as for all items, and Λ ≥ Λ₀. Let L₁ be the most that L(x) is for 0 ≤ x ≤ 1, and Λ at most. For any

    s ≥ (φ(L₁) − φ(Λ₀)) / (L₁ − Λ₀)  and  s ≥ 0:     φ(Λ(x)) ≥ φ(L₁) − s (L₁ − L(x))                         (1)

since the right side, as a function of L, is below φ at Λ₀ and at L₁, thus in between, and below φ(Λ₀) before that. φ is
taken from below (`exponential`), and s rounded up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import combinations
from math import ceil

from guardopt.proof.audit_cuts import Choice, Cut, Line, sum_of
from guardopt.proof.audit_falls import Falls, Item
from guardopt.proof.audit_money import exact
from guardopt.proof.exponential import STEPS, risen

MOST_LISTED = 12
"""Guards whose combinations are listed to know how often something comes about at least."""


class Waits:
    """One thing that waits.

    Parameters
    ----------
    falls
        The simulated falls.
    number
        Which item it is.
    items
        By kind of fall, its items and the weight of their falls.
    """

    def __init__(self, falls: Falls, number: int, items: Mapping[int, Counter[Item]]) -> None:
        scenario = falls.scenario
        self._every = exact(scenario.repair_every)
        self._paid = exact(scenario.annuity) * falls.money.amounts[number] / (falls.money.unit * self._every)
        self._unit, self._guards = falls.weight_unit, len(scenario.guards)
        self._items = sum(items.values(), Counter())
        self._most = Fraction(sum(self._items.values()), self._unit)
        self._least = Fraction(sum(least_of(falls, of_kind) for of_kind in items.values()), self._unit)
        self.floor, self.ceiling = self._cost(self._least)[0], self._cost(self._most)[1]

    def _cost(self, often: Fraction) -> tuple[Fraction, Fraction]:
        """φ at least and at most."""
        low, high = risen(self._every * often)
        return self._paid * low, self._paid * high

    def cost_of(self, weight: int) -> tuple[Fraction, Fraction]:
        """φ, at least and at most, where falls of this weight bring it about."""
        return self._cost(Fraction(weight, self._unit))

    def cut(self, choice: Choice) -> Line:
        """The cut (1) of a choice."""
        total = Cut()
        for item, weight in self._items.items():
            total.add(sum_of([item], choice), weight)
        often = total.scaled(Fraction(1, self._unit), self._guards)
        most = min(often.most, self._most)
        if most <= self._least:
            return Line(self.floor, {})
        top = self._cost(most)[0]
        chord = Fraction(ceil(max(top - self.floor, Fraction(0)) / (most - self._least) * STEPS), STEPS)
        slope = {guard: chord * value for guard, value in often.slope.items()}
        return Line(top - chord * (most - often.constant), slope)


def least_of(falls: Falls, items: Counter[Item]) -> int:
    """The least weight of the items of one kind of fall that come about with any kit.

    Every combination of the guards that matter is looked at, unless they exclude each other, and each set of
    combinations is a number with a bit for each; 0 of those that can be spared if there are too many guards.
    """
    always = sum(weight for item, weight in items.items() if not item.can_be_spared)
    sparable = {item: weight for item, weight in items.items() if item.can_be_spared}
    count = len(falls.scenario.guards)
    rows = sorted({row for item in sparable for root in item.roots for row in root})
    guards = sorted({entry % count for row in rows for entry in falls.covers[row]})
    if len(guards) > MOST_LISTED:
        return always
    kits = list(_combinations(falls, guards))
    every = (1 << len(kits)) - 1
    on = {guard: sum(1 << number for number, kit in enumerate(kits) if guard in kit) for guard in guards}
    entry_holds = on | {count + guard: every ^ kits_with for guard, kits_with in on.items()}
    holds = {row: _in_all((entry_holds[entry] for entry in falls.covers[row]), every) for row in rows}
    by_kits: Counter[int] = Counter()
    for item, weight in sparable.items():
        spared = _in_all((_in_any(holds[row] for row in root) for root in item.roots), every)
        by_kits[every ^ spared] += weight
    weights = [0] * len(kits)
    for incurred, weight in by_kits.items():
        for number in range(len(kits)):
            if incurred >> number & 1:
                weights[number] += weight
    return always + min(weights)


def _combinations(falls: Falls, guards: Sequence[int]) -> Iterator[frozenset[int]]:
    """The combinations of guards of which no two exclude each other."""
    scenario = falls.scenario
    clashes = [
        (one, other)
        for one, other in combinations(guards, 2)
        if scenario.exclude_each_other(scenario.guards[one], scenario.guards[other])
    ]
    for size in range(len(guards) + 1):
        for kit in map(frozenset, combinations(guards, size)):
            if not any(one in kit and other in kit for one, other in clashes):
                yield kit


def _in_all(sets: Iterator[int], every: int) -> int:
    for one in sets:
        every &= one
    return every


def _in_any(sets: Iterator[int]) -> int:
    found = 0
    for one in sets:
        found |= one
    return found
