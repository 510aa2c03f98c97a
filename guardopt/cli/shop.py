"""The commands of a shop: ``quote`` and ``kits``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from guardopt.cli.numbers import Number, WholeNumber
from guardopt.cli.options import Progress, adding_aim_option, common, parsed_changes, print_json
from guardopt.errors import InputError, Problem

_STOCK = re.compile(r"[0-9]{1,9}")


def _warn(text: str) -> None:
    click.echo(f"warning: {text}", err=True)


@click.command()
@common
@click.argument("riders", type=click.Path(path_type=Path))
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), metavar="OUT", help="Where to write: .csv, .parquet or .xlsx."
)
@adding_aim_option
@click.option("--resume", is_flag=True, help="Go on where an interrupted run with the same OUT broke off.")
@click.option("--strict", is_flag=True, help="Stop at the first rows that are wrong, and write nothing.")
@click.option("--workers", type=WholeNumber(1, 256), metavar="N", help="Find curves in N processes.")
@click.option("--cluster", metavar="ADDRESS", help="Find curves on a running Dask cluster; tls:// for a secured one.")
@click.option(
    "--chunk", type=WholeNumber(1, 1_000_000), metavar="ROWS", default=50_000, show_default=True, help="Riders at once."
)
@click.option("--rider", metavar="ID", help="Quote for this rider only, as a page; see --page.")
@click.option(
    "--page", type=click.Path(path_type=Path), metavar="DIR", help="Folder for the page of that rider's quote."
)
def quote(
    scenario: Path,
    riders: Path,
    out: Path | None,
    aim: str,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    rider: str | None,
    page: Path | None,
    **options: Any,
) -> None:
    """Quote the best kit for every rider of a table, or for one.

    One rider's quote is a page, see --rider. SCENARIO is one scenario, or a folder of scenarios where the column
    "bike" of RIDERS says which. RIDERS and OUT are CSV, Parquet or a workbook, as their names end.
    """
    if rider is not None or page is not None:
        _quote_one(scenario, riders, rider, page, out, aim, parsed_changes(changes, seed, falls))
        return
    if out is None:
        raise InputError([Problem("--out", "nothing found, expected a file to write")])
    from guardopt.reports.shop_text import quote_text
    from guardopt.shop.quote_file import quote_file

    what_ifs = parsed_changes(changes, seed, falls)
    with Progress() as progress:
        found = quote_file(
            scenario, riders, out, aim=aim, changes=what_ifs, warn=_warn, progress=progress.say, **options
        )
    if as_json:
        print_json(found.to_json())
    else:
        click.echo(quote_text(found.totals, found.aim, set(found.currencies), found.out))


def _quote_one(
    folder: Path,
    riders: Path,
    rider: str | None,
    page: Path | None,
    out: Path | None,
    aim: str,
    what_ifs: dict[str, object],
) -> None:
    """Write the page of one rider's quote."""
    problems = []
    if rider is None:
        problems.append(Problem("--page", "needs --rider to say whose quote it is"))
    if page is None:
        problems.append(Problem("--rider", "needs --page to say where the quote is to go"))
    if out is not None:
        problems.append(Problem("--out", "cannot go with --rider: its quote is a page"))
    if problems or rider is None or page is None:
        raise InputError(problems)
    from datetime import date

    from guardopt.files.whole_file import cannot_be_written
    from guardopt.loading.rider_sheets import read_sheets
    from guardopt.loading.shop_details import read_details
    from guardopt.pages.page_names import check_quote_target, page_name
    from guardopt.pages.plan_page import need_packages, write_page
    from guardopt.pages.quote_page import quote_page, request_of
    from guardopt.shop.shop_folder import open_shop
    from guardopt.spelling import escaped

    need_packages()
    if page.exists() and not page.is_dir():
        raise InputError([Problem("--page", f"{page} is a file, expected a folder")])
    target = page / page_name(rider)
    if page.is_dir():
        check_quote_target(target, rider)
    details = read_details(folder if folder.is_dir() else folder.parent)
    shop = open_shop(folder, what_ifs, _warn)
    request = request_of(rider, shop, read_sheets(riders))
    with Progress() as progress:
        html = quote_page(shop, details, request, date.today(), aim=aim, progress=progress.say)
    try:
        page.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_be_written(escaped(str(page)), error) from error
    check_quote_target(target, rider)
    write_page(target, html)
    click.echo(f"Wrote the quote for {rider} to {target}.")


