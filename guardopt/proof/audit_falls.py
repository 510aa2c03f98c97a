"""The simulated falls of a proof as lists of what each can cost, in whole numbers, and what they cost with the kit.

An *item* of a fall is something that its strikes can bring about. It costs c_k and comes about unless every one of its
*roots*, the strikes that lead to it, is spared: by a cover that holds in this fall and whose guards are all fitted. A
part is struck from the road on the bare bike, or because guards expose it to that. A strike of the second kind is also
spared if one of these guards is off: that is one more cover, by the *absence* of that guard. So covers are tuples of
entries of z = (x, 1 − x): guard i is entry i, its absence entry i + number of guards.

A fall is *whole* if its bill on the bare bike, every part counted, exceeds the cap by more than half a cent. Items are:

- of the bill, of which the cap at most is paid: each harmed part, and each group to be stripped down for a broken part;
  parts that wait only in whole falls;
- on top of the cap: for each level of days without the bike what it adds to the level below, brought about by broken
  parts of as many days, so that the largest is paid; getting the bike home goes with the lowest;
- what waits, in falls that are not whole: that a part that waits breaks, that it is harmed, and that one of the parts
  that wait in a group breaks. These count how often, and what is paid is worked out from that (`audit_columns`).

Where every fall counts by itself, at once, all falls are whole.

Money is in whole multiples of 1 / `Money.unit`, weights of 1 / `Falls.weight_unit`. Nothing here is shared with the
search for the plan.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import lcm

from guardopt.model.pieces import Side
from guardopt.model.scenario import Scenario
from guardopt.proof.audit_blows import Blows, Fall
from guardopt.proof.audit_money import Money, exact
from guardopt.simulation.sampling import Stratum, draw

Roots = tuple[tuple[int, ...], ...]
"""For each root of an item, the covers that hold against it."""


@dataclass(frozen=True, eq=False)
class Item:
    """Something that a fall can cost: what it is by its number, its cost (1 of what waits) and its roots.

    There is one object for all that are alike. `bare_roots` are those on the bare bike.
    """

    name: int
    cost: int
    roots: Roots
    bare_roots: Roots

    @cached_property
    def can_be_spared(self) -> bool:
        """Whether some cover holds against each of its roots."""
        return all(self.roots)


@dataclass(frozen=True, eq=False)
class FallClass:
    """Falls that are alike; there is one object for all that are.

    It says what is always on the bill (the cap at most), the bill on the bare bike and with all harm done, the items of
    the bill that can be spared, none if nothing brings it below the cap, and what is on top of the cap, if every fall
    counts by itself.
    """

    kind: int
    base: int
    bare: int
    most: int
    items: tuple[Item, ...]
    on_top: tuple[Item, ...]


class Falls:
    """The simulated falls of a proof, as items.

    Parameters
    ----------
    scenario, falls, seed
        What is simulated, how many falls of each kind and side, and their seed.
    kit
        The guards for which `costs` and `noted` are worked out.
    at_once
        Every fall counts by itself, and what waits is put right at once.

    Attributes
    ----------
    money
        What harm costs.
    covers
        The entries of z that each cover stands for, absences last.
    falls
        ``(falls,)``: the class of each fall and its weight λ_f · share / n, in the order drawn and in whole numbers.
    beside
        By kind of fall and item the weight of the falls that can bring it about: what is on top of the cap, and what
        waits. None where every fall counts by itself.
    worn
        ``(guards,)``: Σ weight of the falls in which a guard would be worn.
    costs
        ``(falls,)``: what each costs with the kit, found by following blows from part to part, and not by items.
    noted
        By number of an item that waits, in how many falls a year it comes about with the kit, found likewise.
    """

    def __init__(self, scenario: Scenario, falls: int, seed: int, kit: frozenset[str], *, at_once: bool) -> None:
        self.scenario, self._at_once = scenario, at_once
        self.money = Money(scenario)
        self._blows = Blows(scenario, self.money, kit)
        self._waits, self._none_waits = [part.waits for part in scenario.parts], [False] * len(scenario.parts)
        row = {guard.id: number for number, guard in enumerate(scenario.guards)}
        covers = [tuple(row[name] for name in cover.guards) for cover in scenario.covers]
        exposing = sorted({row[name] for one in scenario.exposures for name in one.guards})
        self.covers = [*covers, *((len(row) + guard,) for guard in exposing)]
        self._absences = [
            tuple(len(covers) + exposing.index(row[name]) for name in one.guards) for one in scenario.exposures
        ]
        self._known_items: dict[tuple[int, int, Roots, int], Item] = {}
        self._known_falls: dict[tuple[int, int, int, int, tuple[int, ...], tuple[int, ...]], FallClass] = {}
        self._drawn: list[tuple[FallClass, Fraction]] = []
        self.costs: list[int] = []
        self.worn = [Fraction(0)] * len(scenario.guards)
        self.noted: Counter[int] = Counter()
        beside: dict[tuple[int, Item], Fraction] = defaultdict(Fraction)
        noted: dict[int, Fraction] = defaultdict(Fraction)
        for stratum in draw(scenario, falls, seed, "plan"):
            self._read(stratum, beside, noted)
        self.weight_unit = lcm(*{weight.denominator for _, weight in self._drawn})
        self.falls = [(fall, int(weight * self.weight_unit)) for fall, weight in self._drawn]
        self.beside = {key: int(weight * self.weight_unit) for key, weight in beside.items()}
        self.noted = Counter({name: int(weight * self.weight_unit) for name, weight in noted.items()})

    def _read(self, stratum: Stratum, beside: dict[tuple[int, Item], Fraction], noted: dict[int, Fraction]) -> None:
        scenario = self.scenario
        kind = scenario.falls[stratum.fall]
        weight = exact(kind.per_year) * share_of(kind.left_share, kind.tumble, stratum.sides) / stratum.falls
        if not weight:
            return
        struck, exposes = stratum.struck.T.tolist(), stratum.exposes.T.tolist()
        breaks, passes, holds = stratum.breaks.T.tolist(), stratum.passes.T.tolist(), stratum.holds.T.tolist()
        comes_about: Counter[Item] = Counter()
        came_about: Counter[int] = Counter()
        for number in range(stratum.falls):
            fall = Fall(breaks[number], passes[number], holds[number])
            roads = [part for part, is_struck in enumerate(struck[number]) if is_struck]
            exposed = [row for row, is_exposed in enumerate(exposes[number]) if is_exposed]
            is_whole = self._at_once or not self.money.amounts or self._blows.is_whole(roads, fall)
            bill, on_top, waiting = self._items(fall, roads, exposed, is_whole=is_whole)
            self._drawn.append((self._class_of(stratum.fall, bill, on_top if self._at_once else []), weight))
            comes_about.update(waiting if self._at_once else [*on_top, *waiting])
            cost, came = self._blows.with_kit(fall, roads, exposed, is_whole=is_whole)
            self.costs.append(cost)
            came_about.update(came)
        for item, count in comes_about.items():
            beside[stratum.fall, item] += count * weight
        for name, count in came_about.items():
            noted[name] += count * weight
        self._wear(stratum, weight)

    def _wear(self, stratum: Stratum, weight: Fraction) -> None:
        """A guard that serves is worn by strikes on the bare bike that its rows are about, with its partners or not."""
        fall = self.scenario.falls[stratum.fall].id
        for guard, item in enumerate(self.scenario.guards):
            serves = item.side not in (Side.LEFT, Side.RIGHT) or item.side in stratum.sides
            rows = [
                row
                for row, cover in enumerate(self.scenario.covers)
                if item.id in cover.guards and serves and cover.fall in (None, fall)
            ]
            if item.wear_per_fall and rows:
                parts = [part for part, rows_of in enumerate(self._blows.covers_of) if set(rows) & set(rows_of)]
                self.worn[guard] += weight * int(stratum.struck[parts].any(axis=0).sum())

    def _class_of(self, kind: int, items: list[Item], on_top: list[Item]) -> FallClass:
        most = sum(item.cost for item in items)
        bare = sum(item.cost for item in items if item.bare_roots)
        base = sum(item.cost for item in items if not item.can_be_spared)
        sparable = () if self.money.reaches_cap(base) else tuple(item for item in items if item.can_be_spared)
        key = kind, min(base, self.money.cap), bare, most, tuple(map(id, sparable)), tuple(map(id, on_top))
        if key not in self._known_falls:
            self._known_falls[key] = FallClass(kind, key[1], bare, most, sparable, tuple(on_top))
        return self._known_falls[key]

    def _item(self, name: int, cost: int, strikes: Sequence[tuple[bool, tuple[int, ...]]]) -> Item:
        bare = tuple(against for is_bare, against in strikes if is_bare)
        roots = tuple(against for _, against in strikes)
        key = name, cost, roots, len(bare)
        if key not in self._known_items:
            self._known_items[key] = Item(name, cost, roots, bare)
        return self._known_items[key]

    def _items(
        self, fall: Fall, roads: list[int], exposed: list[int], *, is_whole: bool
    ) -> tuple[list[Item], list[Item], list[Item]]:
        """What a fall can bring about: of the bill, on top of the cap, and of what waits."""
        strikes = [(part, ()) for part in roads] + [(self._blows.exposed[row], self._absences[row]) for row in exposed]
        against = [
            (number < len(roads), tuple([row for row in self._blows.covers_of[part] if fall.holds[row]]) + absences)
            for number, (part, absences) in enumerate(strikes)
        ]
        roots_of: dict[int, list[int]] = defaultdict(list)
        for number, (struck, _) in enumerate(strikes):
            for part in self._blows.harmed_by([struck], fall):
                roots_of[part].append(number)
        # Roots on the bare bike come first, in the order of its parts, then exposures in the order of the scenario.
        waits = self._none_waits if is_whole else self._waits
        bill, on_top, waiting = [], [], []
        broken = {part for part in roots_of if fall.breaks[part]}
        for part in sorted(roots_of):
            cost = self.money.broken[part] if fall.breaks[part] else self.money.scuffed[part]
            roots = [against[number] for number in roots_of[part]]
            if waits[part]:
                name = self.money.first_number[part]
                waiting += [self._item(name, 1, roots)] if fall.breaks[part] else []
                waiting.append(self._item(name + 1, 1, roots))
            elif cost:
                bill.append(self._item(part, cost, roots))
        parts = len(self.money.broken)
        for group, members in enumerate(self.money.members):
            opened = [part for part in members if part in broken]
            roots = self._united(against, roots_of, [part for part in opened if not waits[part]])
            if roots and self.money.opened[group]:
                bill.append(self._item(parts + group, self.money.opened[group], roots))
            roots = self._united(against, roots_of, [part for part in opened if waits[part]])
            if roots:
                waiting.append(self._item(self.money.group_number[group], 1, roots))
        highest = max((self.money.level[part] for part in broken), default=0)
        for level in range(1, highest + 1):
            cost = self.money.off_road[level] - self.money.off_road[level - 1]
            if cost:
                roots = self._united(against, roots_of, [part for part in broken if self.money.level[part] >= level])
                on_top.append(self._item(parts + len(self.money.groups) + level - 1, cost, roots))
        return bill, on_top, waiting

    @staticmethod
    def _united(
        against: Sequence[tuple[bool, tuple[int, ...]]], roots_of: dict[int, list[int]], parts: list[int]
    ) -> list[tuple[bool, tuple[int, ...]]]:
        """The strikes that lead to any of these parts, each once and in order."""
        return [against[number] for number in sorted({one for part in parts for one in roots_of[part]})]


def share_of(left: float, tumble: float, sides: frozenset[Side]) -> Fraction:
    """The chance that a fall strikes just these sides."""
    if len(sides) > 1:
        return exact(tumble)
    share = exact(left) if Side.LEFT in sides else 1 - exact(left)
    return share * (1 - exact(tumble))
