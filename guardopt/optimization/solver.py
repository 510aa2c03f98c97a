"""Runs a program with a solver that PuLP knows: HiGHS in this process, or another by name."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from enum import Enum, auto
from typing import Any

import numpy as np
import pulp

from guardopt.errors import SolverError
from guardopt.optimization.relaxation import TOLERANCE, silence_first_highs


class Ended(Enum):
    """How a run of the solver ended."""

    OPTIMAL = auto()
    FEASIBLE = auto()
    WITHOUT_ANSWER = auto()
    INFEASIBLE = auto()


def run(problem: Any, name: str, *, whole: bool = True, seconds: float | None = None) -> Ended:
    """Solve a PuLP problem.

    Parameters
    ----------
    problem
        The problem; its variables hold the answer afterwards, if there is one.
    name
        Name of the solver.
    whole
        False relaxes whole numbers.
    seconds
        Time allowed.

    Raises
    ------
    SolverError
        The solver is not to be found, failed, or stopped early for no reason that it gave.
    """
    try:
        stats = problem.solve(_solver(name, whole, seconds))
    except pulp.PulpSolverError as error:
        raise SolverError(f"solver {name} failed: {error}") from error
    if isinstance(stats, int):  # PuLP 3
        status, has_solution = stats, problem.sol_status in (1, 2)
        proven = problem.sol_status == 1
    else:
        status, has_solution = int(stats.status), stats.has_solution
        proven = status == 1
    if status == -1 or (status == -3 and not has_solution):
        return Ended.INFEASIBLE
    if has_solution:
        return Ended.OPTIMAL if proven else Ended.FEASIBLE
    if seconds is not None:
        return Ended.WITHOUT_ANSWER
    raise SolverError(f"solver {name} stopped without an answer (status {status})")


def proven_bound(problem: Any, name: str, ended: Ended, objective: Any, *, whole: bool = True) -> float | None:
    """The bound that the solver proved on the objective; None if it gave none."""
    model = getattr(problem, "solverModel", None)
    if name == "HiGHS" and whole and model is not None:
        bound = float(model.getInfo().mip_dual_bound)
        return bound if np.isfinite(bound) else None
    return float(pulp.value(objective)) if ended is Ended.OPTIMAL else None


def dot(coefficients: Sequence[float], variables: Sequence[Any]) -> Any:
    """Σ coefficient × variable, zeros left out."""
    # PuLP 4 makes an expression of a list by name, PuLP 3 by its class; lpSum serves both and is ten times slower.
    expression = getattr(pulp.LpAffineExpression, "from_list", pulp.LpAffineExpression)
    return expression([(v, c) for c, v in zip(coefficients, variables, strict=True) if c != 0.0])


def _solver(name: str, whole: bool, seconds: float | None) -> Any:
    """A solver by name, told to prove optimality and to keep quiet."""
    limit = None if seconds is None else max(seconds, 0.01)
    if name == "HiGHS":
        silence_first_highs()
        # Presolve saves no time on programs this small, and that of HiGHS 1.16 was seen to lose kits.
        return pulp.HiGHS(
            mip=whole,
            msg=False,
            timeLimit=limit,
            gapRel=0.0,
            gapAbs=TOLERANCE,
            threads=1,
            presolve="off",
            mip_heuristic_effort=0.0,
            mip_heuristic_run_feasibility_jump=False,
            mip_allow_restart=False,
            mip_detect_symmetry=False,
            mip_heuristic_run_root_reduced_cost=False,
            mip_heuristic_run_rens=False,
            mip_heuristic_run_rins=False,
            primal_feasibility_tolerance=TOLERANCE,
            mip_feasibility_tolerance=TOLERANCE,
        )
    with warnings.catch_warnings():
        # PuLP 3 warns that the CBC it brings will be gone in PuLP 4; who names that solver knows.
        warnings.simplefilter("ignore", DeprecationWarning)
        known = {one.lower(): one for one in pulp.listSolvers(onlyAvailable=True)}
        if name.lower() not in known:
            raise SolverError(f"solver {name} is not to be found here; found: {', '.join(sorted(known.values()))}")
        return pulp.getSolver(known[name.lower()], mip=whole, msg=False, timeLimit=limit)