@click.command()
@common
@click.argument("riders", type=click.Path(path_type=Path))
@adding_aim_option
@click.option("--count", type=WholeNumber(1, 1000), required=True, metavar="K", help="How many kits to keep ready.")
@click.option("-o", "--out", type=click.Path(path_type=Path), metavar="OUT", help="Write who gets which, as CSV.")
@click.option(
    "--on-shelf",
    multiple=True,
    metavar="GUARD=N",
    help="How many of a guard can be handed out; BIKE/GUARD=N. Repeatable.",
)
@click.option("--strict", is_flag=True, help="Stop at the first rows that are wrong.")
@click.option("--workers", type=WholeNumber(1, 256), metavar="N", help="Find curves in N processes.")
@click.option("--cluster", metavar="ADDRESS", help="Find curves on a running Dask cluster; tls:// for a secured one.")
@click.option(
    "--time-limit",
    type=Number(),
    metavar="SECONDS",
    default=60.0,
    show_default=True,
    help="Stop searching then, for each number of kits; say how far from proven.",
)
def kits(
    scenario: Path,
    riders: Path,
    out: Path | None,
    aim: str,
    as_json: bool,
    changes: Sequence[str],
    seed: int | None,
    falls: int | None,
    count: int,
    on_shelf: Sequence[str],
    strict: bool,
    workers: int | None,
    cluster: str | None,
    time_limit: float,
) -> None:
    """Choose the ready-made kits that save the riders of a table most.

    Each rider takes the best of them that the budget allows, or none.
    """
    from functools import partial

    from guardopt.loading.rider_sheets import read_sheets
    from guardopt.questions.arguments import adding_aim, wrong_time_limit
    from guardopt.reports.shop_text import kits_text
    from guardopt.shop.assortment import choose_kits
    from guardopt.shop.candidate_kits import Book
    from guardopt.shop.executors import cluster as clustered
    from guardopt.shop.executors import run_on
    from guardopt.shop.hand_out import check_list, write_list
    from guardopt.shop.quote_file import tell_of_wrong_rows
    from guardopt.shop.quotes import Demand
    from guardopt.shop.shop_folder import open_shop

    problems = wrong_time_limit(time_limit)
    if problems:
        raise InputError(problems)
    if out is not None:
        check_list(out)
    limits = _on_shelf(on_shelf)
    shop = open_shop(scenario, parsed_changes(changes, seed, falls), _warn)
    with Progress() as progress:
        book = Book(Demand(shop, adding_aim(aim)))
        shown = 0
        for sheet in read_sheets(riders):
            read = book.demand.reader.read(sheet)
            book.add(read)
            shown = tell_of_wrong_rows(read, shown, strict, _warn)
        if book.demand.wrong > shown:
            _warn(f"{riders.name}: {book.demand.wrong - shown:,} more wrong rows")
        with clustered(workers, cluster, _warn) as client:
            found = choose_kits(
                shop,
                book,
                count,
                on_shelf=limits,
                time_limit=time_limit,
                run=partial(run_on, client),
                progress=progress.say,
            )
    if as_json:
        print_json(found.to_json())
    else:
        bikes = [box.bike for box in found.boxes] or [shop.names[0]]
        click.echo(kits_text(found, shop.load(bikes[0]).currency))
    # The answer is out before anything can go wrong with the file.
    if out is not None:
        write_list(out, book.demand.same_again(read_sheets(riders), riders.name), found)


def _on_shelf(texts: Sequence[str]) -> dict[str, int]:
    """Guards and how many there are of them, as typed; all that cannot be read are named at once."""
    from guardopt.spelling import shown

    limits: dict[str, int] = {}
    problems = []
    for text in texts:
        name, _, number = text.partition("=")
        if not name.strip() or not _STOCK.fullmatch(number.strip()):
            problems.append(Problem("--on-shelf", f"found {shown(text)}, expected GUARD=N with at most 9 digits"))
        else:
            limits[name.strip()] = int(number)
    if problems:
        raise InputError(problems)
    return limits
