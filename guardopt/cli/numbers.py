"""Numbers on the command line, read as files are: the same digits, no ``1_000``, no ``1e400``, nothing guessed."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeVar

import click

from guardopt.errors import InputError, Problem

if TYPE_CHECKING:
    _FloatType = click.ParamType[float]
    _IntType = click.ParamType[int]
else:
    _FloatType = _IntType = click.ParamType

Value = TypeVar("Value")

_WHOLE = re.compile(r"[+-]?[0-9]+")
_MOST_DIGITS = 18
_LARGEST = Decimal(10) ** 12


def _wrong(found: object, param: click.Parameter | None, fault: str) -> InputError:
    from guardopt.spelling import shown

    return InputError([Problem(param.opts[0] if param else "number", f"found {shown(found)}, {fault}")])


def _number(value: str, param: click.Parameter | None, expected: str) -> float:
    from guardopt.number_faults import PLAIN_NUMBER, number_fault

    if not PLAIN_NUMBER.fullmatch(value):
        raise _wrong(value, param, number_fault(value) or expected)
    if abs(Decimal(value)) > _LARGEST:
        raise _wrong(value, param, "a size that cannot be meant")
    return float(value)


class Number(_FloatType):
    """A number; whether it is in range is for the question to say, which knows why."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, _ctx: click.Context | None) -> float:
        """The number."""
        return float(value) if not isinstance(value, str) else _number(value.strip(), param, "expected a number")


class Money(_FloatType):
    """An amount of money; ``none`` lifts a budget."""

    name = "amount"

    def __init__(self, *, may_be_none: bool = False) -> None:
        self._may_be_none = may_be_none

    def convert(self, value: Any, param: click.Parameter | None, _ctx: click.Context | None) -> float:
        """The amount, or infinity for none."""
        if not isinstance(value, str):
            return float(value)
        from guardopt.number_faults import thousands_fault

        text = value.strip()
        if self._may_be_none and text.lower() in ("none", "inf"):
            return float("inf")
        if fault := thousands_fault(text):
            raise _wrong(value, param, fault)
        return _number(text, param, 'expected an amount or "none"' if self._may_be_none else "expected an amount")


class WholeNumber(_IntType):
    """A whole number within limits that keep the work bounded.

    Parameters
    ----------
    least, most
        The limits, both allowed.
    """

    name = "integer"

    def __init__(self, least: int, most: int) -> None:
        self._least, self._most = least, most

    def convert(self, value: Any, param: click.Parameter | None, _ctx: click.Context | None) -> int:
        """The number."""
        text = str(value).strip()
        is_whole = _WHOLE.fullmatch(text) and len(text) <= _MOST_DIGITS
        if not is_whole or not self._least <= int(text) <= self._most:
            raise _wrong(value, param, f"expected a whole number from {self._least} to {self._most}")
        return int(text)
