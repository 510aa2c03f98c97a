"""Understands tables of riders, chunk by chunk.

A row that is wrong is kept with what is wrong about it; the rest go on as numbers: cents, multiples of the fall rates
and wishes, each different text being looked at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Annotated, Any

import numpy as np
from pydantic import BeforeValidator, Field

from guardopt.arrays import Floats, Ints
from guardopt.errors import Place, Problem
from guardopt.files.cell_types import IS_MONEY, Positive, References, Text, exact_number
from guardopt.files.cells import Cell, Findings, Row
from guardopt.loading.meaning.row_checking import RowModel, validate
from guardopt.loading.rider_sheets import Sheet
from guardopt.model.pieces import in_cents
from guardopt.shop.shop import NOTHING, Shop, Wish, wish_of

NOWHERE = Place("")

OF_A_WISH = ("bike", "riding", "owned", "must", "never")

NO_LIMIT = np.iinfo(np.int64).max
"""A budget without limit, in cents."""

THE_SCENARIOS = -1
"""Stands for a blank budget."""

WRONG = -2
"""Stands for a budget, or a wish, that cannot be read."""

MOST_REMEMBERED = 200_000
"""Texts remembered with what they mean; a book with more different ones has some looked at again."""


def budget_number(value: object) -> Decimal:
    """Read a budget; ``none`` lifts the limit."""
    return Decimal(0) if str(value).lower() == NOTHING else exact_number(value)


class RiderRow(RowModel):
    """A row of a table of riders."""

    rider: Text
    bike: Text | None = None
    riding: Text | None = None
    budget: Annotated[
        Decimal,
        BeforeValidator(budget_number),
        Field(ge=0, allow_inf_nan=False, description='a number of at least 0, or "none"'),
        IS_MONEY,
    ] = Decimal(0)
    times: Positive = 1.0
    owned: References = ()
    must: References = ()
    never: References = ()


@dataclass(frozen=True)
class Riders:
    """A chunk of riders, understood.

    Attributes
    ----------
    sheet
        Their cells as written.
    wish
        ``(riders,)``: the number of what they want among the wishes of the book; `WRONG` for a row that is wrong.
    budget_cents
        ``(riders,)``: `NO_LIMIT` where there is none.
    times
        ``(riders,)``: the multiple of the fall rates.
    problems
        What is wrong, by row.
    """

    sheet: Sheet
    wish: Ints
    budget_cents: Ints
    times: Floats
    problems: dict[int, list[Problem]]


class _Memory(dict[Any, Any]):
    """Remembers what a text means; it is worked out when the text is met first."""

    def __init__(self, meaning: Callable[[Any], Any]) -> None:
        super().__init__()
        self._meaning = meaning

    def __missing__(self, text: Any) -> Any:
        if len(self) >= MOST_REMEMBERED:
            self.clear()
        found = self[text] = self._meaning(text)
        return found


class Reader:
    """Understands chunks of riders, one after the other, and collects what they wish for.

    Parameters
    ----------
    shop
        The bikes.

    Attributes
    ----------
    wishes
        Everything that riders met so far want, without repeats.
    """

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self.wishes: list[Wish] = []
        self._numbers: dict[Wish, int] = {}
        self._budgets = _Memory(_budget)
        self._times = _Memory(_multiple)
        self._asked = _Memory(self._look_up)

    def read(self, sheet: Sheet) -> Riders:
        """Understand one chunk."""
        cells = sheet.cells
        budgets = np.array([self._budgets[text] for text in cells["budget"]], dtype=np.int64)
        times = np.array([self._times[text] for text in cells["times"]], dtype=np.float64)
        asked = zip(*(cells[name] for name in OF_A_WISH), strict=True)
        wish = np.array([self._asked[one] for one in asked], dtype=np.int64)
        wrong = (budgets == WRONG) | np.isnan(times) | (wish == WRONG)
        if not all(cells["rider"]) or not "".join(cells["rider"]).isprintable():
            wrong |= np.array([not text or not text.isprintable() for text in cells["rider"]], dtype=bool)
        wrong[list(sheet.broken)] = True
        problems = {row: self._problems(sheet, row) for row in np.flatnonzero(wrong).tolist()}
        wish[wrong] = WRONG
        blank = budgets == THE_SCENARIOS
        if blank.any():
            own = [self._own_budget(one) for one in self.wishes]
            budgets[blank & ~wrong] = np.array(own, dtype=np.int64)[wish[blank & ~wrong]]
        return Riders(sheet, wish, budgets, times, problems)

    def _own_budget(self, wish: Wish) -> int:
        budget = self._shop.load(wish.bike).budget_cents
        return NO_LIMIT if budget is None else budget

    def _look_up(self, asked: tuple[str, ...]) -> int:
        found = wish_of(self._shop, dict(zip(OF_A_WISH, asked, strict=True)))
        if not isinstance(found, Wish):
            return WRONG
        if found not in self._numbers:
            self._numbers[found] = len(self.wishes)
            self.wishes.append(found)
        return self._numbers[found]

    def _problems(self, sheet: Sheet, row: int) -> list[Problem]:
        """Everything wrong with one row."""
        place = sheet.place(row)
        if row in sheet.broken:
            return [Problem(place, sheet.broken[row])]
        cells = {name: Cell(texts[row], replace(place, item=f"column {name}")) for name, texts in sheet.cells.items()}
        findings = Findings()
        validate(Row(place, "column ", cells), RiderRow, findings)
        said = {problem.where for problem in findings.problems}
        asked = wish_of(self._shop, {name: sheet.cells[name][row] for name in OF_A_WISH})
        for column, message in () if isinstance(asked, Wish) else asked:
            if cells[column].where not in said:
                findings.error(cells[column].where, message)
        return findings.problems


def _budget(text: str) -> int:
    if text == "":
        return THE_SCENARIOS
    if text.lower() == NOTHING:
        return int(NO_LIMIT)
    found = validate(_row("budget", text), RiderRow, Findings())
    return WRONG if found is None else in_cents(found.budget)


def _multiple(text: str) -> float:
    if text == "":
        return 1.0
    found = validate(_row("times", text), RiderRow, Findings())
    return float("nan") if found is None else found.times


def _row(column: str, text: str) -> Row:
    return Row(NOWHERE, "", {"rider": Cell("any", NOWHERE), column: Cell(text, NOWHERE)})
