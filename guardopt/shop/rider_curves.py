"""The best kits of every budget for everything riders wish for, as ladders to look budgets up in.

Riders whose wish is the same differ in budget and in the multiple of their fall rates. A budget is looked up on the
budget curve. A multiple m of all rates makes what falls cost m times as much with every kit, so it changes the order of
kits only where something counts beside the falls: then a kit measures m·A + B, with A its cost over the years and B its
dislikes and, for the aim outlay, its price. Two multiples whose curves have the same kits have them in common with all
multiples in between, since the least of such lines is concave in m and a line that touches it at two places lies on it
from one to the other. Where damage waits, A grows less than in proportion, so each multiple has a ladder of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from guardopt.model.aims import BILLS, Aim, Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST
from guardopt.questions.bench import Bench
from guardopt.questions.bill import in_order
from guardopt.questions.budgets import curve
from guardopt.shop.shop import Shop, Wish
from guardopt.simulation.batch_pricing import mean_costs
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Kind, cost_items
from guardopt.simulation.repair_interval import put_right


@dataclass(frozen=True)
class Rung:
    """One step of a budget curve.

    Attributes
    ----------
    kit
        The ids of the guards on the bike, in the order of the scenario.
    spend_cents
        What the kit costs now: the least budget that has it.
    cost
        What falls cost over the years on the planning sample, at the rates as they are; on the ladder of a single
        multiple, what they cost at that one, divided by it.
    beside
        What counts beside that: dislikes and, for the aim outlay, what the kit costs to buy, resale taken off.
    """

    kit: tuple[str, ...]
    spend_cents: int
    cost: float
    beside: float


Ladder = tuple[Rung, ...]


@dataclass(frozen=True)
class Ladders:
    """The ladders of one wish: one for all multiples of the fall rates, or several where the order changes.

    Attributes
    ----------
    ladders
        Each from the least budget that has a kit to the most that money can do; empty if no kit is allowed.
    multiples, which
        The multiples asked for, rising, and for each the number of its ladder; empty if one ladder serves all.
    """

    ladders: tuple[Ladder, ...]
    multiples: tuple[float, ...] = ()
    which: tuple[int, ...] = ()

    def kits(self) -> Iterable[Kit]:
        """Every kit on any of the ladders."""
        return (frozenset(rung.kit) for ladder in self.ladders for rung in ladder)

    def to_json(self) -> dict[str, Any]:
        """A record that `from_json` reads back to the last digit."""
        ladders = [[[list(one.kit), one.spend_cents, one.cost, one.beside] for one in rungs] for rungs in self.ladders]
        return {"ladders": ladders, "multiples": list(self.multiples), "which": list(self.which)}

    @classmethod
    def from_json(cls, record: Mapping[str, Any]) -> Ladders:
        """The ladders of a record."""
        ladders = tuple(
            tuple(Rung(tuple(kit), spend, cost, beside) for kit, spend, cost, beside in rungs)
            for rungs in record["ladders"]
        )
        return cls(ladders, tuple(record["multiples"]), tuple(record["which"]))


@dataclass(frozen=True)
class LadderJob:
    """Ladders to be found together, because they are about the same bike, rates and guards owned.

    Jobs know nothing of each other: they can be done in any order, anywhere, and come out the same.

    Attributes
    ----------
    scenario
        The bike with these rates and guards.
    wants
        For each ladder the guards forced in and out, and the multiples asked for.
    aim
        What is to be least: ``bills`` or ``outlay``.
    """

    scenario: Scenario
    wants: tuple[tuple[Kit, Kit, tuple[float, ...]], ...]
    aim: Aim = BILLS


def rates_matter(scenario: Scenario, aim: Aim) -> bool:
    """Whether the multiple of the fall rates changes the order of kits: something counts beside the falls, or waits."""
    return aim.counts_price or scenario.waits or any(guard.dislike for guard in scenario.guards)


def ladder_jobs(
    shop: Shop, wishes: Sequence[Wish], multiples: Mapping[Wish, Iterable[float]], aim: Aim
) -> list[tuple[LadderJob, list[Wish]]]:
    """Divide wishes into jobs; each comes with the wishes that it answers, in its order.

    Parameters
    ----------
    shop
        The bikes.
    wishes
        What riders want, without repeats.
    multiples
        The multiples of the fall rates that riders of a wish have, where these matter.
    aim
        What is to be least.
    """
    together: dict[tuple[Any, ...], list[Wish]] = {}
    for wish in sorted(wishes, key=lambda one: one.sorting):
        together.setdefault(wish.sorting[:3], []).append(wish)
    jobs = []
    for group in together.values():
        wants = tuple((one.must, one.never, tuple(sorted(multiples.get(one, ())))) for one in group)
        jobs.append((LadderJob(shop.scenario_for(group[0]), wants, aim), group))
    return jobs


def find_ladders(job: LadderJob) -> list[Ladders]:
    """Do a job.

    Raises
    ------
    SolverError
        A step of a curve could not be proven best.
    """
    planner = Bench(job.scenario).planner
    return [_ladders(planner, job.aim, Limits(None, must, never), multiples) for must, never, multiples in job.wants]


def _ladders(planner: Planner, aim: Aim, limits: Limits, multiples: Sequence[float]) -> Ladders:
    if not multiples:
        return Ladders((_ladder(planner, aim, limits, 1.0),))
    if planner.scenario.waits:
        ladders = tuple(_ladder(planner, aim, limits, multiple) for multiple in multiples)
        return Ladders(ladders, tuple(multiples), tuple(range(len(multiples))))
    found: dict[int, Ladder] = {}

    def at(row: int) -> Ladder:
        if row not in found:
            found[row] = _ladder(planner, aim, limits, multiples[row])
        return found[row]

    def settle(low: int, high: int) -> None:
        """Fill in everything between two multiples that are known."""
        if [one.kit for one in at(low)] == [one.kit for one in at(high)]:
            found.update((row, at(low)) for row in range(low + 1, high))
        elif high - low > 1:
            middle = (low + high) // 2
            settle(low, middle)
            settle(middle, high)

    settle(0, len(multiples) - 1)
    different = {tuple(one.kit for one in ladder): ladder for ladder in (at(row) for row in range(len(multiples)))}
    numbers = {kits: number for number, kits in enumerate(different)}
    which = tuple(numbers[tuple(one.kit for one in at(row))] for row in range(len(multiples)))
    return Ladders(tuple(different.values()), tuple(multiples), which)


def _ladder(planner: Planner, aim: Aim, limits: Limits, multiple: float) -> Ladder:
    scenario = planner.scenario
    scaled = planner
    if multiple != 1.0:
        scaled = planner.with_rates([fall.per_year * multiple for fall in scenario.falls])
    steps = curve(scaled, aim, limits)
    ladder = []
    for step in steps:
        dislike = scenario.dislike(step.best.kit)
        if scenario.waits:
            cost = (scaled.measure(COST, step.best.kit) - dislike) / multiple if multiple else 0.0
        else:
            cost = planner.measure(COST, step.best.kit) - dislike
        beside = dislike + (scenario.laid_out(step.best.kit) if aim.counts_price else 0.0)
        ladder.append(Rung(tuple(in_order(scenario, step.best.kit)), step.spend_cents, cost, beside))
    return tuple(ladder)


@dataclass(frozen=True)
class PriceJob:
    """Kits of one bike to be priced on the same falls.

    Attributes
    ----------
    scenario
        The bike; its rates and owned guards do not matter.
    kits
        Each as ids in the order of the scenario.
    fresh
        Whether they are priced on fresh falls, or on those that plans are made on.
    """

    scenario: Scenario
    kits: tuple[tuple[str, ...], ...]
    fresh: bool = True


def price_kits(job: PriceJob) -> list[list[float]]:
    """What one fall of each kind costs with each kit, then how often in one fall each thing that waits comes about.

    Money in units of the currency to six decimals, and chances to nine. The decimals that are cut off depend on the
    order in which a machine adds; those that are left do not. `yearly_cost` adds them up.
    """
    kits = [frozenset(kit) for kit in job.kits]
    bench = Bench(job.scenario)
    strata = bench.fresh(kits) if job.fresh else iter(bench.sample)
    costs = mean_costs(Bike(job.scenario), strata, kits)
    noted = costs.noted.reshape(len(kits), costs.noted[0].size if kits else 0)
    rounded: list[list[float]] = np.hstack([np.round(costs.of_fall, 6), np.round(noted, 9)]).tolist()
    return rounded


def yearly_cost(scenario: Scenario, priced: Sequence[float], multiple: float = 1.0) -> float:
    """The yearly cost of a kit with all fall rates so many times as high, from what `price_kits` says of it."""
    rates = multiple * np.array([fall.per_year for fall in scenario.falls])
    kinds = rates.size
    amounts = np.array([item.amount for item in cost_items(scenario).items if item.kind is Kind.WAITS])
    often = rates @ np.array(priced[kinds:]).reshape(kinds, amounts.size)
    waited = put_right(amounts, often, scenario.repair_every)
    return float(rates @ np.array(priced[:kinds]) + waited.sum())


def price_jobs(
    shop: Shop, found: Mapping[Wish, Ladders], more: Mapping[Wish, Iterable[Kit]] = MappingProxyType({}), *, fresh: bool
) -> list[tuple[str, PriceJob]]:
    """One job for each bike: its kits on any ladder, the bare bike and the bikes as they stand, and `more` kits."""
    kits: dict[str, set[Kit]] = {}
    for wish, ladders in found.items():
        kits.setdefault(wish.bike, {frozenset()}).update({wish.owned, *ladders.kits(), *more.get(wish, ())})
    jobs = []
    for bike in sorted(kits):
        scenario = shop.load(bike)
        ordered = sorted(tuple(in_order(scenario, kit)) for kit in kits[bike])
        jobs.append((bike, PriceJob(replace(scenario, warnings=()), tuple(ordered), fresh)))
    return jobs
