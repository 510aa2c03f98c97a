"""Chances of being struck, and rows of what guards spare and expose, from places of rest.

Falls of one kind are drawn once and laid on both sides of the bike, bare and with every kit. A part on one side is
struck in falls to that side. A centre part has one chance for both, p = w · p_left + (1 − w) · p_right with w the share
of falls to the left; what guards of one side do to it there, q − p_side, is added to p.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from guardopt.arrays import Floats
from guardopt.model.pieces import Fall, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.shape.kits import RestingKits, shares_struck
from guardopt.shape.points import measured_bike, measured_centre
from guardopt.shape.rocking import Ground, Rocking
from guardopt.shape.row_fitting import MOST_TOGETHER, Fit, Guards, fit
from guardopt.shape.settling import depth_inside

TELLING = 0.1
"""Change of a chance from which on guards that only help together are told of."""

HARDLY = 0.25
"""Share of what guards spare together that they may spare with one of them less."""

MOST_KITS = 4096
"""Kits looked at for each side; where there are more, all of up to three guards are, and some of the larger ones."""


@dataclass(frozen=True, slots=True)
class JointRow:
    """A row of ``covers.csv`` or ``exposes.csv``, sides spelled out."""

    guards: tuple[str, ...]
    part: str
    fall: str
    chance: float


@dataclass(frozen=True, slots=True)
class Misfit:
    """How far off the rows are, at the kit, part and kind of fall where they are farthest.

    Attributes
    ----------
    simulated, by_rows
        The chance of the part being struck, as simulated and as the rows give it.
    """

    fall: str
    part: str
    kit: tuple[str, ...]
    simulated: float
    by_rows: float

    @property
    def size(self) -> float:
        """The difference, without its sign."""
        return abs(self.simulated - self.by_rows)


@dataclass(frozen=True)
class MeasuredChances:
    """What follows from points for the tables of a scenario.

    Attributes
    ----------
    falls, parts, guards
        Ids of what was measured: these alone have new numbers.
    hits
        ``(fall id, part id)`` to the chance of a strike on the bare bike.
    covers, exposes
        What guards spare, and what they expose.
    together
        What guards spare together, as a share of the strikes on the bare bike, that they hardly spare with one of them
        less; the most first.
    worst
        Where the rows are farthest off; None if there is nothing to be off.
    mean_misfit
        Mean of the differences over kits, parts and kinds of fall.
    kits
        How many kits were looked at, both sides together.
    all_kits
        Whether these are all there are.
    """

    falls: tuple[str, ...]
    parts: tuple[str, ...]
    guards: tuple[str, ...]
    hits: dict[tuple[str, str], float]
    covers: tuple[JointRow, ...]
    exposes: tuple[JointRow, ...]
    together: tuple[JointRow, ...]
    worst: Misfit | None
    mean_misfit: float
    kits: int
    all_kits: bool


@dataclass(frozen=True)
class _OneSide:
    """Shares of falls to one side that strike each part, ``(kits, falls, parts)``."""

    kits: tuple[Guards, ...]
    parts: tuple[Part, ...]
    shares: Floats
    is_all: bool

    def of(self, part: Part) -> Floats:
        """``(kits, falls)``: shares that strike this part."""
        shares: Floats = self.shares[:, :, self.parts.index(part)]
        return shares


def estimate_chances(
    scenario: Scenario,
    grounds: Sequence[tuple[Fall, Ground, Rocking]],
    progress: Callable[[str], None] = lambda _: None,
) -> MeasuredChances:
    """Work out every chance that the points of a scenario tell.

    Parameters
    ----------
    scenario
        A bike of which points were measured.
    grounds
        The kinds of fall that have a bite, what each does to a bike, and the falls drawn of it.
    progress
        Told what is being worked on.
    """
    measured = frozenset(point.id for point in scenario.points)
    parts = tuple(part for part in scenario.parts if part.id in measured)
    sides = {}
    for side in (Side.LEFT, Side.RIGHT):
        progress(f"laying the bike on its {side} side with every kit")
        sides[side] = _one_side(scenario, parts, side, grounds)
    left, right = sides[Side.LEFT], sides[Side.RIGHT]
    share = np.array([fall.left_share for fall, _, _ in grounds])
    progress("finding the rows that give the chances back")
    groups = [
        _Group.of_side(sides[side], tuple(part for part in parts if part.side is side))
        for side in (Side.LEFT, Side.RIGHT)
    ]
    groups.append(_Group.of_centre(left, right, share, tuple(part for part in parts if part.side is Side.CENTRE)))
    found = [group for group in groups if group.parts]
    return _collected(scenario, [fall for fall, _, _ in grounds], parts, found, left, right)


def _one_side(
    scenario: Scenario, parts: tuple[Part, ...], side: Side, grounds: Sequence[tuple[Fall, Ground, Rocking]]
) -> _OneSide:
    guards = [guard.id for guard in scenario.guards if guard.side.goes_with(side) and _stands_out(scenario, guard.id)]
    kits, is_all = compatible_kits(scenario, guards)
    exposed = tuple(part for part in parts if part.side.goes_with(side))
    points = [point for point in scenario.points if point.id not in scenario.guard or point.id in guards]
    resting = RestingKits(points, measured_centre(scenario), frozenset(guards), side is Side.LEFT)
    ids = [part.id for part in exposed]
    shares = np.empty((len(kits), len(grounds), len(ids)))
    for index, (_, ground, rocking) in enumerate(grounds):
        shares[:, index] = shares_struck(resting, kits, ground, rocking, ids)
    return _OneSide(kits, exposed, shares, is_all)


def _stands_out(scenario: Scenario, guard: str) -> bool:
    """True if a guard can touch anything: a point of it is outside the hull of the bare bike."""
    bare = measured_bike(scenario, ())
    own = [point for point in scenario.points if point.id == guard]
    return any(depth_inside(bare.places, np.array([one.forward, one.out, one.up])) < 0.0 for one in own)


def compatible_kits(
    scenario: Scenario, guards: Sequence[str], most: int = MOST_KITS
) -> tuple[tuple[Guards, ...], bool]:
    """Sets of guards that can share the bike, smaller ones first, and whether these are all there are.

    Sets of up to three guards are all there, whatever their number. What guards need is not looked at.
    """
    apart = {
        frozenset(pair)
        for pair in combinations(guards, 2)
        if Scenario.exclude_each_other(scenario.guard[pair[0]], scenario.guard[pair[1]])
    }
    kits: list[Guards] = [frozenset()]
    latest: list[tuple[str, ...]] = [()]
    for size in range(1, len(guards) + 1):
        grown = [
            (*kit, name)
            for kit in latest
            for name in guards[guards.index(kit[-1]) + 1 if kit else 0 :]
            if not any(frozenset((name, other)) in apart for other in kit)
        ]
        room = len(grown) if size <= MOST_TOGETHER else max(0, most - len(kits))
        kits += map(frozenset, grown[:room])
        if room < len(grown):
            return tuple(kits), False
        latest = grown
    return tuple(kits), True


@dataclass(frozen=True)
class _Group:
    """Parts that are struck alike, with the chances that rows are to give.

    Attributes
    ----------
    bare
        ``(falls, parts)``: p.
    wanted
        ``(kits, falls, parts)``: q; it may leave 0 to 1 where both sides of a centre part differ.
    """

    kits: tuple[Guards, ...]
    parts: tuple[Part, ...]
    bare: Floats
    wanted: Floats

    @classmethod
    def of_side(cls, side: _OneSide, parts: tuple[Part, ...]) -> _Group:
        wanted = side.shares[:, :, [side.parts.index(part) for part in parts]]
        return cls(side.kits, parts, wanted[0], wanted)

    @classmethod
    def of_centre(cls, left: _OneSide, right: _OneSide, share: Floats, parts: tuple[Part, ...]) -> _Group:
        on_left = left.shares[:, :, [left.parts.index(part) for part in parts]]
        on_right = right.shares[:, :, [right.parts.index(part) for part in parts]]
        weight = share[:, None]
        bare = weight * on_left[0] + (1.0 - weight) * on_right[0]
        row_on_right = {kit: row for row, kit in enumerate(right.kits)}
        wanted: dict[Guards, Floats] = {}
        for row, kit in enumerate(left.kits):
            if kit in row_on_right:
                wanted[kit] = weight * on_left[row] + (1.0 - weight) * on_right[row_on_right[kit]]
            else:
                wanted[kit] = bare + on_left[row] - on_left[0]
        for row, kit in enumerate(right.kits):
            if kit not in wanted:
                wanted[kit] = bare + on_right[row] - on_right[0]
        kits = tuple(sorted(wanted, key=len))
        return cls(kits, parts, bare, np.array([wanted[kit] for kit in kits]))

    def fitted(self) -> Fit:
        """Rows for all of its cells."""
        cells = self.bare.size
        wanted = np.clip(self.wanted.reshape(len(self.kits), cells), 0.0, 1.0)
        return fit(self.bare.reshape(cells), self.kits, wanted)


def _collected(
    scenario: Scenario,
    falls: Sequence[Fall],
    parts: Sequence[Part],
    groups: Sequence[_Group],
    left: _OneSide,
    right: _OneSide,
) -> MeasuredChances:
    measured = frozenset(point.id for point in scenario.points)
    hits: dict[tuple[str, str], float] = {}
    covers: list[JointRow] = []
    exposes: list[JointRow] = []
    together: list[JointRow] = []
    worst: Misfit | None = None
    off, cells = 0.0, 0
    order = {guard.id: row for row, guard in enumerate(scenario.guards)}
    for group in groups:
        shape = (len(falls), len(group.parts))
        found = group.fitted()
        hits.update(
            {
                (fall.id, part.id): float(group.bare[f, i])
                for f, fall in enumerate(falls)
                for i, part in enumerate(group.parts)
            }
        )
        for row in found.rows:
            ids = tuple(sorted(row.guards, key=lambda name: order[name]))
            for rows, chances in ((covers, row.holds.reshape(shape)), (exposes, row.harms.reshape(shape))):
                rows += [
                    JointRow(ids, group.parts[i].id, falls[f].id, float(chances[f, i]))
                    for f, i in np.argwhere(chances > 0.0)
                ]
        together += _only_together(group, falls, order)
        can_be = [row for row, kit in enumerate(group.kits) if _can_be_fitted(scenario, kit, measured)]
        by_rows = found.chances.reshape(-1, *shape)[can_be]
        wanted = group.wanted[can_be]
        miss = np.abs(by_rows - wanted)
        off, cells = off + float(miss.sum()), cells + miss.size
        if miss.size and (worst is None or miss.max() > worst.size):
            kit, f, i = map(int, np.unravel_index(int(miss.argmax()), miss.shape))
            ids = tuple(sorted(group.kits[can_be[kit]], key=lambda name: order[name]))
            worst = Misfit(falls[f].id, group.parts[i].id, ids, float(wanted[kit, f, i]), float(by_rows[kit, f, i]))
    return MeasuredChances(
        falls=tuple(fall.id for fall in falls),
        parts=tuple(part.id for part in parts),
        guards=tuple(guard.id for guard in scenario.guards if guard.id in measured),
        hits=hits,
        covers=tuple(covers),
        exposes=tuple(exposes),
        together=tuple(sorted(together, key=lambda row: (-len(row.guards), -row.chance))),
        worst=worst,
        mean_misfit=off / cells if cells else 0.0,
        kits=len(left.kits) + len(right.kits),
        all_kits=left.is_all and right.is_all,
    )


def _only_together(group: _Group, falls: Sequence[Fall], order: Mapping[str, int]) -> Iterator[JointRow]:
    """What guards spare together and, with any one of them less, hardly at all."""
    spared = {kit: group.bare - group.wanted[row] for row, kit in enumerate(group.kits)}
    for kit in (one for one in group.kits if 2 <= len(one) <= MOST_TOGETHER):
        with_one_less = np.max([spared[kit - {name}] for name in kit], axis=0)
        is_joint = (spared[kit] >= TELLING) & (with_one_less < HARDLY * spared[kit])
        ids = tuple(sorted(kit, key=lambda name: order[name]))
        for f, i in np.argwhere(is_joint):
            share = float(spared[kit][f, i] / group.bare[f, i])
            yield JointRow(ids, group.parts[i].id, falls[f].id, min(1.0, share))


def _can_be_fitted(scenario: Scenario, kit: Guards, measured: frozenset[str]) -> bool:
    """True if what each guard needs is in the kit, or may be beside it because it was not measured."""
    return all(
        alternatives & kit or alternatives - measured for name in kit for alternatives in scenario.guard[name].needs
    )
