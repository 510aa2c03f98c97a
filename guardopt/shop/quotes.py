"""Quotes for any number of riders: the best kit for each budget, looked up, with what it saves.

A kit is picked on the planning sample and priced on a fresh one, as a plan is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.errors import InputError, Problem
from guardopt.loading.rider_sheets import Sheet, sheets_of_frame
from guardopt.model.aims import BILLS, Aim
from guardopt.model.scenario import Scenario
from guardopt.questions.arguments import adding_aim
from guardopt.shop.executors import cluster as clustered
from guardopt.shop.executors import run_here, run_on
from guardopt.shop.quote_columns import Quoted
from guardopt.shop.quote_lookup import Counter
from guardopt.shop.rider_curves import find_ladders, ladder_jobs, price_jobs, price_kits, rates_matter
from guardopt.shop.riders import Reader, Riders
from guardopt.shop.shop import Shop, Wish
from guardopt.spelling import escaped

if TYPE_CHECKING:
    import pandas as pd


class ChangedRidersError(InputError):
    """The table of riders is no longer the one that was gone through first."""


@dataclass
class Demand:
    """What a whole book of riders asks for: found in a first walk through it.

    Attributes
    ----------
    aim
        What is to be least: ``bills`` or ``outlay``.
    riders
        How many rows there are.
    wrong
        How many of them are wrong.
    digests
        Of each chunk, what tells it from any other.
    """

    shop: Shop
    aim: Aim = BILLS
    reader: Reader = field(init=False)
    riders: int = 0
    wrong: int = 0
    digests: list[bytes] = field(default_factory=list)
    _multiples: dict[int, set[float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.reader = Reader(self.shop)

    def add(self, riders: Riders) -> None:
        """Take in one chunk."""
        self.digests.append(riders.sheet.digest())
        self.riders += len(riders.wish)
        self.wrong += len(riders.problems)
        for number, wish in enumerate(self.reader.wishes):
            if rates_matter(self.shop.load(wish.bike), self.aim):
                asked = np.unique(riders.times[riders.wish == number])
                self._multiples.setdefault(number, set()).update(asked.tolist())

    def same_again(self, sheets: Iterable[Sheet], name: str) -> Iterator[Sheet]:
        """The chunks that were taken in, read once more.

        Parameters
        ----------
        sheets
            The table of riders, from its beginning.
        name
            What it is called.

        Raises
        ------
        ChangedRidersError
            They are others by now.
        """
        number = -1
        changed = ChangedRidersError(
            [Problem(escaped(name), "was changed while it was being read; nothing was written, run the command again")]
        )
        try:
            for number, sheet in enumerate(sheets):
                if number == len(self.digests) or sheet.digest() != self.digests[number]:
                    raise changed
                yield sheet
        except ChangedRidersError:
            raise
        except InputError as error:
            # It could be read before.
            raise changed from error
        if number + 1 != len(self.digests):
            raise changed

    @property
    def multiples(self) -> dict[Wish, set[float]]:
        """The multiples of the fall rates asked for, where they change the order of kits."""
        return {self.reader.wishes[number]: asked for number, asked in self._multiples.items()}


def answer_demand(
    shop: Shop,
    demand: Demand,
    run: Callable[[Callable[[Any], Any], Sequence[Any]], list[Any]] = run_here,
) -> Counter:
    """Find the ladders of everything asked for, price their kits and open the counter.

    Parameters
    ----------
    shop
        The bikes.
    demand
        What a book asks for.
    run
        Does jobs with a function, in any order and anywhere, and returns what came out in the order of the jobs.
    """
    wishes = demand.reader.wishes
    jobs = ladder_jobs(shop, wishes, demand.multiples, demand.aim)
    answers = run(find_ladders, [job for job, _ in jobs])
    ladders = {
        wish: found
        for (_, group), several in zip(jobs, answers, strict=True)
        for wish, found in zip(group, several, strict=True)
    }
    priced = price_jobs(shop, ladders, fresh=True)
    costs = run(price_kits, [job for _, job in priced])
    prices = {bike: dict(zip(job.kits, found, strict=True)) for (bike, job), found in zip(priced, costs, strict=True)}
    return Counter(shop, wishes, ladders, prices)


def quote(
    bikes: Scenario | Mapping[str, Scenario],
    riders: pd.DataFrame,
    *,
    aim: str = "bills",
    workers: int | None = None,
    cluster: str | None = None,
) -> pd.DataFrame:
    """Quote for riders in memory; `quote_file` does it from a file to a file.

    Parameters
    ----------
    bikes
        A scenario, or several by name where the riders have a column ``bike``.
    riders
        The columns of a table of riders; ``rider`` is needed, the others may be missing or blank.
    aim
        What is to be least: ``bills``, or ``outlay`` for what falls and guards cost together.
    workers
        Processes of this machine to find budget curves in; the quotes are the same.
    cluster
        Address of a running Dask cluster to find them on instead.

    Returns
    -------
    DataFrame
        One row for each rider, in their order, with the columns that ``guardopt quote`` writes; money in units of the
        currency, to the cent.

    Raises
    ------
    InputError
        The aim or a column is unknown. A rider whose row is wrong is in the result, with what is wrong in ``note``.
    """
    import pandas as pd

    shop = Shop.of(bikes)
    demand = Demand(shop, adding_aim(aim))
    for sheet in sheets_of_frame(riders):
        demand.add(demand.reader.read(sheet))
    with clustered(workers, cluster) as client:
        counter = answer_demand(shop, demand, partial(run_on, client))
    parts = [pd.DataFrame(counter.quote(demand.reader.read(sheet)).columns()) for sheet in sheets_of_frame(riders)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(Quoted.names())
