"""The main question: which guards to buy, proven best, with the reason for every guard."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import numpy as np

from guardopt.asking import budget_cents, with_problems, wrong_aim, wrong_budget, wrong_gap, wrong_time_limit
from guardopt.billing import fall_rows, forced_guards, in_order, part_rows
from guardopt.bills import Bike, Bill, Prices, outcome, price, worst_mean
from guardopt.break_even import BreakEven
from guardopt.break_even import break_even as find_break_even
from guardopt.budget_curve import Step, curve
from guardopt.errors import Problem, SolverError
from guardopt.explain import NOTHING, Question, Reason, Verdict, explain
from guardopt.falls import Stratum
from guardopt.planner import GAP, Aim, Best
from guardopt.program import Limits
from guardopt.scenario import Kit, Scenario
from guardopt.sentences import sentence
from guardopt.sureness import Sureness, sureness
from guardopt.workbench import TAIL, Workbench

if TYPE_CHECKING:
    import pandas as pd

TIME_LIMIT = 60.0
"""Seconds after which the best kit so far is reported. Everyday catalogues take two."""

NO_LIMIT = math.inf
"""A budget without limit, where the scenario has one."""

RECOMPUTED = 1e-7
"""Relative difference at which the planner's measure of a kit and its own price on the same falls disagree."""


class Status(StrEnum):
    """How the search ended."""

    OPTIMAL = "optimal"
    TIME_LIMIT = "time_limit"


