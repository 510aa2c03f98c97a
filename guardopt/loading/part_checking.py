"""Parts with their sides spelled out, and the knock-ons between them, of which none may close a loop."""

from __future__ import annotations

from collections.abc import Sequence

from guardopt.errors import Missing, Place
from guardopt.files.cells import Findings, Row
from guardopt.files.limits import LONGEST_CHAIN
from guardopt.loading.columns import KnockOnRow, PartRow
from guardopt.loading.meaning.row_checking import Entry, note_of
from guardopt.loading.settings import Labour
from guardopt.loading.sides import Roster, matched, placed
from guardopt.model.pieces import HALF_A_CENT, KnockOn, Part
from guardopt.spelling import advice


def parts_of(entries: Sequence[Entry[PartRow]], groups: Sequence[str] | None, findings: Findings) -> list[Part]:
    """Parts with their sides spelled out; a group to strip down has to be one that the settings name."""
    parts: list[Part] = []
    for entry in entries:
        values = entry.values
        group = values.strip_down
        if group is not None and groups is not None and group not in groups:
            message = f"found '{group}', expected a key of [strip_down]{advice(group, groups)}"
            missing = Missing("[strip_down]", group, advice(group, groups))
            findings.error(entry.row.where("strip_down"), message, missing=missing)
        if (values.x is None) != (values.y is None):
            given, open_ = ("x", "y") if values.y is None else ("y", "x")
            findings.error(entry.row.where(open_), f"nothing found beside {given}, expected both or neither")
        parts += [
            Part(
                id=one.id,
                row=one.row,
                side=one.side,
                price=values.price,
                hours=values.hours,
                break_chance=values.break_chance,
                touch_up=values.touch_up,
                strip_down=group,
                waits=values.waits == "yes",
                days=values.days,
                x=values.x,
                y=values.y,
                note=note_of(entry.row),
            )
            for one in placed(values.part, values.side)
        ]
    return parts


def check_waiting(entries: Sequence[Entry[PartRow]], labour: Labour | None, findings: Findings) -> None:
    """Refuse a part that waits and is dearer to touch up than to replace: nobody would wait to pay more."""
    for entry in entries:
        values = entry.values
        if values.waits == "yes" and labour is not None:
            replaced = values.price + values.hours * labour.repair_rate
            if values.touch_up > replaced + HALF_A_CENT:
                message = f"found {values.touch_up:g}, expected at most what replacing it costs, {replaced:g}: it waits"
                findings.error(entry.row.where("touch_up"), message)


def knock_ons_of(entries: Sequence[Entry[KnockOnRow]], roster: Roster, findings: Findings) -> dict[KnockOn, Row]:
    """Knock-ons between parts of one side, unless both are named exactly, and their rows; loops are refused."""
    knock_ons: dict[KnockOn, Row] = {}
    rows: dict[tuple[str, str], Row] = {}
    for entry in entries:
        row = entry.row
        givers = roster.resolve(entry.values.part, row.where("part"), findings)
        takers = roster.resolve(entry.values.takes, row.where("takes"), findings)
        is_exact = len(givers) == len(takers) == 1
        pairs = [(givers[0], takers[0])] if is_exact else matched([givers, takers])
        for giver, taker in pairs:
            pair = (giver.id, taker.id)
            if pair in rows:
                findings.error(row.place, f"found {giver.id} takes {taker.id} again, first in {rows[pair].place}")
                break
            rows[pair] = row
            knock_ons[KnockOn(giver.id, taker.id, entry.values.chance)] = row
    found = loops([(knock_on.part, knock_on.takes) for knock_on in knock_ons])
    if not found and (chain := longest_chain(list(rows))) > LONGEST_CHAIN:
        message = f"{chain:,} parts would break one after the other, expected at most {LONGEST_CHAIN}"
        findings.error(Place(entries[0].row.place.source), message)
    for loop in found:
        closing = rows[loop[-2], loop[-1]]
        findings.error(closing.place, f"found a loop, {' takes '.join(loop)}; expected knock-ons that come to an end")
    return knock_ons


def longest_chain(pairs: Sequence[tuple[str, str]]) -> int:
    """How many follow one another at most, among ordered pairs without a loop."""
    follows: dict[str, list[str]] = {}
    before: dict[str, int] = {}
    for first, second in pairs:
        follows.setdefault(first, []).append(second)
        before[second] = before.get(second, 0) + 1
    length = {name: 1 for name in follows if name not in before}
    ready = list(length)
    for name in ready:
        for after in follows.get(name, ()):
            length[after] = max(length.get(after, 1), length[name] + 1)
            before[after] -= 1
            if not before[after]:
                ready.append(after)
    return max(length.values(), default=0)


def loops(pairs: Sequence[tuple[str, str]]) -> list[list[str]]:
    """Loops among ordered pairs, each as the ids along it with the first repeated at the end.

    Every pair that closes a loop in a depth-first walk gives one, so that breaking them all leaves no loop.
    A loop on one side is not told again for the other.
    """
    follows: dict[str, list[str]] = {}
    for first, second in pairs:
        follows.setdefault(first, []).append(second)
    found: list[list[str]] = []
    told: set[tuple[str, ...]] = set()
    done: set[str] = set()
    for start in follows:
        walk: list[tuple[str, int]] = [] if start in done else [(start, 0)]
        while walk:
            here, tried = walk.pop()
            if tried == len(follows.get(here, ())):
                done.add(here)
                continue
            walk.append((here, tried + 1))
            ahead = follows[here][tried]
            path = [name for name, _ in walk]
            if ahead in path:
                loop = [*path[path.index(ahead) :], ahead]
                rows = tuple(name.partition(".")[0] for name in loop)
                if rows not in told:
                    told.add(rows)
                    found.append(loop)
            elif ahead not in done:
                walk.append((ahead, 0))
    return found
