"""The numbers of a scenario that a log can teach, each with the address by which ``--set`` would change it.

Both sides of a part or guard share one number where they share one row of a table, so their counts are pooled. A
scenario does not say which rows it was read from: two sides with equal numbers count as one row, which is what they
are unless somebody wrote the same numbers twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum

from guardopt.pieces import Fall
from guardopt.scenario import Scenario


class Kind(StrEnum):
    """What a number says: the column it stands in, but for chances of being struck."""

    RATE = "per_year"
    LEFT_SHARE = "left_share"
    TUMBLE = "tumble"
    CORRELATION = "correlation"
    STRIKE = "strike"
    BREAK = "break_chance"
    HOLD = "holds"


@dataclass(frozen=True, slots=True)
class Number:
    """One number that may stand for several objects of the scenario.

    Attributes
    ----------
    address
        As for ``--set``: ``falls.low_side.per_year``, ``hits.lever.low_side``, ``parts.lever.break_chance``,
        ``covers.slider.tank.holds``.
    fall
        The kind of fall, of numbers in ``falls.csv`` and ``hits.csv``.
    parts
        Ids of the parts it is about, of strikes and breaks.
    covers
        Rows in ``scenario.covers``, of holds.
    """

    address: str
    kind: Kind
    fall: str | None = None
    parts: tuple[str, ...] = ()
    covers: tuple[int, ...] = ()


def numbers_of(scenario: Scenario) -> list[Number]:
    """Every number that a log can teach, in the order of the tables."""
    return [*_of_falls(scenario), *_of_parts(scenario), *_of_hits(scenario), *_of_covers(scenario)]


def _of_falls(scenario: Scenario) -> list[Number]:
    kinds = (Kind.RATE, Kind.LEFT_SHARE, Kind.TUMBLE, Kind.CORRELATION)
    return [Number(f"falls.{fall.id}.{kind}", kind, fall.id) for kind in kinds for fall in scenario.falls]


def _of_parts(scenario: Scenario) -> list[Number]:
    return [Number(f"parts.{row}.{Kind.BREAK}", Kind.BREAK, parts=ids) for row, ids in _rows(scenario).items()]


def _rows(scenario: Scenario) -> dict[str, tuple[str, ...]]:
    rows: dict[str, tuple[str, ...]] = {}
    for part in scenario.parts:
        rows[part.row] = (*rows.get(part.row, ()), part.id)
    return rows


def _of_hits(scenario: Scenario) -> list[Number]:
    found: list[Number] = []
    for row, ids in _rows(scenario).items():
        are_equal = all(len({scenario.hits[fall.id, one] for one in ids}) == 1 for fall in scenario.falls)
        for name, parts in [(row, ids)] if are_equal else [(one, (one,)) for one in ids]:
            found += [Number(f"hits.{name}.{fall.id}", Kind.STRIKE, fall.id, parts) for fall in scenario.falls]
    return found


def _of_covers(scenario: Scenario) -> list[Number]:
    part_rows = {part.id: part.row for part in scenario.parts}
    groups: dict[tuple[str, str, str | None], list[int]] = {}
    for row, cover in enumerate(scenario.covers):
        guards = "+".join(scenario.guard[name].row for name in cover.guards)
        groups.setdefault((guards, part_rows[cover.part], cover.fall), []).append(row)
    found: list[Number] = []
    for (guards, part, fall), rows in groups.items():
        if len({scenario.covers[row].holds for row in rows}) == 1:
            found.append(Number(_cover_address(guards, part, fall), Kind.HOLD, covers=tuple(rows)))
            continue
        for row in rows:
            cover = scenario.covers[row]
            address = _cover_address("+".join(cover.guards), cover.part, fall)
            found.append(Number(address, Kind.HOLD, covers=(row,)))
    return found


def _cover_address(guards: str, part: str, fall: str | None) -> str:
    return ".".join(name for name in ("covers", guards, part, fall, Kind.HOLD) if name)


def value_of(scenario: Scenario, number: Number) -> float:
    """The number as it stands in a scenario."""
    if number.kind is Kind.STRIKE:
        return scenario.hits[str(number.fall), number.parts[0]]
    if number.kind is Kind.BREAK:
        return next(part.break_chance for part in scenario.parts if part.id == number.parts[0])
    if number.kind is Kind.HOLD:
        return scenario.covers[number.covers[0]].holds
    fall = next(fall for fall in scenario.falls if fall.id == number.fall)
    return float(getattr(fall, number.kind))


def with_values(scenario: Scenario, values: Mapping[Number, float]) -> Scenario:
    """The scenario with numbers set to other values; nothing else changes."""
    falls: dict[str, dict[str, float]] = {}
    hits = dict(scenario.hits)
    breaks: dict[str, float] = {}
    holds: dict[int, float] = {}
    for number, value in values.items():
        if number.kind is Kind.STRIKE:
            hits.update({(str(number.fall), part): value for part in number.parts})
        elif number.kind is Kind.BREAK:
            breaks.update(dict.fromkeys(number.parts, value))
        elif number.kind is Kind.HOLD:
            holds.update(dict.fromkeys(number.covers, value))
        else:
            falls.setdefault(str(number.fall), {})[number.kind] = value
    return replace(
        scenario,
        falls=tuple(_changed(fall, falls.get(fall.id, {})) for fall in scenario.falls),
        hits=hits,
        parts=tuple(
            replace(part, break_chance=breaks[part.id]) if part.id in breaks else part for part in scenario.parts
        ),
        covers=tuple(
            replace(cover, holds=holds[row]) if row in holds else cover for row, cover in enumerate(scenario.covers)
        ),
    )


def _changed(fall: Fall, values: Mapping[str, float]) -> Fall:
    return Fall(**{**asdict(fall), **values}) if values else fall
