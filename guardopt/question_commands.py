"""The commands that ask more about one bike: ``budgets``, ``order`` and ``forecast``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from guardopt.options import Money, Progress, SeveralIds, aim_option, common, ids_option, load_scenario, print_json


@click.command(cls=SeveralIds)
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
    from guardopt import budget_curve

    budget_curve.check_marks(upto, step or None)
    with Progress() as progress:
        progress.say("looking for the best kit at every budget")
        whole = budget_curve.budgets(loaded, **options)
    shown = whole.thinned(upto, step or None)
    if as_json:
        print_json({**whole.to_json(), "steps": shown.to_json()["steps"]})
        return
    from guardopt.question_text import budgets_text

    click.echo(budgets_text(whole, whole.thinned(upto, whole.readable_step) if step is None else shown))


@click.command()
@common
@click.option("--monthly", type=Money(), required=True, metavar="N", help="What can be put by each month.")
@click.option("--now", type=Money(), default=0.0, show_default=True, metavar="N", help="What has been put by already.")
@click.option("--months", type=int, metavar="M", help="For how many months to save. Default: until the budget is met.")
@aim_option
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
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt import saving_up

    with Progress() as progress:
        progress.say("looking for the best order")
        found = saving_up.order(loaded, monthly, **options)
    if as_json:
        print_json(found.to_json())
        return
    from guardopt.question_text import order_text

    click.echo(order_text(found))


@click.command(cls=SeveralIds)
@common
@ids_option("--fit", "Forecast with exactly these guards. Default: the best kit for the budget.")
@aim_option
@click.option(
    "--time-limit",
    type=float,
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="Look for that kit so long at most.",
)
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
    from guardopt import outlook

    with Progress() as progress:
        progress.say("adding up what falls may cost")
        found = outlook.forecast(loaded, fit or None, **options)
    if as_json:
        print_json(found.to_json())
        return
    from guardopt.question_text import forecast_text

    click.echo(forecast_text(found))
