"""How sure a kit is: all numbers are guesses, and others may make another kit best.

Every number that is a guess is drawn (`doubtful_numbers`), and under each draw the planner looks for the best kit on
the first `draw_pricing.FALLS` falls of the planning sample, to within `best_kits.CLOSE`. Two things are approximate:
these falls are few, so a kit that a draw calls best may owe it to their luck, which makes regrets too large rather than
too small, though not where the numbers are as guessed (`draw_pricing.KitPricer`); and what knowing a number is worth is
found among the kits that are best most often.
"""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from guardopt.arrays import Floats
from guardopt.deadline import NEVER, Deadline
from guardopt.doubt.best_kits import Question
from guardopt.doubt.doubtful_numbers import Beliefs, Doubtful, doubtful_numbers, drawn_values
from guardopt.doubt.draw_pricing import FALLS, KitPricer
from guardopt.doubt.flips import FlipFinder
from guardopt.doubt.information import FEWEST, Information
from guardopt.doubt.sureness_result import GroupWorth, NumberWorth, Sureness
from guardopt.doubt.worlds import Worlds
from guardopt.model.pieces import Kit
from guardopt.model.ranges import LEVELS
from guardopt.model.scenario import Scenario
from guardopt.simulation.sampling import Stratum

DRAWS = 200

KITS_COMPARED = 16
"""Kits, those most often best, among which it is asked what knowing a number is worth."""

FLIPS = 5
"""Numbers, those most worth knowing, of which it is asked where the best kit changes."""

SEARCHING, PRICING = 0.6, 0.85
"""Shares of the time that is left after which searches end, and after which pricing ends."""


def sureness(
    scenario: Scenario,
    sample: Sequence[Stratum],
    question: Question,
    *,
    beliefs: Beliefs | None = None,
    draws: int = DRAWS,
    falls: int = FALLS,
    deadline: Deadline = NEVER,
    workers: int = 1,
    progress: Callable[[str], None] = lambda _: None,
) -> Sureness:
    """Find the best kit anew under many draws of all numbers, and what it would be worth to know them.

    Parameters
    ----------
    scenario, sample
        The bike with its numbers as guessed, and the falls that it was planned on.
    question
        What was asked, and the kit that was best under the guesses.
    beliefs
        How far guesses are believed. Default: those of `Beliefs`.
    draws
        How many draws of all numbers to try.
    falls
        Simulated falls of each kind and side under each draw.
    deadline
        When to stop with what there is by then.
    workers
        Processes of this machine that look for the best kits; they find the same ones.
    progress
        Told how many draws have been tried.
    """
    numbers = doubtful_numbers(scenario, beliefs or Beliefs())
    values = drawn_values(numbers, draws, scenario.seed)
    pricer = KitPricer(scenario, sample, question.aim, question.tail, falls)
    worlds = Worlds(scenario, numbers, values, question, falls)
    best = worlds.best_kits(workers, _part_of(deadline, SEARCHING), progress)
    if not best:
        return Sureness(draws, 0)
    often = [kit for kit, _ in Counter(best).most_common() if kit != question.kit]
    compared = [question.kit, *often[:KITS_COMPARED]]
    costs, least, best = worlds.price(pricer, compared, best, _part_of(deadline, PRICING), progress)
    found = _shares(scenario, question, draws, costs[:, 0], least, best)
    if len(costs) < 2:
        return found
    found = _with_better_kit(found, compared, costs)
    if deadline.is_over or len(costs) < FEWEST:
        return found
    progress("working out what it is worth to know better")
    known = Information(values[: len(costs)], costs)
    found = replace(found, groups=_groups(numbers, known), numbers=_numbers(numbers, known))
    progress("looking for where the kit flips")
    finder = FlipFinder(pricer, question, scenario, compared[1:], deadline)
    return replace(found, numbers=_with_flips(found.numbers, numbers, finder, deadline))


def _part_of(deadline: Deadline, share: float) -> Deadline:
    """A share of the time left."""
    left = deadline.seconds_left
    return deadline if left is None else replace(deadline, at=time.monotonic() + share * left)


def _shares(
    scenario: Scenario, question: Question, asked: int, ours: Floats, least: Floats, best: Sequence[Kit]
) -> Sureness:
    """How often the chosen kit is best, and what it loses by."""
    draws = len(ours)
    is_best = ours <= least + question.gap * np.maximum(1.0, np.abs(least))
    regrets = np.where(is_best, 0.0, ours - least)
    counts: Counter[str] = Counter()
    for mine, kit in zip(is_best, best, strict=True):
        counts.update(question.kit if mine else kit)
    share = float(is_best.mean())
    return Sureness(
        draws_asked=asked,
        draws=draws,
        best_share=share,
        best_share_se=math.sqrt(share * (1.0 - share) / draws),
        mean_regret=float(regrets.mean()),
        mean_regret_se=float(regrets.std(ddof=1)) / math.sqrt(draws) if draws > 1 else None,
        worst_regret=float(regrets.max()),
        guards=tuple((guard.id, counts[guard.id] / draws) for guard in scenario.guards),
        kit=question.kit,
        kits=len(set(best)),
    )


def _with_better_kit(found: Sureness, kits: Sequence[Kit], costs: Floats) -> Sureness:
    """Name the kit that is best on average, if it is not the chosen one and luck does not explain it."""
    lead = costs[:, :1] - costs
    column = int(lead.mean(axis=0).argmax())
    by, error = float(lead[:, column].mean()), float(lead[:, column].std(ddof=1)) / math.sqrt(len(lead))
    if column == 0 or by <= 2.0 * error:
        return found
    return replace(found, better_kit=kits[column], better_by=by, better_by_se=error)


def _groups(numbers: Sequence[Doubtful], known: Information) -> tuple[GroupWorth, ...]:
    columns: dict[str, list[int]] = {}
    for column, one in enumerate(numbers):
        columns.setdefault(one.group, []).append(column)
    found = []
    for group, mine in columns.items():
        worth = known.of_group(mine) if len(mine) > 1 else known.of_number(mine[0])
        found.append(GroupWorth(group, len(mine), worth.value, worth.error))
    return tuple(sorted(found, key=lambda one: -one.evppi))


def _numbers(numbers: Sequence[Doubtful], known: Information) -> tuple[NumberWorth, ...]:
    found = []
    for column, one in enumerate(numbers):
        worth = known.of_number(column)
        low, high = one.belief.quantile(np.array([LEVELS[0], LEVELS[2]])).tolist()
        found.append(NumberWorth(one.number, one.guess, low, high, worth.value, worth.error))
    return tuple(sorted(found, key=lambda one: (-one.evppi, one.number.address)))


def _with_flips(
    found: Sequence[NumberWorth], numbers: Sequence[Doubtful], finder: FlipFinder, deadline: Deadline
) -> tuple[NumberWorth, ...]:
    """The first few with the values at which the best kit changes, as far as the time goes."""
    doubtful = {one.number: one for one in numbers}
    told = list(found)
    for row, one in enumerate(told[:FLIPS]):
        if one.evppi <= 0.0 or deadline.is_over:
            break
        below, above = finder.below(doubtful[one.number]), finder.above(doubtful[one.number])
        told[row] = replace(
            one,
            flips_below=None if below is None else below.value,
            flips_above=None if above is None else above.value,
            kit_below=None if below is None else below.kit,
            kit_above=None if above is None else above.kit,
            is_searched=True,
        )
    return tuple(told)
