"""Cells and rows that know where they came from, and what was found wrong or odd on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from guardopt.errors import InputError, Missing, Place, Problem
from guardopt.files.limits import MOST_PROBLEMS
from guardopt.spelling import printable

SETTINGS_FILE = "scenario.toml"


@dataclass
class Findings:
    """Problems and warnings as they are found.

    Attributes
    ----------
    is_workbook
        Whether tables are sheets of a workbook rather than files.
    words, words_used
        Words that chances may be written in, with the numbers they stand for, and those of them that were found.
    """

    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    is_workbook: bool = False
    words: Mapping[str, float] = field(default_factory=dict)
    words_used: dict[str, float] = field(default_factory=dict)

    def error(self, where: Place | str, message: str, *, kind: str = "", missing: Missing | None = None) -> None:
        """Note something that makes the scenario wrong; see `Problem` for the arguments.

        Raises
        ------
        InputError
            There were too many before; who made so many mistakes made one of them many times.
        """
        if len(self.problems) >= MOST_PROBLEMS:
            more = Problem("too many mistakes", f"only the first {MOST_PROBLEMS:,} are told")
            raise InputError([*self.problems, more])
        self.problems.append(Problem(where, message, kind, missing))

    def warn(self, where: Place | str, message: str, *, kind: str = "") -> None:
        """Note something legal that has no effect or looks like a slip; see `Problem` for the arguments."""
        self.warnings.append(Problem(where, message, kind))

    def table(self, name: str) -> str:
        """What to call a table: ``parts.csv`` in a folder, ``the sheet parts`` in a workbook."""
        return f"the sheet {name}" if self.is_workbook else f"{name}.csv"


@dataclass(frozen=True, slots=True)
class Cell:
    """One value as it was found (text in a table), and where.

    Attributes
    ----------
    has_decimal_commas
        Whether it stands in a file whose decimals are written with a comma.
    is_refused
        Whether what is wrong with it was told when the file was divided.
    """

    value: object
    where: Place
    has_decimal_commas: bool = False
    is_refused: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of one row of a table, or of one table of the settings, by column or key.

    Attributes
    ----------
    place
        File and line, without a column.
    prefix
        What stands before a column or key when a message names it: ``"column "`` or ``"[owner] "``.
    is_whole
        False if the row could not be divided into cells; only its first cell can be relied on.
    """

    place: Place
    prefix: str
    cells: Mapping[str, Cell]
    is_whole: bool = True

    def where(self, column: str) -> Place:
        """Where the value of this column is, or ought to be."""
        if column in self.cells:
            return self.cells[column].where
        return replace(self.place, item=f"{self.prefix}{printable(column)}")

    def text(self, column: str) -> str:
        """The value of this column as text, blank if there is none."""
        return str(self.cells[column].value) if column in self.cells else ""

    def with_cell(self, column: str, cell: Cell) -> Row:
        """The same row with one cell set."""
        return replace(self, cells={**self.cells, column: cell})
