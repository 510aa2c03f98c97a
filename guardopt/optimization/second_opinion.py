"""What a solver that PuLP knows says of the same question: repeated integer programs over the same kind of cuts.

The solver's kit is where the tree may start from, and its word is compared with what the tree has proven.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from guardopt.deadline import NEVER, Deadline
from guardopt.errors import NoKitError
from guardopt.model.aims import Limits
from guardopt.model.pieces import Kit
from guardopt.optimization.benders import Planner
from guardopt.optimization.master_problem import Program
from guardopt.optimization.measures import MEASURES

TOLERATED = 1e-6
"""Relative amount by which the bound of a solver that works with tolerances may be off."""


@dataclass(frozen=True)
class Opinion:
    """What the solver ended with.

    Attributes
    ----------
    solver
        Its name.
    kit, value
        Its last kit that is allowed, priced by us; None and infinite if it had none.
    bound
        What it says that no kit is below; minus infinite if it said nothing.
    """

    solver: str
    kit: Kit | None
    value: float
    bound: float

    def contradicts(self, objective: float) -> bool:
        """Whether the solver calls a value out of reach that a kit has, by more than its own tolerances explain."""
        return self.bound > objective + TOLERATED * max(1.0, abs(objective))


def finite(bound: float) -> float | None:
    """A bound as JSON can hold it."""
    return bound if math.isfinite(bound) else None


def opinion(
    planner: Planner, measure: str, limits: Limits, solver: str, *, gap: float, deadline: Deadline = NEVER
) -> Opinion:
    """Ask a solver: solve, price its kit exactly, stop if the price meets the solver's bound, else add the kit's cuts.

    Raises
    ------
    SolverError
        The solver is not to be found, or failed.
    """
    program = Program(planner.scenario, planner.terms, solver)
    told: set[bytes] = set()
    best, value, bound = None, math.inf, -math.inf
    points = [np.zeros(len(planner.scenario.guards)), np.ones(len(planner.scenario.guards))]
    while not deadline.is_over:
        for point in points:
            told.add(point.tobytes())
            if MEASURES[measure].counts_tail:
                cuts = planner.cuts.tail_at(point)
                program.add_tail_cuts(cuts.constant, cuts.slope)
            else:
                constant, slope = planner.cuts.bundled_at((point > 0.5).astype(float))
                program.add_bundle_cuts(np.arange(constant.size), constant, slope)
        try:
            answer = program.solve(*MEASURES[measure].linear(planner), limits, seconds=deadline.seconds_left)
        except NoKitError:
            return Opinion(solver, best, value, math.inf)
        bound = bound if answer.bound is None else max(bound, answer.bound)
        if answer.kit is None:
            break
        kit = planner.kit_of(answer.kit > 0.5)
        if planner.is_allowed(kit, limits) and planner.measure(measure, kit) < value:
            best, value = kit, planner.measure(measure, kit)
        if answer.kit.tobytes() in told or value - bound <= gap * max(1.0, abs(value)):
            break
        points = [answer.kit]
    return Opinion(solver, best, value, bound)
