"""The command line. Heavy modules are imported by the command that needs them, so that help is instant."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from guardopt import __version__
from guardopt.errors import GuardoptError, InputError, Problem
from guardopt.learn_command import learn
from guardopt.options import DRAWS, Money, Progress, SeveralIds, common, ids_option, load_scenario, print_json
from guardopt.question_commands import budgets, forecast, order
from guardopt.shop_command import kits, quote

INTERRUPTED = 130


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
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
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt import billing

    report = billing.bill(loaded, [] if bare else fit or None)
    if as_json:
        print_json(report.to_json())
        return
    from guardopt.bill_text import bill_text

    click.echo(bill_text(report))


@main.command(cls=SeveralIds)
@common
@click.option(
    "--budget",
    type=Money(may_be_none=True),
    metavar="N",
    help='Most to spend, fitting included; "none" lifts the limit.',
)
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
@click.option("--page", type=click.Path(path_type=Path), metavar="FILE", help="Write it as one HTML file, too.")
def plan(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    budget: float | None,
    no_reasons: bool,
    page: Path | None,
    **options: Any,
) -> None:
    """Choose the guards to buy, and say why.

    Every guard comes with the reason for which it was picked or left out.
    """
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt import plans
    from guardopt.workbench import Workbench

    if page is not None:
        from guardopt.page import check_target, need_packages

        need_packages()
        check_target(page)
    bench = Workbench(loaded, options.pop("tail"), options.pop("solver"))
    with Progress() as progress:
        made = plans.plan(bench, budget=budget, reasons=not no_reasons, progress=progress.say, **options)
        if page is not None:
            from guardopt.page import plan_page, write_page

            progress.say("drawing the page")
            write_page(page, plan_page(bench, made, must=options["must"], never=options["never"]))
    if as_json:
        print_json(made.to_json())
    else:
        from guardopt.text import plan_text

        click.echo(plan_text(made))
    if page is not None:
        click.echo(f"Wrote the page to {page}.", err=True)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--from",
    "source",
    type=click.Path(path_type=Path),
    metavar="SCENARIO",
    help="Copy the files of this scenario instead, and nothing else.",
)
def new(folder: Path, source: Path | None) -> None:
    """Write a starter scenario to fill in; its numbers are invented."""
    from guardopt.starter import copy_scenario, write_starter

    if source is None:
        write_starter(folder)
        click.echo(f"Wrote a starter scenario, all its numbers invented, to {folder}.")
        click.echo(f"Put in your own, beginning with scenario.toml, then run: guardopt check {folder}")
        return
    copied = copy_scenario(source, folder)
    click.echo(f"Copied the {len(copied)} files of {source} to {folder}: {', '.join(copied)}.")
    click.echo(f"Change what is different for you, then run: guardopt check {folder}")


for question in (budgets, order, forecast):
    main.add_command(question)
main.add_command(learn)
main.add_command(quote)
main.add_command(kits)


def run(was_interrupted: Callable[[], bool] = lambda: False) -> None:
    """Run the command line; errors become one line each on standard error and an exit status.

    An error that follows an interrupt is put down to it: a package that was loading may be unusable since.
    """
    try:
        status = main.main(standalone_mode=False, obj=was_interrupted)
    except GuardoptError as error:
        if was_interrupted():
            click.echo("interrupted", err=True)
            sys.exit(INTERRUPTED)
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
