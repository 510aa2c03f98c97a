"""Ways of riding: falls a year for each, where they differ from those of the scenario."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from guardopt.errors import Place
from guardopt.files.cells import Cell, Findings, Row
from guardopt.files.tables import Table
from guardopt.loading.columns import FallRow, RateCell
from guardopt.loading.meaning.row_checking import Entry, check_columns, validate
from guardopt.spelling import shown

NAME = re.compile(r"[\w-]+")


def ridings_of(
    table: Table | None, falls: Sequence[Entry[FallRow]], fall_ids: Sequence[str] | None, findings: Findings
) -> dict[str, tuple[float, ...]]:
    """For each way of riding, the falls a year of every kind; a blank cell stands for the scenario's own number.

    Parameters
    ----------
    table
        ``riding.csv``, or None where there is none.
    falls
        The kinds of fall that passed, in the order of ``falls.csv``.
    fall_ids
        The ids of all kinds of fall, those refused included; None if they could not be read.
    findings
        Where problems are noted.
    """
    if table is None:
        return {}
    known = [*(table.columns if fall_ids is None else fall_ids)]
    headings = ["riding", *(fall for fall in known if fall != "riding")]
    absent = check_columns(table, headings, ["riding"], findings, missing_row=lambda name, hint: ("falls", name, hint))
    if "riding" in absent:
        return {}
    ridings: dict[str, tuple[float, ...]] = {}
    places: dict[str, Place] = {}
    for row in table.rows:
        name = row.text("riding")
        if not name:
            findings.error(row.where("riding"), "nothing found, expected a name for this way of riding")
        elif not NAME.fullmatch(name):
            message = f"found {shown(name)}, expected an id of letters, digits, _ and -"
            findings.error(row.where("riding"), message)
        elif name in places:
            findings.error(row.where("riding"), f"found '{name}' again, first in {places[name]}")
        places.setdefault(name, row.place)
        rates = [_rate(row, entry.values, findings) for entry in falls] if row.is_whole else []
        ridings.setdefault(name, tuple(rates))
    return ridings


def _rate(row: Row, fall: FallRow, findings: Findings) -> float:
    where = row.where(fall.fall)
    cell = row.cells.get(fall.fall, Cell("", where))
    found = validate(Row(row.place, "", {"per_year": replace(cell, where=where)}), RateCell, findings)
    return fall.per_year if found is None or found.per_year is None else found.per_year
