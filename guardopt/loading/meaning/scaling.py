"""Cells multiplied by a factor, such as all chances that guards hold, or all prices of parts."""

from __future__ import annotations

from decimal import Decimal

from guardopt.errors import Place
from guardopt.files.cell_types import exact_number
from guardopt.files.cells import Cell, Findings, Row
from guardopt.loading.columns import TABLE_MODELS
from guardopt.loading.meaning.cell_meaning import point_for_comma, word_meant
from guardopt.number_faults import number_fault, thousands_fault
from guardopt.spelling import shown

TIMES = "*"


def factor_of(text: str) -> Decimal | None:
    """The factor that is meant; None if it is none.

    >>> factor_of("0.7"), factor_of("-1"), factor_of("twice")
    (Decimal('0.7'), None, None)
    """
    try:
        factor = exact_number(text)
    except ValueError:
        return None
    return factor if factor.is_finite() and factor >= 0 else None


def default_of(name: str, column: str) -> str:
    """What a blank cell of this column stands for, as text; blank where that is no number."""
    model = TABLE_MODELS.get(name)
    default = None if model is None else model.model_fields[column].default
    return str(default) if isinstance(default, float | Decimal) else ""


def scaled_row(row: Row, column: str, factor: Decimal, default: str, where: Place, findings: Findings) -> Row:
    """The row with one number, or each number of a range, multiplied; what is no number is reported.

    Parameters
    ----------
    row, column, factor
        What is multiplied, and by what.
    default
        What a blank cell stands for.
    where
        What asked for it, as it was typed.
    findings
        Told what is wrong.
    """
    text = row.text(column).strip() or default
    if not text:
        return row
    words = []
    for word in text.split("/"):
        try:
            words.append(_times(number_in(word.strip(), row.cells.get(column), findings), factor))
        except ValueError:
            why = number_fault(word.strip()) or "expected a number to multiply"
            findings.error(row.where(column), f"found {shown(text)}, {why}")
            return row
    return row.with_cell(column, Cell(" / ".join(words), Place(f"{where} ({row.where(column)})")))


def number_in(text: str, cell: Cell | None, findings: Findings) -> Decimal:
    """The number in a cell that may hold several, a word for a chance among them.

    Raises
    ------
    ValueError
        It is no number, or may be two.
    """
    meant = word_meant(text, findings)
    if meant is not None:
        return meant
    return exact_number(point_for_comma(text) if cell is not None and cell.has_decimal_commas else text)


def _times(number: Decimal, factor: Decimal) -> str:
    text = f"{(number * factor).normalize():f}"
    # A number was not typed: a further decimal keeps its point from being taken for one that divides thousands.
    return f"{text}0" if thousands_fault(text) else text
