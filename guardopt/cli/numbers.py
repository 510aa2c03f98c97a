"""Numbers on the command line, read as files are: the same digits, no ``1_000``, no ``1e400``, nothing guessed."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from functools import wraps
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


_WRONG = "guardopt.wrong numbers"


class Commands(click.Group):
    """A group whose commands begin only if every number on the command line is one; all others are told at once."""

    def add_command(self, cmd: click.Command, name: str | None = None) -> None:
        """Add a command, which looks first for numbers that could not be read."""
        if cmd.callback is not None:
            cmd.callback = _checked(cmd.callback)
        super().add_command(cmd, name)


def _checked(begin: Callable[..., Any]) -> Callable[..., Any]:
    @wraps(begin)
    def checked(*args: Any, **options: Any) -> Any:
        problems = click.get_current_context().meta.get(_WRONG)
        if problems:
            raise InputError(problems)
        return begin(*args, **options)

    return checked


def _is_wrong(found: object, param: click.Parameter | None, ctx: click.Context | None, fault: str) -> None:
    """Keep for later what is wrong with a number; raise it where nobody asks later."""
    from guardopt.spelling import shown

    problem = Problem(param.opts[0] if param else "number", f"found {shown(found)}, {fault}")
    if ctx is None:
        raise InputError([problem])
    ctx.meta.setdefault(_WRONG, []).append(problem)


def _number(value: str, param: click.Parameter | None, ctx: click.Context | None, expected: str) -> float:
    from guardopt.number_faults import PLAIN_NUMBER, number_fault

    if not PLAIN_NUMBER.fullmatch(value):
        _is_wrong(value, param, ctx, number_fault(value) or expected)
        return 0.0
    if Decimal(value).copy_abs() > _LARGEST:
        _is_wrong(value, param, ctx, "a size that cannot be meant")
    return float(value)


class Number(_FloatType):
    """A number; whether it is in range is for the question to say, which knows why."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number."""
        return float(value) if not isinstance(value, str) else _number(value.strip(), param, ctx, "expected a number")


class Money(_FloatType):
    """An amount of money; ``none`` lifts a budget."""

    name = "amount"

    def __init__(self, *, may_be_none: bool = False) -> None:
        self._may_be_none = may_be_none

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The amount, or infinity for none."""
        if not isinstance(value, str):
            return float(value)
        from guardopt.number_faults import thousands_fault

        text = value.strip()
        if self._may_be_none and text.lower() in ("none", "inf"):
            return float("inf")
        if fault := thousands_fault(text):
            _is_wrong(value, param, ctx, fault)
            return 0.0
        return _number(text, param, ctx, 'expected an amount or "none"' if self._may_be_none else "expected an amount")


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

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """The number."""
        text = str(value).strip()
        is_whole = _WHOLE.fullmatch(text) and len(text) <= _MOST_DIGITS
        if not is_whole or not self._least <= int(text) <= self._most:
            _is_wrong(value, param, ctx, f"expected a whole number from {self._least} to {self._most}")
            return self._least
        return int(text)
