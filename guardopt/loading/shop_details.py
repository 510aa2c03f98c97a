"""What ``shop.toml`` says: who quotes, and for how long a quote holds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field

from guardopt.errors import InputError, Place, Problem
from guardopt.files.cell_types import IS_NUMBER, Text, whole_number
from guardopt.files.cells import Findings
from guardopt.files.limits import MOST_SETTINGS_BYTES, read_whole
from guardopt.files.toml_cells import parse_tables
from guardopt.loading.meaning.row_checking import RowModel, validate
from guardopt.spelling import advice, printable

DETAILS_FILE = "shop.toml"

Days = Annotated[
    int,
    BeforeValidator(whole_number),
    IS_NUMBER,
    Field(ge=1, le=3650, description="a whole number of days from 1 to 3650"),
]


class Details(RowModel):
    """Who quotes: what ``shop.toml`` says. A quote holds for `valid_days` days."""

    name: Text = ""
    note: Text = ""
    valid_days: Days = 30


def read_details(folder: Path) -> Details:
    """What the shop's file says, or nothing where there is none.

    Raises
    ------
    InputError
        The file cannot be read or something in it is wrong; every problem is listed.
    """
    path = folder / DETAILS_FILE
    if not path.exists():
        return Details()
    findings = Findings()
    try:
        text = read_whole(path, MOST_SETTINGS_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = "is not UTF-8 text; save the file with the encoding UTF-8"
        raise InputError([Problem(Place(DETAILS_FILE), message)]) from error
    except OSError as error:
        message = f"cannot be read: {(error.strerror or str(error)).lower()}"
        raise InputError([Problem(Place(DETAILS_FILE), message)]) from error
    tables = parse_tables(DETAILS_FILE, text, findings)
    for name, table in (tables or {}).items():
        if name:
            findings.error(table.place, f"unknown table [{printable(name)}], expected none")
    details = Details()
    if tables:
        row = tables[""]
        unused = [key for key in Details.model_fields if key not in row.cells]
        for key in row.cells:
            if key not in Details.model_fields:
                findings.error(row.where(key), f"unknown key{advice(key, Details.model_fields, unused)}")
        details = validate(row, Details, findings) or details
    if findings.problems:
        raise InputError(findings.problems)
    return details
