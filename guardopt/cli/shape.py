"""The commands about how a bike comes to lie: ``touchdown`` and ``estimate``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from guardopt.cli.options import Progress, common, ids_option, load_scenario, print_json
from guardopt.errors import InputError, Problem


@click.command()
@common
@ids_option("--fit", "Lay the bike down with exactly these guards.")
@click.option("--bare", is_flag=True, help="Lay the bike down without any guard.")
@click.option(
    "--side", type=click.Choice(["left", "right"]), default="left", show_default=True, help="The side it falls to."
)
@click.option("--page", type=click.Path(path_type=Path), metavar="FILE", help="Draw it as one HTML file, too.")
def touchdown(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    fit: Sequence[str],
    bare: bool,
    side: str,
    page: Path | None,
) -> None:
    """Show how the bike comes to lie, and what stays clear.

    It takes measured points, points.csv. Without --fit or --bare the bike lies as it stands, with the guards its owner
    has.
    """
    if fit and bare:
        raise InputError([Problem("--bare", "cannot go with --fit: a bare bike has no guards")])
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt.questions.measured import touchdown as question

    answer = question.touchdown(loaded, [] if bare else fit or None, side)
    if page is not None:
        from guardopt.pages.plan_page import check_target, write_page
        from guardopt.pages.touchdown_page import touchdown_page

        check_target(page)
    if as_json:
        print_json(answer.to_json())
    else:
        from guardopt.reports.touchdown_text import touchdown_text

        click.echo(touchdown_text(answer))
    if page is not None:
        # The answer is out before anything can go wrong with the page.
        write_page(page, touchdown_page(answer))
        click.echo(f"Wrote the page to {page}.", err=True)


@click.command()
@common
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    required=True,
    metavar="NEW",
    help="New folder or workbook (.xlsx) to write.",
)
def estimate(
    scenario: Path, as_json: bool, changes: Sequence[str], seed: int | None, falls: int | None, into: Path
) -> None:
    """Estimate chances from measured points.

    The scenario stays as it is; one with the chances of being struck, and with what guards spare and expose, is written
    to a new folder. Rows about what was not measured are kept.
    """
    from guardopt.files.sources import files_of
    from guardopt.files.taken_once import taken_once
    from guardopt.writing.scenario_writing import check_target

    check_target(into, f"--into {into}")
    with taken_once(files_of(scenario)) as refuse_if_changed:
        loaded = load_scenario(scenario, changes, seed, falls)
        from guardopt.questions.measured import estimate as question
        from guardopt.writing.estimated_folder import write_estimated

        with Progress() as progress:
            answer = question.estimate(loaded, progress.say)
        if as_json:
            print_json({**answer.to_json(), "into": str(into)})
        else:
            from guardopt.reports.estimate_text import estimate_text

            click.echo(estimate_text(answer))
        # The answer is out before anything can go wrong with the folder.
        write_estimated(scenario, loaded, answer.measured, into, refuse_if_changed)
    click.echo(f"Wrote the scenario with estimated chances to {into}.", err=True)
    if (scenario / "learned.csv").exists():
        click.echo("learned.csv was not copied: it counts falls for chances that now come from points.", err=True)
