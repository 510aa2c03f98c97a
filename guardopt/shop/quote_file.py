"""Quotes for a whole table of riders, from files to a file: of any length, in several processes, to be gone on with."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from guardopt.errors import InputError
from guardopt.loading.rider_sheets import read_sheets
from guardopt.model.aims import Aim
from guardopt.questions.arguments import adding_aim
from guardopt.shop.executors import cluster as clustered
from guardopt.shop.executors import run_on
from guardopt.shop.output.quote_formats import check_output, check_size
from guardopt.shop.output.quote_output import QuoteFile
from guardopt.shop.quote_columns import Totals
from guardopt.shop.quotes import ChangedRidersError, Demand, answer_demand
from guardopt.shop.riders import Riders
from guardopt.shop.shop_folder import open_shop, question_of

if TYPE_CHECKING:
    import pandas as pd

PROBLEMS_TOLD = 20
"""Wrong rows that are told of one by one; all of them are in the output."""

ROWS_AT_ONCE = 50_000


@dataclass(frozen=True)
class QuotedFile:
    """A file of quotes that was written.

    Attributes
    ----------
    out
        The file.
    aim
        What was to be least.
    totals
        What all quotes come to.
    currencies
        Those of the bikes that were asked for.
    """

    out: Path
    aim: Aim
    totals: Totals
    currencies: frozenset[str]

    @property
    def table(self) -> pd.DataFrame:
        """One row for each number of the totals."""
        import pandas as pd

        return pd.DataFrame({"total": self.to_json()})

    def to_json(self) -> dict[str, Any]:
        """The totals as ``quote --json`` prints them."""
        return self.totals.to_json()

    def _repr_html_(self) -> str:
        return str(self.table.to_html())


def quote_file(
    shop: str | os.PathLike[str],
    riders: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    aim: str = "bills",
    changes: Mapping[str, object] | None = None,
    resume: bool = False,
    strict: bool = False,
    workers: int | None = None,
    cluster: str | None = None,
    chunk: int = ROWS_AT_ONCE,
    warn: Callable[[str], None] = lambda _: None,
    progress: Callable[[str], None] = lambda _: None,
) -> QuotedFile:
    """Quote for every rider of a table on disk, and write what `quote` would return.

    Parameters
    ----------
    shop
        One scenario, or a folder of scenarios, one for each bike.
    riders
        The table: CSV, Parquet or a workbook.
    out
        The file to write: CSV, Parquet or a workbook, as its name ends.
    aim
        What is to be least: ``bills``, or ``outlay`` for what falls and guards cost together.
    changes
        What-ifs, made to every bike, as for `load`.
    resume
        Go on where an interrupted run with the same `out` broke off.
    strict
        Stop at the first rows that are wrong, and write nothing; otherwise what is wrong is in the column ``note``.
    workers
        Processes of this machine to find budget curves in; the quotes are the same.
    cluster
        Address of a running Dask cluster to find them on instead.
    chunk
        Riders that are held at once.
    warn
        Told what is odd about bikes and riders.
    progress
        Told what is being worked on.

    Raises
    ------
    InputError
        Something about the bikes, the table, the options or the file to write is wrong.
    OutOfTimeError
        A job lost its worker again and again.
    """
    source, target = Path(riders), Path(out)
    what_ifs = dict(changes or {})
    wanted = adding_aim(aim)
    bikes_of_shop = open_shop(Path(shop), what_ifs, warn)
    if not (resume and os.path.lexists(target)):
        check_output(target)
    demand = Demand(bikes_of_shop, wanted)
    told = 0
    for sheet in read_sheets(source, chunk):
        read = demand.reader.read(sheet)
        demand.add(read)
        told = tell_of_wrong_rows(read, told, strict, warn)
        progress(f"looking through {source.name}: {demand.riders:,} riders")
    if demand.wrong > told:
        warn(f"{source.name}: {demand.wrong - told:,} more wrong rows; the column note of {target.name} has them all")
    check_size(target, demand.riders)
    bikes = {wish.bike for wish in demand.reader.wishes}
    asked = {"aim": wanted.name, "changes": what_ifs, "chunk": chunk, "ending": target.suffix.lower()}
    file = QuoteFile(target, question_of(bikes_of_shop, bikes, demand.digests, asked), resume=resume)
    try:
        with clustered(workers, cluster, warn) as client:
            counter = answer_demand(bikes_of_shop, demand, file.run(partial(run_on, client), progress))
        for number, sheet in enumerate(demand.same_again(read_sheets(source, chunk), source.name)):
            if number >= file.progress.chunks:
                file.add(counter.quote(demand.reader.read(sheet)))
                progress(f"quoting: {file.progress.totals.riders:,} of {demand.riders:,} riders")
        currencies = frozenset(bikes_of_shop.load(bike).currency for bike in bikes)
        return QuotedFile(target, wanted, file.finish(), currencies)
    except ChangedRidersError:
        file.discard()
        raise
    finally:
        file.close()


def tell_of_wrong_rows(read: Riders, told: int, strict: bool, warn: Callable[[str], None]) -> int:
    """Tell of the first wrong rows, or stop at them; how many were told of so far.

    Raises
    ------
    InputError
        Some are wrong, and it is to be `strict`.
    """
    if strict and read.problems:
        raise InputError([problem for problems in read.problems.values() for problem in problems])
    for problems in read.problems.values():
        if told >= PROBLEMS_TOLD:
            break
        for problem in problems:
            warn(str(problem))
        told += 1
    return told
