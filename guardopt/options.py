"""What commands share: the options of every question, ids on the command line, and how answers are printed."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from guardopt.errors import InputError, Problem

if TYPE_CHECKING:
    from guardopt.scenario import Scenario

    _AmountType = click.ParamType[float]
else:
    _AmountType = click.ParamType

Command = TypeVar("Command", bound=Callable[..., Any])

DRAWS = 200
"""Sets of fall rates tried by --sure without a number."""


class SeveralIds(click.Command):
    """A command whose options for ids take as many as are written behind them: ``--fit slider lever_guard.left``."""

    id_options = ("--fit", "--must", "--never")

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Write the option again before each further id, then parse as usual."""
        spread: list[str] = []
        current: str | None = None
        taken = 0
        for arg, after in zip(args, [*args, ""][1:], strict=True):
            if arg.startswith("--") or (arg.startswith("-") and len(arg) > 1):
                name, equals, _ = arg.partition("=")
                current = name if name in self.id_options else None
                taken = len(equals)
                # Without a number behind it, --sure must not take what follows for one.
                spread.append(f"{arg}={DRAWS}" if arg == "--sure" and not after.isdigit() else arg)
                continue
            if current is not None and taken:
                spread.append(current)
            taken += 1
            spread.append(arg)
        return super().parse_args(ctx, self._scenario_last(spread))

    def _scenario_last(self, args: list[str]) -> list[str]:
        """Where the scenario was written behind ids and nowhere else, it is the last folder among them."""
        options = {name: one for one in self.params if isinstance(one, click.Option) for name in one.opts}
        folders = []
        for index, (before, arg) in enumerate(zip(["", *args], args, strict=False)):
            if arg == "--":
                return args
            if before in self.id_options:
                # The first id behind an option is one, or the option would be left without any.
                if index > 2 and args[index - 3] == before and Path(arg).is_dir():
                    folders.append(index)
            elif not arg.startswith("-") and (before not in options or options[before].is_flag):
                return args
        if not folders:
            return args
        return [*args[: folders[-1] - 1], *args[folders[-1] + 1 :], args[folders[-1]]]


def _split_ids(_ctx: click.Context, param: click.Parameter, values: Sequence[str]) -> tuple[str, ...]:
    """Ids given one an option, or several with commas or blanks between them."""
    ids = tuple(name for value in values for name in value.replace(",", " ").split())
    if values and not ids:
        raise InputError([Problem(param.opts[0], "no id behind it")])
    return ids


def common(command: Command) -> Command:
    """Add the options that every question about a scenario takes."""
    options = [
        click.argument("scenario", type=click.Path(path_type=Path)),
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object, numbers unrounded."),
        click.option(
            "--set",
            "changes",
            multiple=True,
            metavar="FILE.ID.COLUMN=VALUE",
            help="What if: change one cell, for instance falls.low_side.per_year=0.8. Repeatable.",
        ),
        click.option("--seed", type=click.IntRange(min=0), help="Seed of the simulated falls."),
        click.option("--falls", type=click.IntRange(1, 1_000_000), help="Simulated falls for each kind and side."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def ids_option(name: str, text: str) -> Callable[[Command], Command]:
    """Make an option that takes guard ids."""
    return click.option(name, multiple=True, metavar="ID...", callback=_split_ids, help=text)


aim_option = click.option(
    "--aim",
    type=click.Choice(["bills", "outlay"]),
    default="bills",
    show_default=True,
    help="What is to be least: what falls cost; or that and the guards, resale taken off.",
)
"""The aim of questions that add costs up and so cannot look at the worst falls alone."""


class Money(_AmountType):
    """An amount of money as a rider types it, read as files are; ``none`` lifts a budget."""

    name = "amount"

    def __init__(self, *, may_be_none: bool = False) -> None:
        self._may_be_none = may_be_none

    def convert(self, value: Any, param: click.Parameter | None, _ctx: click.Context | None) -> float:
        """The amount, or infinity for none."""
        if isinstance(value, float):
            return value
        from guardopt.spelling import number_fault, shown, thousands_fault

        text = str(value).strip()
        if self._may_be_none and text.lower() in ("none", "inf"):
            return float("inf")
        fault = thousands_fault(text)
        try:
            if not fault:
                return float(text)
        except ValueError:
            expected = 'expected an amount or "none"' if self._may_be_none else "expected an amount"
            fault = number_fault(text) or expected
        raise InputError([Problem(param.opts[0] if param else self.name, f"found {shown(value)}, {fault}")])


def parsed_changes(changes: Sequence[str], seed: int | None, falls: int | None) -> dict[str, object]:
    """The what-ifs of a command line, by address; all that cannot be read are named at once."""
    from guardopt.changes import parse_change

    parsed: dict[str, object] = {}
    problems: list[Problem] = []
    for text in changes:
        try:
            address, value = parse_change(text)
            parsed[address] = value
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    if seed is not None:
        parsed["scenario.sampling.seed"] = seed
    if falls is not None:
        parsed["scenario.sampling.falls"] = falls
    return parsed


def load_scenario(folder: Path, changes: Sequence[str], seed: int | None, falls: int | None) -> Scenario:
    """Read a scenario with its what-ifs; its warnings go to standard error."""
    from guardopt.reading import load

    scenario = load(folder, parsed_changes(changes, seed, falls))
    for warning in scenario.warnings:
        click.echo(f"warning: {warning}", err=True)
    return scenario


def print_json(record: dict[str, Any]) -> None:
    """Print an answer as one JSON object."""
    click.echo(json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False))


class Progress:
    """What is being worked on, on one line of a terminal that is wiped at the end; silent when piped."""

    def __enter__(self) -> Progress:
        self._shown = sys.stderr.isatty()
        return self

    def say(self, text: str) -> None:
        """Put this in the place of what was said before; stop where an interrupt was swallowed on the way here."""
        context = click.get_current_context(silent=True)
        if context is not None and context.obj is not None and context.obj():
            raise KeyboardInterrupt
        if self._shown:
            click.echo(f"\r\x1b[K{text} …", nl=False, err=True)

    def __exit__(self, *_: object) -> None:
        if self._shown:
            click.echo("\r\x1b[K", nl=False, err=True)
