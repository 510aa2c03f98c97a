"""Writes which ready-made kit each rider gets, as one CSV file that appears whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from pathlib import Path

from guardopt.errors import InputError, Problem
from guardopt.files.spreadsheet_safety import safe
from guardopt.files.whole_file import write_file
from guardopt.loading.rider_sheets import Sheet
from guardopt.shop.assortment_result import ReadyKits
from guardopt.shop.candidate_kits import NONE
from guardopt.shop.output.quote_formats import check_output
from guardopt.shop.quote_columns import LOSES, in_quotes
from guardopt.spelling import escaped

ASKED = ("rider", "bike", "riding", "times", "budget")

COLUMNS = (*ASKED, "kit", "guards", "price", "saving_over_years", "gain", "tailor_made_gain", "note")


def check_list(out: Path) -> None:
    """Refuse a file to write that is there already or cannot be there.

    Raises
    ------
    InputError
        Its name will not do.
    """
    if out.suffix.lower() != ".csv":
        raise InputError([Problem(escaped(str(out)), "expected a name that ends in .csv")])
    check_output(out)


def write_list(out: Path, sheets: Iterable[Sheet], found: ReadyKits) -> None:
    """Write the list and then give it its name, so that an interruption leaves nothing half written.

    Parameters
    ----------
    out
        The file to come.
    sheets
        The riders again, in the order in which the kits were chosen for them.
    found
        The kits, and who takes which.
    """
    header = ",".join(COLUMNS) + "\n"
    write_file((line.encode() for line in chain([header], _lines(sheets, found))), out, escaped(str(out)))


def _lines(sheets: Iterable[Sheet], found: ReadyKits) -> Iterator[str]:
    row, loses = 0, found.loses
    for sheet in sheets:
        asked = zip(*(sheet.cells[name] for name in ASKED), strict=True)
        for cells in asked:
            number = int(found.taken[row])
            about = ",".join(in_quotes(safe(cell)) for cell in cells)
            kit = ",,"
            if number != NONE:
                box = found.boxes[number]
                kit = f"{number + 1},{safe(' '.join(box.guards))},{box.price_cents / 100:.2f}"
            amounts = (found.falls_saved[row], found.saving[row], found.tailor_made[row])
            note = LOSES if loses[row] else ""
            yield f"{about},{kit},{','.join(f'{amount:.2f}' for amount in amounts)},{note}\n"
            row += 1
