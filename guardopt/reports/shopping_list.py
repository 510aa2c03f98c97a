"""The shopping list of a plan: what to buy and for how much, what comes off, what will have to be renewed.

A list gives way to a newer one of its name if it is as it was written: whoever ticked things off in it keeps it.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from guardopt.errors import GuardoptError, InputError, Parameter, Problem
from guardopt.files.limits import read_whole
from guardopt.files.spreadsheet_safety import safe
from guardopt.files.tables import BESIDE_A_SCENARIO, READING_ORDER
from guardopt.files.whole_file import refuse_taken_file, write_file
from guardopt.files.workbooks.writing import CREATED, Column, Sheet, need_writer, workbook_bytes
from guardopt.files.workbooks.zip_archive import UnfitWorkbookError, unpacked
from guardopt.model.pieces import Guard, Kit
from guardopt.model.scenario import Scenario
from guardopt.reports.layout import padded, width_of
from guardopt.spelling import escaped, listed

if TYPE_CHECKING:
    from guardopt.questions.plan_result import Plan

COLUMNS = ("do", "what", "number", "each", "amount", "note")
TO_DO = ("buy", "offer", "fit", "sell", "pay", "take off", "renew")

_MONEY_FORMAT = "#,##0.00"
_AMOUNT = re.compile(r"(?:-?[0-9]+\.[0-9]{2})?")
_TITLE = "Shopping list written by guardopt"
_NEVER_SAVED = f">{CREATED:%Y-%m-%dT%H:%M:%SZ}</dcterms:modified>"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list; money in whole cents, None where there is none.

    Attributes
    ----------
    do
        What to do, one of `TO_DO`.
    """

    do: str
    what: str
    number: int | None = None
    each_cents: int | None = None
    amount_cents: int | None = None
    note: str = ""

    def cells(self) -> tuple[str, ...]:
        """The line as text, column by column."""
        number = "" if self.number is None else str(self.number)
        return (self.do, self.what, number, _money(self.each_cents), _money(self.amount_cents), self.note)


def _money(cents: int | None) -> str:
    return "" if cents is None else f"{cents / 100:.2f}"


def shopping_list(scenario: Scenario, kit: Kit) -> list[Line]:
    """What has to be bought, fitted and taken off to get from the bike as it stands to a kit, and renewed later.

    The lines above ``pay`` add up to it, to the cent; what will be renewed comes on top, in years to come.

    Raises
    ------
    GuardoptError
        The lines do not add up to what the kit costs: a defect of this package.
    """
    bought = [guard for guard in scenario.guards if guard.id in kit and not guard.owned]
    lines = [
        Line("buy", _named(group), len(group), group[0].price_cents, len(group) * group[0].price_cents, group[0].note)
        for group in _by_row(bought)
    ]
    lines += [
        Line("offer", f"{_words(offer.id)}, off the single prices", amount_cents=-saving, note=offer.note)
        for offer in scenario.offers_taken(kit)
        if (saving := scenario.offer_saving_cents(offer))
    ]
    hours = sum(guard.fit_hours for guard in bought)
    fitting = sum(guard.fit_cents for guard in bought)
    if fitting:
        lines.append(Line("fit", f"{hours:g} hours of fitting", amount_cents=fitting))
    off = [guard for guard in scenario.guards if guard.owned and guard.id not in kit]
    lines += [
        Line(
            "sell",
            f"{_named(group)}, which you have",
            len(group),
            -group[0].sells_cents,
            -len(group) * group[0].sells_cents,
            group[0].note,
        )
        for group in _by_row([guard for guard in off if guard.sells_cents])
    ]
    total = sum(line.amount_cents or 0 for line in lines)
    if total != scenario.spend_cents(kit):
        raise GuardoptError(
            f"the shopping list comes to {_money(total)}, the kit to {_money(scenario.spend_cents(kit))}"
        )
    lines.append(Line("pay", "in all, now", amount_cents=total))
    lines += [
        Line("take off", _named(group), len(group), note=group[0].note)
        for group in _by_row([guard for guard in off if not guard.sells_cents])
    ]
    worn = [guard for guard in scenario.guards if guard.id in kit and guard.lasts_falls is not None]
    lines += [_renewal(group) for group in _by_row(worn)]
    return lines


def _renewal(group: list[Guard]) -> Line:
    guard = group[0]
    falls = guard.lasts_falls or 0.0
    cents = round(guard.wear_per_fall * falls * 100)
    times = "after every fall" if falls <= 1 else f"after {falls:g} falls"
    return Line("renew", f"{_named(group)}, each {times}", len(group), cents, note=guard.note)


def _by_row(guards: Iterable[Guard]) -> list[list[Guard]]:
    """Guards of one row of the table together if they cost the same: the two sides of one thing."""
    rows: dict[tuple[str, int, int], list[Guard]] = {}
    for guard in guards:
        rows.setdefault((guard.row, guard.price_cents, guard.sells_cents), []).append(guard)
    return list(rows.values())


