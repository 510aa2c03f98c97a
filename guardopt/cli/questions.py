"""The commands that ask more about one bike: ``budgets``, ``order`` and ``forecast``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from guardopt.cli.numbers import Money, WholeNumber
from guardopt.cli.options import (
    Progress,
    adding_aim_option,
    any_aim_option,
    budget_option,
    common,
    effort_option,
    ids_option,
    load_scenario,
    must_option,
    never_option,
    print_json,
    time_limit_option,
)


@click.command()
@common
@any_aim_option
@must_option
@never_option
@effort_option
@time_limit_option
@click.option("--upto", type=Money(), metavar="N", help="Show budgets up to this one.")
@click.option("--step", type=Money(), metavar="N", help="Show the best kit every N; 0 shows every step.")
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
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt.questions import budgets as budget_curve

    budget_curve.check_marks(upto, step or None)
    with Progress() as progress:
        progress.say("looking for the best kit at every budget")
        whole = budget_curve.budgets(loaded, **options)
    shown = whole.thinned(upto, step or None)
    if as_json:
        print_json({**whole.to_json(), "steps": shown.to_json()["steps"]})
        return
    from guardopt.reports.question_text import budgets_text

    click.echo(budgets_text(whole, whole.thinned(upto, whole.readable_step) if step is None else shown))


@click.command()
@common
@click.option("--put-by", type=Money(), required=True, metavar="N", help="What can be put by each month.")
@click.option(
    "--in-hand", type=Money(), default=0.0, show_default=True, metavar="N", help="What has been put by already."
)
@click.option(
    "--months",
    type=WholeNumber(0, 1_000_000),
    metavar="M",
    help="For how many months to save. Default: until the budget is met.",
)
@adding_aim_option
@must_option
@never_option
@effort_option
@time_limit_option
def order(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    put_by: float,
    **options: Any,
) -> None:
    """Show in which order to buy while saving up."""
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt.questions import purchase_schedule

    with Progress() as progress:
        progress.say("looking for the best order")
        found = purchase_schedule.order(loaded, put_by, **options)
    if as_json:
        print_json(found.to_json())
        return
    from guardopt.reports.question_text import order_text

    click.echo(order_text(found))


@click.command()
@common
@ids_option("--fit", "Forecast with exactly these guards. Default: the best kit for the budget.")
@budget_option
@any_aim_option
@must_option
@never_option
@effort_option
@time_limit_option
def forecast(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    fit: Sequence[str],
    **options: Any,
) -> None:
    """Show the spread of what falls will cost over the years."""
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt.questions import forecast as outlook

    with Progress() as progress:
        progress.say("adding up what falls may cost")
        found = outlook.forecast(loaded, fit or None, **options)
    if as_json:
        print_json(found.to_json())
        return
    from guardopt.reports.question_text import forecast_text

    click.echo(forecast_text(found))
