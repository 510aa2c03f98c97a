"""Checks rows of cells against what their table has to look like, and says what is wrong in the words of this project.

What is clear is taken as it is meant (`cell_meaning`); pydantic finds what is wrong in the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Generic, Literal, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from guardopt.errors import Place
from guardopt.files.cell_types import IS_CHANCE, IS_HOURS, IS_MONEY, IS_NUMBER, IS_PER_YEAR, exact_number
from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.tables import NOTE_COLUMN, Table
from guardopt.loading.meaning.cell_meaning import (
    UnclearCellError,
    choice_meant,
    point_for_comma,
    time_meant,
    word_meant,
)
from guardopt.model.chance_words import LADDER, chance_word
from guardopt.number_faults import A_DATE, A_TIME, NumberFault, thousands_of
from guardopt.spelling import CLOSE_LIKENESS, advice, escaped, listed, nearest, printable, shown

_BLANK_BY_OTHER_MEANS = frozenset({"-", "--", "–", "—", "/", "?", "n/a", "na", "none", "nil", "."})


class RowModel(BaseModel):
    """Base of all rows: frozen, and nothing in them that is not named."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def note_of(row: Row) -> str:
    """What the owner noted beside a row, on one line."""
    return escaped(" ".join(row.text(NOTE_COLUMN).split()))


Model = TypeVar("Model", bound=RowModel)


@dataclass(frozen=True, slots=True)
class Entry(Generic[Model]):
    """A row that passed: its values, and the cells they were read from."""

    values: Model
    row: Row


def read_entries(table: Table | None, model: type[Model], findings: Findings) -> list[Entry[Model]]:
    """Validate every row of a table; those with something wrong are reported and left out."""
    if table is None:
        return []
    absent = check_columns(table, model.model_fields, _required(model), findings)
    checked = [(row, validate(row, model, findings, absent)) for row in table.rows if row.is_whole]
    return [Entry(values, row) for row, values in checked if values is not None]


def check_columns(
    table: Table,
    known: Iterable[str],
    required: Iterable[str],
    findings: Findings,
    advice_on: Mapping[str, str] = MappingProxyType({}),
    refuse: Callable[[Place, str, str], None] | None = None,
) -> frozenset[str]:
    """Report unknown and missing columns; the required columns that are missing are returned.

    A required column whose name is merely misspelt is reported once, as the misspelling. What else to say of a missing
    column is in `advice_on`; where columns are headed by ids, `refuse` reports an unknown one, from its place, its name
    and the nearest spelling. A heading none of whose names is known is no heading at all, and told as that.
    """
    known = list(known)
    unknown = [column for column in table.columns if column not in (*known, NOTE_COLUMN)]
    unused = [column for column in known if column not in table.columns]
    required = frozenset(required)
    if len(unknown) == len(table.columns) and not any(nearest(column, unused) for column in unknown):
        names = ", ".join([*sorted(required, key=known.index), "…"])
        findings.error(table.header, f"found {shown(', '.join(unknown))}, expected the names of columns: {names}")
        return required
    for column in unknown:
        place = replace(table.header, item=f"column {printable(column)}")
        hint = advice(column, known, unused)
        if refuse is None:
            findings.error(place, f"unknown column{hint}")
        else:
            refuse(place, column, hint)
    absent = required - frozenset(table.columns)
    misspelt = {nearest(column, unused) for column in unknown}
    for column in sorted(absent - misspelt):
        findings.error(table.header, f"column {printable(column)} is missing{advice_on.get(column, '')}")
    return absent


def _required(model: type[RowModel]) -> list[str]:
    return [name for name, info in model.model_fields.items() if info.is_required()]


def validate(row: Row, model: type[Model], findings: Findings, reported: Container[str | None] = ()) -> Model | None:
    """Check one row against its model; blank cells take their defaults.

    Columns in `reported` are known to be missing and are not reported again.
    """
    before = len(findings.problems)
    given: dict[str, object] = {}
    unclear: set[str] = set()
    for name in model.model_fields:
        cell = row.cells.get(name)
        if cell is not None and cell.is_refused:
            unclear.add(name)
        if cell is None or cell.is_refused or row.text(name) == "":
            continue
        try:
            given[name] = _meant(cell, _notes(model, name), findings)
        except UnclearCellError as error:
            unclear.add(name)
            _report_fault(cell, model, name, error.fault, findings)
    try:
        values = model.model_validate(given)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            name = str(detail["loc"][0])
            if name not in unclear and (detail["type"] != "missing" or name not in reported):
                _report(row, model, name, detail, findings)
        return None
    return None if len(findings.problems) > before else values


def _meant(cell: Cell, notes: list[Any], findings: Findings) -> object:
    """What a cell is taken for; raises `UnclearCellError` if that may be two things."""
    value = cell.value
    if isinstance(value, str):
        if IS_CHANCE in notes and (number := word_meant(value, findings)) is not None:
            return number
        if IS_NUMBER in notes:
            value = time_meant(value, cell.where, findings, are_hours=IS_HOURS in notes)
        if IS_NUMBER in notes and cell.has_decimal_commas:
            value = point_for_comma(value)
        else:
            value = choice_meant(value, _choices(notes[0].annotation))
    if IS_MONEY in notes and (fault := thousands_of(str(value))):
        raise UnclearCellError(fault)
    return value


