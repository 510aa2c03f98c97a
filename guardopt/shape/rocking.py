"""Falls on uneven ground: the bike comes to rest, rocks once, and the road reaches past the plane it rests on.

B = bite · exp(spread · Z) is how far the road reaches past that plane. n₁ = n₀ + a u + b v, scaled to length 1, with a
and b normal with standard deviation tan(tilt), is where the bike rocks to. A part is struck if its clearance at n₀ or
at n₁ is at most B. Z, a and b are shared by all parts and by all kits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.shape.points import Body
from guardopt.shape.rest import Rest

GRAVITY = 9.80665
"""Standard acceleration of gravity, m/s² (CGPM 1901)."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What a kind of fall does to a bike.

    Attributes
    ----------
    bite
        Median depth by which the road reaches past the plane of rest, millimetres.
    spread
        Standard deviation of the logarithm of that depth.
    tilt
        Standard deviation of the rocking about either axis, degrees.
    slide
        Metres slid.
    """

    bite: float
    spread: float = 0.5
    tilt: float = 3.0
    slide: float = 0.0


@dataclass(frozen=True)
class Rocking:
    """Falls as drawn, in units of their spread.

    Attributes
    ----------
    depth
        ``(falls,)``: Z.
    tilts
        ``(falls, 2)``: a and b over tan(tilt).
    """

    depth: Floats
    tilts: Floats

    @property
    def falls(self) -> int:
        """How many falls were drawn."""
        return len(self.depth)

    def bites(self, ground: Ground) -> Floats:
        """``(falls,)``: B, millimetres."""
        bitten: Floats = ground.bite * np.exp(ground.spread * self.depth)
        return bitten

    def normals(self, rest: Rest, ground: Ground) -> Floats:
        """``(falls, 3)``: n₁."""
        # In a mirror the axis v points the other way; a symmetric bike then rocks alike on both sides.
        u, v = rest.axes()
        about = self.tilts * math.tan(math.radians(ground.tilt))
        rocked = rest.normal + about[:, :1] * u + about[:, 1:] * (v if rest.is_left else -v)
        result: Floats = rocked / np.linalg.norm(rocked, axis=1, keepdims=True)
        return result


def draw_rocking(falls: int, generator: np.random.Generator) -> Rocking:
    """Draw falls."""
    drawn = generator.standard_normal((falls, 3))
    return Rocking(drawn[:, 0], drawn[:, 1:])


def slide_metres(speed: float, drag: float) -> float:
    """How far a machine on its side slides: v² / (2 · drag · g).

    Parameters
    ----------
    speed
        Kilometres an hour at which it goes down.
    drag
        Its drag factor on this road.

    >>> round(slide_metres(40.0, 0.5), 1)
    12.6
    """
    return (speed / 3.6) ** 2 / (2.0 * drag * GRAVITY)


def speed_for(slide: float, drag: float) -> float:
    """The speed, kilometres an hour, from which a machine slides this many metres."""
    return 3.6 * math.sqrt(2.0 * drag * GRAVITY * slide)


def strikes(rest: Rest, ground: Ground, rocking: Rocking) -> Bools:
    """``(ids, falls)``: what the road reaches of a body that lies so."""
    body: Body = rest.body
    receded = body.ground_off(ground.slide)
    at_rest = rest.clearances(receded)
    heights = rocking.normals(rest, ground) @ body.places.T - receded
    rocked = heights.max(axis=1, keepdims=True) - body.reach(heights)
    nearest: Floats = np.minimum(at_rest, rocked)
    struck: Bools = (nearest <= rocking.bites(ground)[:, None]).T
    return struck
