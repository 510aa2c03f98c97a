"""Quotes for any number of riders: the best kit for each budget, looked up, with what it saves.

A kit is picked on the planning sample and priced on a fresh one, as a plan is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.errors import InputError, Problem
from guardopt.loading.rider_sheets import Sheet, sheets_of_frame
from guardopt.model.aims import BILLS, Aim
from guardopt.model.pieces import HALF_A_CENT
from guardopt.model.scenario import Scenario
from guardopt.questions.arguments import adding_aim
from guardopt.shop.curve_lookup import NO_STEP, Rungs, Shelf, shelf_of
from guardopt.shop.quote_columns import LOSES, MONEY, Quoted, unquoted_note
from guardopt.shop.rider_curves import (
    Ladders,
    find_ladders,
    ladder_jobs,
    price_jobs,
    price_kits,
    rates_matter,
    yearly_cost,
)
from guardopt.shop.riders import WRONG, Reader, Riders
from guardopt.shop.shop import Shop, Wish
from guardopt.shop.workers.executors import cluster as clustered
from guardopt.shop.workers.executors import run_here, run_on
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


class Counter:
    """Looks riders up on the ladders of their wishes.

    Parameters
    ----------
    shop
        The bikes.
    wishes
        What riders want, numbered as in the chunks to come.
    ladders
        Their ladders.
    prices
        For each bike, what one fall of each kind costs with each kit.
    """

    def __init__(
        self,
        shop: Shop,
        wishes: Sequence[Wish],
        ladders: Mapping[Wish, Ladders],
        prices: Mapping[str, Mapping[tuple[str, ...], Sequence[float]]],
    ) -> None:
        self.shelves: list[Shelf] = []
        offset = 0
        for wish in wishes:
            scenario = shop.scenario_for(wish)
            shelf = shelf_of(wish, scenario, ladders[wish], prices[wish.bike], offset)
            offset += sum(len(one.ladder) for one in shelf.rungs)
            self.shelves.append(shelf)

    def quote(self, riders: Riders) -> Quoted:
        """Look up one chunk."""
        multiples, multiple = np.unique(riders.times, return_inverse=True)
        step = np.full(len(riders.wish), NO_STEP, dtype=np.int64)
        order = np.argsort(riders.wish, kind="stable")
        wanted, first = np.unique(riders.wish[order], return_index=True)
        cases: dict[int, tuple[Shelf, int, int]] = {}
        for number, rows in zip(wanted.tolist(), np.split(order, first[1:]), strict=True):
            if number == WRONG:
                continue
            shelf = self.shelves[number]
            for ladder, some in self._by_ladder(shelf, rows, multiples, multiple):
                rungs = shelf.rungs[ladder]
                row = np.searchsorted(rungs.spend_cents, riders.budget_cents[some], side="right") - 1
                start = shelf.offset + sum(len(one.ladder) for one in shelf.rungs[:ladder])
                step[some] = np.where(row >= 0, start + row, NO_STEP)
                cases.update((start + one, (shelf, ladder, one)) for one in np.unique(row[row >= 0]).tolist())
        found = np.flatnonzero(step != NO_STEP)
        pairs, which = np.unique(step[found] * len(multiples) + multiple[found], return_inverse=True)
        answer = np.full(len(step), NO_STEP, dtype=np.int64)
        answer[found] = which
        answers = [(cases[one], float(multiples[m])) for one, m in zip(*_divided(pairs, len(multiples)), strict=True)]
        notes = {
            row: unquoted_note(shelf.ladders.ladders[shelf.rungs_at(float(riders.times[row]))], riders, row)
            for row in np.flatnonzero((step == NO_STEP) & (riders.wish != WRONG)).tolist()
            for shelf in [self.shelves[riders.wish[row]]]
        }
        return Quoted(riders, answer, _columns(answers), notes)

    @staticmethod
    def _by_ladder(shelf: Shelf, rows: Ints, multiples: Floats, multiple: Ints) -> Iterable[tuple[int, Ints]]:
        if not shelf.ladders.multiples:
            yield 0, rows
            return
        asked = np.unique(multiple[rows])
        ladder_of = np.zeros(len(multiples), dtype=np.int64)
        ladder_of[asked] = [shelf.rungs_at(float(multiples[one])) for one in asked]
        for ladder in np.unique(ladder_of[asked]).tolist():
            yield ladder, rows[ladder_of[multiple[rows]] == ladder]


def _divided(pairs: Ints, by: int) -> tuple[list[int], list[int]]:
    first, second = np.divmod(pairs, by)
    return first.tolist(), second.tolist()


def _columns(answers: Sequence[tuple[tuple[Shelf, int, int], float]]) -> dict[str, list[Any]]:
    """What each different answer says, column by column."""
    columns: dict[str, list[Any]] = {name: [] for name in (*MONEY, "note")}
    beside: dict[tuple[int, int, float], tuple[Ints, Ints]] = {}
    for (shelf, ladder, row), multiple in answers:
        rungs = shelf.rungs[ladder]
        key = (shelf.offset, ladder, multiple if rungs.beside.any() else 1.0)
        if key not in beside:
            beside[key] = rungs.neighbours(multiple)
        bare, stock = (yearly_cost(shelf.scenario, one, multiple) for one in (shelf.bare, shelf.stock))
        yearly = stock - multiple * rungs.yearly
        spend = rungs.spend_cents[row] / 100
        values: list[Any] = [*rungs.texts[row], spend]
        values += [bare, stock, multiple * rungs.yearly[row]]
        saving = shelf.scenario.annuity * yearly[row]
        values += [saving, _pays_back(spend, yearly[row])]
        for neighbour in (int(beside[key][0][row]), int(beside[key][1][row])):
            if neighbour == NO_STEP:
                values += [None, None, ""]
                continue
            change = _change(rungs.ladder[row].kit, rungs.ladder[neighbour].kit)
            values += [rungs.spend_cents[neighbour] / 100, shelf.scenario.annuity * yearly[neighbour], change]
        cheaper = int(beside[key][0][row])
        less = None if cheaper == NO_STEP else (cheaper, saving - shelf.scenario.annuity * float(yearly[cheaper]))
        values.append(_note(shelf.scenario, rungs, row, saving, less))
        for name, value in zip(columns, values, strict=True):
            columns[name].append(value)
    return columns


def _note(scenario: Scenario, rungs: Rungs, row: int, saving: float, less: tuple[int, float] | None) -> str:
    """That a kit, or what it has beyond the next cheaper one, saves less than it costs.

    Parameters
    ----------
    saving
        What the kit saves over the years.
    less
        The step of the next cheaper kit, and how much less that one saves; None if there is none.
    """
    paid = scenario.changed_for(rungs.ladder[row].kit)
    if saving < paid - HALF_A_CENT:
        return LOSES
    if less is None or less[1] >= paid - scenario.changed_for(rungs.ladder[less[0]].kit) - HALF_A_CENT:
        return ""
    more = (rungs.spend_cents[row] - rungs.spend_cents[less[0]]) / 100
    return f"the last {more:.2f} of it save {f'only {less[1]:.2f}' if less[1] > HALF_A_CENT else 'nothing'}"


def _pays_back(spend: float, yearly: float) -> float | None:
    if spend == 0.0:
        return 0.0
    return spend / yearly if yearly > 0.0 else None


def _change(kit: Sequence[str], other: Sequence[str]) -> str:
    """What is taken off and what is put on, from one kit to another."""
    off, on = ([name for name in one if name not in two] for one, two in ((kit, other), (other, kit)))
    return "; ".join(f"{verb} {' '.join(names)}" for verb, names in (("without", off), ("with", on)) if names)


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
