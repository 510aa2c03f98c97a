"""The spread of what will be paid over the years: a compound Poisson sum of the simulated costs of single falls.

Falls come at random times at rate Λ a year; a fall at time t costs v^t C, with C the owner's cost and renewals of a
simulated fall and v = 1/(1+i). Over n years the sum is compound Poisson with rate Λ n and a severity C v^U, U uniform
on the years, so its mean is the cost over the years, ā Λ E C. On a grid of width h its distribution is

    p = FFT⁻¹( exp( Λ n (FFT(s) − 1) ) )

(Klugman, Panjer and Willmot, Loss Models, section 9.6), with s the severity split between the two neighbouring grid
points so that its mean is kept. Where damage waits, whole repair intervals are simulated instead (`repair_seasons`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.arrays import Floats
from guardopt.deadline import EFFORT, Deadline
from guardopt.errors import Parameter, Problem
from guardopt.model.aims import TIME_LIMIT, Best, Limits, aim_named, status_of
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.arguments import (
    budget_cents,
    with_problems,
    wrong_aim,
    wrong_budget,
    wrong_effort,
    wrong_time_limit,
)
from guardopt.questions.bench import Bench, on_bench
from guardopt.questions.bill import forced_guards, in_order, known_guards, legal_kit
from guardopt.simulation.aggregate_loss import BLOCKS, QUANTILES, StratumCosts, grid_for, numbers_of, stratum_costs
from guardopt.simulation.compiled import Bike
from guardopt.simulation.repair_seasons import COURSES, WaitingFalls, season_numbers, waiting_falls

if TYPE_CHECKING:
    import pandas as pd

FINEST_OF_ERRORS = 16
"""Binary logarithm of the most grid points that standard errors, which need not be so fine, are worked out on."""


@dataclass(frozen=True)
class Outlook:
    """What will be paid over the years with one kit, as present value.

    Attributes
    ----------
    step, probability
        Width of the grid, and ``(points,)`` the chance of paying 0, h, 2h and so on.
    mean, sd, chance_of_nothing, worst_tenth_mean, chance_written_off
        Moments and chances; `chance_of_nothing` is that of paying nothing at all, and `chance_written_off` that of at
        least one write-off.
    quantiles
        Level to amount.
    errors
        Standard error of each of these, by name, quantiles under their level as text.
    discretisation_error
        Most that a quantile can be off for the width of the grid, as a share of the mean.
    """

    kit: Kit
    step: float
    probability: Floats
    mean: float
    sd: float
    chance_of_nothing: float
    quantiles: dict[float, float]
    worst_tenth_mean: float
    chance_written_off: float
    errors: dict[str, float]
    discretisation_error: float

    def to_json(self) -> dict[str, Any]:
        """The outlook as ``forecast --json`` prints it for one bike."""
        return {
            "mean": self.mean,
            "sd": self.sd,
            "chance_of_nothing": self.chance_of_nothing,
            "quantiles": {f"{level:g}": amount for level, amount in self.quantiles.items()},
            "worst_tenth_mean": self.worst_tenth_mean,
            "chance_written_off": self.chance_written_off,
            "standard_errors": self.errors,
            "discretisation_error": self.discretisation_error,
        }


@dataclass(frozen=True)
class Forecast:
    """What will be paid over the years with the bike as it stands and with a kit.

    Attributes
    ----------
    best
        How the search for the kit ended; None if the kit was given.
    """

    scenario: Scenario
    stock: Outlook
    fitted: Outlook
    best: Best | None

    @property
    def table(self) -> pd.DataFrame:
        """One row for each number, one column for each bike."""
        import pandas as pd

        columns = {}
        for name, one in (("stock", self.stock), ("fitted", self.fitted)):
            record = one.to_json()
            quantiles = {f"quantile {level}": amount for level, amount in record["quantiles"].items()}
            numbers = ("mean", "sd", "chance_of_nothing", "worst_tenth_mean", "chance_written_off")
            columns[name] = pd.Series({key: record[key] for key in numbers} | quantiles)
        return pd.DataFrame(columns)

    def to_json(self) -> dict[str, Any]:
        """The forecast as ``forecast --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "currency": self.scenario.currency,
            "years": self.scenario.years,
            "kit": in_order(self.scenario, self.fitted.kit),
            "status": "given" if self.best is None else status_of(self.best.proven).value,
            "gap": None if self.best is None else self.best.gap,
            "stock": self.stock.to_json(),
            "fitted": self.fitted.to_json(),
        }

    def _repr_html_(self) -> str:
        return str(self.table.to_html())