def _choices(annotation: object) -> tuple[str, ...]:
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def _notes(model: type[RowModel], name: str) -> list[Any]:
    """What is noted about the type of a column, whether or not it may be blank."""
    info = model.model_fields[name]
    choices = getattr(info.annotation, "__args__", ())
    return [info, *info.metadata, *(note for one in choices for note in getattr(one, "__metadata__", ()))]


def is_number(model: type[RowModel], name: str) -> bool:
    """Whether a column holds numbers."""
    return IS_NUMBER in _notes(model, name)


def is_money(model: type[RowModel], name: str) -> bool:
    """Whether a column holds money."""
    return IS_MONEY in _notes(model, name)


def is_chance(model: type[RowModel], name: str) -> bool:
    """Whether a column holds chances."""
    return IS_CHANCE in _notes(model, name)


def choices_of(model: type[RowModel], name: str) -> tuple[str, ...]:
    """What a column may hold, if that is a short list of words."""
    return _choices(model.model_fields[name].annotation)


def expected(model: type[RowModel], name: str) -> str:
    """What a column of this model has to hold, in words."""
    found = (getattr(note, "description", None) for note in _notes(model, name))
    return next(filter(None, found), "an id")


def _report_fault(cell: Cell, model: type[RowModel], name: str, fault: NumberFault, findings: Findings) -> None:
    """Say what is wrong with a number, and of the ways to write it those that would be accepted here."""
    choices: list[str] = []
    for choice in fault.choices:
        if _is_accepted(replace(cell, value=choice), model, name, findings):
            choices.append(choice)
        elif IS_MONEY in _notes(model, name) and (other := thousands_of(choice.replace(",", "."))):
            comma = "," in choice
            whole, cents = other.choices
            choices += [cents.replace(".", ",") if comma else cents, *([] if whole in fault.choices else [whole])]
    typed = fault.typed if choices[:1] == [*fault.choices[:1]] else ""
    advised = NumberFault(fault.what, tuple(dict.fromkeys(choices)), typed)
    wanted = "" if choices or not fault.choices else f", expected {expected(model, name)}"
    is_made = fault.what in (A_DATE, A_TIME)
    why = "; spreadsheets make dates of numbers, so format the cells as numbers first" if is_made and not typed else ""
    message = advised.told("format the cell as a number and write" if is_made and typed else "write")
    findings.error(cell.where, f"found {shown(cell.value)}, {message}{wanted}{why}", kind=fault.what)


def _is_accepted(cell: Cell, model: type[RowModel], name: str, findings: Findings) -> bool:
    """Whether a column takes a value."""
    trial = Findings(words=findings.words)
    row = Row(cell.where, "", {name: cell})
    validate(row, model, trial, {*model.model_fields} - {name})
    return not trial.problems


def _report(row: Row, model: type[RowModel], name: str, detail: ErrorDetails, findings: Findings) -> None:
    """Say what pydantic found wrong with one cell."""
    wanted = expected(model, name)
    if detail["type"] == "missing":
        findings.error(row.where(name), f"nothing found, expected {wanted}")
        return
    cell = row.cells[name]
    found = cell.value
    if detail["type"] == "explained":
        fault = NumberFault(detail["ctx"]["why"], tuple(detail["ctx"]["choices"]), detail["ctx"]["typed"])
        _report_fault(cell, model, name, fault, findings)
        return
    if choices_of(model, name) == ("yes", "no"):
        findings.error(cell.where, f"found {shown(found)}; write yes or no (blank means no)")
        return
    message, kind = f"found {shown(found)}, expected {wanted}", ""
    if detail["type"] in ("less_than", "less_than_equal") and " from 0 to " in wanted:
        size = exact_number(detail["input"])
        share = f"{size.scaleb(-2):f}"
        if 2 <= size <= 100 and _is_accepted(replace(cell, value=share), model, name, findings):
            noun = wanted.partition(" from ")[0]
            message += f" ({noun} is written {share}, not {size:f})"
            kind = f"{noun} in percent"
    if detail["type"] == "literal_error":
        close = nearest(str(found), wanted.replace(", ", " ").replace(" or ", " ").split())
        message += f"; did you mean {close}?" if close else ""
    if isinstance(found, str) and any(map(str.isalpha, found)):
        message += _instead_of_words(found, _notes(model, name), findings)
    if detail["type"] == "string_pattern_mismatch" and str(found).endswith((".left", ".right")):
        message += "; the side goes in the column side"
    joined = "_".join(str(found).split())
    if joined != found and detail["type"] == "string_pattern_mismatch":
        message += f": write {joined}" if _is_accepted(replace(cell, value=joined), model, name, findings) else ""
    is_optional = not model.model_fields[name].is_required()
    if is_optional and str(found).casefold() in _BLANK_BY_OTHER_MEANS:
        message += "; leave the cell blank if there is nothing to say"
    findings.error(cell.where, message, kind=kind)


def _instead_of_words(found: str, notes: list[Any], findings: Findings) -> str:
    """What to write where a chance or a rate was written in words that nothing stands for."""
    if IS_PER_YEAR in notes:
        return " (a number a year: once in 4 years is 0.25)"
    if IS_CHANCE not in notes:
        return ""
    # Words that merely share some letters may be far apart in meaning.
    close = nearest(chance_word(found), findings.words, CLOSE_LIKENESS)
    return f"; did you mean {close}?" if close else f", or a word such as {listed(LADDER)}"
