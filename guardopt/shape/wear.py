"""Sliding: how many metres what touches the road lasts, and how the bike lies once it is ground off."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from guardopt.shape.rest import TOUCHES, Rest, rest


@dataclass(frozen=True, slots=True)
class Wear:
    """Something that touches the road and is ground off as the bike slides.

    Attributes
    ----------
    id
        What it is.
    thick
        Millimetres there are to grind where it touches.
    metres
        How far it slides until they are gone, thick / wears.
    """

    id: str
    thick: float
    metres: float


def wear_of(lying: Rest) -> tuple[Wear, ...]:
    """What wears of all that touches the road, the first to be through first."""
    body = lying.body
    heights = body.places @ lying.normal
    is_worn = (heights >= heights.max() - TOUCHES) & (body.wears > 0.0) & (body.thick > 0.0)
    owner = np.repeat(np.arange(len(body.ids)), np.diff([*body.first, len(body.places)]))
    found: dict[str, Wear] = {}
    for point in np.flatnonzero(is_worn):
        name = body.ids[owner[point]]
        one = Wear(name, float(body.thick[point]), float(body.thick[point] / body.wears[point]))
        found[name] = min(found.get(name, one), one, key=lambda wear: wear.metres)
    return tuple(sorted(found.values(), key=lambda wear: wear.metres))


def ground_down(lying: Rest, ids: Collection[str]) -> Rest:
    """Where the bike comes to rest when these have been ground off where they touch."""
    body = lying.body
    heights = body.places @ lying.normal
    owner = np.repeat(np.arange(len(body.ids)), np.diff([*body.first, len(body.places)]))
    is_gone = (heights >= heights.max() - TOUCHES) & np.isin(owner, [body.row[name] for name in ids])
    gone = np.where(is_gone & (body.wears > 0.0), body.thick, 0.0)
    return rest(replace(body, places=body.places - gone[:, None] * lying.normal), is_left=lying.is_left)
