"""Where a bike comes to rest when it is pushed over: on which points, at which roll, how far all else stays clear.

From upright, pushed over to a side: it starts on the face of the convex hull through which the horizontal ray from the
centre of mass to that side leaves, and topples over edges until the foot of the centre of mass lies within the face.
Where that foot is outside several edges, it topples over the one it is farthest outside of, along which the centre of
mass falls the fastest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Floats
from guardopt.shape.points import CONTACT, MIRRORED, Body
from guardopt.shape.settling import exit_face, settle

TOUCHES = 1e-3
"""Millimetres of clearance below which something is said to touch."""


@dataclass(frozen=True)
class Rest:
    """A body at rest on its left or right side.

    Attributes
    ----------
    body
        What lies.
    is_left
        The side it lies on.
    passed
        ``(faces, 3)``: normals of the faces it lay on until it came to rest, in the coordinates of the upright bike:
        they point into the road.
    """

    body: Body
    is_left: bool
    passed: Floats

    @property
    def normal(self) -> Floats:
        """``(3,)``: n₀, the normal of the face it rests on."""
        last: Floats = self.passed[-1]
        return last

    @property
    def roll_degrees(self) -> float:
        """How far it has rolled to that side: 0 upright, 90 flat on its side, 180 upside down."""
        sideways = self.normal[1] if self.is_left else -self.normal[1]
        return math.degrees(math.atan2(sideways, -self.normal[2]))

    def clearances(self, receded: Floats | None = None) -> Floats:
        """``(ids,)``: h(n₀) − max n₀·p over the points of each id, in millimetres.

        Parameters
        ----------
        receded
            ``(points,)``: millimetres ground off; None: nothing.
        """
        return clearances(self.body, self.normal, receded)

    @property
    def rests_on(self) -> tuple[str, ...]:
        """What touches the road, from front to rear."""
        heights = self.body.places @ self.normal
        is_touching = heights >= heights.max() - TOUCHES
        forward = self.body.reach(np.where(is_touching, self.body.places[:, 0], -np.inf))
        return tuple(self.body.ids[row] for row in np.argsort(-forward, kind="stable") if np.isfinite(forward[row]))

    def axes(self) -> tuple[Floats, Floats]:
        """u, the forward direction made perpendicular to n₀ and of length 1, and v = n₀ × u, ``(3,)`` each."""
        n = self.normal
        u = np.array([1.0, 0.0, 0.0]) - n[0] * n
        length = float(np.linalg.norm(u))
        if length <= CONTACT:
            # On its nose or its tail: forward is up or down, so what was up shows where the bike points.
            u, length = np.array([0.0, 0.0, 1.0]) - n[2] * n, 1.0
        u = u / length
        return u, np.cross(n, u)


def clearances(one: Body, normal: Floats, receded: Floats | None = None) -> Floats:
    """``(ids,)``: how far the points of each id stay clear of the plane of this normal that the body touches."""
    heights = one.places @ normal
    if receded is not None:
        heights = heights - receded
    result: Floats = heights.max() - one.reach(heights)
    return result


def rest(one: Body, *, is_left: bool) -> Rest:
    """Push a bike over.

    Parameters
    ----------
    one
        The bike, with its centre of mass within the convex hull of its points.
    is_left
        The side it is pushed to.
    """
    # To the right is to the left in a mirror, to the last digit: so a symmetric bike lies alike on both sides.
    mirror = np.ones(3) if is_left else MIRRORED
    places, centre = one.places * mirror, one.centre * mirror
    start, _ = exit_face(places, centre, np.array([0.0, 1.0, 0.0]))

    def foot(normal: Floats, height: float) -> Floats:
        return centre + (height - normal @ centre) * normal

    return Rest(one, is_left, np.array(settle(places, start, foot)) * mirror)
