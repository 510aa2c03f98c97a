"""The command line. Heavy modules are imported by the command that needs them, so that help is instant."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

import click

from guardopt import __version__
from guardopt.cli.error_lines import told
from guardopt.cli.learn import learn
from guardopt.cli.numbers import Commands
from guardopt.cli.options import (
    common,
    hint_on_ids,
    ids_option,
    load_scenario,
    print_json,
)
from guardopt.cli.plan import plan
from guardopt.cli.proof import audit
from guardopt.cli.questions import budgets, forecast, order
from guardopt.cli.shape import estimate, touchdown
from guardopt.cli.shop import kits, quote
from guardopt.cli.streams import allow_any_text, forget, open_closed_streams
from guardopt.errors import GuardoptError, InputError, Problem
from guardopt.writing.starter_kinds import KINDS

INTERRUPTED = 130


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="guardopt")
def main() -> None:
    """Choose crash guards for a motorcycle so that falls cost least.

    A scenario is a folder with scenario.toml and a few CSV tables; "guardopt new DIR" writes one to fill in. Guards
    protect the machine, not the rider, and all numbers are estimates.
    """


@main.command()
@common
def check(scenario: Path, as_json: bool, changes: Sequence[str], seed: int | None, falls: int | None) -> None:
    """Check whether a scenario is sound, and say what it holds."""
    loaded = load_scenario(scenario, changes, seed, falls)
    if as_json:
        print_json(
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
                "words": dict(sorted(loaded.words.items(), key=lambda item: item[1])),
                "warnings": [str(warning) for warning in loaded.warnings],
            }
        )
        return
    from guardopt.reports.check_text import check_text

    click.echo(check_text(loaded))


@main.command()
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
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt.questions import bill as billing

    report = billing.bill(loaded, [] if bare else fit or None)
    if as_json:
        print_json(report.to_json())
        return
    from guardopt.reports.bill_text import bill_text

    click.echo(bill_text(report))


@main.command()
@click.argument("target", type=click.Path(path_type=Path))
@click.option(
    "--like",
    type=click.Choice(list(KINDS)),
    help="Start from the parts and guards of such a bike; all numbers are invented: "
    f"{'; '.join(f'{kind}, {what}' for kind, what in KINDS.items())}.",
)
@click.option(
    "--from",
    "source",
    type=click.Path(path_type=Path),
    metavar="SCENARIO",
    help="Copy this scenario instead, and nothing else; folder and workbook become each other.",
)
def new(target: Path, like: str | None, source: Path | None) -> None:
    """Write a starter scenario to fill in; its numbers are invented.

    TARGET is a new folder, or a new workbook if its name ends in .xlsx.
    """
    from guardopt.writing.starter import copy_scenario, numbers_to_fill, write_starter

    if source is not None and like is not None:
        raise InputError([Problem("--like", "cannot go with --from: either a starter or a copy")])
    if source is None:
        write_starter(target, like)
        click.echo(f"Wrote a starter scenario, all its numbers invented, to {target}.")
        first, then = numbers_to_fill(target)
        click.echo(f"Put in your own first, {sum(number for _, number in first)} cells:")
        for what, number in first:
            click.echo(f"  {what} ({number})")
        click.echo("If you are insured for damage to your own bike: excess and premium_rise of the insurance as well.")
        click.echo("and then, when you know what guards cost:")
        for what, number in then:
            click.echo(f"  {what} ({number})")
        click.echo("Delete the rows of offers that nobody makes you.")
        click.echo("Only --sure and learn look at watched_years: for a guess it is 1, or 1 / per_year if that is more.")
        click.echo(f"Then run: guardopt check {target}")
        return
    copied = copy_scenario(source, target)
    whole = "files" if source.is_dir() and target.suffix.lower() != ".xlsx" else "tables"
    click.echo(f"Copied the {len(copied)} {whole} of {source} to {target}: {', '.join(copied)}.")
    click.echo(f"Change what is different for you, then run: guardopt check {target}")


for question in (budgets, order, forecast):
    main.add_command(question)
main.add_command(plan)
main.add_command(audit)
main.add_command(learn)
main.add_command(quote)
main.add_command(kits)
main.add_command(touchdown)
main.add_command(estimate)


def run(was_interrupted: Callable[[], bool] = lambda: False) -> None:
    """Run the command line; errors become one line each on standard error and an exit status.

    An error that follows an interrupt is put down to it: a package that was loading may be unusable since.
    """
    is_closed = open_closed_streams()
    allow_any_text()
    try:
        if is_closed:
            raise OSError(None, "standard output is closed, so nobody could read the answer")
        status = main.main(standalone_mode=False, obj=was_interrupted)
        sys.stdout.flush()
    except GuardoptError as error:
        if was_interrupted():
            _end(INTERRUPTED, ["interrupted"])
        _end(error.exit_code, [f"error: {line}" for line in told(error)])
    except click.exceptions.Abort:
        _end(INTERRUPTED, ["interrupted"])
    except click.ClickException as error:
        if len(sys.argv) > 1:
            _end(error.exit_code, [f"error: {' '.join(error.format_message().split())}{hint_on_ids(error)}"])
        error.show()
        _end(error.exit_code, [])
    except BrokenPipeError:
        # Whoever read the answer has seen enough of it.
        _end(1, [])
    except OSError as error:
        _end(1, [f"error: {(error.strerror or str(error)).lower()}"])
    sys.exit(status if isinstance(status, int) else 0)


def _end(status: int, lines: Sequence[str]) -> NoReturn:
    """Say why on standard error, and end; streams that take nothing any more are let go of."""
    try:
        for line in lines:
            click.echo(line, err=True)
        sys.stderr.flush()
    except OSError:
        forget(sys.stderr)
    try:
        sys.stdout.flush()
    except OSError:
        forget(sys.stdout)
    sys.exit(status)
