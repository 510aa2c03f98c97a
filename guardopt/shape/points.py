"""Measured points as arrays: what touches the road, and where the centre of mass is.

Places are in millimetres, the bike upright: x forward of the rear axle, y out from the centre plane to the left, z up
from the ground.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.errors import InputError, Problem
from guardopt.model.pieces import Centre, Point
from guardopt.model.scenario import Scenario

CONTACT = 1e-6
"""Millimetres within which a point counts as touching a plane; measured points are good to about one."""

MIRRORED = np.array([1.0, -1.0, 1.0])
"""Left for right."""


@dataclass(frozen=True)
class Body:
    """A bike, with or without guards, as points.

    Attributes
    ----------
    ids
        What the points belong to, each id once.
    first
        ``(ids,)``: where the points of each id begin.
    places
        ``(points, 3)``: millimetres forward, to the left and up.
    wears, thick
        ``(points,)``: millimetres ground off for each metre slid, and millimetres there are to grind.
    centre
        ``(3,)``: the centre of mass.
    """

    ids: tuple[str, ...]
    first: Ints
    places: Floats
    wears: Floats
    thick: Floats
    centre: Floats

    @cached_property
    def row(self) -> dict[str, int]:
        """Where each id stands among the ids."""
        return {name: row for row, name in enumerate(self.ids)}

    def reach(self, heights: Floats) -> Floats:
        """The greatest of the heights of the points of each id, on the last axis: ``(…, points)`` to ``(…, ids)``."""
        reached: Floats = np.maximum.reduceat(heights, self.first, axis=-1)
        return reached

    def ground_off(self, slide: float) -> Floats:
        """``(points,)``: millimetres by which points have receded after `slide` metres, min(thick, wears · slide)."""
        return np.minimum(self.thick, self.wears * slide)

    def mirrored(self) -> Body:
        """The same machine seen in a mirror: what was on the left is on the right."""
        return Body(self.ids, self.first, self.places * MIRRORED, self.wears, self.thick, self.centre * MIRRORED)


def body(points: Iterable[Point], centre: Centre, ids: Collection[str]) -> Body:
    """The points of these ids as one body.

    Parameters
    ----------
    points
        All that was measured.
    centre
        The centre of mass.
    ids
        What is on the bike.
    """
    by_id: dict[str, dict[Point, None]] = {}
    for point in points:
        if point.id in ids:
            by_id.setdefault(point.id, {})[point] = None
    chosen = [point for group in by_id.values() for point in group]
    counts = [len(group) for group in by_id.values()]
    return Body(
        ids=tuple(by_id),
        first=np.cumsum([0, *counts[:-1]], dtype=np.int64),
        places=np.array([(point.forward, point.out, point.up) for point in chosen], dtype=float).reshape(-1, 3),
        wears=np.array([point.wears for point in chosen], dtype=float),
        thick=np.array([point.thick for point in chosen], dtype=float),
        centre=np.array([centre.forward, 0.0, centre.up]),
    )


def bike_ids(scenario: Scenario) -> frozenset[str]:
    """What was measured and is no guard: it is always on the bike."""
    return frozenset(point.id for point in scenario.points) - frozenset(scenario.guard)


def measured_bike(scenario: Scenario, kit: Collection[str]) -> Body:
    """The bike with those guards of a kit that were measured.

    Raises
    ------
    InputError
        Nothing was measured.
    """
    return body(scenario.points, measured_centre(scenario), bike_ids(scenario) | frozenset(kit))


def measured_centre(scenario: Scenario) -> Centre:
    """The centre of mass.

    Raises
    ------
    InputError
        Nothing was measured.
    """
    if scenario.centre is None or not scenario.points:
        message = "needs points.csv, and centre_forward and centre_up in the table [shape] of scenario.toml"
        raise InputError([Problem("how the bike comes to lie", message)])
    return scenario.centre
