"""The shopping list of a plan: what to buy and for how much, what comes off, what will have to be renewed."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from guardopt.errors import GuardoptError, InputError, Parameter, Problem
from guardopt.files.spreadsheet_safety import safe
from guardopt.files.tables import BESIDE_A_SCENARIO, READING_ORDER
from guardopt.files.whole_file import refuse_taken_file, write_file
from guardopt.files.workbooks.writing import Column, Sheet, need_writer, workbook_bytes
from guardopt.model.pieces import Guard, Kit
from guardopt.model.scenario import Scenario
from guardopt.reports.layout import padded, width_of
from guardopt.spelling import escaped, listed

if TYPE_CHECKING:
    from guardopt.questions.plan_result import Plan

ENDINGS = (".csv", ".xlsx", ".txt")

COLUMNS = ("do", "what", "number", "each", "amount", "note")

_MONEY_FORMAT = "#,##0.00"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list; money in whole cents, None where there is none.

    Attributes
    ----------
    do
        What to do: ``buy``, ``offer``, ``fit``, ``pay``, ``take off`` or ``renew``.
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


def check_list(path: Path) -> None:
    """Refuse a file that is there already, has another ending, or is one that scenarios are read from.

    Raises
    ------
    InputError
        Its name will not do, or the package that writes workbooks is missing.
    """
    where = Parameter(f"list {escaped(str(path))}")
    if path.suffix.lower() not in ENDINGS:
        raise InputError([Problem(where, f"expected a name that ends in {listed(ENDINGS)}")])
    if path.name.casefold() in (*READING_ORDER, *BESIDE_A_SCENARIO):
        raise InputError([Problem(where, "is the name of a file that is read, expected another")])
    refuse_taken_file(path, where)
    if path.suffix.lower() == ".xlsx":
        need_writer(where)


def write_list(path: Path, plan: Plan) -> None:
    """Write the shopping list of a plan whole, in the form that the name ends in.

    Raises
    ------
    InputError
        Something is there already, or it cannot be written.
    """
    where = Parameter(f"list {escaped(str(path))}")
    lines = shopping_list(plan.scenario, plan.kit)
    ending = path.suffix.lower()
    if ending == ".xlsx":
        content = _workbook(plan.scenario, lines, where)
    elif ending == ".csv":
        content = _csv(lines)
    else:
        content = list_text(plan.scenario, lines).encode()
    write_file(content, path, where)


def _csv(lines: list[Line]) -> bytes:
    text = io.StringIO()
    rows = ([safe(cell) for cell in line.cells()] for line in lines)
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
    return workbook_bytes([Sheet("shopping list", columns, [line.cells() for line in lines])], (), where)


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
    return "\n".join([*text, ""])
