"""What commands share: the options of every question, ids on the command line, and how answers are printed."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from guardopt.cli.numbers import Money, Number, WholeNumber
from guardopt.cli.streams import is_unicode
from guardopt.deadline import EFFORT
from guardopt.errors import InputError, Problem
from guardopt.model.aims import AIMS

if TYPE_CHECKING:
    from guardopt.model.scenario import Scenario

Command = TypeVar("Command", bound=Callable[..., Any])

DRAWS = 200
"""Draws of all numbers tried by --sure without a number."""


MOST_DRAWS = 100_000
"""Draws that --sure tries at most: more would take days, and change nothing."""

MOST_EFFORT = 10**9

MOST_SEED = 10**17


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
            "--change",
            "changes",
            multiple=True,
            metavar="FILE.ID.COLUMN=VALUE",
            help="What if: change one cell, for instance falls.low_side.per_year=0.8, or scale a column: "
            "covers.holds*0.7. Repeatable.",
        ),
        click.option("--seed", type=WholeNumber(0, MOST_SEED), help="Seed of the simulated falls."),
        click.option("--falls", type=WholeNumber(1, 1_000_000), help="Simulated falls for each kind and side."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def ids_option(name: str, text: str) -> Callable[[Command], Command]:
    """Make an option that takes guard ids, several with commas between them, and that can be given again."""
    return click.option(name, multiple=True, metavar="ID[,ID...]", callback=_split_ids, help=f"{text} Repeatable.")


def hint_on_ids(error: click.ClickException) -> str:
    """How several ids are written, where a word too many on the command line may have been meant for one of them."""
    command = error.ctx.command if isinstance(error, click.UsageError) and error.ctx else None
    if command is None or "unexpected extra argument" not in error.message:
        return ""
    names = [one.opts[0] for one in command.params if one.callback is _split_ids]
    return f"; several ids are written with commas between them: {names[0]} ID,ID" if names else ""


any_aim_option = click.option(
    "--aim",
    type=click.Choice(list(AIMS)),
    default=next(iter(AIMS)),
    show_default=True,
    help=f"What is to be least: {'; '.join(aim.help for aim in AIMS.values())}.",
)
"""The aim of questions about one best kit."""

adding_aim_option = click.option(
    "--aim",
    type=click.Choice([name for name, aim in AIMS.items() if aim.adds_up]),
    default="bills",
    show_default=True,
    help="What is to be least: what falls cost; or that and the guards, resale taken off.",
)
"""The aim of questions that add costs up and so cannot look at the worst falls alone."""

budget_option = click.option(
    "--budget",
    type=Money(may_be_none=True),
    metavar="N",
    help='Most to spend, fitting included; "none" lifts the limit.',
)
"""The budget where it is not to be the scenario's."""

must_option = ids_option("--must", "Guards that have to be in the kit.")
never_option = ids_option("--never", "Guards that must not be in the kit.")

effort_option = click.option(
    "--effort",
    type=WholeNumber(1, MOST_EFFORT),
    metavar="NODES",
    default=EFFORT,
    show_default=True,
    help="Nodes that a search may look at; then it says how far from proven it is, the same on every run.",
)
"""Where a search stops, whatever the machine."""

time_limit_option = click.option(
    "--time-limit",
    type=Number(),
    metavar="SECONDS",
    default=300.0,
    show_default=True,
    help="In the last resort stop then; what was found may differ from run to run.",
)
"""When a search stops although it might go on."""


def parsed_changes(changes: Sequence[str], seed: int | None, falls: int | None) -> dict[str, object]:
    """The what-ifs of a command line, by address; all that cannot be read are named at once."""
    from guardopt.loading.changes import parse_change

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
    from guardopt.loading.load import load

    scenario = load(folder, parsed_changes(changes, seed, falls))
    for warning in scenario.warnings:
        click.echo(f"warning: {warning}", err=True)
    return scenario


def print_json(record: dict[str, Any]) -> None:
    """Print an answer as one JSON object."""
    plain = not is_unicode(sys.stdout)
    click.echo(json.dumps(record, ensure_ascii=plain, indent=2, allow_nan=False))


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
