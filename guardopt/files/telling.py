"""In which order problems are told, and how often: the same mistake in many cells is one line, and so is one cause."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence

from guardopt.errors import Missing, Place, Problem
from guardopt.files.tables import HEADED_BY_FALLS, READING_ORDER
from guardopt.spelling import listed, printable

TOLD_ONE_BY_ONE = 3
"""So many cells with the same mistake are still told one by one; a missing row is told once if two cells name it."""

MOST_SPANS = 10
"""So many lines, or spans of lines that follow each other, are named of a file in which a missing row is named."""

_RANKS = {name.rpartition(".")[0]: rank for rank, name in enumerate(READING_ORDER)}


def in_reading_order(problems: Sequence[Problem], first: Sequence[str] = ()) -> list[Problem]:
    """Problems as a reader meets them, file by file and line by line, each cause told once.

    Parameters
    ----------
    problems
        In the order they were found.
    first
        Tables to be read before those of a scenario.
    """

    def rank(problem: Problem) -> tuple[int, int]:
        if isinstance(problem.where, str):
            return len(first) + len(_RANKS), 0
        stem = problem.where.source.removesuffix(".csv").removesuffix(".toml")
        number = first.index(stem) if stem in first else len(first) + _RANKS.get(stem, len(_RANKS))
        return number, problem.where.line or 0

    ordered = sorted(problems, key=rank)
    causes = _merged(ordered, _missing, _cause, 1)
    return sorted(_merged(causes, _mistake, _with_count, TOLD_ONE_BY_ONE), key=rank)


def _merged(
    problems: Sequence[Problem],
    key: Callable[[Problem], Hashable],
    told: Callable[[Sequence[Problem]], Problem],
    most: int,
) -> list[Problem]:
    """The problems, where each group of more than `most` with the same key has become one."""
    groups: dict[Hashable, list[Problem]] = {}
    for number, problem in enumerate(problems):
        groups.setdefault(key(problem) or number, []).append(problem)
    merged: list[Problem] = []
    for group in groups.values():
        merged += group if len(group) <= most else [told(group)]
    return merged


def _missing(problem: Problem) -> Hashable:
    return None if problem.missing is None else (problem.missing.table, problem.missing.name)


def _cause(group: Sequence[Problem]) -> Problem:
    """A row that many cells name and that is not there."""
    row = group[0].missing or Missing("", "")
    message = f"no row for {printable(row.name)}, though {len(group)} cells name it ({_places(group)}){row.hint}"
    source = group[0].where.source if isinstance(group[0].where, Place) else ""
    is_file = source.endswith(".csv") and not row.table.startswith("[")
    remedy = _remedy(row.table, group) if row.is_deleted else ""
    return Problem(Place(f"{row.table}.csv" if is_file else row.table), f"{message}{remedy}")


def _remedy(table: str, group: Sequence[Problem]) -> str:
    """What to do about a row that was deleted alone: put it back, or delete what is about it elsewhere as well."""
    sources = dict.fromkeys(problem.where.source for problem in group if isinstance(problem.where, Place))
    columns = [one for one in sources if table == "falls" and one.removesuffix(".csv") in HEADED_BY_FALLS]
    lists = [one for one in sources if one.removesuffix(".csv") == "guards"]
    rows = [one for one in sources if one not in (*columns, *lists)]
    # A name that is only taken out leaves a blank cell, which means something else.
    blank = " (a blank fall would mean every fall)" if table == "falls" else ""
    # Rows below one that is deleted move up, and the numbers named here are then those of others.
    steps = [f"delete those rows of {listed(rows, last='and')}, the lowest first{blank},"] if rows else []
    steps += [f"delete that column of {listed(columns, last='and')}"] if columns else []
    steps += [f"take the name out of those cells of {listed(lists)}"] if lists else []
    keep = ", with per_year 0 if you never fall that way" if table == "falls" else ""
    return f"put the row back{keep}, or {listed(steps, last='and')} too"


def _places(group: Sequence[Problem]) -> str:
    """Where all of a group stand, sheet by sheet or file by file."""
    cells: dict[str, list[Place]] = {}
    for problem in group:
        if isinstance(problem.where, Place):
            cells.setdefault(problem.where.source, []).append(problem.where)
    return "; ".join(_rows(source, places) for source, places in cells.items())


def _rows(source: str, places: Sequence[Place]) -> str:
    """The lines or rows of one file or sheet, those that follow each other as a span."""
    numbers = sorted({place.line for place in places if place.line is not None})
    if not numbers:
        return source
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][-1] + 1:
            spans[-1].append(number)
        else:
            spans.append([number])
    texts = [f"{span[0]}-{span[-1]}" if len(span) > 1 else str(span[0]) for span in spans[:MOST_SPANS]]
    more = sum(map(len, spans[MOST_SPANS:]))
    named = [*texts, *([f"{more} more"] if more else [])]
    return f"{source}, {places[0].counted}{'s' if len(numbers) > 1 else ''} {listed(named, last='and')}"


def _mistake(problem: Problem) -> Hashable:
    where = problem.where
    if not isinstance(where, Place) or where.line is None:
        return None
    # A kind is a way of writing that goes through a whole file; anything else is the same only in one column.
    return (where.source, problem.kind) if problem.kind else (where.source, where.item, problem.message)


def _with_count(group: Sequence[Problem]) -> Problem:
    where = group[0].where
    source = where.source if isinstance(where, Place) else where
    items = {one.where.item for one in group if isinstance(one.where, Place)}
    cells = "rows" if items == {""} else "cells of its column" if len(items) == 1 else f"cells of {source}"
    return Problem(where, f"{group[0].message}; the same in {len(group) - 1} more {cells}")
