"""What a simulated fall does and costs, found by following its blows from part to part, without items or cuts."""

from __future__ import annotations

from dataclasses import dataclass

from guardopt.model.scenario import Scenario
from guardopt.proof.audit_money import Money


@dataclass(frozen=True)
class Fall:
    """One fall as it was drawn: which parts break, blows pass on and covers hold."""

    breaks: list[bool]
    passes: list[bool]
    holds: list[bool]


class Blows:
    """Follows blows on one bike, with one kit.

    Parameters
    ----------
    scenario, money
        The bike, and what harm to it costs.
    kit
        The guards that are on in `with_kit`.

    Attributes
    ----------
    exposed
        For each row of what guards do harm to, the part.
    covers_of
        ``(parts,)``: the covers of each.
    """

    def __init__(self, scenario: Scenario, money: Money, kit: frozenset[str]) -> None:
        self._money, self._waits = money, [part.waits for part in scenario.parts]
        row = {part.id: number for number, part in enumerate(scenario.parts)}
        self.exposed = [row[one.part] for one in scenario.exposures]
        self.covers_of = [
            [number for number, cover in enumerate(scenario.covers) if row[cover.part] == part]
            for part in range(len(row))
        ]
        self._is_exposing = [kit.issuperset(one.guards) for one in scenario.exposures]
        self._fitted_covers_of = [
            [number for number in rows if kit.issuperset(scenario.covers[number].guards)] for rows in self.covers_of
        ]
        self._blows: list[list[tuple[int, int]]] = [[] for _ in row]
        for number, link in enumerate(scenario.knock_ons):
            self._blows[row[link.part]].append((number, row[link.takes]))

    def harmed_by(self, struck: list[int], fall: Fall) -> set[int]:
        """The parts harmed where these are: themselves, and what their breaking reaches."""
        harmed = set(struck)
        if not any(fall.passes):
            return harmed
        waiting = [part for part in struck if fall.breaks[part] and self._blows[part]]
        while waiting:
            part = waiting.pop()
            for link, takes in self._blows[part] if fall.breaks[part] else ():
                if fall.passes[link] and takes not in harmed:
                    harmed.add(takes)
                    waiting.append(takes)
        return harmed

    def is_whole(self, roads: list[int], fall: Fall) -> bool:
        """Whether the bill on the bare bike, every part counted, exceeds the cap."""
        bill = self._bill(self.harmed_by(roads, fall), fall, set())
        return bill > self._money.cap + self._money.half_a_cent

    def _bill(self, harmed: set[int], fall: Fall, left_out: set[int]) -> int:
        """The repair bill for harmed parts, some left out."""
        counted = harmed - left_out
        bill = sum(self._money.broken[part] if fall.breaks[part] else self._money.scuffed[part] for part in counted)
        for group, members in enumerate(self._money.members):
            bill += self._money.opened[group] * any(part in counted and fall.breaks[part] for part in members)
        return bill

    def with_kit(self, fall: Fall, roads: list[int], exposed: list[int], *, is_whole: bool) -> tuple[int, list[int]]:
        """What the fall costs with the kit, and what that waits comes about."""
        struck = {*roads, *(self.exposed[row] for row in exposed if self._is_exposing[row])}
        hit = [part for part in struck if not any(fall.holds[row] for row in self._fitted_covers_of[part])]
        harmed = self.harmed_by(hit, fall)
        waits = set() if is_whole else {part for part in harmed if self._waits[part]}
        level = max((self._money.level[part] for part in harmed if fall.breaks[part]), default=0)
        came = []
        for part in waits:
            name = self._money.first_number[part]
            came += [name, name + 1] if fall.breaks[part] else [name + 1]
        for group, members in enumerate(self._money.members):
            if any(part in waits and fall.breaks[part] for part in members):
                came.append(self._money.group_number[group])
        return min(self._bill(harmed, fall, waits), self._money.cap) + self._money.off_road[level], came
