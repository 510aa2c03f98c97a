"""``guardopt learn``: a new scenario folder with the rates and chances that a log of real falls teaches."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from guardopt.cli.numbers import Number
from guardopt.cli.options import (
    Progress,
    budget_option,
    common,
    load_scenario,
    must_option,
    never_option,
    print_json,
)


@click.command()
@common
@click.argument("log", type=click.Path(path_type=Path))
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    required=True,
    metavar="DIR",
    help="New folder or workbook (.xlsx) to write.",
)
@click.option(
    "--weight",
    type=Number(),
    default=4.0,
    show_default=True,
    metavar="FALLS",
    help="How many falls each guessed chance is worth.",
)
@budget_option
@must_option
@never_option
@click.option("--all", "show_all", is_flag=True, help="Show every number, not only those that moved most.")
def learn(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    log: Path,
    into: Path,
    weight: float,
    show_all: bool,
    **asked: Any,
) -> None:
    """Learn rates and chances from a log of real falls.

    LOG is a folder with log.csv and watched.csv, or a workbook with these sheets. The scenario stays as it is; one with
    the numbers as learned is written anew.
    """
    from guardopt.files.sources import files_of
    from guardopt.files.taken_once import taken_once
    from guardopt.learning.learned_folder import LEARNED, read_beliefs, refuse_other_bike, write_learned
    from guardopt.writing.scenario_writing import check_target

    check_target(into, f"--into {into}")
    with taken_once(files_of(scenario, LEARNED)) as refuse_if_changed:
        before = load_scenario(scenario, changes, seed, falls)
        refuse_other_bike(scenario, before)
        earlier = read_beliefs(scenario)
        from guardopt.learning import learn as learning

        with Progress() as progress:
            progress.say("learning from the log")
            learned = learning.learn(before, log, weight, earlier=earlier)
            for warning in learned.log.warnings:
                click.echo(f"warning: {warning}", err=True)
            effect = learned.effect(progress.say, **asked)
        if as_json:
            print_json({**learned.to_json(), "effect": effect.to_json(learned.scenario), "into": str(into)})
        else:
            from guardopt.reports.learn_text import learn_text

            click.echo(learn_text(learned, effect, show_all=show_all))
        # What was learned is out before anything can go wrong with the folder.
        write_learned(scenario, learned, earlier, into, refuse_if_changed)
    click.echo(f"Wrote the scenario as learned to {into}.", err=True)
