"""Which parts or guards an id in a file stands for, and which of them meet.

A row with side ``both`` stands for two objects, ``lever.left`` and ``lever.right``. An id without a suffix means all
sides of its row, one with a suffix exactly that side.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from guardopt.errors import Missing, Place
from guardopt.files.cells import Findings
from guardopt.files.tables import Table
from guardopt.loading.columns import GuardRow, PartRow
from guardopt.loading.meaning.row_checking import Entry
from guardopt.model.pieces import Side
from guardopt.spelling import advice, listed, nearest, shown


@dataclass(frozen=True, slots=True)
class Placed:
    """One part or guard on its side of the bike; `row` is its id in the file."""

    id: str
    row: str
    side: Side


def placed(row: str, side: str) -> tuple[Placed, ...]:
    """The objects that a row with this side stands for."""
    if side == "both":
        return tuple(Placed(f"{row}.{one}", row, one) for one in (Side.LEFT, Side.RIGHT))
    return (Placed(row, row, Side(side)),)


@dataclass(frozen=True, slots=True)
class Roster:
    """The parts or the guards of a scenario, to look references up in.

    Attributes
    ----------
    noun
        ``"part"`` or ``"guard"``, for messages.
    rows
        The objects each id stands for; none for a row that was refused, so that one mistake is not reported twice.
    is_complete
        False if the file could not be read: then no reference to it can be judged.
    """

    noun: str
    rows: dict[str, tuple[Placed, ...]]
    is_complete: bool

    @classmethod
    def of(cls, noun: str, table: Table | None, entries: Sequence[Entry[PartRow] | Entry[GuardRow]]) -> Roster:
        """Collect the ids of a file; the column of ids is named like the noun."""
        ids = ids_in(table, noun)
        rows: dict[str, tuple[Placed, ...]] = dict.fromkeys(ids or (), ())
        for entry in entries:
            name = entry.row.text(noun)
            rows[name] = placed(name, entry.values.side)
        return cls(noun, rows, is_complete=ids is not None)

    def resolve(self, reference: str, where: Place, findings: Findings) -> tuple[Placed, ...]:
        """The objects a reference stands for; none, and a problem noted, if there are none."""
        row, dot, _ = reference.partition(".")
        if not self.is_complete:
            return ()
        if row not in self.rows:
            hint = advice(row, self.rows)
            table = f"{self.noun}s"
            message = f"found {shown(reference)}, expected a {self.noun} of {findings.table(table)}{hint}"
            findings.error(where, message, missing=absent_row(table, row, self.rows))
            return ()
        candidates = self.rows[row]
        chosen = tuple(one for one in candidates if one.id == reference) if dot else candidates
        if candidates and not chosen:
            choices = listed([row, *(one.id for one in candidates if one.id != row)])
            findings.error(where, f"found {shown(reference)}, but {row} has no such side; expected {choices}")
        return chosen


def absent_row(table: str, name: str, known: Iterable[str]) -> Missing:
    """A row that cells name and that is not there; most likely it was deleted alone."""
    close = nearest(name, known)
    return Missing(table, name, f"; did you mean {close}? If not, " if close else "; ", is_deleted=True)


def ids_in(table: Table | None, column: str) -> list[str] | None:
    """Every id in a column, those of refused rows included; None if the file or the column is not there."""
    if table is None or column not in table.columns:
        return None
    return list(dict.fromkeys(text for row in table.rows if (text := row.text(column))))


def common_side(members: Iterable[Placed]) -> Side | None:
    """The side that the sided ones among objects that meet are on, None if all serve both sides."""
    return next((one.side for one in members if one.side.is_sided), None)


def matched(choices: Iterable[tuple[Placed, ...]]) -> list[tuple[Placed, ...]]:
    """Every way to pick one object of each that can meet: no left one with a right one."""
    picks: list[tuple[Placed, ...]] = [()]
    for alternatives in choices:
        # Those that cannot meet are dropped at once: of two sides of everything two picks are left, and not 2^n.
        picks = [
            (*picked, new)
            for picked in picks
            for new in alternatives
            if all(one.side.goes_with(new.side) for one in picked)
        ]
    return picks


def meeting(side: Side | None, others: Collection[Placed]) -> list[Placed]:
    """Those that meet this side; a side of None meets all."""
    return [one for one in others if side is None or one.side.goes_with(side)]
