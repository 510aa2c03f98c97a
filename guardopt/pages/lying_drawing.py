"""A motorcycle in its place of rest, from behind, from the side and from above, with every measured point.

The machine is of no make: it is the drawing of the centre plane, seen as the place of rest shows it. Millimetres in the
place of rest: along the road forward (u), along the road sideways (v) and above the road.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.reports.plots import BARE, FITTED
from guardopt.shape.rest import TOUCHES, Rest

MARGIN = 130.0
CALLOUT_GAP = 120.0
CALLOUT_DROP = 150.0
BELOW = 66.0
DOT = 13.0

VIEWS = {
    "behind": "from behind: the line is the road, below it numbers and clearances in mm",
    "side": "from the side: the line is the road, below it numbers and clearances in mm",
    "above": "from above: the outline is what it rests on, the cross where its weight acts",
}


@dataclass(frozen=True)
class _Frame:
    """Which two of u, v and the height above the road a view shows, across and up the page."""

    across: Floats
    up: Floats
    lift: float

    def of(self, places: Floats) -> Floats:
        """``(points, 2)``: where places of the upright bike are on the page; y grows downward there."""
        shown: Floats = np.stack([places @ self.across, -(places @ self.up + self.lift)], axis=1)
        return shown


def _frame(lying: Rest, view: str) -> _Frame:
    u, v = lying.axes()
    height = float((lying.body.places @ lying.normal).max())
    if view == "side":
        # Seen from the side that lies up, so that forward is to the right where it lies on its left.
        return _Frame(u if lying.is_left else -u, -lying.normal, height)
    if view == "behind":
        return _Frame(v, -lying.normal, height)
    # Looking down at the side that lies up: where forward is to the right, the wheels are at the bottom.
    return _Frame(u if lying.is_left else -u, -v if lying.is_left else v, 0.0)


def lying_svg(lying: Rest, guards: frozenset[str], numbers: Mapping[str, int], view: str, label: str) -> str:
    """One view as a piece of SVG to be put into a page.

    Parameters
    ----------
    lying
        The place of rest.
    guards
        Which of its ids are guards.
    numbers
        Ids to be numbered, as in the table beside the drawing.
    view
        One of `VIEWS`.
    label
        What it shows, for those who cannot see it.
    """
    body, frame = lying.body, _frame(lying, view)
    spots = frame.of(body.places)
    owner = np.repeat(np.arange(len(body.ids)), np.diff([*body.first, len(body.places)]))
    touching = body.places @ lying.normal >= (body.places @ lying.normal).max() - TOUCHES
    machine = [*frame.of(np.eye(3)[[0, 2]]) - frame.of(np.zeros((1, 3))), frame.of(np.zeros((1, 3)))[0]]
    matrix = " ".join(f"{number:.4f}" for number in np.concatenate(machine))
    pieces = [f'<g transform="matrix({matrix})">', _machine(), "</g>"]
    for row, name in enumerate(body.ids):
        colour = FITTED if name in guards else "#666666"
        pieces += [
            f'<circle cx="{x:.0f}" cy="{y:.0f}" r="{DOT}" fill="{colour}"><title>{escape(name)}</title></circle>'
            for x, y in spots[owner == row]
        ]
    pieces += [
        f'<circle cx="{x:.0f}" cy="{y:.0f}" r="{1.7 * DOT}" fill="none" stroke="{BARE}" stroke-width="9"/>'
        for x, y in spots[touching]
    ]
    pieces += _support(frame, lying, spots[touching]) if view == "above" else []
    nearest = {name: _nearest(lying, body.row[name], owner) for name in numbers if name in body.row}
    marked = {name: spots[point] for name, point in nearest.items()}
    floor = float(spots[:, 1].max()) if view == "above" else 0.0
    clear = {} if view == "above" else dict(zip(body.ids, lying.clearances().tolist(), strict=True))
    pieces += _callouts(marked, numbers, clear, floor)
    left, right = spots[:, 0].min() - MARGIN, spots[:, 0].max() + MARGIN
    spread = _spread(sorted(spot[0] for spot in marked.values()))
    left, right = min([left, *(x - MARGIN / 2 for x in spread)]), max([right, *(x + MARGIN / 2 for x in spread)])
    top, bottom = spots[:, 1].min() - MARGIN, floor + CALLOUT_DROP + BELOW + 40.0
    if view != "above":
        pieces.insert(0, f'<path class="road" d="M{left:.0f} 0H{right:.0f}"/>')
    box = f"{left:.0f} {top:.0f} {right - left:.0f} {bottom - top:.0f}"
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" class="lying" role="img"'
    return "\n".join([f'{head} aria-label="{escape(label)}">', *pieces, "</svg>"])


def _machine() -> str:
    """The centre plane without the ground it stands on."""
    lines = files("guardopt").joinpath("templates", "bike.svg").read_text(encoding="utf-8").splitlines()
    return "\n".join(line for line in lines if 'class="ground"' not in line)


def _nearest(lying: Rest, row: int, owner: Ints) -> int:
    """The point of an id that is nearest to the road."""
    own = np.flatnonzero(owner == row)
    return int(own[(lying.body.places[own] @ lying.normal).argmax()])


def _support(frame: _Frame, lying: Rest, contact: Floats) -> list[str]:
    """The outline of what touches, and the foot of the centre of mass."""
    middle = contact.mean(axis=0)
    around = contact[np.argsort(np.arctan2(*(contact - middle).T[::-1]))]
    outline = "L".join(f"{x:.0f} {y:.0f}" for x, y in around)
    (x, y), arm = frame.of(lying.body.centre[None, :])[0], 40.0
    cross = f"M{x - arm:.0f} {y:.0f}H{x + arm:.0f}M{x:.0f} {y - arm:.0f}V{y + arm:.0f}"
    return [f'<path class="support" d="M{outline}Z"/>', f'<path class="weight" d="{cross}"/>']


def _callouts(
    marked: Mapping[str, Floats], numbers: Mapping[str, int], clear: Mapping[str, float], floor: float
) -> list[str]:
    """Numbers in a row below the drawing, each with a line to its point and, if given, with its clearance."""
    order = sorted(marked, key=lambda name: float(marked[name][0]))
    pieces: list[str] = []
    for name, x in zip(order, _spread([float(marked[name][0]) for name in order]), strict=True):
        (px, py), y = marked[name], floor + CALLOUT_DROP
        pieces += [
            f'<path class="leader" d="M{px:.0f} {py:.0f}L{x:.0f} {y - 45:.0f}"/>',
            f'<text class="number" x="{x:.0f}" y="{y:.0f}">{numbers[name]}</text>',
        ]
        if name in clear:
            pieces.append(f'<text class="clear" x="{x:.0f}" y="{y + BELOW:.0f}">{clear[name]:.0f}</text>')
    return pieces


def _spread(places: Sequence[float]) -> list[float]:
    """Places in order, moved apart as little as it takes to leave a gap between neighbours."""
    moved: list[list[float]] = []
    for place in places:
        moved.append([place])
        # Runs that come too close are merged and centred on the mean of where they would be.
        while len(moved) > 1 and _start(moved[-1]) < _start(moved[-2]) + CALLOUT_GAP * len(moved[-2]):
            last = moved.pop()
            moved[-1] += last
    return [_start(run) + CALLOUT_GAP * index for run in moved for index in range(len(run))]


def _start(run: Sequence[float]) -> float:
    return sum(run) / len(run) - CALLOUT_GAP * (len(run) - 1) / 2
