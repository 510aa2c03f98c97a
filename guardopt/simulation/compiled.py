"""A bike as arrays, to price kits on simulated falls."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np

from guardopt.arrays import Bools
from guardopt.model.scenario import Scenario
from guardopt.simulation.incurred import ItemArrays
from guardopt.simulation.items import cost_items


class Bike:
    """The scenario as arrays, in the order of its parts, knock-ons, guards and covers.

    Attributes
    ----------
    costs, items
        Every item that a fall can cost, and the same as arrays.
    knock_ons
        ``(knock-on, part, takes)`` indices, ordered so that whatever breaks a part comes before what the part breaks.
    covers, exposures
        For each cover and each exposure, its part and its guards, as indices.
    wear
        ``(guards,)``: renewal cost of a guard for each fall in which it is worn.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        part_row = {part.id: row for row, part in enumerate(scenario.parts)}
        self.guard_row = {guard.id: row for row, guard in enumerate(scenario.guards)}
        self.costs = cost_items(scenario)
        self.items = ItemArrays(self.costs.items)
        links = [(k, part_row[link.part], part_row[link.takes]) for k, link in enumerate(scenario.knock_ons)]
        self.knock_ons = _upstream_first(links)
        self.covers = [
            (part_row[cover.part], tuple(self.guard_row[name] for name in cover.guards)) for cover in scenario.covers
        ]
        self.exposures = [
            (part_row[one.part], tuple(self.guard_row[name] for name in one.guards)) for one in scenario.exposures
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
