"""What is to be explained: a question, its answer, and what other kits are looked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from guardopt.deadline import NEVER, Deadline
from guardopt.errors import OutOfTimeError
from guardopt.model.aims import Aim, Best, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.budgets import Step


@dataclass(frozen=True)
class Question:
    """What was asked, what was answered, and what other answers are looked for to explain it.

    Attributes
    ----------
    steps
        The budget curve under the same guards forced in and out; empty if there was no time for it.
    gap, deadline
        Relative gap to which other kits are proven best, and when none are looked for any more.
    impossible
        Where no other kits are looked for at all: the guards known to be in no kit. None: they are looked for.
    """

    planner: Planner
    aim: Aim
    limits: Limits
    best: Best
    steps: Sequence[Step]
    gap: float
    deadline: Deadline = NEVER
    impossible: Kit | None = None

    @property
    def scenario(self) -> Scenario:
        """The scenario asked about."""
        return self.planner.scenario

    @property
    def is_out_of_time(self) -> bool:
        """True once no other kits are looked for."""
        return self.impossible is not None or self.deadline.is_over

    def best_within(self, limits: Limits) -> Best | None:
        """The best kit under other limits; None if there is none.

        Raises
        ------
        OutOfTimeError
            It could not be proven best in time.
        """
        other = self.planner.best_or_none(self.aim, limits, gap=self.gap, deadline=self.deadline)
        if other is not None and not other.proven:
            raise OutOfTimeError("the best kit under other limits was not proven in the time allowed")
        return other

    def other(self, limits: Limits) -> Best | None:
        """The best kit under other limits; None if there is none, or no time to tell."""
        if self.is_out_of_time:
            return None
        try:
            return self.best_within(limits)
        except OutOfTimeError:
            return None

    def behind(self, other: Best | None) -> float | None:
        """How much worse another kit is; None if there is none."""
        return None if other is None else max(0.0, other.objective - self.best.objective)

    def can_be_fitted(self, guard: str) -> bool:
        """True unless it is known that no kit with a guard keeps the limits, whatever the budget."""
        if self.impossible is not None:
            return guard not in self.impossible
        limits = replace(
            self.limits, budget_cents=None, must=self.limits.must | {guard}, never=self.limits.never - {guard}
        )
        try:
            return self.planner.best_or_none(self.aim, limits, gap=1.0, deadline=self.deadline) is not None
        except OutOfTimeError:
            return True
