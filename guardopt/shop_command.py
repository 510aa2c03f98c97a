"""The commands of a shop: ``quote`` and ``kits``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from guardopt.errors import InputError, Problem
from guardopt.options import Progress, aim_option, common, parsed_changes, print_json

if TYPE_CHECKING:
    from guardopt.quote_columns import Totals
    from guardopt.riders import Riders
    from guardopt.shop import Shop

PROBLEMS_SHOWN = 20
"""Wrong rows told of on the screen; all of them are in the output."""


def _warn(text: str) -> None:
    click.echo(f"warning: {text}", err=True)


@click.command()
@common
@click.argument("riders", type=click.Path(path_type=Path))
@click.option("-o", "--out", type=click.Path(path_type=Path), metavar="OUT", help="Where to write: .csv or .parquet.")
@aim_option
@click.option("--resume", is_flag=True, help="Go on where an interrupted run with the same OUT broke off.")
@click.option("--strict", is_flag=True, help="Stop at the first rows that are wrong, and write nothing.")
@click.option("--workers", type=click.IntRange(min=1), metavar="N", help="Find curves in N processes, by Dask.")
@click.option("--cluster", metavar="ADDRESS", help="Find curves on a running Dask cluster.")
@click.option(
    "--chunk", type=click.IntRange(min=1), metavar="ROWS", default=50_000, show_default=True, help="Riders at once."
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
    strict: bool,
    rider: str | None,
    page: Path | None,
    **options: Any,
) -> None:
    """Quote the best kit for every rider of a table, or for one.

    One rider's quote is a page, see --rider. SCENARIO is one scenario, or a folder of scenario folders where the column
    "bike" of RIDERS says which. RIDERS and OUT are CSV or Parquet, as their names end.
    """
    if rider is not None or page is not None:
        _quote_one(scenario, riders, rider, page, out, aim, parsed_changes(changes, seed, falls))
        return
    if out is None:
        raise InputError([Problem("--out", "nothing found, expected a file to write")])
    from guardopt.shop_folder import open_shop
    from guardopt.shop_text import quote_text

    what_ifs = parsed_changes(changes, seed, falls)
    shop = open_shop(scenario, what_ifs, _warn)
    with Progress() as progress:
        totals, currencies = _quote_all(shop, scenario, riders, out, aim, what_ifs, strict, progress.say, **options)
    if as_json:
        print_json(totals.to_json())
    else:
        click.echo(quote_text(totals, aim, currencies, out))


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

    from guardopt.customer_page import quote_page, read_details, request_of
    from guardopt.page import check_target, need_packages, write_page
    from guardopt.rider_sheets import read_sheets
    from guardopt.shop_folder import open_shop
    from guardopt.spelling import shown

    need_packages()
    name = "".join(one if one.isalnum() or one in "-_." else "_" for one in rider).strip(".")
    if not name:
        raise InputError([Problem("--rider", f"found {shown(rider)}, of which no file name can be made")])
    if page.exists() and not page.is_dir():
        raise InputError([Problem("--page", f"{page} is a file, expected a folder")])
    target = page / f"{name}.html"
    if page.is_dir():
        check_target(target)
    details = read_details(folder)
    shop = open_shop(folder, what_ifs, _warn)
    request = request_of(rider, shop, read_sheets(riders))
    with Progress() as progress:
        html = quote_page(shop, details, request, date.today(), aim=aim, progress=progress.say)
    page.mkdir(parents=True, exist_ok=True)
    write_page(target, html)
    click.echo(f"Wrote the quote for {rider} to {target}.")


def _quote_all(
    shop: Shop,
    folder: Path,
    riders: Path,
    out: Path,
    aim: str,
    what_ifs: dict[str, object],
    strict: bool,
    say: Callable[[str], None],
    *,
    resume: bool,
    workers: int | None,
    cluster: str | None,
    chunk: int,
) -> tuple[Totals, set[str]]:
    from functools import partial

    from guardopt.asking import adding_aim
    from guardopt.clusters import cluster as clustered
    from guardopt.clusters import run_on
    from guardopt.quote_output import QuoteFile, check_output
    from guardopt.quoting import Demand, answer_demand
    from guardopt.rider_sheets import read_sheets
    from guardopt.shop_folder import question_of

    if not (resume and out.exists()):
        check_output(out)
    demand = Demand(shop, adding_aim(aim))
    shown = 0
    for sheet in read_sheets(riders, chunk):
        read = demand.reader.read(sheet)
        demand.add(read)
        shown = _report(read, shown, strict)
        say(f"looking through {riders.name}: {demand.riders:,} riders")
    if demand.wrong > shown:
        _warn(f"{riders.name}: {demand.wrong - shown:,} more wrong rows; the column note of {out.name} has them all")
    bikes = {wish.bike for wish in demand.reader.wishes}
    asked = {"aim": aim, "changes": what_ifs, "chunk": chunk, "ending": out.suffix.lower()}
    question = question_of(folder, bikes, riders, asked)
    file = QuoteFile(out, question, resume=resume)
    try:
        with clustered(workers, cluster) as client:
            counter = answer_demand(shop, demand, file.run(partial(run_on, client), say))
        for number, sheet in enumerate(read_sheets(riders, chunk)):
            if number >= file.progress.chunks:
                file.add(counter.quote(demand.reader.read(sheet)))
                say(f"quoting: {file.progress.totals.riders:,} of {demand.riders:,} riders")
        return file.finish(), {shop.load(bike).currency for bike in bikes}
    finally:
        file.close()


@click.command()
@common
@click.argument("riders", type=click.Path(path_type=Path))
@aim_option
@click.option("--count", type=click.IntRange(min=1), required=True, metavar="K", help="How many kits to keep ready.")
@click.option("-o", "--out", type=click.Path(path_type=Path), metavar="OUT", help="Write who gets which, as CSV.")
@click.option(
    "--stock", multiple=True, metavar="GUARD=N", help="How many of a guard can be handed out; BIKE/GUARD=N. Repeatable."
)
@click.option("--strict", is_flag=True, help="Stop at the first rows that are wrong.")
@click.option("--workers", type=click.IntRange(min=1), metavar="N", help="Find curves in N processes, by Dask.")
@click.option("--cluster", metavar="ADDRESS", help="Find curves on a running Dask cluster.")
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0, min_open=True),
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
    stock: Sequence[str],
    strict: bool,
    workers: int | None,
    cluster: str | None,
    time_limit: float,
) -> None:
    """Choose the ready-made kits that save the riders of a table most.

    Each rider takes the best of them that the budget allows, or none.
    """
    from functools import partial

    from guardopt.asking import adding_aim
    from guardopt.boxes import Book
    from guardopt.clusters import cluster as clustered
    from guardopt.clusters import run_on
    from guardopt.quoting import Demand
    from guardopt.ready_kits import choose_kits
    from guardopt.rider_sheets import read_sheets
    from guardopt.shop_folder import open_shop
    from guardopt.shop_text import kits_text
    from guardopt.who_gets_which import check_list, write_list

    if out is not None:
        check_list(out)
    limits = _stock(stock)
    shop = open_shop(scenario, parsed_changes(changes, seed, falls), _warn)
    with Progress() as progress:
        book = Book(Demand(shop, adding_aim(aim)))
        shown = 0
        for sheet in read_sheets(riders):
            read = book.demand.reader.read(sheet)
            book.add(read)
            shown = _report(read, shown, strict)
        if book.demand.wrong > shown:
            _warn(f"{riders.name}: {book.demand.wrong - shown:,} more wrong rows")
        with clustered(workers, cluster) as client:
            found = choose_kits(
                shop,
                book,
                count,
                stock=limits,
                seconds=time_limit,
                run=partial(run_on, client),
                progress=progress.say,
            )
        if out is not None:
            write_list(out, read_sheets(riders), found)
    if as_json:
        print_json(found.to_json())
    else:
        bikes = [box.bike for box in found.boxes] or [shop.names[0]]
        click.echo(kits_text(found, shop.load(bikes[0]).currency))


def _stock(texts: Sequence[str]) -> dict[str, int]:
    """Guards and how many there are of them, as typed; all that cannot be read are named at once."""
    from guardopt.spelling import shown

    limits: dict[str, int] = {}
    problems = []
    for text in texts:
        name, _, number = text.partition("=")
        if not name.strip() or not number.strip().isdecimal():
            problems.append(Problem("--stock", f"found {shown(text)}, expected GUARD=N"))
        else:
            limits[name.strip()] = int(number)
    if problems:
        raise InputError(problems)
    return limits


def _report(read: Riders, shown: int, strict: bool) -> int:
    """Tell of the first wrong rows, or stop at them; how many were told of so far."""
    if strict and read.problems:
        raise InputError([problem for problems in read.problems.values() for problem in problems])
    for problems in read.problems.values():
        if shown >= PROBLEMS_SHOWN:
            break
        for problem in problems:
            _warn(str(problem))
        shown += 1
    return shown
