"""Cells and rows that know where they came from, and what was found wrong or odd on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from guardopt.errors import Problem
from guardopt.spelling import printable

SETTINGS_FILE = "scenario.toml"


@dataclass
class Findings:
    """Problems and warnings as they are found."""

    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)

    def error(self, where: str, message: str) -> None:
        """Note something that makes the scenario wrong."""
        self.problems.append(Problem(where, message))

    def warn(self, where: str, message: str) -> None:
        """Note something legal that has no effect or looks like a slip."""
        self.warnings.append(Problem(where, message))


@dataclass(frozen=True, slots=True)
class Cell:
    """One value as it was found (text in a CSV file), and where."""

    value: object
    where: str


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of one CSV row or one TOML table, by column or key.

    Attributes
    ----------
    place
        File and line: ``"parts.csv, line 4"``.
    prefix
        What stands before a column or key when a message names it: ``"column "`` or ``"[owner] "``.
    is_whole
        False if the row could not be divided into cells; only its first cell can be relied on.
    """

    place: str
    prefix: str
    cells: Mapping[str, Cell]
    is_whole: bool = True

    def where(self, column: str) -> str:
        """Where the value of this column is, or ought to be."""
        if column in self.cells:
            return self.cells[column].where
        return f"{self.place}, {self.prefix}{printable(column)}"

    def text(self, column: str) -> str:
        """The value of this column as text, blank if there is none."""
        return str(self.cells[column].value) if column in self.cells else ""

    def with_cell(self, column: str, cell: Cell) -> Row:
        """The same row with one cell set."""
        return replace(self, cells={**self.cells, column: cell})
