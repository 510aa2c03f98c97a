"""Looks riders up on the budget curves of their wishes, and says what each different answer comes to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.model.pieces import HALF_A_CENT
from guardopt.model.scenario import Scenario
from guardopt.shop.curve_lookup import NO_STEP, Rungs, Shelf, shelf_of
from guardopt.shop.quote_columns import LOSES, MONEY, Quoted, unquoted_note
from guardopt.shop.rider_curves import Ladders, yearly_cost
from guardopt.shop.riders import WRONG, Riders
from guardopt.shop.shop import Shop, Wish

if TYPE_CHECKING:
    pass


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
