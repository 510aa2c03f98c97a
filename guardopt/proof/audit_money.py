"""What a fall can cost, part by part, in whole numbers: the money of an audit, and the names of what is paid for."""

from __future__ import annotations

from fractions import Fraction
from functools import cached_property
from math import lcm

from guardopt.model.scenario import Scenario

BILLION = 10**9

HALF_A_CENT = Fraction(1, 200)


def exact(number: float) -> Fraction:
    """The number as it is written, so 0.1 is a tenth."""
    return Fraction(str(float(number)))


class Money:
    """The amounts of a scenario in whole multiples of 1 / `unit`.

    Attributes
    ----------
    unit
        How many of them make one unit of the currency.
    cap, half_a_cent
        The most that a bill can cost the owner, and the least amount that counts.
    broken, scuffed
        ``(parts,)``: what a part costs that breaks, and one that is harmed only.
    members, opened
        ``(groups to strip down,)``: their parts, and what it costs to reach them.
    level, off_road
        ``(parts,)``: the level of days without the bike that a broken part stands for; ``(levels,)``: what they cost.
    """

    def __init__(self, scenario: Scenario) -> None:
        self._scenario, parts = scenario, scenario.parts
        self.groups = [name for name in scenario.strip_down if any(part.strip_down == name for part in parts)]
        rate, a_day = exact(scenario.repair_rate), exact(scenario.day_without)
        broken = [exact(part.price) + exact(part.hours) * rate for part in parts]
        scuffed = [exact(part.touch_up) for part in parts]
        opened = [exact(scenario.strip_down[name]) * rate for name in self.groups]
        days = [exact(0.0 if part.waits else part.days) for part in parts]
        levels = [Fraction(0), *sorted({one for one in days if one > 0})]
        self.level = [levels.index(one) for one in days]
        off_road = [exact(scenario.recovery) + one * a_day if one else one for one in levels]
        cap = exact(scenario.value) - exact(scenario.salvage)
        if scenario.insurance is not None:
            cap = min(cap, exact(scenario.insurance.excess) + exact(scenario.insurance.premium_rise))
        amounts = [*broken, *scuffed, *opened, *off_road, cap]
        self.unit = unit = 2 * lcm(100, *(one.denominator for one in amounts))
        self.cap, self.half_a_cent = int(cap * unit), int(HALF_A_CENT * unit)
        self.broken, self.scuffed, self.opened = (
            [int(one * unit) for one in money] for money in (broken, scuffed, opened)
        )
        self.off_road = [int(cost * unit) for cost in off_road]
        self.members = [
            [number for number, part in enumerate(parts) if part.strip_down == name] for name in self.groups
        ]

    @cached_property
    def names(self) -> list[str]:
        """What an item can be, as the columns of a proof are called: of the bill, on top, and what waits."""
        parts = [part.id for part in self._scenario.parts]
        bill = [f"part {part}" for part in parts] + [f"strip_down {name}" for name in self.groups]
        return bill + [f"days {number}" for number in range(1, len(self.off_road))] + list(self._waiting)

    @cached_property
    def _waiting_number(self) -> dict[str, int]:
        first = len(self.names) - len(self._waiting)
        return {name: first + number for number, name in enumerate(self._waiting)}

    @cached_property
    def first_number(self) -> dict[int, int]:
        """Of each part that waits, the number of its breaking; its harm comes next."""
        parts = enumerate(self._scenario.parts)
        return {row: self._waiting_number[f"waits broken {part.id}"] for row, part in parts if part.waits}

    @cached_property
    def group_number(self) -> dict[int, int]:
        """Of each group with parts that wait, the number of what it takes to reach them."""
        found = ((row, self._waiting_number.get(f"waits strip_down {name}")) for row, name in enumerate(self.groups))
        return {row: number for row, number in found if number is not None}

    @cached_property
    def amounts(self) -> dict[int, int]:
        """By number of an item that waits, what is paid when it is put right."""
        return {number: self._waiting[name] for name, number in self._waiting_number.items()}

    @cached_property
    def _waiting(self) -> dict[str, int]:
        """What waits: of each part the breaking and the harm, and of each group what it takes to reach its parts."""
        found: dict[str, int] = {}
        for number, part in enumerate(self._scenario.parts):
            if part.waits:
                found[f"waits broken {part.id}"] = self.broken[number] - self.scuffed[number]
                found[f"waits harmed {part.id}"] = self.scuffed[number]
        for number, name in enumerate(self.groups):
            if any(self._scenario.parts[part].waits for part in self.members[number]):
                found[f"waits strip_down {name}"] = self.opened[number]
        return found

    def reaches_cap(self, bill: int | Fraction) -> bool:
        """Whether a bill is above the cap or next to it."""
        return bill * BILLION > self.cap * (BILLION - 1)
