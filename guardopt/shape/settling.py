"""Planes that support a body: turned about edges of its convex hull until the point looked for lies on the face.

The hull is never built. A supporting plane touches the hull in a vertex, an edge or a face; turned about an edge until
the next point touches, it lies on the face next to it (gift wrapping; Chand and Kapur 1970). A few turns do.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guardopt.arrays import Floats
from guardopt.errors import GuardoptError
from guardopt.shape.points import CONTACT

MOST_TURNS = 1000
"""More than any body of measured points can take, since each turn brings the plane closer."""

Goal = Callable[[Floats, float], Floats]
"""From a plane's normal and height to the point of it that is to lie on the face."""


def settle(places: Floats, normal: Floats, goal: Goal) -> list[Floats]:
    """Turn a supporting plane until its goal lies on the face it touches.

    Parameters
    ----------
    places
        ``(points, 3)``: not all in one plane.
    normal
        ``(3,)``: where the plane faces at the start, of length 1.
    goal
        Where it has to touch.

    Returns
    -------
    list of Floats
        ``(3,)`` each: the normals of the planes it went through, pointing away from the body; that of the face last.

    Raises
    ------
    GuardoptError
        The plane does not come to an end, which rounding alone could bring about.
    """
    normals = [normal]
    while len(normals) <= MOST_TURNS:
        normal = normals[-1]
        heights = places @ normal
        height = float(heights.max())
        contact = places[heights >= height - CONTACT]
        turn = _pivot(contact, normal, goal(normal, height))
        if turn is None:
            return normals
        normals.append(_turned(places, normal, *turn))
    raise GuardoptError("the points are so placed that no plane of rest was found")


def exit_face(places: Floats, inside: Floats, direction: Floats) -> tuple[Floats, float]:
    """The face through which a ray leaves the convex hull.

    Parameters
    ----------
    places
        ``(points, 3)``: not all in one plane.
    inside
        ``(3,)``: where the ray starts, within the hull.
    direction
        ``(3,)``: of length 1.

    Returns
    -------
    normal : Floats
        ``(3,)``: the normal of the face.
    distance : float
        How far the ray goes until it leaves.
    """

    def pierced(normal: Floats, height: float) -> Floats:
        return inside + direction * ((height - normal @ inside) / (normal @ direction))

    normal = settle(places, direction, pierced)[-1]
    return normal, float(((places @ normal).max() - normal @ inside) / (normal @ direction))


def is_solid(places: Floats) -> bool:
    """True if the points do not all lie in one plane."""
    if len(places) < 4:
        return False
    spread = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)
    return bool(spread[2] > CONTACT)


def depth_inside(places: Floats, point: Floats) -> float:
    """How far within the hull a point is, along the ray from the mean of the points; negative outside.

    It is 0 on the hull, and not the least distance to it.
    """
    middle = places.mean(axis=0)
    ray = point - middle
    length = float(np.linalg.norm(ray))
    if length <= CONTACT:
        return float("inf")
    return exit_face(places, middle, ray / length)[1] - length


def _pivot(contact: Floats, normal: Floats, goal: Floats) -> tuple[Floats, Floats] | None:
    """The line to turn about, as a point of it and the direction away from the contact; None if the goal is on it."""
    origin = contact[0]
    along = _perpendicular(normal, contact[-1] - origin)
    flat = np.stack([along, np.cross(normal, along)])
    spots = (contact - origin) @ flat.T
    target = flat @ (goal - origin)
    corners = _outline(spots)
    if len(corners) < 3:
        nearest = _nearest_of_segment(corners[0], corners[-1], target)
        away = target - nearest
        distance = float(np.hypot(*away))
        return None if distance <= CONTACT else (origin + nearest @ flat, (away / distance) @ flat)
    edges = np.roll(corners, -1, axis=0) - corners
    outward = np.stack([edges[:, 1], -edges[:, 0]], axis=1) / np.hypot(edges[:, 0], edges[:, 1])[:, None]
    beyond = ((target - corners) * outward).sum(axis=1)
    worst = int(beyond.argmax())
    return None if beyond[worst] <= CONTACT else (origin + corners[worst] @ flat, outward[worst] @ flat)


def _perpendicular(normal: Floats, direction: Floats) -> Floats:
    """A direction of length 1 in the plane: the one given, or any if that gives none."""
    for one in (direction, np.eye(3)[np.abs(normal).argmin()]):
        flat = one - (one @ normal) * normal
        length = float(np.linalg.norm(flat))
        if length > CONTACT:
            break
    result: Floats = flat / length
    return result


def _outline(spots: Floats) -> Floats:
    """Corners of the convex hull of points of a plane, counter-clockwise (monotone chain; Andrew 1979)."""
    if len(spots) == 1:
        return spots
    ordered = spots[np.lexsort((spots[:, 1], spots[:, 0]))]
    chains: list[list[Floats]] = []
    for run in (ordered, ordered[::-1]):
        chain: list[Floats] = []
        for spot in run:
            while len(chain) > 1 and _is_no_left_turn(chain[-2], chain[-1], spot):
                chain.pop()
            chain.append(spot)
        chains.append(chain[:-1])
    return np.array(chains[0] + chains[1])


def _is_no_left_turn(first: Floats, second: Floats, third: Floats) -> bool:
    """True if the second point lies on or left of the way from the first to the third, within the contact distance."""
    way, step = third - first, second - first
    return bool(way[0] * step[1] - way[1] * step[0] >= -CONTACT * np.hypot(*way))


def _nearest_of_segment(start: Floats, end: Floats, target: Floats) -> Floats:
    way = end - start
    length = float(way @ way)
    share = 0.0 if length == 0.0 else float(np.clip((target - start) @ way / length, 0.0, 1.0))
    result: Floats = start + share * way
    return result


def _turned(places: Floats, normal: Floats, pivot: Floats, outward: Floats) -> Floats:
    """The normal once the plane, turned about a line in it, touches the next point.

    With x = (p − pivot)·outward and y = (p − pivot)·normal ≤ 0, the plane turned by θ touches p where
    x sin θ + y cos θ = 0; the first point is that of least θ.
    """
    x, y = (places - pivot) @ outward, np.minimum((places - pivot) @ normal, 0.0)
    is_off = np.hypot(x, y) > CONTACT
    angle = np.where(is_off & ((x > 0.0) | (y < -CONTACT)), np.arctan2(-y, x), np.pi)
    first = int(angle.argmin())
    turned = -y[first] * outward + x[first] * normal
    result: Floats = turned / np.linalg.norm(turned)
    return result
