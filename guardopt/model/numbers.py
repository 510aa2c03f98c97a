"""The numbers of a scenario that are guesses, each with the address by which ``--change`` reaches it.

Those that a log of real falls can teach come from `numbers_of`, the others from `further_numbers_of`. Both sides of a
part or guard share one number where they share one row of a table, so their counts are pooled. A scenario does not say
which rows it was read from: two sides with equal numbers count as one row, which is what they are unless somebody wrote
the same numbers twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, TypeVar

from guardopt.model.pieces import Cover, Exposure, Fall, Part
from guardopt.model.scenario import Scenario


class Kind(StrEnum):
    """What a number says: the column it stands in, but for chances of being struck and hours to strip down."""

    RATE = "per_year"
    LEFT_SHARE = "left_share"
    TUMBLE = "tumble"
    CORRELATION = "correlation"
    STRIKE = "strike"
    BREAK = "break_chance"
    HOLD = "holds"
    KNOCK_ON = "knock_on"
    EXPOSE = "exposes"
    DAYS = "days"
    PRICE = "price"
    TOUCH_UP = "touch_up"
    HOURS = "hours"
    STRIP_DOWN = "strip_down"

    @property
    def is_chance(self) -> bool:
        """True if the number lies between 0 and 1; false for rates and amounts."""
        return self not in (Kind.RATE, Kind.PRICE, Kind.TOUCH_UP, Kind.HOURS, Kind.STRIP_DOWN, Kind.DAYS)


PART_COLUMNS = (Kind.PRICE, Kind.TOUCH_UP, Kind.HOURS, Kind.DAYS)


@dataclass(frozen=True, slots=True)
class Number:
    """One number that may stand for several objects of the scenario.

    Attributes
    ----------
    address
        As for ``--change``: ``falls.low_side.per_year``, ``hits.lever.low_side``, ``parts.lever.break_chance``,
        ``covers.slider.tank.holds``.
    fall
        The kind of fall, of numbers in ``falls.csv`` and ``hits.csv``.
    parts
        Ids of the parts it is about, of strikes, breaks and what parts cost.
    covers, knock_ons, exposures
        Rows in ``scenario.covers``, of holds, in ``scenario.knock_ons`` and in ``scenario.exposures``.
    group
        The group of parts that is stripped down.
    """

    address: str
    kind: Kind
    fall: str | None = None
    parts: tuple[str, ...] = ()
    covers: tuple[int, ...] = ()
    knock_ons: tuple[int, ...] = ()
    exposures: tuple[int, ...] = ()
    group: str | None = None


def numbers_of(scenario: Scenario) -> list[Number]:
    """Every number that a log can teach, in the order of the tables."""
    return [*_of_falls(scenario), *_of_parts(scenario), *_of_hits(scenario), *_of_covers(scenario)]


def further_numbers_of(scenario: Scenario) -> list[Number]:
    """The guesses that no log teaches: what parts cost, hours, days, knock-ons and what guards do harm to."""
    rows = _rows(scenario)
    costs = [Number(f"parts.{row}.{kind}", kind, parts=ids) for kind in PART_COLUMNS for row, ids in rows.items()]
    groups = [
        Number(f"scenario.strip_down.{name}", Kind.STRIP_DOWN, group=name)
        for name in scenario.strip_down
        if any(part.strip_down == name for part in scenario.parts)
    ]
    return [*costs, *groups, *_of_knock_ons(scenario), *_of_exposures(scenario)]


def _of_knock_ons(scenario: Scenario) -> list[Number]:
    part_rows = {part.id: part.row for part in scenario.parts}
    groups: dict[tuple[str, str, float], list[int]] = {}
    for row, one in enumerate(scenario.knock_ons):
        groups.setdefault((part_rows[one.part], part_rows[one.takes], one.chance), []).append(row)
    found = []
    for (part, takes, _), rows in groups.items():
        if sum((part, takes) == other[:2] for other in groups) > 1:  # told apart by their sides
            part, takes = scenario.knock_ons[rows[0]].part, scenario.knock_ons[rows[0]].takes
        found.append(Number(f"knock_on.{part}.{takes}.chance", Kind.KNOCK_ON, knock_ons=tuple(rows)))
    return found


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
    values = [cover.holds for cover in scenario.covers]
    groups = _guard_rows(scenario, scenario.covers, values, "covers", Kind.HOLD)
    return [Number(address, Kind.HOLD, covers=rows) for address, rows in groups.items()]


def _of_exposures(scenario: Scenario) -> list[Number]:
    values = [one.chance for one in scenario.exposures]
    groups = _guard_rows(scenario, scenario.exposures, values, "exposes", "chance")
    return [Number(address, Kind.EXPOSE, exposures=rows) for address, rows in groups.items()]


def _guard_rows(
    scenario: Scenario, pieces: Sequence[Cover | Exposure], values: Sequence[float], file: str, column: str
) -> dict[str, tuple[int, ...]]:
    """Addresses of the rows of a table about guards and parts, each with the objects that share its number."""
    part_rows = {part.id: part.row for part in scenario.parts}
    groups: dict[tuple[str, str, str | None], list[int]] = {}
    for row, one in enumerate(pieces):
        guards = "+".join(scenario.guard[name].row for name in one.guards)
        groups.setdefault((guards, part_rows[one.part], one.fall), []).append(row)
    found: dict[str, tuple[int, ...]] = {}
    for (guards, part, fall), rows in groups.items():
        if len({values[row] for row in rows}) == 1:
            found[_address(file, guards, part, fall, column)] = tuple(rows)
            continue
        for row in rows:
            found[_address(file, "+".join(pieces[row].guards), pieces[row].part, fall, column)] = (row,)
    return found


def _address(file: str, guards: str, part: str, fall: str | None, column: str) -> str:
    return ".".join(name for name in (file, guards, part, fall, column) if name)


def addresses_of(scenario: Scenario, number: Number) -> list[str]:
    """Every address that a row of a table may have which holds this number: its own, and those of single sides."""
    rows = {part.id: part.row for part in scenario.parts}
    found = [number.address]
    if number.kind is Kind.STRIKE:
        found += [f"hits.{part}.{number.fall}" for part in number.parts]
    file, column = ("covers", Kind.HOLD.value) if number.covers else ("exposes", "chance")
    pieces: list[Cover | Exposure] = [scenario.covers[row] for row in number.covers]
    pieces += [scenario.exposures[row] for row in number.exposures]
    for piece in pieces:
        for guards in (piece.guards, [scenario.guard[name].row for name in piece.guards]):
            found += [
                _address(file, "+".join(guards), part, piece.fall, column) for part in (piece.part, rows[piece.part])
            ]
    for one in (scenario.knock_ons[row] for row in number.knock_ons):
        sides = [(one.part, one.takes), (rows[one.part], one.takes), (one.part, rows[one.takes])]
        found += [f"knock_on.{part}.{takes}.chance" for part, takes in sides]
    return list(dict.fromkeys(found))


def value_of(scenario: Scenario, number: Number) -> float:
    """The number as it stands in a scenario."""
    if number.kind is Kind.STRIKE:
        return scenario.hits[str(number.fall), number.parts[0]]
    if number.kind is Kind.HOLD:
        return scenario.covers[number.covers[0]].holds
    if number.kind is Kind.KNOCK_ON:
        return scenario.knock_ons[number.knock_ons[0]].chance
    if number.kind is Kind.EXPOSE:
        return scenario.exposures[number.exposures[0]].chance
    if number.kind is Kind.STRIP_DOWN:
        return scenario.strip_down[str(number.group)]
    if number.parts:
        part = next(part for part in scenario.parts if part.id == number.parts[0])
        return float(getattr(part, number.kind))
    fall = next(fall for fall in scenario.falls if fall.id == number.fall)
    return float(getattr(fall, number.kind))


def with_values(scenario: Scenario, values: Mapping[Number, float]) -> Scenario:
    """The scenario with numbers set to other values; nothing else changes."""
    hits, strip_down = dict(scenario.hits), dict(scenario.strip_down)
    falls: dict[str, dict[str, float]] = {}
    parts: dict[str, dict[str, float]] = {}
    holds: dict[int, float] = {}
    passes: dict[int, float] = {}
    exposes: dict[int, float] = {}
    for number, value in values.items():
        if number.kind is Kind.STRIKE:
            hits.update({(str(number.fall), part): value for part in number.parts})
        elif number.kind is Kind.STRIP_DOWN:
            strip_down[str(number.group)] = value
        elif number.kind is Kind.HOLD:
            holds.update(dict.fromkeys(number.covers, value))
        elif number.kind is Kind.KNOCK_ON:
            passes.update(dict.fromkeys(number.knock_ons, value))
        elif number.kind is Kind.EXPOSE:
            exposes.update(dict.fromkeys(number.exposures, value))
        elif number.parts:
            for part in number.parts:
                parts.setdefault(part, {})[number.kind] = value
        else:
            falls.setdefault(str(number.fall), {})[number.kind] = value
    return replace(
        scenario,
        falls=tuple(_changed(fall, falls.get(fall.id, {})) for fall in scenario.falls),
        hits=hits,
        strip_down=strip_down,
        parts=tuple(_changed(part, parts.get(part.id, {})) for part in scenario.parts),
        covers=tuple(
            replace(cover, holds=holds[row]) if row in holds else cover for row, cover in enumerate(scenario.covers)
        ),
        knock_ons=tuple(
            replace(one, chance=passes[row]) if row in passes else one for row, one in enumerate(scenario.knock_ons)
        ),
        exposures=tuple(
            replace(one, chance=exposes[row]) if row in exposes else one for row, one in enumerate(scenario.exposures)
        ),
    )


Piece = TypeVar("Piece", Fall, Part)


def _changed(piece: Piece, values: Mapping[str, Any]) -> Piece:
    return replace(piece, **values) if values else piece
