"""Bodies and points for tests of how a bike comes to lie."""

from __future__ import annotations

import numpy as np

from guardopt.arrays import Floats
from guardopt.model.pieces import Centre, Point
from guardopt.shape.points import Body


def body_of(places: Floats, centre: Floats) -> Body:
    """A body whose every point is a thing of its own, named by its number."""
    count = len(places)
    return Body(
        tuple(map(str, range(count))), np.arange(count), places, np.zeros(count), np.zeros(count), np.asarray(centre)
    )


def random_body(seed: int) -> Body:
    """Points about as many and as far apart as those of a motorcycle, the centre of mass well within."""
    generator = np.random.default_rng(seed)
    places = generator.normal(size=(generator.integers(8, 60), 3)) * [400.0, 200.0, 300.0] + [600.0, 0.0, 600.0]
    return body_of(places, places.mean(axis=0) + generator.normal(size=3) * 10.0)


def both_sides(name: str, forward: float, out: float, up: float, **wear: float) -> list[Point]:
    """One point and its mirror image, as two things of one name with a side."""
    return [
        Point(f"{name}.left", forward, out, up, **wear),
        Point(f"{name}.right", forward, -out, up, **wear),
    ]


def mirrored(name: str, forward: float, out: float, up: float, **wear: float) -> list[Point]:
    """One point and its mirror image, of one thing."""
    return [Point(name, forward, out, up, **wear), Point(name, forward, -out, up, **wear)]


NAKED = [
    *both_sides("bar_end", 1110, 410, 1050),
    *both_sides("lever", 1225, 385, 1040),
    *both_sides("mirror", 1130, 395, 1215),
    *both_sides("fork_foot", 1395, 128, 310),
    *both_sides("case", 640, 235, 400),
    *both_sides("peg", 430, 330, 365),
    *both_sides("indicator", -130, 215, 800),
    *mirrored("headlight", 1370, 100, 950),
    *mirrored("tank", 830, 165, 900),
    *mirrored("tail", -60, 125, 860),
    *mirrored("front_tyre", 1400, 20, 12),
    *mirrored("front_tyre", 1695, 20, 300),
    *mirrored("rear_tyre", 0, 70, 30),
    *mirrored("rear_tyre", -300, 65, 310),
]
"""An everyday bike without a fairing; invented."""

GUARDS = [
    *mirrored("engine_bar", 800, 385, 520),
    *mirrored("engine_bar", 860, 370, 620),
    *mirrored("rear_hoop", 150, 300, 620),
    *mirrored("rear_hoop", -80, 290, 700),
    *both_sides("slider", 850, 290, 610),
]
"""Guards for it; invented."""

CENTRE = Centre(640, 520)
BIKE = frozenset(point.id for point in NAKED)