def forecast(
    subject: Scenario | Bench,
    fit: Iterable[str] | None = None,
    *,
    budget: float | None = None,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    effort: int = EFFORT,
    time_limit: float | None = TIME_LIMIT,
) -> Forecast:
    """Forecast the spread of what falls will cost over the years, as the bike stands and with a kit.

    Parameters
    ----------
    subject
        A scenario, or a bench that holds one.
    fit
        Ids of the guards on the bike; an id without a side stands for all its sides. None takes the best kit.
    budget, aim, must, never
        Which kit is the best, as for a plan; not for a kit that is given.
    effort
        Nodes that each search may look at.
    time_limit
        Seconds for the search for that kit; the best found by then is taken. None lifts the limit.

    Raises
    ------
    InputError
        An id is unknown, the guards cannot all be on the bike, a number is out of range, or a budget or guards to be
        forced in or out come with a kit that is given.
    NoKitError
        No kit satisfies the budget, the weight limit and what is forced.
    OutOfTimeError
        The time was too short to find any kit.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.writing.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> ahead = guardopt.forecast(scenario, fit=["engine_bar"])
    >>> f"chance of nothing to pay in {scenario.years:g} years: {ahead.stock.chance_of_nothing:.0%}"
    'chance of nothing to pay in 4 years: 6%'
    >>> ahead.fitted.mean < ahead.stock.mean < ahead.stock.quantiles[0.9]
    True
    """
    bench = on_bench(subject)
    scenario = bench.scenario
    must, never = tuple(must), tuple(never)
    problems = [*wrong_budget(budget), *wrong_aim(aim), *wrong_effort(effort), *wrong_time_limit(time_limit)]
    best: Best | None = None
    if fit is None:
        forced = with_problems(problems, lambda: forced_guards(scenario, must, never))
        limits = Limits(budget_cents(scenario, budget), *forced)
        best = bench.planner.best(aim_named(aim), limits, deadline=Deadline.after(time_limit, effort))
        kit = best.kit
    else:
        asked = {"budget": budget is not None, "must": bool(must), "never": bool(never)}
        problems += [
            Problem(Parameter("fit"), f"cannot go with {name}: the kit is given")
            for name, is_set in asked.items()
            if is_set
        ]
        given = tuple(fit)
        kit = with_problems(problems, lambda: legal_kit(scenario, known_guards(scenario, given, Parameter("fit"))))
    stock, fitted = outlooks(bench, [scenario.stock, kit])
    return Forecast(scenario, stock, fitted, best)


def outlooks(bench: Bench, kits: Sequence[Kit]) -> list[Outlook]:
    """The outlook with each of several kits, on the fresh sample."""
    bike = Bike(bench.scenario)
    fitted = [bike.kit_array(kit) for kit in kits]
    if bench.scenario.waits:
        falls: list[list[WaitingFalls]] = [[] for _ in kits]
        for stratum in bench.fresh(kits):
            for index, one in enumerate(fitted):
                falls[index].append(waiting_falls(bike, stratum, one))
        return [_simulated_outlook(bike, kit, of_kit) for kit, of_kit in zip(kits, falls, strict=True)]
    costs: list[list[StratumCosts]] = [[] for _ in kits]
    for stratum in bench.fresh(kits):
        for index, one in enumerate(fitted):
            costs[index].append(stratum_costs(bike, stratum, one))
    return [_outlook(bench.scenario, kit, of_kit) for kit, of_kit in zip(kits, costs, strict=True)]


def _simulated_outlook(bike: Bike, kit: Kit, falls: list[WaitingFalls]) -> Outlook:
    """An outlook where damage waits."""
    rng = np.random.Generator(np.random.PCG64(bike.scenario.seed))
    record = season_numbers(bike, falls, COURSES, rng)
    blocks = []
    if all(one.paid.size >= BLOCKS for one in falls):
        blocks = [season_numbers(bike, [one.block(i) for one in falls], COURSES // BLOCKS, rng) for i in range(BLOCKS)]
    return _of_record(kit, record, blocks, float(record["step"]))


def _outlook(scenario: Scenario, kit: Kit, costs: list[StratumCosts]) -> Outlook:
    step, points = grid_for(scenario, costs)
    record = numbers_of(scenario, costs, step, points)
    blocks = []
    if all(one.cost.size >= BLOCKS for one in costs):
        fewer = min(points, 1 << FINEST_OF_ERRORS)
        width = step * points / fewer
        blocks = [numbers_of(scenario, [one.block(i) for one in costs], width, fewer) for i in range(BLOCKS)]
    return _of_record(kit, record, blocks, step)


def _of_record(kit: Kit, record: dict[str, Any], blocks: Sequence[dict[str, Any]], step: float) -> Outlook:
    names = [name for name in record if name not in ("probability", "step")]
    errors = {
        name: float(np.std([block[name] for block in blocks], ddof=1) / math.sqrt(BLOCKS)) for name in names if blocks
    }
    mean = float(record["mean"])
    return Outlook(
        kit=kit,
        step=step,
        probability=record["probability"],
        mean=mean,
        sd=float(record["sd"]),
        chance_of_nothing=float(record["chance_of_nothing"]),
        quantiles={level: float(record[f"{level:g}"]) for level in QUANTILES},
        worst_tenth_mean=float(record["worst_tenth_mean"]),
        chance_written_off=float(record["chance_written_off"]),
        errors=errors,
        discretisation_error=float(step / mean) if mean else 0.0,
    )