@dataclass(frozen=True)
class Plan:
    """Which guards to buy, what they save and why.

    Attributes
    ----------
    scenario
        What was asked about.
    aim, budget_cents, tail
        What was to be least, within which budget in whole cents (None: no limit), and the share of worst falls.
    best
        The kit with its objective and bound, on the planning sample.
    prices
        The bare bike, the bike as it stands and the bike with the kit, on a fresh and larger sample.
    verdicts
        For each guard, what became of it and a sentence that says why; empty if no reasons were asked for.
    sureness
        How the kit fares under other fall rates, if asked for.
    break_even
        For each guard, between which multiples of the fall rates it is worth having, if asked for.
    """

    scenario: Scenario
    aim: Aim
    budget_cents: int | None
    tail: float
    best: Best
    prices: Prices
    verdicts: tuple[tuple[Verdict, str], ...]
    sureness: Sureness | None = None
    break_even: dict[str, BreakEven] | None = None

    @property
    def kit(self) -> Kit:
        """The ids of the guards on the bike, those owned already included."""
        return self.best.kit

    @property
    def bought(self) -> list[str]:
        """The guards to buy, in the order of the scenario."""
        return in_order(self.scenario, self.kit - self.scenario.stock)

    @property
    def spend(self) -> float:
        """What the kit costs now, fitting included and offers taken."""
        return self.scenario.spend_cents(self.kit) / 100

    @property
    def status(self) -> Status:
        """Whether the kit is proven best to the gap asked for."""
        return Status.OPTIMAL if self.best.proven else Status.TIME_LIMIT

    @property
    def bare(self) -> Bill:
        """What the bike costs without any guard."""
        return self.prices.bills[0]

    @property
    def stock(self) -> Bill:
        """What the bike costs as it stands."""
        return self.prices.bills[1]

    @property
    def fitted(self) -> Bill:
        """What the bike costs with the kit."""
        return self.prices.bills[2]

    @property
    def saving(self) -> float:
        """What the kit saves over the years against the bike as it stands, before what it costs to buy."""
        return self.stock.cost_over_years - self.fitted.cost_over_years

    @property
    def saving_se(self) -> float | None:
        """Standard error of the saving; small, since both bikes meet the same falls."""
        return self._over_years(self.prices.saving_standard_error(1, 2))

    def _over_years(self, yearly: float | None) -> float | None:
        return None if yearly is None else self.scenario.annuity * yearly

    @property
    def ahead(self) -> float:
        """What is left of the saving once the guards are paid, what they fetch at the end counted."""
        return self.saving - self.scenario.laid_out(self.kit)

    @property
    def losing(self) -> list[str]:
        """The guards picked that save less than they cost beside the rest of the kit; none without reasons."""
        return [one.guard for one, _ in self.verdicts if one.reason is Reason.PICKED and one.swap.is_a_loss]

    @property
    def written_off_per_year(self) -> float:
        """How often a year the bike is written off with the kit on."""
        chances = zip(self.scenario.falls, self.fitted.write_off_chance, strict=True)
        return sum(fall.per_year * float(chance) for fall, chance in chances)

    @property
    def guards(self) -> pd.DataFrame:
        """One row for each guard of the scenario, with the fields of its verdict."""
        import pandas as pd

        return pd.DataFrame(self._guards_json())

    @property
    def falls(self) -> pd.DataFrame:
        """One row for each kind of fall, with the bike bare, as it stands and fitted."""
        import pandas as pd

        bikes = zip(("bare", "stock", "fitted"), self.prices.bills, strict=True)
        tables = {name: pd.DataFrame(fall_rows(self.scenario, one)) for name, one in bikes}
        first = tables["bare"][["fall", "per_year"]]
        rest = [table.drop(columns=["fall", "per_year"]).add_prefix(f"{name}_") for name, table in tables.items()]
        return pd.concat([first, *rest], axis=1)

    @property
    def parts(self) -> pd.DataFrame:
        """One row for each part, what it costs a year as the bike stands and with the kit; the dearest left first."""
        import pandas as pd

        before, after = (pd.DataFrame(part_rows(self.scenario, one)) for one in (self.stock, self.fitted))
        table = before.merge(after, on="part", suffixes=("_stock", "_fitted"))
        return table.sort_values("bill_per_year_fitted", ascending=False, kind="stable", ignore_index=True)

    def to_json(self) -> dict[str, Any]:
        """The plan as ``plan --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "currency": self.scenario.currency,
            "aim": self.aim.value,
            "budget": None if self.budget_cents is None else self.budget_cents / 100,
            "kit": in_order(self.scenario, self.kit),
            "buy": self.bought,
            "spend": self.spend,
            "status": self.status.value,
            "objective": self.best.objective,
            "bound": self.best.bound,
            "gap": self.best.gap,
            "stock": self._priced_json(1),
            "fitted": self._priced_json(2),
            "saving_over_years": self.saving,
            "saving_over_years_se": self.saving_se,
            "falls": self._falls_json(),
            "guards": self._guards_json(),
            **({} if self.sureness is None else {"sureness": self.sureness.to_json()}),
        }

    def _guards_json(self) -> list[dict[str, Any]]:
        records = {verdict.guard: verdict_json(verdict, text) for verdict, text in self.verdicts}
        for guard, worth in (self.break_even or {}).items():
            record = records.setdefault(guard, {"guard": guard, "picked": guard in self.kit})
            record |= {
                "worth_it_from": worth.worth_it_from,
                "worth_it_until": worth.worth_it_until,
                "worth_it_known": worth.is_known,
            }
        return list(records.values())

    def _priced_json(self, index: int) -> dict[str, float | None]:
        error = self.prices.standard_error(index)
        return {
            "yearly_cost": self.prices.bills[index].yearly_cost,
            "yearly_cost_se": error,
            "cost_over_years": self.prices.bills[index].cost_over_years,
            "cost_over_years_se": self._over_years(error),
        }

    def _falls_json(self) -> list[dict[str, Any]]:
        stock, fitted = fall_rows(self.scenario, self.stock), fall_rows(self.scenario, self.fitted)
        return [
            {"fall": after["fall"], "per_year": after["per_year"], "stock": _means(before), "fitted": _means(after)}
            for before, after in zip(stock, fitted, strict=True)
        ]

    def _repr_html_(self) -> str:
        from guardopt.text import plan_headline

        return f"<p>{'<br>'.join(plan_headline(self))}</p>{self.guards.to_html(index=False)}"


def _means(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key not in ("fall", "per_year")}


OF_PICKED = ("loss_if_dropped", "loss_if_barred", "pays_back_years")
OF_LEFT_OUT = ("gain_if_added", "loss_if_forced", "enters_at_budget", "enters_at_price")


def verdict_json(verdict: Verdict, text: str) -> dict[str, Any]:
    """A verdict with those of its numbers that go with being picked, or with being left out."""
    numbers = OF_PICKED if verdict.picked else OF_LEFT_OUT
    return {
        "guard": verdict.guard,
        "picked": verdict.picked,
        "price": verdict.price,
        "spend": verdict.spend,
        "reason": verdict.reason.value,
        "text": text,
        **{name: getattr(verdict, name) for name in numbers},
    }


def plan(
    subject: Scenario | Workbench,
    *,
    budget: float | None = None,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    tail: float = TAIL,
    gap: float = GAP,
    time_limit: float | None = TIME_LIMIT,
    solver: str = "HiGHS",
    reasons: bool = True,
    sure: int | None = None,
    break_even: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> Plan:
    """Choose the guards to buy.

    Parameters
    ----------
    subject
        A scenario, or a workbench that holds one; the latter has its own tail and solver.
    budget
        Most to spend, fitting included, in units of the currency; None takes the scenario's, `NO_LIMIT` lifts it.
    aim
        ``bills``, ``outlay`` or ``worst``.
    must, never
        Guards forced in and out; an id without a side stands for all its sides.
    tail
        For the aim ``worst``: the share of falls that count as the worst, above 0 and at most 1.
    gap
        Relative gap at which a kit counts as proven best.
    time_limit
        Seconds for the search, the reasons and the doubts; the best kit found by then comes back with its honest gap,
        numbers in the reasons that could not be worked out are None, and sureness and break-even say how far they got.
        None lifts the limit.
    solver
        Name of a solver that PuLP knows.
    reasons
        Whether to say of each guard why it was picked or left out.
    sure
        How many sets of other fall rates to try the kit on; None: none.
    break_even
        Whether to find out between which multiples of the fall rates each guard is worth its price.
    progress
        Told what is being worked on.

    Raises
    ------
    InputError
        An id is unknown or a number is out of range.
    NoKitError
        No kit satisfies the budget, the weight limit and what is forced.
    SolverError
        The solver failed, or its answer did not survive being recomputed.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> made = guardopt.plan(scenario, budget=100)
    >>> made.bought, made.spend, made.status.value
    (['frame_slider.left', 'exhaust_slider'], 87.0, 'optimal')
    >>> made.saving > 5 * made.saving_se
    True
    """
    end = None if time_limit is None else time.monotonic() + time_limit
    bench = subject if isinstance(subject, Workbench) else Workbench(subject, tail, solver)
    scenario = bench.scenario
    problems = [*wrong_budget(budget), *wrong_aim(aim), *_wrong_tail(bench.tail)]
    problems += [*wrong_gap(gap), *wrong_time_limit(time_limit), *_wrong_draws(sure)]
    forced = with_problems(problems, lambda: forced_guards(scenario, must, never))
    limits = Limits(budget_cents(scenario, budget), *forced)
    progress("simulating falls")
    sample, planner = bench.sample, bench.planner
    progress("looking for the best kit")
    best = planner.best(Aim(aim), limits, gap=gap, seconds=time_limit)
    _recompute(planner.bike, sample, Aim(aim), best, bench.tail)
    verdicts: tuple[tuple[Verdict, str], ...] = ()
    if reasons:
        progress("working out the reasons")
        steps = curve(planner, Aim(aim), limits, gap=gap, end=end)
        _check_against(best, limits, steps, gap)
        question = Question(planner, Aim(aim), limits, best, steps, gap, end)
        verdicts = tuple((one, sentence(question, one)) for one in explain(question, sample))
    doubts = None
    if sure is not None:
        progress("trying other fall rates")
        doubts = sureness(planner, Aim(aim), limits, best.kit, draws=sure, gap=gap, end=end)
    worth = None
    if break_even:
        progress("looking for the falls from which guards are worth it")
        worth = find_break_even(planner, limits, gap=gap, end=end)
    progress("pricing the kit on fresh falls")
    kits = [frozenset[str](), scenario.stock, best.kit]
    prices = price(planner.bike, bench.fresh(kits), kits)
    return Plan(scenario, Aim(aim), limits.budget_cents, bench.tail, best, prices, verdicts, doubts, worth)


def _wrong_tail(tail: float) -> list[Problem]:
    if 0.0 < tail <= 1.0:
        return []
    return [Problem("--tail", f"found {tail:g}, expected a share above 0 and at most 1")]


def _wrong_draws(draws: int | None) -> list[Problem]:
    if draws is None or draws >= 1:
        return []
    return [Problem("--sure", f"found {draws}, expected at least 1")]


def _check_against(best: Best, limits: Limits, steps: Sequence[Step], gap: float) -> None:
    """Compare with the budget curve, which is found another way where kits are few; refuse a kit that it beats."""
    budget = math.inf if limits.budget_cents is None else limits.budget_cents
    reached = [step.best.objective for step in steps if step.budget_cents <= budget]
    if reached and best.proven and reached[-1] < best.bound - gap * max(1.0, abs(best.bound)) - NOTHING:
        raise SolverError(
            f"the solver called {best.bound:.4f} the least there can be, but a kit was found at {reached[-1]:.4f}"
        )


def _recompute(bike: Bike, sample: Sequence[Stratum], aim: Aim, best: Best, tail: float) -> None:
    """Work out the objective again from the kit alone, by plain pricing; refuse to report one that differs."""
    scenario = bike.scenario
    if aim is Aim.WORST:
        fitted = bike.kit_array(best.kit)
        rates = np.array([fall.per_year for fall in scenario.falls])
        mix = rates / rates.sum() if rates.any() else rates
        costs = np.concatenate([outcome(bike, one, fitted).owner_cost for one in sample])
        weights = np.concatenate([np.full(one.falls, mix[one.fall] * one.share / one.falls) for one in sample])
        again = worst_mean(costs, weights, tail)
    else:
        again = price(bike, sample, [best.kit], errors=False).bills[0].cost_over_years + scenario.dislike(best.kit)
        if aim is Aim.OUTLAY:
            again += scenario.laid_out(best.kit)
    if abs(again - best.objective) > RECOMPUTED * max(1.0, abs(again)):
        raise SolverError(
            f"the kit's objective came out as {best.objective:.6f}, but pricing it again gives {again:.6f}"
        )
