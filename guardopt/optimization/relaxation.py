"""The linear relaxation of a program, solved by HiGHS from where it stood last, and its dual values.

Rows and costs are multiplied by powers of two, which rounds nothing, so that HiGHS sees numbers near 1 whatever the
currency. Its tolerances are then relative ones. Nothing it says is believed before it was checked (`linear_rows`).
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from guardopt.arrays import Floats
from guardopt.optimization.linear_rows import Row, usable

TOLERANCE = 1e-9
"""How far the solver may leave a row or a whole number unmet, and the absolute gap at which it may stop."""


@dataclass(frozen=True)
class Relaxed:
    """What HiGHS said of a relaxation.

    Attributes
    ----------
    point
        ``(columns,)``, within the bounds of the variables; None if it found none.
    multipliers
        ``(rows,)``: dual values; if it found no point, those that are to prove that there is none.
    """

    point: Floats | None
    multipliers: Floats


class Relaxation:
    """A linear program to which rows are added and whose bounds are moved.

    Parameters
    ----------
    lower, upper
        ``(columns,)``: bounds of the variables.
    scale
        ``(columns,)``, powers of two: about how large each variable gets.
    """

    def __init__(self, lower: Floats, upper: Floats, scale: Floats) -> None:
        self._lower, self._upper, self._scale = lower.copy(), upper.copy(), scale
        self._row_scale: list[float] = []
        self._cost_scale = 1.0
        self._highs = silent_highs()
        for option, value in (("presolve", "off"), ("solver", "simplex"), ("threads", 1)):
            self._highs.setOptionValue(option, value)
        self._highs.addVars(lower.size, lower / scale, upper / scale)

    def set_cost(self, cost: Floats) -> None:
        """``(columns,)``: what is minimised."""
        scaled = cost * self._scale
        self._cost_scale = power_of_two(np.abs(scaled).max(initial=0.0))
        columns = np.arange(cost.size, dtype=np.int32)
        self._highs.changeColsCost(cost.size, columns, scaled / self._cost_scale)

    def add(self, rows: Sequence[Row]) -> None:
        """Add rows at the end."""
        if not rows:
            return
        starts, columns, values, most = [0], [], [], []
        for row in rows:
            scaled = row.coefficients * self._scale[row.columns]
            size = power_of_two(np.abs(scaled).max(initial=0.0))
            self._row_scale.append(size)
            starts.append(starts[-1] + row.columns.size)
            columns.append(row.columns)
            values.append(scaled / size)
            most.append(row.at_most / size)
        self._highs.addRows(
            len(rows),
            np.full(len(rows), -highspy.kHighsInf),
            np.array(most),
            starts[-1],
            np.array(starts[:-1], dtype=np.int32),
            np.concatenate(columns).astype(np.int32),
            np.concatenate(values),
        )

    def move_bounds(self, lower: Floats, upper: Floats) -> None:
        """``(columns,)`` each: give the variables other bounds."""
        moved = np.flatnonzero((lower != self._lower) | (upper != self._upper)).astype(np.int32)
        if moved.size:
            scale = self._scale[moved]
            self._highs.changeColsBounds(moved.size, moved, lower[moved] / scale, upper[moved] / scale)
            self._lower[moved], self._upper[moved] = lower[moved], upper[moved]

    def solve(self) -> Relaxed:
        """Minimise the cost over the rows so far."""
        self._highs.run()
        status = self._highs.getModelStatus()
        row_scale = np.array(self._row_scale)
        if status == highspy.HighsModelStatus.kOptimal:
            solution = self._highs.getSolution()
            point = np.clip(np.array(solution.col_value) * self._scale, self._lower, self._upper)
            return Relaxed(point, usable(-np.array(solution.row_dual) / row_scale * self._cost_scale))
        ray = self._highs.getDualRay() if status == highspy.HighsModelStatus.kInfeasible else None
        if ray is None or not ray[1]:
            self._highs.clearSolver()
            return Relaxed(None, np.zeros(row_scale.size))
        return Relaxed(None, usable(-np.asarray(ray[2]) / row_scale))


def power_of_two(size: float) -> float:
    """The power of two next above a size; 1 for 0."""
    return float(2.0 ** np.frexp(size)[1]) if size > 0.0 and np.isfinite(size) else 1.0


def scales(size: Floats) -> Floats:
    """``(columns,)``: for variables about as large as this, powers of two."""
    return np.array([power_of_two(float(one)) for one in size])


def silent_highs() -> Any:
    """A HiGHS object that prints nothing and works to the tightest tolerances."""
    silence_first_highs()
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    for option in ("primal_feasibility_tolerance", "dual_feasibility_tolerance"):
        highs.setOptionValue(option, TOLERANCE)
    return highs


_highs_is_silent = False


def silence_first_highs() -> None:
    """Make the first HiGHS object of the process with standard output turned away, since it prints a banner there."""
    global _highs_is_silent
    if _highs_is_silent:
        return
    sys.stdout.flush()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        highspy.Highs()
    finally:
        os.dup2(kept, 1)
        os.close(nowhere)
        os.close(kept)
    _highs_is_silent = True
