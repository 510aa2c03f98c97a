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

from guardopt.asking import with_problems, wrong_time_limit
from guardopt.billing import in_order, known_guards, legal_kit
from guardopt.bills import Bike, outcome, worst_mean
from guardopt.falls import Floats, Stratum
from guardopt.planner import Aim, Best
from guardopt.program import Limits
from guardopt.scenario import Kit, Scenario
from guardopt.workbench import Workbench, on_bench

if TYPE_CHECKING:
    import pandas as pd

TIME_LIMIT = 60.0

QUANTILES = (0.1, 0.5, 0.9, 0.95, 0.99)

WORST_SHARE = 0.1

FINEST, COARSEST = 14, 20
"""Binary logarithms of the least and most grid points."""

FINEST_OF_ERRORS = 16
"""The same for the most points that standard errors are worked out on, which need not be known so finely."""

BLOCKS = 10
"""Parts of the sample whose spread gives standard errors."""

MOST_ERROR = 0.001
"""Width of the grid as a share of the mean, where the grid is long enough."""


def compound_poisson(severity: Floats, rate: float) -> Floats:
    """Probabilities of a compound Poisson sum at the points of the severity's grid.

    Parameters
    ----------
    severity
        ``(points,)``: probabilities of one cost of 0, h, 2h and so on; the grid has to be long enough that the sum
        hardly ever leaves it.
    rate
        Expected number of costs.
    """
    transform = np.fft.rfft(severity)
    return np.clip(np.fft.irfft(np.exp(rate * (transform - 1.0)), severity.size), 0.0, None)


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
            "status": "given" if self.best is None else "optimal" if self.best.proven else "time_limit",
            "gap": None if self.best is None else self.best.gap,
            "stock": self.stock.to_json(),
            "fitted": self.fitted.to_json(),
        }

    def _repr_html_(self) -> str:
        return str(self.table.to_html())


