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

Money is in whole multiples of 1 / `Falls.unit`, weights of 1 / `Falls.weight_unit`. Nothing here is shared with the
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
from guardopt.simulation.sampling import Stratum, draw

BILLION = 10**9

HALF_A_CENT = Fraction(1, 200)

Roots = tuple[tuple[int, ...], ...]
"""For each root of an item, the covers that hold against it."""


def exact(number: float) -> Fraction:
    """The number as it is written, so 0.1 is a tenth."""
    return Fraction(str(float(number)))


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


@dataclass(frozen=True)
class _Fall:
    """One fall as it was drawn: which parts break, blows pass on and covers hold."""

    breaks: list[bool]
    passes: list[bool]
    holds: list[bool]


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
        self._groups = [name for name in scenario.strip_down if any(part.strip_down == name for part in scenario.parts)]
        self._take_money()
        row = {part.id: number for number, part in enumerate(scenario.parts)}
        self._guard = {guard.id: number for number, guard in enumerate(scenario.guards)}
        fitted = {self._guard[name] for name in kit}
        guards = len(self._guard)
        covers = [tuple(self._guard[name] for name in cover.guards) for cover in scenario.covers]
        exposing = sorted({self._guard[name] for one in scenario.exposures for name in one.guards})
        self.covers = [*covers, *((guards + guard,) for guard in exposing)]
        self._covers_of = [
            [number for number, cover in enumerate(scenario.covers) if row[cover.part] == part]
            for part in range(len(row))
        ]
        self._exposed = [row[one.part] for one in scenario.exposures]
        exposers = [[self._guard[name] for name in one.guards] for one in scenario.exposures]
        self._absences = [tuple(len(covers) + exposing.index(guard) for guard in one) for one in exposers]
        self._is_exposing = [fitted.issuperset(one) for one in exposers]
        self._blows: list[list[tuple[int, int]]] = [[] for _ in row]
        for number, link in enumerate(scenario.knock_ons):
            self._blows[row[link.part]].append((number, row[link.takes]))
        self._fitted_covers_of = [
            [number for number in rows if fitted.issuperset(covers[number])] for rows in self._covers_of
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

    def _take_money(self) -> None:
        scenario, parts = self.scenario, self.scenario.parts
        rate, a_day = exact(scenario.repair_rate), exact(scenario.day_without)
        broken = [exact(part.price) + exact(part.hours) * rate for part in parts]
        scuffed = [exact(part.touch_up) for part in parts]
        opened = [exact(scenario.strip_down[name]) * rate for name in self._groups]
        days = [exact(0.0 if part.waits else part.days) for part in parts]
        levels = [Fraction(0), *sorted({one for one in days if one > 0})]
        self._level = [levels.index(one) for one in days]
        off_road = [exact(scenario.recovery) + one * a_day if one else one for one in levels]
        cap = exact(scenario.value) - exact(scenario.salvage)
        if scenario.insurance is not None:
            cap = min(cap, exact(scenario.insurance.excess) + exact(scenario.insurance.premium_rise))
        amounts = [*broken, *scuffed, *opened, *off_road, cap]
        self.unit = unit = 2 * lcm(100, *(one.denominator for one in amounts))
        self.cap, self._half_a_cent = int(cap * unit), int(HALF_A_CENT * unit)
        self._broken, self._scuffed, self._opened = (
            [int(one * unit) for one in money] for money in (broken, scuffed, opened)
        )
        self._off_road = [int(cost * unit) for cost in off_road]
        self._waits, self._none_waits = [part.waits for part in parts], [False] * len(parts)
        self._members = [
            [number for number, part in enumerate(parts) if part.strip_down == name] for name in self._groups
        ]

    @cached_property
    def names(self) -> list[str]:
        """What an item can be, as the columns of a proof are called: of the bill, on top, and what waits."""
        parts = [part.id for part in self.scenario.parts]
        bill = [f"part {part}" for part in parts] + [f"strip_down {name}" for name in self._groups]
        return bill + [f"days {number}" for number in range(1, len(self._off_road))] + list(self._waiting)

    @cached_property
    def _waiting_number(self) -> dict[str, int]:
        first = len(self.names) - len(self._waiting)
        return {name: first + number for number, name in enumerate(self._waiting)}

    @cached_property
    def _first_number(self) -> dict[int, int]:
        """Of each part that waits, the number of its breaking; its harm comes next."""
        parts = enumerate(self.scenario.parts)
        return {row: self._waiting_number[f"waits broken {part.id}"] for row, part in parts if part.waits}

    @cached_property
    def _group_number(self) -> dict[int, int]:
        """Of each group with parts that wait, the number of what it takes to reach them."""
        found = ((row, self._waiting_number.get(f"waits strip_down {name}")) for row, name in enumerate(self._groups))
        return {row: number for row, number in found if number is not None}

    @cached_property
    def amounts(self) -> dict[int, int]:
        """By number of an item that waits, what is paid when it is put right."""
        return {number: self._waiting[name] for name, number in self._waiting_number.items()}

    @cached_property
    def _waiting(self) -> dict[str, int]:
        """What waits: of each part the breaking and the harm, and of each group what it takes to reach its parts."""
        found: dict[str, int] = {}
        for number, part in enumerate(self.scenario.parts):
            if part.waits:
                found[f"waits broken {part.id}"] = self._broken[number] - self._scuffed[number]
                found[f"waits harmed {part.id}"] = self._scuffed[number]
        for number, name in enumerate(self._groups):
            if any(self.scenario.parts[part].waits for part in self._members[number]):
                found[f"waits strip_down {name}"] = self._opened[number]
        return found

    def reaches_cap(self, bill: int | Fraction) -> bool:
        """Whether a bill is above the cap or next to it."""
        return bill * BILLION > self.cap * (BILLION - 1)

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
            fall = _Fall(breaks[number], passes[number], holds[number])
            roads = [part for part, is_struck in enumerate(struck[number]) if is_struck]
            exposed = [row for row, is_exposed in enumerate(exposes[number]) if is_exposed]
            is_whole = self._at_once or not self._waiting or self._is_whole(roads, fall)
            bill, on_top, waiting = self._items(fall, roads, exposed, is_whole=is_whole)
            self._drawn.append((self._class_of(stratum.fall, bill, on_top if self._at_once else []), weight))
            comes_about.update(waiting if self._at_once else [*on_top, *waiting])
            cost, came = self._with_kit(fall, roads, exposed, is_whole=is_whole)
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
                parts = [part for part, rows_of in enumerate(self._covers_of) if set(rows) & set(rows_of)]
                self.worn[guard] += weight * int(stratum.struck[parts].any(axis=0).sum())

    def _class_of(self, kind: int, items: list[Item], on_top: list[Item]) -> FallClass:
        most = sum(item.cost for item in items)
        bare = sum(item.cost for item in items if item.bare_roots)
        base = sum(item.cost for item in items if not item.can_be_spared)
        sparable = () if self.reaches_cap(base) else tuple(item for item in items if item.can_be_spared)
        key = kind, min(base, self.cap), bare, most, tuple(map(id, sparable)), tuple(map(id, on_top))
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
        self, fall: _Fall, roads: list[int], exposed: list[int], *, is_whole: bool
    ) -> tuple[list[Item], list[Item], list[Item]]:
        """What a fall can bring about: of the bill, on top of the cap, and of what waits."""
        strikes = [(part, ()) for part in roads] + [(self._exposed[row], self._absences[row]) for row in exposed]
        against = [
            (number < len(roads), tuple([row for row in self._covers_of[part] if fall.holds[row]]) + absences)
            for number, (part, absences) in enumerate(strikes)
        ]
        roots_of: dict[int, list[int]] = defaultdict(list)
        for number, (struck, _) in enumerate(strikes):
            for part in self._harmed_by([struck], fall):
                roots_of[part].append(number)
        # Roots on the bare bike come first, in the order of its parts, then exposures in the order of the scenario.
        waits = self._none_waits if is_whole else self._waits
        bill, on_top, waiting = [], [], []
        broken = {part for part in roots_of if fall.breaks[part]}
        for part in sorted(roots_of):
            cost = self._broken[part] if fall.breaks[part] else self._scuffed[part]
            roots = [against[number] for number in roots_of[part]]
            if waits[part]:
                name = self._first_number[part]
                waiting += [self._item(name, 1, roots)] if fall.breaks[part] else []
                waiting.append(self._item(name + 1, 1, roots))
            elif cost:
                bill.append(self._item(part, cost, roots))
        parts = len(self._broken)
        for group, members in enumerate(self._members):
            opened = [part for part in members if part in broken]
            roots = self._united(against, roots_of, [part for part in opened if not waits[part]])
            if roots and self._opened[group]:
                bill.append(self._item(parts + group, self._opened[group], roots))
            roots = self._united(against, roots_of, [part for part in opened if waits[part]])
            if roots:
                waiting.append(self._item(self._group_number[group], 1, roots))
        highest = max((self._level[part] for part in broken), default=0)
        for level in range(1, highest + 1):
            cost = self._off_road[level] - self._off_road[level - 1]
            if cost:
                roots = self._united(against, roots_of, [part for part in broken if self._level[part] >= level])
                on_top.append(self._item(parts + len(self._groups) + level - 1, cost, roots))
        return bill, on_top, waiting

    @staticmethod
    def _united(
        against: Sequence[tuple[bool, tuple[int, ...]]], roots_of: dict[int, list[int]], parts: list[int]
    ) -> list[tuple[bool, tuple[int, ...]]]:
        """The strikes that lead to any of these parts, each once and in order."""
        return [against[number] for number in sorted({one for part in parts for one in roots_of[part]})]

    def _harmed_by(self, struck: list[int], fall: _Fall) -> set[int]:
        """The parts harmed where these are: themselves, and what their breaking reaches."""
        harmed = set(struck)
        if not any(fall.passes):
            return harmed
        waiting = [part for part in struck if fall.breaks[part] and self._blows[part]]
        while waiting:
            part = waiting.pop()
            for link, takes in self._blows[part] if fall.breaks[part] else ():
                if fall.passes[link] and takes not in harmed:
                    harmed.add(takes)
                    waiting.append(takes)
        return harmed

    def _is_whole(self, roads: list[int], fall: _Fall) -> bool:
        """Whether the bill on the bare bike, every part counted, exceeds the cap."""
        bill = self._bill(self._harmed_by(roads, fall), fall, set())
        return bill > self.cap + self._half_a_cent

    def _bill(self, harmed: set[int], fall: _Fall, left_out: set[int]) -> int:
        """The repair bill for harmed parts, some left out."""
        counted = harmed - left_out
        bill = sum(self._broken[part] if fall.breaks[part] else self._scuffed[part] for part in counted)
        for group, members in enumerate(self._members):
            bill += self._opened[group] * any(part in counted and fall.breaks[part] for part in members)
        return bill

    def _with_kit(self, fall: _Fall, roads: list[int], exposed: list[int], *, is_whole: bool) -> tuple[int, list[int]]:
        """What the fall costs with the kit, and what that waits comes about."""
        struck = {*roads, *(self._exposed[row] for row in exposed if self._is_exposing[row])}
        hit = [part for part in struck if not any(fall.holds[row] for row in self._fitted_covers_of[part])]
        harmed = self._harmed_by(hit, fall)
        waits = set() if is_whole else {part for part in harmed if self.scenario.parts[part].waits}
        level = max((self._level[part] for part in harmed if fall.breaks[part]), default=0)
        came = []
        for part in waits:
            name = self._first_number[part]
            came += [name, name + 1] if fall.breaks[part] else [name + 1]
        for group, members in enumerate(self._members):
            if any(part in waits and fall.breaks[part] for part in members):
                came.append(self._group_number[group])
        return min(self._bill(harmed, fall, waits), self.cap) + self._off_road[level], came


def share_of(left: float, tumble: float, sides: frozenset[Side]) -> Fraction:
    """The chance that a fall strikes just these sides."""
    if len(sides) > 1:
        return exact(tumble)
    share = exact(left) if Side.LEFT in sides else 1 - exact(left)
    return share * (1 - exact(tumble))
