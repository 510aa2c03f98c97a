"""The numbers of the program that come from the sample: the sample average approximation of what falls cost."""

from __future__ import annotations

import numpy as np

from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.waiting import Waiting
from guardopt.model.scenario import Scenario
from guardopt.optimization.formulation import Terms
from guardopt.simulation.compiled import Bike


def terms_of(finder: FactFinder, scenario: Scenario, bike: Bike, bundles: int) -> tuple[Terms, Waiting]:
    """The numbers of the program under the scenario's rates and years, and what comes of what waits."""
    rates = np.array([fall.per_year for fall in scenario.falls])
    years_of = scenario.annuity * rates
    groups = np.arange(finder.group_fall.size)
    weights = np.zeros((bundles, groups.size))
    weights[finder.group_bundle, groups] = years_of[finder.group_fall]
    of_waiting = groups[np.isin(finder.group_bundle, finder.waits) & ~finder.group_is_kept]
    weights[finder.group_bundle[of_waiting], of_waiting] = rates[finder.group_fall[of_waiting]]
    floor, ceiling = weights @ finder.group_floor(finder.least_costs()), weights @ finder.group_ceiling
    amount = np.array([bike.costs.items[name].amount for name in finder.waits])
    waiting = Waiting(
        finder.waits, scenario.annuity * amount, scenario.repair_every, floor[finder.waits], ceiling[finder.waits]
    )
    terms = Terms(
        weights=weights,
        floor=waiting.bundled(floor),
        ceiling=waiting.bundled(ceiling),
        guard_cost=years_of @ finder.renewals + np.array([guard.dislike for guard in scenario.guards]),
        fixed_cost=float(years_of @ finder.fixed_cost),
    )
    return terms, waiting
