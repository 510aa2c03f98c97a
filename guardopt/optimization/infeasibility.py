"""Why no kit keeps the limits, in words."""

from __future__ import annotations

from itertools import combinations

from guardopt.model.aims import Limits
from guardopt.model.scenario import Scenario
from guardopt.spelling import listed


def why_no_kit(scenario: Scenario, limits: Limits, least_cents: int | None) -> str:
    """What about the limits leaves no kit.

    Parameters
    ----------
    scenario
        The guards on offer.
    limits
        Budget, and guards forced in and out.
    least_cents
        The least that a kit costs which keeps them but for the budget; None if there is none, or it is not known.
    """
    must = [guard for guard in scenario.guards if guard.id in limits.must]
    reasons = [f"{guard.id} is forced in and ruled out as well" for guard in must if guard.id in limits.never]
    reasons += [
        f"{one.id} and {other.id} cannot both be fitted"
        for one, other in combinations(must, 2)
        if scenario.exclude_each_other(one, other)
    ]
    reasons += [
        f"{guard.id} needs {listed(sorted(alternatives))}, which is ruled out"
        if alternatives
        else f"{guard.id} needs a guard that is not on offer for its side"
        for guard in must
        for alternatives in guard.needs
        if alternatives <= limits.never
    ]
    names = listed([guard.id for guard in must], last="and")
    if not scenario.is_within_weight(limits.must):
        weight = scenario.weight_kg(limits.must)
        reasons.append(f"{names} would weigh {weight:g} kg, more than the limit of {scenario.max_weight_kg:g} kg")
    if not reasons and limits.budget_cents is not None and least_cents is not None:
        reasons.append(
            f"the least that a kit with {names} costs is {least_cents / 100:.2f}, more than the budget of "
            f"{limits.budget_cents / 100:.2f}"
        )
    return "; ".join(reasons) or "no kit satisfies the budget, the weight limit and what is forced in or out"
