"""The spread of what will be paid over the years: a compound Poisson sum of the simulated costs of single falls.

Falls come at random times at rate Λ a year; a fall at time t costs v^t C, with C the owner's cost and renewals of a
simulated fall and v = 1/(1+i). Over n years the sum is compound Poisson with rate Λ n and a severity C v^U, U uniform
on the years, so its mean is the cost over the years, ā Λ E C. On a grid of width h its distribution is

    p = FFT⁻¹( exp( Λ n (FFT(s) − 1) ) )

(Klugman, Panjer and Willmot, Loss Models, section 9.6), with s the severity split between the two neighbouring grid
points so that its mean is kept.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.aims import TIME_LIMIT, Aim, Best, Limits, status_of
from guardopt.arrays import Floats
from guardopt.asking import with_problems, wrong_aim, wrong_time_limit
from guardopt.bike import Bike
from guardopt.billing import in_order, known_guards, legal_kit
from guardopt.compound_sums import BLOCKS, QUANTILES, StratumCosts, grid_for, numbers_of, stratum_costs
from guardopt.pieces import Kit
from guardopt.scenario import Scenario
from guardopt.workbench import Workbench, on_bench

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
    subject: Scenario | Workbench,
    fit: Iterable[str] | None = None,
    *,
    aim: str = "bills",
    time_limit: float | None = TIME_LIMIT,
) -> Forecast:
    """Forecast the spread of what falls will cost over the years, as the bike stands and with a kit.

    Parameters
    ----------
    subject
        A scenario, or a workbench that holds one.
    fit
        Ids of the guards on the bike; an id without a side stands for all its sides. None takes the best kit for the
        scenario's budget.
    aim
        What that kit is best at, as for a plan.
    time_limit
        Seconds for the search for that kit; the best found by then is taken. None lifts the limit.

    Raises
    ------
    InputError
        An id is unknown, the guards cannot all be on the bike, or a number is out of range.
    OutOfTimeError
        The time was too short to find any kit.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> ahead = guardopt.forecast(scenario, fit=["engine_bar"])
    >>> f"chance of nothing to pay in {scenario.years:g} years: {ahead.stock.chance_of_nothing:.0%}"
    'chance of nothing to pay in 4 years: 13%'
    >>> ahead.fitted.mean < ahead.stock.mean < ahead.stock.quantiles[0.9]
    True
    """
    bench = on_bench(subject)
    scenario = bench.scenario
    given = with_problems(
        [*wrong_aim(aim), *wrong_time_limit(time_limit)],
        lambda: None if fit is None else legal_kit(scenario, known_guards(scenario, fit, "--fit")),
    )
    best, kit = None, given
    if kit is None:
        best = bench.planner.best(Aim(aim), Limits(scenario.budget_cents), seconds=time_limit)
        kit = best.kit
    stock, fitted = outlooks(bench, [scenario.stock, kit])
    return Forecast(scenario, stock, fitted, best)


def outlooks(bench: Workbench, kits: Sequence[Kit]) -> list[Outlook]:
    """The outlook with each of several kits, on the fresh sample."""
    bike = Bike(bench.scenario)
    fitted = [bike.kit_array(kit) for kit in kits]
    costs: list[list[StratumCosts]] = [[] for _ in kits]
    for stratum in bench.fresh(kits):
        for index, one in enumerate(fitted):
            costs[index].append(stratum_costs(bike, stratum, one))
    return [_outlook(bench.scenario, kit, of_kit) for kit, of_kit in zip(kits, costs, strict=True)]


def _outlook(scenario: Scenario, kit: Kit, costs: list[StratumCosts]) -> Outlook:
    step, points = grid_for(scenario, costs)
    record = numbers_of(scenario, costs, step, points)
    blocks = []
    if all(one.cost.size >= BLOCKS for one in costs):
        fewer = min(points, 1 << FINEST_OF_ERRORS)
        width = step * points / fewer
        blocks = [numbers_of(scenario, [one.block(i) for one in costs], width, fewer) for i in range(BLOCKS)]
    names = [name for name in record if name != "probability"]
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
