"""The command line. Heavy modules are imported by the command that needs them, so that help is instant."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from guardopt import __version__
from guardopt.errors import GuardoptError, InputError, Problem

if TYPE_CHECKING:
    from guardopt.scenario import Scenario

Command = TypeVar("Command", bound=Callable[..., Any])

INTERRUPTED = 130

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


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="guardopt")
def main() -> None:
    """Choose crash guards for a motorcycle so that falls cost least.

    A scenario is a folder with scenario.toml and a few CSV tables; "guardopt new DIR" writes one to fill in. Guards
    protect the machine, not the rider, and all numbers are estimates.
    """


def ids_option(name: str, text: str) -> Callable[[Command], Command]:
    """Make an option that takes guard ids."""
    return click.option(name, multiple=True, metavar="ID...", callback=_split_ids, help=text)


@main.command()
@common
def check(scenario: Path, as_json: bool, changes: Sequence[str], seed: int | None, falls: int | None) -> None:
    """Check whether a scenario is sound, and say what it holds."""
    loaded = _load(scenario, changes, seed, falls)
    if as_json:
        _print_json(
            {
                "scenario": loaded.title,
                "currency": loaded.currency,
                "parts": len(loaded.parts),
                "guards": len(loaded.guards),
                "owned": sorted(loaded.stock),
                "falls": {fall.id: fall.per_year for fall in loaded.falls},
                "covers": len(loaded.covers),
                "offers": len(loaded.offers),
                "knock_ons": len(loaded.knock_ons),
                "cap": loaded.cap,
                "warnings": [str(warning) for warning in loaded.warnings],
            }
        )
        return
    from guardopt.check_text import check_text

    click.echo(check_text(loaded))


@main.command(cls=SeveralIds)
@common
@ids_option("--fit", "Price the bike with exactly these guards.")
@click.option("--bare", is_flag=True, help="Price the bike without any guard.")
def bill(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    fit: Sequence[str],
    bare: bool,
) -> None:
    """Show what each kind of fall costs, part by part.

    Without --fit or --bare the bike is priced as it stands, with the guards its owner has.
    """
    if fit and bare:
        raise InputError([Problem("--bare", "cannot go with --fit: a bare bike has no guards")])
    loaded = _load(scenario, changes, seed, falls)
    from guardopt import billing

    report = billing.bill(loaded, [] if bare else fit or None)
    if as_json:
        _print_json(report.to_json())
        return
    from guardopt.bill_text import bill_text

    click.echo(bill_text(report))


@main.command(cls=SeveralIds)
@common
@click.option("--budget", metavar="N", help='Most to spend, fitting included; "none" lifts the limit.')
@click.option(
    "--aim",
    type=click.Choice(["bills", "outlay", "worst"]),
    default="bills",
    show_default=True,
    help="What is to be least: what falls cost; that and the guards, resale taken off; the worst falls' mean.",
)
@ids_option("--must", "Guards that have to be in the kit.")
@ids_option("--never", "Guards that must not be in the kit.")
@click.option("--tail", type=float, default=0.1, show_default=True, help="Share of falls that count as the worst.")
@click.option("--gap", type=float, default=1e-6, show_default=True, help="Relative gap at which a kit is proven best.")
@click.option(
    "--time-limit",
    type=float,
    metavar="SECONDS",
    default=60.0,
    show_default=True,
    help="Stop searching then; say how far from proven.",
)
@click.option("--solver", default="HiGHS", show_default=True, help="A solver known to PuLP.")
@click.option("--no-reasons", is_flag=True, help="Leave out why each guard was picked or not.")
@click.option(
    "--sure",
    type=click.IntRange(min=1),
    metavar="[DRAWS]",
    help=f"Try the kit on so many other sets of fall rates ({DRAWS} if no number is given).",
)
@click.option("--break-even", is_flag=True, help="Say from how many falls on each guard is worth its price.")
def plan(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    budget: str | None,
    no_reasons: bool,
    **options: Any,
) -> None:
    """Choose the guards to buy, and say why.

    Every guard comes with the reason for which it was picked or left out.
    """
    amount = _amount(budget)
    loaded = _load(scenario, changes, seed, falls)
    from guardopt import plans

    with _Progress() as progress:
        made = plans.plan(loaded, budget=amount, reasons=not no_reasons, progress=progress.say, **options)
    if as_json:
        _print_json(made.to_json())
        return
    from guardopt.text import plan_text

    click.echo(plan_text(made))


@main.command(cls=SeveralIds)
@common
@click.option(
    "--aim",
    type=click.Choice(["bills", "outlay", "worst"]),
    default="bills",
    show_default=True,
    help="What is to be least, as for plan.",
)
@ids_option("--must", "Guards that have to be in every kit.")
@ids_option("--never", "Guards that must not be in any kit.")
@click.option("--time-limit", type=float, metavar="SECONDS", default=60.0, show_default=True, help="Give up then.")
@click.option("--upto", type=click.FloatRange(min=0), metavar="N", help="Show budgets up to this one.")
@click.option(
    "--step", type=click.FloatRange(min=0), metavar="N", help="Show the best kit every N; 0 shows every step."
)
def budgets(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    upto: float | None,
    step: float | None,
    **options: Any,
) -> None:
    """Show the best kit for every budget.

    Also up to which budget more money saves more than it costs.
    """
    loaded = _load(scenario, changes, seed, falls)
    from guardopt import budget_curve

    with _Progress() as progress:
        progress.say("looking for the best kit at every budget")
        whole = budget_curve.budgets(loaded, **options)
    shown = whole.thinned(upto, step or None)
    if as_json:
        _print_json({**whole.to_json(), "steps": shown.to_json()["steps"]})
        return
    from guardopt.question_text import budgets_text

    click.echo(budgets_text(whole, whole.thinned(upto, whole.readable_step) if step is None else shown))


@main.command()
@common
@click.option("--monthly", type=float, required=True, metavar="N", help="What can be put by each month.")
@click.option("--now", type=float, default=0.0, show_default=True, metavar="N", help="What has been put by already.")
@click.option("--months", type=int, metavar="M", help="For how many months to save. Default: until the budget is met.")
@click.option(
    "--time-limit", type=float, default=60.0, show_default=True, metavar="SECONDS", help="Stop searching then."
)
def order(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    monthly: float,
    **options: Any,
) -> None:
    """Show in which order to buy while saving up."""
    loaded = _load(scenario, changes, seed, falls)
    from guardopt import saving_up

    with _Progress() as progress:
        progress.say("looking for the best order")
        found = saving_up.order(loaded, monthly, **options)
    if as_json:
        _print_json(found.to_json())
        return
    from guardopt.question_text import order_text

    click.echo(order_text(found))


@main.command(cls=SeveralIds)
@common
@ids_option("--fit", "Forecast with exactly these guards. Default: the best kit for the budget.")
def forecast(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    fit: Sequence[str],
) -> None:
    """Show the spread of what falls will cost over the years."""
    loaded = _load(scenario, changes, seed, falls)
    from guardopt import outlook

    with _Progress() as progress:
        progress.say("adding up what falls may cost")
        found = outlook.forecast(loaded, fit or None)
    if as_json:
        _print_json(found.to_json())
        return
    from guardopt.question_text import forecast_text

    click.echo(forecast_text(found))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def new(folder: Path) -> None:
    """Write a starter scenario to fill in; its numbers are invented."""
    from guardopt.starter import write_starter

    write_starter(folder)
    click.echo(f"Wrote a starter scenario, all its numbers invented, to {folder}.")
    click.echo(f"Put in your own, beginning with scenario.toml, then run: guardopt check {folder}")


def _amount(text: str | None) -> float | None:
    """A budget as typed on the command line."""
    if text is None:
        return None
    if text.strip().lower() in ("none", "inf"):
        return float("inf")
    try:
        return float(text)
    except ValueError:
        from guardopt.spelling import number_fault, shown

        fault = number_fault(text.strip())
        found = f"{shown(text)}, {fault}" if fault else f'{shown(text)}, expected an amount or "none"'
        raise InputError([Problem("--budget", f"found {found}")]) from None


def _load(folder: Path, changes: Sequence[str], seed: int | None, falls: int | None) -> Scenario:
    """Read a scenario with its what-ifs; its warnings go to standard error."""
    from guardopt.reading import load, parse_change

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
    scenario = load(folder, parsed)
    for warning in scenario.warnings:
        click.echo(f"warning: {warning}", err=True)
    return scenario


def _print_json(record: dict[str, Any]) -> None:
    click.echo(json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False))


class _Progress:
    """What is being worked on, on one line of a terminal that is wiped at the end; silent when piped."""

    def __enter__(self) -> _Progress:
        self._shown = sys.stderr.isatty()
        return self

    def say(self, text: str) -> None:
        if self._shown:
            click.echo(f"\r\x1b[K{text} …", nl=False, err=True)

    def __exit__(self, *_: object) -> None:
        if self._shown:
            click.echo("\r\x1b[K", nl=False, err=True)


def run() -> None:
    """Run the command line; errors become one line each on standard error and an exit status."""
    try:
        status = main.main(standalone_mode=False)
    except GuardoptError as error:
        for line in str(error).splitlines():
            click.echo(f"error: {line}", err=True)
        sys.exit(error.exit_code)
    except click.exceptions.Abort:
        click.echo("interrupted", err=True)
        sys.exit(INTERRUPTED)
    except click.ClickException as error:
        if len(sys.argv) > 1:
            click.echo(f"error: {' '.join(error.format_message().split())}", err=True)
        else:
            error.show()
        sys.exit(error.exit_code)
    except OSError as error:
        click.echo(f"error: {(error.strerror or str(error)).lower()}", err=True)
        sys.exit(1)
    sys.exit(status if isinstance(status, int) else 0)
