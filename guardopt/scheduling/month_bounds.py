"""What no course of buying is below where its kits are too many to list: the best kit of each month's money by itself.

A course has in month t a kit x_t that the money saved by then pays for, whatever was bought before. Its cost (see
`purchase_courses`) is, payments summed by parts with v_{T+1} = 0 and spent_t the money spent by month t,

    Σ_t [w_t c(x_t) + (v_t − v_{t+1}) spent_t] − resale
        ≥  Σ_{t<T} w_t min_x [c(x) + κ spend(x)] + w_T min_x [c(x) + (v_T / w_T) (spend(x) − resale(x) / v_T)]

with κ = min over t < T of (v_t − v_{t+1}) / w_t and each minimum over the kits that the purse of its month pays for.
What is bought and not on the bike only adds to what is spent, but for an offer that costs less than a part of it: by
as much as offers can save in that way each month's money is raised and its spending lowered. spend(x) takes owned
guards that are off the bike as sold. κ is the same for all months but for rounding; as spent_t is no less than −C, with
C what all owned guards fetch, the sum is lowered by C Σ_{t<T} (v_t − v_{t+1} − κ w_t). An owned guard that is kept off
the bike because it fetches more in the end than now lowers it by the difference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from guardopt.deadline import Deadline
from guardopt.model.aims import Limits
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.measures import COST, OUTLAY
from guardopt.scheduling.lots import ROUNDING, Saving


@dataclass(frozen=True)
class MonthByMonth:
    """The best kit of each month's money by itself; None where none was found in time; and the bound that follows."""

    kits: tuple[Kit | None, ...]
    bound: float


def month_by_month(planner: Planner, saving: Saving, *, gap: float, deadline: Deadline) -> MonthByMonth:
    """The best kit of each month's money, and what no course is below.

    Parameters
    ----------
    planner, saving
        The bike, and how money comes in.
    gap
        Relative gap at which to stop in each month.
    deadline
        When to stop; its nodes are for all months together.
    """
    # The last month may have no share of the years at all; a share this small moves no sum.
    weights, worth = np.maximum(saving.weights, 1e-15), saving.worth
    last = saving.purse.size - 1
    interest = float(((worth[:-1] - worth[1:]) / weights[:-1]).min()) * (1.0 - ROUNDING) if last else 0.0
    each = Deadline(deadline.at, max(1, deadline.nodes // (last + 1)))
    early = _Weighed(planner, interest, 0.0) if interest > 0.0 else _Weighed(planner, None, 0.0)
    final = _Weighed(planner, float(worth[-1] / weights[-1]), float(1.0 / worth[-1])) if worth[-1] > 0.0 else early
    known = {(last, int(saving.purse[-1])): final.best(int(saving.purse[-1]), gap, each)}
    # From the most money down: cuts and bounds found for one budget hold for smaller ones.
    below = -np.inf
    for cents in sorted(set(saving.purse[:-1].tolist()), reverse=True):
        kit, bound = early.best(cents, gap, each)
        below = max(below, bound)
        known[0, cents] = kit, below
    found = [known[last if month == last else 0, int(cents)] for month, cents in enumerate(saving.purse)]
    parts = [weight * least for weight, (_, least) in zip(weights.tolist(), found, strict=True)]
    owned = [guard for guard in planner.scenario.guards if guard.owned]
    fetched = planner.scenario.sold_cents(()) / 100
    parts.append(-fetched * float((worth[:-1] - worth[1:] - interest * weights[:-1]).sum()))
    if worth[-1] > 0.0:
        kept = [(planner.scenario.resale_value([guard.id]), worth[-1] * guard.sells_cents / 100) for guard in owned]
        parts.append(-sum(max(0.0, back - now) for back, now in kept))
    return MonthByMonth(tuple(kit for kit, _ in found), sum(parts) - ROUNDING * sum(map(abs, parts)))


class _Weighed:
    """One month's program: what falls cost over the years, plus spend times interest, less resale.

    Parameters
    ----------
    planner
        The bike.
    interest
        What a unit of money spent counts; None for nothing, and resale then counts nothing either.
    resale
        What a unit of resale counts, beside a unit of spend.
    """

    def __init__(self, planner: Planner, interest: float | None, resale: float) -> None:
        self._interest = interest
        self._scenario = planner.scenario if interest is None else _scaled(planner.scenario, 1.0 / interest, resale)
        self._planner = planner if interest is None else planner.with_terms(self._scenario)

    def best(self, purse_cents: int, gap: float, deadline: Deadline) -> tuple[Kit | None, float]:
        """The best kit, None if none was found, and what none is below."""
        beyond = _hidden_saving(self._scenario)
        measure = COST if self._interest is None else OUTLAY
        found = self._planner.search(measure, Limits(purse_cents + beyond), gap=gap, deadline=deadline)
        kit = None if found.kit is None else self._planner.kit_of(found.kit)
        bound = max(found.bound, self._floor())
        return kit, bound if self._interest is None else self._interest * (bound - beyond / 100)

    def _floor(self) -> float:
        """A value that no kit is below, known before anything is searched for."""
        terms, scenario = self._planner.terms, self._scenario
        least = float(terms.floor.sum() + np.minimum(terms.guard_cost, 0.0).sum() + terms.fixed_cost)
        if self._interest is None:
            return least
        return least - scenario.resale_value(scenario.guard) - scenario.sold_cents(()) / 100


def _scaled(scenario: Scenario, falls: float, resale: float) -> Scenario:
    """The scenario where what falls cost over the years, dislikes included, counts so many times, and so does resale.

    The years are so many times as long and interest is left out, since of damage that waits twice as many falls do not
    cost twice as much.
    """
    at_the_end = resale * scenario.discount_at_end
    return replace(
        scenario,
        years=scenario.annuity * falls,
        discount_rate=0.0,
        guards=tuple(
            replace(guard, dislike=guard.dislike * falls, resale_share=guard.resale_share * at_the_end)
            for guard in scenario.guards
        ),
    )


def _hidden_saving(scenario: Scenario) -> int:
    """Cents that offers can save at most for who buys them for a part of what is in them.

    The rest of an offer costs what it does singly, less what it fetches in the end.
    """
    most = 0.0
    for offer in scenario.offers:
        saving = scenario.offer_saving_cents(offer)
        if saving:
            extra = [
                scenario.guard[name].spend_cents - 100 * scenario.resale_value([name])
                for name in scenario.bought_in(offer)
            ]
            most += max(0.0, saving - min(extra))
    return int(np.ceil(most))
