"""What a fall can cost, as one list of items: the only place that says what is paid for which harm.

An item is an amount and the parts whose harm brings it about. Its kind says what becomes of the amount:

- *bill*: the repair bill, of which the owner pays no more than the cap;
- *on top*: paid whatever the bill is: days without the bike, and getting it home;
- *waits*: not paid after the fall, but once for all falls in which it came about until what waits is put right
  (`repair_interval`).

A fall whose bill on the bare bike, every part counted, exceeds the cap is *whole*: after it everything is put right at
once. After any other, parts that wait are left out of the bill and only noted. So each item has two lists of parts.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from guardopt.model.scenario import Scenario


class Kind(Enum):
    """What becomes of an item's amount."""

    BILL = "bill"
    ON_TOP = "on top"
    WAITS = "waits"


@dataclass(frozen=True)
class Item:
    """One thing that a fall can cost.

    Attributes
    ----------
    broken, scuffed
        What it costs if a part of it breaks, and if one is harmed and none breaks. Of what waits, how often it is
        counted, 1 or 0.
    in_whole, in_others
        Rows of the parts whose harm brings it about, in whole falls and in others. Where scuffed is not 0 there is one
        part.
    amount
        Of what waits: what is paid when it is put right. Otherwise 0.
    days
        Days without the bike that it stands for.
    """

    kind: Kind
    broken: float
    scuffed: float
    in_whole: tuple[int, ...]
    in_others: tuple[int, ...]
    amount: float = 0.0
    days: float = 0.0


@dataclass(frozen=True)
class CostItems:
    """Every item of a scenario.

    Attributes
    ----------
    items
        The bill of each part in the order of the scenario, then that of each group to be stripped down, then what is
        paid on top, then what waits.
    groups
        The names of the groups.
    of_part, of_group
        For each item that waits, the row of its part or of its group; −1 where it is none.
    """

    items: tuple[Item, ...]
    groups: tuple[str, ...]
    of_part: tuple[int, ...]
    of_group: tuple[int, ...]

    def of_kind(self, kind: Kind) -> list[int]:
        """The numbers of the items of a kind."""
        return [number for number, item in enumerate(self.items) if item.kind is kind]


def cost_items(scenario: Scenario) -> CostItems:
    """The list of items: parts, groups to strip down, days without the bike and recovery, and what waits."""
    groups = tuple(name for name in scenario.strip_down if any(part.strip_down == name for part in scenario.parts))
    waiting, of_part, of_group = _waiting(scenario, groups)
    items = (*_repairs(scenario), *_strip_downs(scenario, groups), *_days(scenario), *waiting)
    return CostItems(items, groups, of_part, of_group)


def replacing(scenario: Scenario, row: int) -> float:
    """c: what it costs to replace a part, reaching it aside."""
    return scenario.parts[row].price + scenario.parts[row].hours * scenario.repair_rate


def reaching(scenario: Scenario, group: str) -> float:
    """What it costs to reach a group of parts."""
    return scenario.strip_down[group] * scenario.repair_rate


def _repairs(scenario: Scenario) -> list[Item]:
    return [
        Item(Kind.BILL, replacing(scenario, row), part.touch_up, (row,), () if part.waits else (row,))
        for row, part in enumerate(scenario.parts)
    ]


def _strip_downs(scenario: Scenario, groups: tuple[str, ...]) -> list[Item]:
    return [
        Item(
            Kind.BILL, reaching(scenario, group), 0.0, _members(scenario, group), _members(scenario, group, waits=False)
        )
        for group in groups
    ]


def _members(scenario: Scenario, group: str, *, waits: bool | None = None) -> tuple[int, ...]:
    """Rows of the parts of a group; only those that wait, or that do not, if asked for."""
    return tuple(
        row
        for row, part in enumerate(scenario.parts)
        if part.strip_down == group and (waits is None or part.waits is waits)
    )


def _days(scenario: Scenario) -> list[Item]:
    """One item for each level of days, incurred if some broken part has as many, so that the largest is paid."""
    days = [0.0 if part.waits else part.days for part in scenario.parts]
    levels = sorted({one for one in days if one > 0.0})
    items = []
    for below, level in zip([0.0, *levels], levels, strict=False):
        parts = tuple(row for row, one in enumerate(days) if one >= level)
        cost = scenario.day_without * (level - below) + (scenario.recovery if below == 0.0 else 0.0)
        items.append(Item(Kind.ON_TOP, cost, 0.0, parts, parts, days=level - below))
    return items


def _waiting(scenario: Scenario, groups: tuple[str, ...]) -> tuple[list[Item], tuple[int, ...], tuple[int, ...]]:
    """What waits: a part that breaks, one that is harmed, a group of which a part that waits breaks."""
    items, of_part, of_group = [], [], []
    for row, part in enumerate(scenario.parts):
        if part.waits:
            more = replacing(scenario, row) - part.touch_up
            for amount, scuffed in ((more, 0.0), (part.touch_up, 1.0)):
                if amount > 0.0:
                    items.append(Item(Kind.WAITS, 1.0, scuffed, (), (row,), amount=amount))
                    of_part.append(row)
                    of_group.append(-1)
    for number, group in enumerate(groups):
        parts = _members(scenario, group, waits=True)
        if parts and reaching(scenario, group) > 0.0:
            items.append(Item(Kind.WAITS, 1.0, 0.0, (), parts, amount=reaching(scenario, group)))
            of_part.append(-1)
            of_group.append(number)
    return items, tuple(of_part), tuple(of_group)
