"""Every column and setting has a note, and its default is the one that is taken."""

from __future__ import annotations

from decimal import Decimal

import pytest

from guardopt.loading.columns import TABLE_MODELS
from guardopt.loading.meaning.row_checking import RowModel
from guardopt.loading.settings import SECTIONS
from guardopt.writing.column_notes import COLUMN_NOTES, SETTING_NOTES, Note

NUMBERS = {"always (1)": 1.0, "never (0)": 0.0, "1, a guess": 1.0}
"""Defaults that are said in more than a number."""


def check(model: type[RowModel], notes: dict[str, Note], given: frozenset[str] = frozenset()) -> None:
    """Compare the notes of a table with its columns."""
    assert set(notes) == set(model.model_fields)
    for name, field in model.model_fields.items():
        default = notes[name].default
        if field.is_required():
            assert default == "" or name in given
        elif isinstance(field.default, int | float | Decimal):
            assert NUMBERS.get(default) == field.default or float(default) == field.default
        else:
            assert default


@pytest.mark.parametrize("table", TABLE_MODELS)
def test_every_column_has_a_note(table: str) -> None:
    """With a default where the cell may be blank."""
    check(TABLE_MODELS[table], dict(COLUMN_NOTES[table]))


@pytest.mark.parametrize("section", SECTIONS)
def test_every_setting_has_a_note(section: str) -> None:
    """Some may be blank if the whole table is: no insurance, no points."""
    check(SECTIONS[section], dict(SETTING_NOTES[section]), frozenset({"excess", "centre_forward", "centre_up"}))
