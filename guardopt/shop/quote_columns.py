"""What a quote says, column by column, and how it is written down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.arrays import Ints
from guardopt.files.spreadsheet_safety import has_formulas, safe
from guardopt.model.scenario import Scenario
from guardopt.shop.rider_curves import Ladder
from guardopt.shop.riders import NO_LIMIT, Riders

if TYPE_CHECKING:
    import pyarrow as pa

ABOUT = ("rider", "bike", "riding", "times", "budget")
"""Columns that say who asked."""

MONEY = (
    "kit",
    "buy",
    "take_off",
    "spend",
    "yearly_cost_bare",
    "yearly_cost_now",
    "yearly_cost_fitted",
    "saving_over_years",
    "pays_back_years",
    "cheaper_spend",
    "cheaper_saving_over_years",
    "cheaper_change",
    "dearer_spend",
    "dearer_saving_over_years",
    "dearer_change",
)
"""Columns that are the answer."""

TEXTS = ("kit", "buy", "take_off", "cheaper_change", "dearer_change")

NEEDS_QUOTES = frozenset(',";\r\n')

QUOTED, NO_KIT, WRONG_ROW = "quoted", "no_kit", "wrong_row"

LOSES = "saves less than it costs"
"""The note on a kit whose saving over the years does not pay for it, what its guards fetch at the end counted."""


def steps_text(scenario: Scenario, ladder: Ladder) -> tuple[tuple[str, str, str], ...]:
    """For each step the kit, what of it is to be bought, and what comes off the bike."""
    stock = [guard.id for guard in scenario.guards if guard.owned]
    return tuple(
        (
            " ".join(rung.kit),
            " ".join(name for name in rung.kit if name not in stock),
            " ".join(name for name in stock if name not in rung.kit),
        )
        for rung in ladder
    )


def unquoted_note(ladder: Ladder, riders: Riders, row: int) -> str:
    """Why there is no kit for a rider."""
    if not ladder:
        return "no kit has what is forced in and keeps to the rules"
    least = ladder[0].spend_cents / 100
    return f"no kit within {riders.budget_cents[row] / 100:.2f} has what is forced in; the least is {least:.2f}"


@dataclass(frozen=True)
class Totals:
    """What a number of quotes come to; money in cents, each quote rounded."""

    riders: int = 0
    quoted: int = 0
    no_kit: int = 0
    wrong: int = 0
    buying: int = 0
    spend_cents: int = 0
    saving_cents: int = 0
    losing: int = 0

    def __add__(self, other: Totals) -> Totals:
        return Totals(*(a + b for a, b in zip(self.to_list(), other.to_list(), strict=True)))

    def to_json(self) -> dict[str, Any]:
        """The record as ``quote --json`` prints it."""
        return {
            "riders": self.riders,
            "quoted": self.quoted,
            "no_kit": self.no_kit,
            "wrong_rows": self.wrong,
            "buying": self.buying,
            "spend": self.spend_cents / 100,
            "saving_over_years": self.saving_cents / 100,
            "losing": self.losing,
        }

    def to_list(self) -> list[int]:
        """The numbers in order."""
        return list(astuple(self))


@dataclass(frozen=True)
class Quoted:
    """A chunk of quotes. Riders often get the same answer, so each different one is held once.

    Attributes
    ----------
    riders
        Who asked.
    answer
        ``(riders,)``: the number of the answer; below 0 where there is none.
    answers
        The columns of `MONEY` and ``note``, one entry for each different answer.
    notes
        By row, why there is no kit.
    """

    riders: Riders
    answer: Ints
    answers: Mapping[str, Sequence[Any]]
    notes: Mapping[int, str]

    @staticmethod
    def names() -> list[str]:
        """The columns in order."""
        return [*ABOUT, "status", *MONEY, "note"]

    @cached_property
    def totals(self) -> Totals:
        """What these quotes come to."""
        count = np.bincount(self.answer[self.answer >= 0], minlength=len(self.answers["spend"]))
        spend = np.array([round(amount * 100) for amount in self.answers["spend"]], dtype=np.int64)
        saving = np.array([round(amount * 100) for amount in self.answers["saving_over_years"]], dtype=np.int64)
        return Totals(
            riders=len(self.answer),
            quoted=int(count.sum()),
            no_kit=len(self.notes),
            wrong=len(self.riders.problems),
            buying=int(count[spend > 0].sum()),
            spend_cents=int(count @ spend),
            saving_cents=int(count @ saving),
            losing=int(count[[note == LOSES for note in self.answers["note"]]].sum()),
        )

    def _about(self) -> dict[str, list[str]]:
        cells, budgets = self.riders.sheet.cells, self.riders.budget_cents
        about = {name: list(cells[name]) for name in ABOUT}
        about["times"] = [text or "1" for text in about["times"]]
        known = ["" if cents == NO_LIMIT else f"{cents / 100:.2f}" for cents in budgets.tolist()]
        for row in self.riders.problems:
            known[row] = about["budget"][row]
            about["times"][row] = cells["times"][row]
        about["budget"] = known
        return about

    def _unanswered(self) -> dict[int, tuple[str, str]]:
        """Status and note of the rows without an answer."""
        wrong = {row: (WRONG_ROW, "; ".join(map(str, problems))) for row, problems in self.riders.problems.items()}
        return wrong | {row: (NO_KIT, note) for row, note in self.notes.items()}

    def columns(self) -> dict[str, list[Any]]:
        """Every column, one entry for each rider; money rounded to the cent, None where there is none."""
        columns: dict[str, list[Any]] = dict(self._about())
        size = len(self.answer)
        notes = [*self.answers["note"], ""]
        status, note = [QUOTED] * size, [notes[one] for one in self.answer.tolist()]
        for row, (one, text) in self._unanswered().items():
            status[row], note[row] = one, text
        columns["status"] = status
        for name in MONEY:
            values = [value if name in TEXTS else _rounded(value) for value in self.answers[name]]
            values.append("" if name in TEXTS else None)
            columns[name] = [values[one] for one in self.answer.tolist()]
        columns["note"] = note
        return columns

    def csv(self) -> bytes:
        """The chunk as lines of CSV."""
        about = self._about()
        for name in ABOUT:
            if has_formulas(about[name]):
                about[name] = [safe(text) for text in about[name]]
            if not NEEDS_QUOTES.isdisjoint("".join(about[name])):
                about[name] = [in_quotes(text) for text in about[name]]
        written = [
            [_written(value) for value in self.answers[name]] if name not in TEXTS else map(safe, self.answers[name])
            for name in MONEY
        ]
        tails = [f"{QUOTED},{','.join(values)}" for values in zip(*written, self.answers["note"], strict=True)]
        tails.append("")
        ends = [tails[one] for one in self.answer.tolist()]
        for row, (status, note) in self._unanswered().items():
            ends[row] = f"{status}{',' * len(MONEY)},{in_quotes(safe(note))}"
        lines = map(",".join, zip(*(about[name] for name in ABOUT), ends, strict=True))
        return ("\n".join(lines) + "\n").encode()

    @staticmethod
    def csv_header() -> bytes:
        """The line of column names."""
        return (",".join(Quoted.names()) + "\n").encode()

    def arrow(self) -> pa.Table:
        """The chunk as a table of Arrow."""
        import pyarrow as pa

        schema = arrow_schema()
        columns = self.columns()
        columns["times"] = [_number(text) for text in columns["times"]]
        columns["budget"] = [_number(text) for text in columns["budget"]]
        return pa.table([pa.array(columns[one.name], type=one.type) for one in schema], schema=schema)


def arrow_schema() -> pa.Schema:
    """The types of the columns in Parquet."""
    import pyarrow as pa

    numbers = {"times", "budget", *MONEY} - {*TEXTS}
    return pa.schema([(name, pa.float64() if name in numbers else pa.string()) for name in Quoted.names()])


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(float(value), 2) + 0.0


def _written(value: float | None) -> str:
    return "" if value is None else f"{_rounded(value):.2f}"


def in_quotes(text: str) -> str:
    """Text as a cell of CSV."""
    if NEEDS_QUOTES.isdisjoint(text):
        return text
    return '"' + text.replace('"', '""') + '"'
