"""The command that plans: which guards to buy, as an answer, a story, a page, a list and a proof."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from guardopt.cli.numbers import Number, WholeNumber
from guardopt.cli.options import (
    DRAWS,
    MOST_DRAWS,
    Progress,
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
from guardopt.cli.proof import check_proof_target, write_proof
from guardopt.errors import InputError, Parameter, Problem

if TYPE_CHECKING:
    from guardopt.model.pieces import Kit
    from guardopt.questions.plan_result import Plan


@click.command()
@common
@budget_option
@any_aim_option
@must_option
@never_option
@click.option("--tail", type=Number(), default=0.1, show_default=True, help="Share of falls that count as the worst.")
@click.option(
    "--gap", type=Number(), default=1e-9, show_default=True, help="Relative gap at which a kit is proven best."
)
@effort_option
@time_limit_option
@click.option("--solver", default="HiGHS", show_default=True, help="A solver known to PuLP, for a second opinion.")
@click.option("--no-reasons", is_flag=True, help="Leave out why each guard was picked or not.")
@ids_option("--why", "Tell the whole story of these guards instead.")
@click.option("--full", is_flag=True, help="Tell all there is: every reason, every fall, the dearest parts.")
@click.option(
    "--sure",
    type=WholeNumber(1, MOST_DRAWS),
    is_flag=False,
    flag_value=DRAWS,
    metavar="[DRAWS]",
    help=f"Doubt every guess: try the kit under so many draws of all numbers ({DRAWS} if no number is given).",
)
@click.option(
    "--weight",
    type=Number(),
    default=4.0,
    show_default=True,
    metavar="FALLS",
    help="For --sure: how many falls each guessed chance is worth.",
)
@click.option(
    "--price-doubt",
    type=Number(),
    default=0.1,
    show_default=True,
    metavar="SHARE",
    help="For --sure: standard deviation of the prices of parts and of hours, as a share of them.",
)
@click.option(
    "--workers",
    type=WholeNumber(1, 256),
    metavar="N",
    help="For --sure: share the draws among N processes; the answer is the same.  [default: one for each core]",
)
@click.option("--break-even", is_flag=True, help="Say from how many falls on each guard is worth its price.")
@click.option("--proof", type=click.Path(path_type=Path), metavar="FILE", help="Write why no kit is better, for audit.")
@click.option("--page", type=click.Path(path_type=Path), metavar="FILE", help="Write it as one HTML file, too.")
@click.option(
    "--list",
    "to_buy",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a shopping list, too: .csv, .xlsx or .txt; an earlier one that nobody changed is replaced.",
)
def plan(
    scenario: Path,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    budget: float | None,
    no_reasons: bool,
    why: Sequence[str],
    full: bool,
    page: Path | None,
    to_buy: Path | None,
    proof: Path | None,
    workers: int | None,
    **options: Any,
) -> None:
    """Choose the guards to buy, and say why.

    The answer comes in about ten lines, with a row for each guard. --why GUARD tells one guard's whole story, --full
    all there is.
    """
    if why and (no_reasons or full):
        raise InputError([Problem("--why", f"cannot go with {'--no-reasons' if no_reasons else '--full'}")])
    loaded = load_scenario(scenario, changes, seed, falls)
    from guardopt.questions.bill import known_guards

    wanted: Kit = known_guards(loaded, why, Parameter("why")) if why else frozenset()
    from guardopt.questions import plan as plans
    from guardopt.questions.bench import Bench

    if page is not None:
        from guardopt.pages.plan_page import check_target, need_packages

        need_packages()
        check_target(page)
    if to_buy is not None:
        from guardopt.reports.shopping_list import check_list, write_list

        check_list(to_buy)
    if proof is not None:
        check_proof_target(proof)
    bench = Bench(loaded, options.pop("tail"), options.pop("solver"))
    if options["sure"] is not None:
        from guardopt.learning.learned_folder import read_beliefs
        from guardopt.processes import cores

        options["beliefs"] = read_beliefs(scenario)
        options["workers"] = workers or cores()
    with Progress() as progress:
        made = plans.plan(bench, budget=budget, reasons=not no_reasons, progress=progress.say, **options)
    if as_json:
        print_json(made.to_json())
    else:
        click.echo(_told(made, wanted, full=full))
    # The plan is out before anything can go wrong with a file.
    if to_buy is not None:
        write_list(to_buy, made)
        click.echo(f"Wrote the shopping list to {to_buy}.", err=True)
    if proof is not None:
        with Progress() as progress:
            progress.say("writing the proof")
            write_proof(proof, bench, made, options["must"], options["never"], options["gap"])
        click.echo(f"Wrote the proof to {proof}; check it with: guardopt audit {scenario} {proof}", err=True)
    if page is not None:
        from guardopt.pages.plan_page import plan_page, write_page

        with Progress() as progress:
            progress.say("drawing the page")
            write_page(page, plan_page(bench, made, must=options["must"], never=options["never"]))
        click.echo(f"Wrote the page to {page}.", err=True)


def _told(made: Plan, why: Kit, *, full: bool) -> str:
    """A plan as text: the answer, all there is, or the story of some guards."""
    if full:
        from guardopt.reports.plan_text import plan_text

        return plan_text(made)
    from guardopt.reports.plan_answer import answer_text, why_text

    return why_text(made, sorted(why)) if why else answer_text(made)
