"""A bike under every draw of its numbers: which kit is best in each, and what kits cost there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from guardopt.arrays import Floats
from guardopt.deadline import Deadline
from guardopt.doubt.best_kits import Question, best_kit
from guardopt.doubt.doubtful_numbers import Doubtful, scenario_with
from guardopt.doubt.draw_pricing import KitPricer
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.processes import Processes

AT_ONCE = 10
"""Draws that a process is given at once."""


@dataclass(frozen=True)
class Worlds:
    """The scenario under every draw of its numbers.

    Attributes
    ----------
    scenario, numbers
        The bike as guessed, and its numbers that are guesses.
    values
        ``(draws, numbers)``.
    question
        What was asked, and the kit that was best under the guesses.
    falls
        Simulated falls of each kind and side under each draw.
    """

    scenario: Scenario
    numbers: Sequence[Doubtful]
    values: Floats
    question: Question
    falls: int

    def best_kits(self, workers: int, deadline: Deadline, progress: Callable[[str], None]) -> list[Kit]:
        """The best kit under each draw, as far as the time goes; the same however many processes look for them."""
        draws = len(self.values)
        parts = [slice(first, min(first + AT_ONCE, draws)) for first in range(0, draws, AT_ONCE)]
        tried = 0

        def done(part: int, _: object) -> None:
            nonlocal tried
            tried += parts[part].stop - parts[part].start
            progress(f"trying other numbers ({tried} of {draws})")

        find = partial(_best_kits, self, deadline)
        progress(f"trying other numbers (0 of {draws})")
        if workers > 1 and len(parts) > 1:
            processes = Processes(min(workers, len(parts)))
            try:
                found = processes.run(find, parts, done)
            finally:
                processes.stop()
        else:
            found = []
            for row, part in enumerate(parts):
                found.append(find(part))
                done(row, found[row])
        kits: list[Kit] = []
        for part, some in zip(parts, found, strict=True):
            kits += some
            if len(some) < part.stop - part.start:
                break
        return kits

    def price(
        self,
        pricer: KitPricer,
        kits: Sequence[Kit],
        best: Sequence[Kit],
        deadline: Deadline,
        progress: Callable[[str], None],
    ) -> tuple[Floats, Floats, list[Kit]]:
        """Costs of kits under each draw, ``(draws, kits)``; the least cost, ``(draws,)``; and the kits of least cost.

        Parameters
        ----------
        pricer
            Prices kits of this bike.
        kits
            The chosen kit, and others.
        best
            The kit that the planner called best under each draw.
        deadline
            When to stop; one draw is priced in any case.
        progress
            Told how many draws have been priced.
        """
        pricer.learn([*kits, *best])
        costs, least, kits_of_least = [], [], []
        for row, (values, own) in enumerate(zip(self.values, best, strict=False)):
            if row and deadline.is_over:
                break
            progress(f"comparing kits ({row} of {len(best)})")
            other = scenario_with(self.scenario, self.numbers, values)
            candidates = [*kits, *([] if own in kits else [own])]
            measured = pricer.measures(other, candidates)
            costs.append(measured[: len(kits)])
            least.append(measured.min())
            kits_of_least.append(candidates[int(measured.argmin())])
        return np.array(costs), np.array(least), kits_of_least


def _best_kits(worlds: Worlds, deadline: Deadline, part: slice) -> list[Kit]:
    """The best kit under each of some draws, as far as the time goes."""
    question = worlds.question
    pricer = KitPricer(worlds.scenario, (), question.aim, question.tail, worlds.falls)
    found: list[Kit] = []
    for values in worlds.values[part]:
        other = scenario_with(worlds.scenario, worlds.numbers, values)
        kit = best_kit(pricer, question, other, [question.kit], pricer.strata(other), deadline)
        if kit is None:
            break
        found.append(kit)
    return found
