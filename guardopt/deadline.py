"""When a search stops although it is not done: after so many nodes, or in the last resort at a moment.

What is found within a number of nodes is the same on every run, however busy the machine; what is found by a moment
is not.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

from guardopt.errors import OutOfTimeError

EFFORT = 20_000
"""Nodes that a search may look at; everyday catalogues need fewer than a hundred."""


@dataclass(frozen=True)
class Deadline:
    """A moment on the monotonic clock, where infinity never comes, and the nodes that each search may look at.

    Examples
    --------
    >>> Deadline.after(None).is_over
    False
    >>> Deadline.after(0.0).is_over
    True
    """

    at: float = math.inf
    nodes: int = EFFORT

    @staticmethod
    def after(seconds: float | None, nodes: int = EFFORT) -> Deadline:
        """The moment so many seconds from now; None: never."""
        return Deadline(math.inf if seconds is None else time.monotonic() + seconds, nodes)

    @property
    def is_over(self) -> bool:
        """Whether the moment has come."""
        return time.monotonic() >= self.at

    @property
    def seconds_left(self) -> float | None:
        """Seconds until then, 0 if it has come; None if it never does."""
        return None if math.isinf(self.at) else max(0.0, self.at - time.monotonic())

    def check(self) -> None:
        """Stop here if the moment has come.

        Raises
        ------
        OutOfTimeError
            It has.
        """
        if self.is_over:
            raise OutOfTimeError("the time allowed is over")


NEVER = Deadline()
"""The deadline of a search without one."""
