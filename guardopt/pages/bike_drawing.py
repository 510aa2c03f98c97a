"""A motorcycle from the side, with every part marked by what it costs a year.

The machine is of no make: wheels, frame and engine stand where they stand on most of them. Places are in millimetres
forward of the rear axle and above the ground.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from itertools import product

from guardopt.model.pieces import Part, Side
from guardopt.questions.plan_result import Plan
from guardopt.reports.plots import BARE, FITTED, spoken
from guardopt.words import money

LARGEST_RADIUS = 105.0
NUMBERED = 10
"""Dearest rows of parts that have their number beside them."""

LETTER = 52.0
MARGIN = 70.0
GENERIC = (-380.0, -30.0, 1800.0, 1300.0)
"""Box around the machine itself: left, bottom, right, top."""


LOOKS = {
    "bare": f'fill="{BARE}" fill-opacity="0.22" stroke="{BARE}" stroke-width="5"',
    "now": f'fill="{FITTED}" fill-opacity="0.88"',
    "fitted": f'fill="{FITTED}" fill-opacity="0.88"',
}
"""How the marks of each state of the bike are drawn."""


@dataclass(frozen=True)
class _Mark:
    """One part, or one side of it: a disc, or half of one, as large as what it costs."""

    part: Part
    bare: float
    now: float | None
    fitted: float
    number: int

    @property
    def most(self) -> float:
        """The most that it costs in any state."""
        return max(self.bare, self.now or 0.0, self.fitted)

    @property
    def share(self) -> float:
        """How much of a disc it is: a centre part has one to itself, a side half of one."""
        return 0.5 if self.part.side.is_sided else 1.0


def numbers_of(plan: Plan) -> dict[str, int]:
    """Rows of parts that have a place, numbered from the dearest on the bare bike; those that cost nothing left out."""
    costs: dict[str, float] = {}
    for part, amount in zip(plan.scenario.parts, plan.bare.part_bill_per_year, strict=True):
        if part.x is not None:
            costs[part.row] = costs.get(part.row, 0.0) + float(amount)
    dearest = sorted((row for row in costs if costs[row] > 0.0), key=lambda row: -costs[row])
    return {row: number for number, row in enumerate(dearest, start=1)}


def states(plan: Plan) -> list[tuple[str, str]]:
    """The states of the bike that the drawing shows, by the names of their marks, and how they are called."""
    if not plan.scenario.stock:
        return [("bare", "bare, as it is now"), ("fitted", "with the kit")]
    return [("bare", "bare"), ("now", "now"), ("fitted", "with the kit")]


def bike_svg(plan: Plan) -> str | None:
    """The drawing as a piece of SVG to be put into a page; None if no part that costs anything has a place.

    Left and right halves of a disc are the left and right part of one row. Bare costs are rings with a pale filling,
    costs with the kit are solid; both are by area.
    """
    numbers = numbers_of(plan)
    marks = [
        _Mark(part, float(bare), float(now) if plan.scenario.stock else None, float(fitted), numbers[part.row])
        for part, bare, now, fitted in zip(
            plan.scenario.parts,
            plan.bare.part_bill_per_year,
            plan.stock.part_bill_per_year,
            plan.fitted.part_bill_per_year,
            strict=True,
        )
        if part.x is not None and part.row in numbers
    ]
    if not marks:
        return None
    unit = LARGEST_RADIUS / math.sqrt(max(mark.most / mark.share for mark in marks))
    marks.sort(key=lambda mark: (-mark.bare / mark.share, mark.number))
    left, bottom, right, top = _box(marks, unit)
    title = (
        "A motorcycle from the right-hand side. On each part a disc as large as what the part costs a year in repairs, "
        "bare and with the kit; the table below has the numbers."
    )
    box = f"{left:.0f} {-top:.0f} {right - left:.0f} {top - bottom:.0f}"
    pieces = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" class="bike" role="img" aria-label="{title}">',
        '<g transform="scale(1,-1)">',
        files("guardopt").joinpath("templates", "bike.svg").read_text(encoding="utf-8"),
        "</g>",
        *(_drawn(mark, unit, plan.scenario.currency) for mark in marks),
        *_labels(marks, unit),
        "</svg>",
    ]
    return "\n".join(pieces)


def _box(marks: Sequence[_Mark], unit: float) -> tuple[float, float, float, float]:
    left, bottom, right, top = GENERIC
    for mark in marks:
        x, y = _place(mark.part)
        reach = _radius(mark.bare, mark, unit) + MARGIN
        left, right = min(left, x - reach), max(right, x + reach)
        bottom, top = min(bottom, y - reach), max(top, y + reach)
    return left, bottom, right, top


def _place(part: Part) -> tuple[float, float]:
    return part.x or 0.0, part.y or 0.0


def _radius(amount: float, mark: _Mark, unit: float) -> float:
    return unit * math.sqrt(amount / mark.share)


def _drawn(mark: _Mark, unit: float, currency: str) -> str:
    x, y = _place(mark.part)
    amounts = [("bare", mark.bare), *([] if mark.now is None else [("now", mark.now)]), ("fitted", mark.fitted)]
    says = f"{spoken(mark.part.id)}: " + ", ".join(f"{money(one, currency)} a year {name}" for name, one in amounts)
    paths = [
        f'<path class="{name}" d="{_disc(x, -y, _radius(amount, mark, unit), mark.part.side)}" {LOOKS[name]}/>'
        for name, amount in amounts
    ]
    return f"<g><title>{escape(says)}</title>{''.join(paths)}</g>"


def _disc(x: float, y: float, radius: float, side: Side) -> str:
    """The outline of a disc, or of its left or right half."""
    up, down = y - radius, y + radius
    arc = f"A{radius:.1f} {radius:.1f} 0 0"
    if side is Side.LEFT:
        return f"M{x:.1f} {up:.1f}{arc} 0 {x:.1f} {down:.1f}Z"
    if side is Side.RIGHT:
        return f"M{x:.1f} {up:.1f}{arc} 1 {x:.1f} {down:.1f}Z"
    return f"M{x:.1f} {up:.1f}{arc} 1 {x:.1f} {down:.1f}{arc} 1 {x:.1f} {up:.1f}Z"


def _labels(marks: Sequence[_Mark], unit: float) -> list[str]:
    """Numbers beside the dearest parts, each where it covers least of other discs and numbers."""
    discs: dict[str, tuple[float, float, float]] = {}
    for mark in marks:
        x, y = _place(mark.part)
        radius = max(_radius(mark.bare, mark, unit), discs.get(mark.part.row, (x, y, 0.0))[2])
        discs[mark.part.row] = (x, y, radius)
    numbers = {mark.part.row: mark.number for mark in marks if mark.number <= NUMBERED}
    taken: list[tuple[float, float]] = []
    labels = []
    for row, number in sorted(numbers.items(), key=lambda pair: pair[1]):
        x, y, radius = discs[row]
        others = [disc for other, disc in discs.items() if other != row]
        place = min(_around(x, y, radius), key=lambda spot: _crowding(spot, others, taken))
        taken.append(place)
        labels.append(f'<text x="{place[0]:.0f}" y="{-place[1]:.0f}" class="number">{number}</text>')
    return labels


def _around(x: float, y: float, radius: float) -> list[tuple[float, float]]:
    """Places for a number around a disc, the nearest first."""
    reach = radius + 0.55 * LETTER
    turns = [math.pi * turn / 8 for turn in range(16)]
    return [
        (x + far * reach * math.cos(turn), y + far * reach * math.sin(turn))
        for far, turn in product((1.0, 1.35), turns)
    ]


def _crowding(
    spot: tuple[float, float], discs: Sequence[tuple[float, float, float]], taken: Sequence[tuple[float, float]]
) -> float:
    """How far a number would reach into discs and other numbers."""
    over_discs = sum(max(0.0, radius + 0.5 * LETTER - math.dist(spot, (x, y))) for x, y, radius in discs)
    return over_discs + 4.0 * sum(max(0.0, 1.2 * LETTER - math.dist(spot, one)) for one in taken)
