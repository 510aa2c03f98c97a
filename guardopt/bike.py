"""A bike as arrays, to price kits on simulated falls."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools
from guardopt.scenario import Scenario


class Bike:
    """The scenario as arrays, in the order of its parts, knock-ons, guards and covers.

    Attributes
    ----------
    break_cost, scuff_cost
        ``(parts,)``: cost of a part that has to be replaced, strip-down aside, and of one that is touched up.
    strip_cost
        ``(groups,)``: cost of reaching each group of parts.
    groups
        For each group, the indices of its parts.
    knock_ons
        ``(knock-on, part, takes)`` indices, ordered so that whatever breaks a part comes before what the part breaks.
    covers
        For each cover, its part and its guards, as indices.
    wear
        ``(guards,)``: renewal cost of a guard for each fall in which it is worn.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        part_row = {part.id: row for row, part in enumerate(scenario.parts)}
        self.guard_row = {guard.id: row for row, guard in enumerate(scenario.guards)}
        self.break_cost = np.array([part.price + part.hours * scenario.repair_rate for part in scenario.parts])
        self.scuff_cost = np.array([part.touch_up for part in scenario.parts])
        names = [name for name in scenario.strip_down if any(part.strip_down == name for part in scenario.parts)]
        self.group_names = tuple(names)
        self.strip_cost = np.array([scenario.strip_down[name] * scenario.repair_rate for name in names])
        self.groups = [[row for row, part in enumerate(scenario.parts) if part.strip_down == name] for name in names]
        links = [(k, part_row[link.part], part_row[link.takes]) for k, link in enumerate(scenario.knock_ons)]
        self.knock_ons = _upstream_first(links)
        self.covers = [
            (part_row[cover.part], tuple(self.guard_row[name] for name in cover.guards)) for cover in scenario.covers
        ]
        self.wear = np.array([guard.wear_per_fall for guard in scenario.guards])

    def kit_array(self, kit: Iterable[str]) -> Bools:
        """``(guards,)``: which guards are on the bike."""
        fitted = np.zeros(len(self.scenario.guards), dtype=bool)
        fitted[[self.guard_row[name] for name in kit]] = True
        return fitted

    @cached_property
    def worn_by(self) -> list[tuple[int, list[tuple[int, int]]]]:
        """For each guard that wears, its row and the (cover, part) pairs whose strikes wear it."""
        return [
            (guard, [(row, part) for row, (part, guards) in enumerate(self.covers) if guard in guards])
            for guard in np.flatnonzero(self.wear).tolist()
        ]


def _upstream_first(links: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Knock-ons in an order in which no part is harmed after its own breaking has been passed on."""
    ordered: list[tuple[int, int, int]] = []
    waiting = links
    while waiting:
        still_fed = {takes for _, _, takes in waiting}
        ordered += [link for link in waiting if link[1] not in still_fed]
        waiting = [link for link in waiting if link[1] in still_fed]
    return ordered