def forecast(
    subject: Scenario | Workbench, fit: Iterable[str] | None = None, *, time_limit: float | None = TIME_LIMIT
) -> Forecast:
    """Forecast the spread of what falls will cost over the years, as the bike stands and with a kit.

    Parameters
    ----------
    subject
        A scenario, or a workbench that holds one.
    fit
        Ids of the guards on the bike; an id without a side stands for all its sides. None takes the best kit for the
        scenario's budget.
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
        wrong_time_limit(time_limit),
        lambda: None if fit is None else legal_kit(scenario, known_guards(scenario, fit, "--fit")),
    )
    best, kit = None, given
    if kit is None:
        best = bench.planner.best(Aim.BILLS, Limits(scenario.budget_cents), seconds=time_limit)
        kit = best.kit
    stock, fitted = outlooks(bench, [scenario.stock, kit])
    return Forecast(scenario, stock, fitted, best)


def outlooks(bench: Workbench, kits: Sequence[Kit]) -> list[Outlook]:
    """The outlook with each of several kits, on the fresh sample."""
    bike = Bike(bench.scenario)
    fitted = [bike.kit_array(kit) for kit in kits]
    costs: list[list[_Costs]] = [[] for _ in kits]
    for stratum in bench.fresh(kits):
        for index, one in enumerate(fitted):
            costs[index].append(_costs(bike, stratum, one))
    return [_outlook(bench.scenario, kit, of_kit) for kit, of_kit in zip(kits, costs, strict=True)]


@dataclass(frozen=True)
class _Costs:
    """Costs of the falls of one stratum, how many a year each of them stands for, and which write the bike off."""

    cost: Floats
    per_year: float
    written_off: Floats

    def block(self, number: int) -> _Costs:
        """One of the parts of the sample, weighed as if it were the whole."""
        share = slice(number, None, BLOCKS)
        cost = self.cost[share]
        return _Costs(cost, self.per_year * self.cost.size / max(1, cost.size), self.written_off[share])


def _costs(bike: Bike, stratum: Stratum, fitted: np.ndarray) -> _Costs:
    one = outcome(bike, stratum, fitted)
    per_year = bike.scenario.falls[stratum.fall].per_year * stratum.share / stratum.falls
    return _Costs(one.owner_cost + one.renewals, per_year, one.written_off.astype(float))


def _outlook(scenario: Scenario, kit: Kit, costs: list[_Costs]) -> Outlook:
    step, points = _grid(scenario, costs)
    record = _numbers(scenario, costs, step, points)
    blocks = []
    if all(one.cost.size >= BLOCKS for one in costs):
        fewer = min(points, 1 << FINEST_OF_ERRORS)
        width = step * points / fewer
        blocks = [_numbers(scenario, [one.block(i) for one in costs], width, fewer) for i in range(BLOCKS)]
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


def _times(scenario: Scenario) -> tuple[Floats, Floats]:
    """Discount factors at times spread over the years, and their weights (Gauss and Legendre's points)."""
    if scenario.discount_rate == 0.0:
        return np.ones(1), np.ones(1)
    points, weights = np.polynomial.legendre.leggauss(8)
    return (1.0 + scenario.discount_rate) ** (-scenario.years * (points + 1.0) / 2.0), weights / 2.0


def _grid(scenario: Scenario, costs: list[_Costs]) -> tuple[float, int]:
    """Width and number of points: fine against the mean, and long enough that sums hardly ever leave the grid."""
    first = sum(scenario.years * one.per_year * one.cost.sum() for one in costs)
    second = sum(scenario.years * one.per_year * (one.cost**2).sum() for one in costs)
    largest = max(float(one.cost.max(initial=0.0)) if one.per_year else 0.0 for one in costs)
    if first == 0.0:
        return 1.0, 2
    reach = first + 12.0 * math.sqrt(second) + 4.0 * largest
    points = 1 << min(COARSEST, max(FINEST, math.ceil(math.log2(reach / (MOST_ERROR / 2 * first)))))
    return float(reach / points), points


def _numbers(scenario: Scenario, costs: list[_Costs], step: float, points: int) -> dict[str, Any]:
    factors, shares = _times(scenario)
    cost = np.concatenate([one.cost for one in costs])
    rate_of = np.repeat([one.per_year * scenario.years for one in costs], [one.cost.size for one in costs])
    happens = rate_of > 0.0
    places = np.multiply.outer(factors / step, cost[happens]).ravel()
    mass = _spread(places, np.multiply.outer(shares, rate_of[happens]).ravel(), points)
    rate = float(mass.sum())
    probability = compound_poisson(mass / rate, rate) if rate else np.eye(1, points)[0]
    amounts = step * np.arange(points, dtype=float)
    cumulative = np.cumsum(probability)
    mean = float(probability @ amounts)
    record: dict[str, Any] = {
        "probability": probability,
        "mean": mean,
        "sd": math.sqrt(max(0.0, float(probability @ (amounts - mean) ** 2))),
        "chance_of_nothing": math.exp(-sum(scenario.years * one.per_year * (one.cost > 0.0).sum() for one in costs)),
        "worst_tenth_mean": worst_mean(amounts, probability / probability.sum(), WORST_SHARE),
        "chance_written_off": -math.expm1(-sum(scenario.years * one.per_year * one.written_off.sum() for one in costs)),
    }
    for level in QUANTILES:
        record[f"{level:g}"] = float(amounts[min(int(np.searchsorted(cumulative, level)), points - 1)])
    return record


def _spread(places: Floats, weights: Floats, points: int) -> Floats:
    """``(points,)``: the weight of each cost put on the two grid points beside it so that its mean is kept."""
    below = np.floor(places).astype(np.int64)
    to_next = (places - below) * weights
    mass = np.zeros(points)
    mass += np.bincount(below, weights - to_next, points)
    mass += np.bincount(below + 1, to_next, points)
    return mass
