"""How a bike lies with the kit of a plan, in sentences for reports and pages."""

from __future__ import annotations

from guardopt.questions.plan_result import Plan
from guardopt.reports.layout import plus_minus
from guardopt.spelling import listed
from guardopt.words import money

LARGE = 0.1
"""Share of the cost from which on tables and points are far apart."""


def lying_sentences(plan: Plan) -> list[str]:
    """On what the bike rests on either side, and what falls cost by that; none if nothing was measured."""
    lying, currency = plan.lying, plan.scenario.currency
    if lying is None:
        return []
    left, right = (listed(one.rests_on, last="and") for one in (lying.left, lying.right))
    found = [f"On its left it rests on {left}; on its right on {right}."]
    if lying.yearly_cost is None or lying.difference is None:
        return found
    more = "more" if lying.difference > 0.0 else "less"
    error = plus_minus(lying.yearly_cost_se)
    price = f"Priced once more by how it lies, falls cost {money(lying.yearly_cost, currency)} {error} a year with it"
    if not lying.is_telling:
        return [*found, f"{price}, and the chances in the tables agree with that."]
    found.append(f"{price}: {money(abs(lying.difference), currency)} {more} than the chances in the tables say.")
    if abs(lying.difference) > LARGE * lying.tables:
        found.append("guardopt estimate works out from the points what the tables would have to say.")
    return found
