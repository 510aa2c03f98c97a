"""``guardopt learn``: a new scenario folder with the rates and chances that a log of real falls teaches."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from guardopt.options import Progress, common, load_scenario, print_json


@click.command()
@common
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--into", type=click.Path(path_type=Path), required=True, metavar="DIR", help="New folder to write.")
@click.option(
    "--weight",
    type=float,
    default=4.0,
    show_default=True,
    metavar="FALLS",
    help="How many falls each guessed chance is worth.",
)
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
) -> None:
    """Learn rates and chances from a log of real falls.

    LOG is a folder with log.csv and watched.csv. The scenario stays as it is; one with the numbers as learned is
    written to a new folder.
    """
    from guardopt.folder_writing import refuse_if_taken
    from guardopt.learn_writing import read_beliefs, refuse_other_bike, write_learned

    refuse_if_taken(into, f"--into {into}")
    before = load_scenario(scenario, changes, seed, falls)
    refuse_other_bike(scenario, before)
    earlier = read_beliefs(scenario)
    from guardopt import learning

    with Progress() as progress:
        progress.say("learning from the log")
        learned = learning.learn(before, log, weight, earlier=earlier)
        for warning in learned.log.warnings:
            click.echo(f"warning: {warning}", err=True)
        effect = learned.effect(progress.say)
        write_learned(scenario, learned, earlier, into)
    if as_json:
        print_json({**learned.to_json(), "effect": effect.to_json(learned.scenario), "into": str(into)})
    else:
        from guardopt.learn_text import learn_text

        click.echo(learn_text(learned, effect, show_all=show_all))
    click.echo(f"Wrote the scenario as learned to {into}.", err=True)