def _named(group: list[Guard]) -> str:
    sides = listed([str(guard.side) for guard in group if guard.side.is_sided], last="and")
    return f"{_words(group[0].row)}{f', {sides}' if sides else ''}"


def _words(name: str) -> str:
    return name.replace("_", " ")


def check_list(path: Path) -> bool:
    """Refuse a file that is there already and is no list of ours, has another ending, or is read as part of scenarios.

    Returns
    -------
    bool
        Whether there is an earlier list of ours in its place.

    Raises
    ------
    InputError
        Its name will not do, or the package that writes workbooks is missing.
    """
    where = Parameter(f"list {escaped(str(path))}")
    if path.suffix.lower() not in _LOOKS:
        raise InputError([Problem(where, f"expected a name that ends in {listed([*_LOOKS])}")])
    if path.name.casefold() in (*READING_ORDER, *BESIDE_A_SCENARIO):
        raise InputError([Problem(where, "is the name of a file that is read, expected another")])
    is_ours = _is_ours(path)
    if path.is_file() and not is_ours:
        message = "is there already and is no shopping list as guardopt wrote it; remove it or choose another name"
        raise InputError([Problem(where, message)])
    if not is_ours:
        refuse_taken_file(path, where)
    if path.suffix.lower() == ".xlsx":
        need_writer(where)
    return is_ours


def _is_ours(path: Path) -> bool:
    """Whether a file is a shopping list that nobody changed since we wrote it."""
    if path.is_symlink() or not path.is_file():
        return False
    try:
        return _LOOKS[path.suffix.lower()](read_whole(path))
    except (OSError, ValueError, csv.Error, NotImplementedError, zipfile.BadZipFile, zlib.error, UnfitWorkbookError):
        return False


def _is_our_workbook(content: bytes) -> bool:
    properties = unpacked(content).get("docProps/core.xml", b"")
    return all(mark.encode() in properties for mark in (f"<dc:title>{_TITLE}</dc:title>", _NEVER_SAVED))


def _is_our_text(content: bytes) -> bool:
    body, _, mark = content.decode().rpartition("\n\n")
    return mark == _mark(body)


def _is_our_table(content: bytes) -> bool:
    rows = list(csv.reader(io.StringIO(content.decode(), newline="")))
    return tuple(*rows[:1]) == COLUMNS and all(map(_is_line, rows[1:])) and _csv(rows[1:]) == content


_LOOKS: Mapping[str, Callable[[bytes], bool]] = {
    ".csv": _is_our_table,
    ".xlsx": _is_our_workbook,
    ".txt": _is_our_text,
}
"""By ending, whether a file is a list as it was written."""


def _is_line(cells: list[str]) -> bool:
    return len(cells) == len(COLUMNS) and cells[0] in TO_DO and all(map(_AMOUNT.fullmatch, cells[3:5]))


def write_list(path: Path, plan: Plan) -> None:
    """Write the shopping list of a plan whole, in the form that the name ends in.

    Raises
    ------
    InputError
        Something else is there already, or it cannot be written.
    """
    is_ours = check_list(path)
    where = Parameter(f"list {escaped(str(path))}")
    lines = shopping_list(plan.scenario, plan.kit)
    ending = path.suffix.lower()
    if ending == ".xlsx":
        content = _workbook(plan.scenario, lines, where)
    elif ending == ".csv":
        content = _csv([safe(cell) for cell in line.cells()] for line in lines)
    else:
        content = list_text(plan.scenario, lines).encode()
    write_file(content, path, where, replace=is_ours)


def _csv(rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([COLUMNS, *rows])
    return text.getvalue().encode()


def _workbook(scenario: Scenario, lines: list[Line], where: str) -> bytes:
    money = f"In {scenario.currency}"
    columns = (
        Column("do", is_text=True),
        Column("what", is_text=True),
        Column("number", number_format="0"),
        Column("each", money, number_format=_MONEY_FORMAT),
        Column("amount", f"{money}; the lines above pay add up to it", number_format=_MONEY_FORMAT),
        Column("note", is_text=True),
    )
    sheets = [Sheet("shopping list", columns, [line.cells() for line in lines])]
    return workbook_bytes(sheets, (), where, title=_TITLE)


def list_text(scenario: Scenario, lines: list[Line]) -> str:
    """The list as plain text in columns."""
    heading = ("", "", "", f"each {scenario.currency}", scenario.currency, "note")
    rows = [heading, *(line.cells() for line in lines)]
    widths = [max(width_of(row[column]) for row in rows) for column in range(len(COLUMNS))]
    text = [f"Shopping list: {scenario.title}", ""]
    for row in rows:
        cells = [
            padded(cell, width, left=not 2 <= column <= 4)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        text.append("  ".join(cells).rstrip())
    body = "\n".join(text)
    return f"{body}\n\n{_mark(body)}"


def _mark(body: str) -> str:
    """The last line of a list, by which we know it again."""
    return f"guardopt wrote this list ({zlib.crc32(body.encode()):08x}) and replaces it unless you change it.\n"
