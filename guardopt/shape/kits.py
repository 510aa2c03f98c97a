"""Many kits on one bike: where it comes to rest with each, and how often falls then strike each part."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.pieces import Centre, Point
from guardopt.shape.points import CONTACT, Body, body
from guardopt.shape.rest import Rest, rest
from guardopt.shape.rocking import Ground, Rocking

Guards = frozenset[str]


@dataclass(frozen=True)
class _Way:
    """The faces on which a bike lies until it comes to rest: their normals, ``(faces, 3)``, and heights."""

    passed: Floats
    heights: Floats


@dataclass
class RestingKits:
    """Places of rest of one bike, on one side, with any of its guards; each is worked out once.

    Attributes
    ----------
    points
        All that was measured.
    centre
        The centre of mass.
    guards
        The guards among the ids of the points; all else is always on the bike.
    is_left
        The side it is pushed to.
    """

    points: Sequence[Point]
    centre: Centre
    guards: Guards
    is_left: bool
    _known: dict[Guards, _Way] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        self.bike = frozenset(point.id for point in self.points) - self.guards
        self.whole: Body = body(self.points, self.centre, self.bike | self.guards)
        ends = [*self.whole.first[1:], len(self.whole.places)]
        self._places = {
            name: self.whole.places[self.whole.first[row] : ends[row]]
            for name, row in self.whole.row.items()
            if name in self.guards
        }

    def rest(self, kit: Collection[str]) -> Rest:
        """Where the bike comes to rest with these guards."""
        measured = self.guards & frozenset(kit)
        one = body(self.points, self.centre, self.bike | measured)
        return Rest(one, self.is_left, self._way(measured).passed)

    def normal(self, kit: Collection[str]) -> Floats:
        """``(3,)``: n₀ with these guards."""
        last: Floats = self._way(self.guards & frozenset(kit)).passed[-1]
        return last

    def _way(self, kit: Guards) -> _Way:
        """How the bike comes to rest with a kit.

        A guard that stays within every face on which the bike lies without it leaves these faces as they are, so the
        bike takes the same way.
        """
        if kit not in self._known:
            found = next((way for name in sorted(kit) if (way := self._unmoved_by(name, kit))), None)
            if found is None:
                lying = rest(body(self.points, self.centre, self.bike | kit), is_left=self.is_left)
                found = _Way(lying.passed, (lying.body.places @ lying.passed.T).max(axis=0))
            self._known[kit] = found
        return self._known[kit]

    def _unmoved_by(self, guard: str, kit: Guards) -> _Way | None:
        """The known way without this guard, if the guard does not change it."""
        without = self._known.get(kit - {guard})
        if without is None or ((self._places[guard] @ without.passed.T).max(axis=0) > without.heights - CONTACT).any():
            return None
        return without


def shares_struck(
    resting: RestingKits, kits: Iterable[Collection[str]], ground: Ground, rocking: Rocking, parts: Sequence[str]
) -> Floats:
    """How often falls of one kind strike each part with each kit.

    Parameters
    ----------
    resting
        The bike on the side struck.
    kits
        Guards on the bike, each a set of ids.
    ground, rocking
        The kind of fall, and the falls drawn.
    parts
        Measured parts.

    Returns
    -------
    Floats
        ``(kits, parts)``: shares of the falls.
    """
    listed = [frozenset(kit) for kit in kits]
    rows: dict[bytes, list[int]] = {}
    for row, kit in enumerate(listed):
        rows.setdefault(resting.normal(kit).tobytes(), []).append(row)
    shares = np.zeros((len(listed), len(parts)))
    for members in rows.values():
        plane = _Plane.of(resting, resting.rest(listed[members[0]]), ground, rocking, parts)
        for row in members:
            struck = plane.struck(listed[row] & resting.guards)
            shares[row, plane.parts] = np.count_nonzero(struck, axis=1) / rocking.falls
    return shares


@dataclass(frozen=True)
class _Plane:
    """One plane of rest that several kits share: how far everything reaches towards it, and towards the rocked ones.

    Attributes
    ----------
    parts
        ``(reached,)``: the parts that the road reaches in some fall without any guard in the way, as rows of all.
    parts_at_rest, parts_rocked
        ``(reached, falls)`` each: how far these reach, with B added.
    bike, guards
        ``(1 + falls,)`` each: reach at rest and rocked, of the bare bike and of each guard.
    """

    parts: Ints
    parts_at_rest: Floats
    parts_rocked: Floats
    bike: Floats
    guards: Mapping[str, Floats]

    @classmethod
    def of(cls, resting: RestingKits, lying: Rest, ground: Ground, rocking: Rocking, parts: Sequence[str]) -> _Plane:
        whole = resting.whole
        normals = np.vstack([lying.normal, rocking.normals(lying, ground)])
        # Points by falls, so that both the sums and the maxima run along memory.
        heights = np.einsum("pk,kf->pf", whole.places, np.ascontiguousarray(normals.T))
        heights -= whole.ground_off(ground.slide)[:, None]
        reach = np.maximum.reduceat(heights, whole.first, axis=0)
        rows = [whole.row[part] for part in parts]
        bites = rocking.bites(ground)
        at_rest, rocked = reach[rows, :1] + bites, reach[rows, 1:] + bites
        bike = reach[[whole.row[name] for name in sorted(resting.bike)]].max(axis=0)
        is_reached = ((at_rest >= bike[0]) | (rocked >= bike[1:])).any(axis=1)
        return cls(
            parts=np.flatnonzero(is_reached),
            parts_at_rest=at_rest[is_reached],
            parts_rocked=rocked[is_reached],
            bike=bike,
            guards={name: reach[whole.row[name]] for name in resting.guards},
        )

    def struck(self, kit: Guards) -> Bools:
        """``(reached, falls)``: what is struck with these guards."""
        top = self.bike
        for name in kit:
            top = np.maximum(top, self.guards[name])
        struck: Bools = self.parts_rocked >= top[1:]
        struck |= self.parts_at_rest >= top[0]
        return struck
