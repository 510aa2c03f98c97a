"""Ready-made kits: the few that serve a whole book of riders best, if each takes the best it can pay, or none.

The boxes to choose from are what is bought on any step of any budget curve of these riders, so the choice is the best
among those. A box that is best for nobody is not looked at, even if it might serve everybody as the second best.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.errors import InputError, Parameter, Problem, SolverError
from guardopt.loading.rider_sheets import sheets_of_frame
from guardopt.model.scenario import Scenario
from guardopt.optimization.p_median import Choice, MedianProgram, choose_with_stock
from guardopt.questions.arguments import adding_aim, wrong_time_limit
from guardopt.shop.assortment_result import CurvePoint, ReadyKits
from guardopt.shop.candidate_kits import NONE, Book, Box, BoxBench, Classes, Run, classes_of
from guardopt.shop.executors import cluster as clustered
from guardopt.shop.executors import run_here, run_on
from guardopt.shop.quotes import Demand
from guardopt.shop.rider_curves import find_ladders, ladder_jobs
from guardopt.shop.shop import Shop
from guardopt.spelling import advice, shown

if TYPE_CHECKING:
    import pandas as pd


MOST_PAIRS = 200_000
"""Classes times boxes up to which riders can be assigned where guards are scarce."""


def _undominated(gains: Floats, uses: Ints) -> Ints:
    """The boxes of which no other gains every class at least as much and needs no more of any scarce guard."""
    order = np.lexsort((uses.sum(axis=0), -gains.sum(axis=0)))
    kept: list[int] = []
    for box in order.tolist():
        better = (gains[:, kept] >= gains[:, [box]]).all(axis=0) & (uses[:, kept] <= uses[:, [box]]).all(axis=0)
        if gains[:, box].any() and not better.any():
            kept.append(box)
    return np.array(sorted(kept), dtype=np.int64)


def choose_kits(
    shop: Shop,
    book: Book,
    count: int,
    *,
    on_shelf: Mapping[str, int] | None = None,
    time_limit: float | None = None,
    run: Run = run_here,
    progress: Callable[[str], None] = lambda _: None,
) -> ReadyKits:
    """Choose the kits to keep ready for a book of riders.

    Parameters
    ----------
    shop
        The bikes.
    book
        The riders.
    count
        How many kits, at most.
    on_shelf
        How many of a guard can be handed out in all; ``BIKE/GUARD`` where there are several bikes. An id without a
        side counts all its sides together.
    time_limit
        Seconds allowed for the program; None lifts the limit.
    run
        Does jobs with a function and returns what came out in the order of the jobs.
    progress
        Told what is being worked on.

    Raises
    ------
    InputError
        A number is out of range, or an id of `on_shelf` is unknown.
    SolverError
        What the solver said did not survive being recomputed.
    """
    if count < 1:
        raise InputError([Problem(Parameter("count"), f"found {count}, expected at least 1")])
    wishes = book.demand.reader.wishes
    jobs = ladder_jobs(shop, wishes, book.demand.multiples, book.demand.aim)
    progress("finding the best kits of every budget")
    answers = run(find_ladders, [job for job, _ in jobs])
    ladders = {
        wish: found
        for (_, group), several in zip(jobs, answers, strict=True)
        for wish, found in zip(group, several, strict=True)
    }
    progress("pricing kits")
    bench = BoxBench(shop, wishes, ladders, book.demand.aim, run)
    scarce = _scarce(shop, bench.boxes, on_shelf or {})
    wish, budget, times = book.arrays()
    classes = classes_of(bench, wish, budget, times, one_by_one=bool(scarce))
    progress("choosing kits")
    choices = _choose(classes, scarce, count, time_limit)
    chosen = choices[-1]
    handed_out = _hand_out(classes, chosen)
    return _result(bench, book, classes, choices, handed_out)


def _scarce(shop: Shop, boxes: Sequence[Box], on_shelf: Mapping[str, int]) -> list[tuple[Ints, int]]:
    """For each scarce guard how many of it each box holds, and how many there are."""
    known: dict[str, set[tuple[str, str]]] = {}
    for bike in shop.names:
        for guard in shop.load(bike).guards:
            for name in (guard.id, guard.row):
                known.setdefault(f"{bike}/{name}" if bike else name, set()).add((bike, guard.id))
    problems = []
    for name, most in on_shelf.items():
        if name not in known:
            problems.append(Problem(Parameter("on_shelf"), f"no guard {shown(name)}{advice(name, sorted(known))}"))
        elif most < 0:
            problems.append(Problem(Parameter("on_shelf"), f"found {most} of {name}, expected at least 0"))
    if problems:
        raise InputError(problems)
    return [
        (np.array([sum((box.bike, one) in known[name] for one in box.guards) for box in boxes], dtype=np.int64), most)
        for name, most in on_shelf.items()
    ]


def _choose(classes: Classes, scarce: Sequence[tuple[Ints, int]], count: int, time_limit: float | None) -> list[Choice]:
    """The best choice of 1, 2, … `count` kits; the last ones are left out where more kits save no more."""
    choices: list[Choice] = []
    if not classes.gains.size or not classes.gains.any():
        return [Choice((), 0.0, 0.0)]
    uses = np.array([one for one, _ in scarce], dtype=np.int64).reshape(len(scarce), classes.gains.shape[1])
    most = np.array([most for _, most in scarce], dtype=np.int64)
    kept = _undominated(classes.gains, uses)
    gains, uses = classes.gains[:, kept], uses[:, kept]
    if scarce and gains.size > MOST_PAIRS:
        message = (
            f"these riders come to {gains.shape[0]:,} classes and {gains.shape[1]:,} kits, too many to hand out scarce "
            "guards one by one; round the budgets, or leave it out"
        )
        raise InputError([Problem(Parameter("on_shelf"), message)])
    program = None if scarce else MedianProgram(gains, classes.weight)
    # More kits than there are to choose from are no further question.
    for some in range(1, min(count, gains.shape[1]) + 1):
        if program is not None:
            found = program.choose(some, time_limit)
        else:
            found = choose_with_stock(gains, classes.riders, some, uses, most, seconds=time_limit)
            _check_stock(found, classes.riders, uses, most)
        if choices and found.value < choices[-1].value:
            # Out of time: the answer for one kit fewer is an answer as well.
            choices.append(replace(choices[-1], bound=max(found.bound, choices[-1].value)))
            continue
        choices.append(_of_all_boxes(found, kept, classes.gains.shape))
    return choices


def _of_all_boxes(found: Choice, kept: Ints, shape: tuple[int, ...]) -> Choice:
    """A choice among some boxes as one among all of them."""
    numbers = tuple(kept[list(found.kept)].tolist())
    if found.handed_out is None:
        return replace(found, kept=numbers)
    handed_out = np.zeros(shape, dtype=np.int64)
    handed_out[:, kept] = found.handed_out
    return replace(found, kept=numbers, handed_out=handed_out)


def _check_stock(found: Choice, riders: Ints, uses: Ints, most: Ints) -> None:
    """Recompute what the solver claims of scarce guards."""
    handed_out = found.handed_out
    if handed_out is None or (handed_out.sum(axis=1) > riders).any() or (uses @ handed_out.sum(axis=0) > most).any():
        raise SolverError("the solver handed out more of a guard than there are, or more kits than there are riders")


def _hand_out(classes: Classes, choice: Choice) -> Ints:
    """``(riders,)``: the box that each rider takes, `NONE` for none; scarce ones go to those who come first."""
    taken = np.full(len(classes.of), NONE, dtype=np.int64)
    if not choice.kept:
        return taken
    if choice.handed_out is None:
        kept = np.array(choice.kept)
        gains = classes.gains[:, kept]
        best = np.where(gains.max(axis=1) > 0.0, kept[gains.argmax(axis=1)], NONE)
        good = classes.of != NONE
        taken[good] = best[classes.of[good]]
        return taken
    order = np.argsort(classes.of, kind="stable")
    for number, several in enumerate(choice.handed_out):
        rows = order[np.searchsorted(classes.of[order], number) :]
        boxes = np.repeat(np.arange(len(several)), several)
        taken[rows[: len(boxes)]] = boxes
    return taken


def _result(bench: BoxBench, book: Book, classes: Classes, choices: Sequence[Choice], taken: Ints) -> ReadyKits:
    wish, budget, times = book.arrays()
    saved = {fresh: np.zeros(len(wish)) for fresh in (False, True)}
    tailor = {fresh: np.zeros(len(wish)) for fresh in (False, True)}
    falls_saved = np.zeros(len(wish))
    for number in range(len(bench.wishes)):
        mine = np.flatnonzero(wish == number)
        for fresh in (False, True):
            for multiple, wanted in bench.multiples(number, times[mine]):
                some = mine[wanted]
                grows, stays = (np.append(part, 0.0) for part in bench.box_gains(number, multiple, fresh=fresh))
                saved[fresh][some] = times[some] * grows[taken[some]] + stays[taken[some]]
                if fresh:
                    falls_saved[some] = times[some] * grows[taken[some]]
            tailor[fresh][mine] = bench.tailor_made(number, budget[mine], times[mine], fresh=fresh)
    choice = choices[-1]
    total = float(saved[False].sum())
    if abs(total - choice.value) > 1e-6 * max(1.0, abs(total)):
        raise SolverError(f"the kits were said to save {choice.value:.4f}, but adding up riders gives {total:.4f}")
    by_box = np.bincount(taken[taken != NONE], saved[False][taken != NONE], len(bench.boxes))
    kept = sorted(set(taken[taken != NONE].tolist()), key=lambda box: (-by_box[box], box))
    renumbered = np.full(len(bench.boxes) + 1, NONE, dtype=np.int64)
    renumbered[kept] = np.arange(len(kept))
    return ReadyKits(
        boxes=tuple(bench.boxes[box] for box in kept),
        taken=renumbered[taken],
        saving=saved[False],
        tailor_made=tailor[False],
        falls_saved=falls_saved,
        saving_fresh=float(saved[True].sum()),
        tailor_made_fresh=float(tailor[True].sum()),
        choice=choice,
        curve=tuple(CurvePoint(row + 1, one.value, one.bound) for row, one in enumerate(choices)),
        candidates=len(bench.boxes),
        classes=len(classes.gains),
        wrong=book.demand.wrong,
        aim=bench.aim,
    )


def kits(
    bikes: Scenario | Mapping[str, Scenario],
    riders: pd.DataFrame,
    count: int,
    *,
    aim: str = "bills",
    on_shelf: Mapping[str, int] | None = None,
    time_limit: float | None = None,
    workers: int | None = None,
    cluster: str | None = None,
) -> ReadyKits:
    """Choose the ready-made kits that save riders most in all.

    Parameters
    ----------
    bikes
        A scenario, or several by name where the riders have a column ``bike``.
    riders
        The columns of a table of riders; rows that are wrong are left out and counted.
    count
        How many kits, at most.
    aim
        ``bills``, or ``outlay`` for what is left of the saving once the kits are paid.
    on_shelf
        How many of a guard can be handed out.
    time_limit
        Seconds allowed for the program, for each number of kits; None lifts the limit.
    workers
        Processes of this machine to find budget curves in; the kits are the same.
    cluster
        Address of a running Dask cluster to find them on instead.

    Raises
    ------
    InputError
        The aim, a column or an id is unknown, or a number is out of range.
    """
    problems = wrong_time_limit(time_limit, "time_limit")
    if problems:
        raise InputError(problems)
    shop = Shop.of(bikes)
    book = Book(Demand(shop, adding_aim(aim)))
    for sheet in sheets_of_frame(riders):
        book.add(book.demand.reader.read(sheet))
    with clustered(workers, cluster) as client:
        run = partial(run_on, client)
        return choose_kits(shop, book, count, on_shelf=on_shelf, time_limit=time_limit, run=run)
