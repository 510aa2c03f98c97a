"""A plan: which guards to buy, what they save and why, as tables and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

from guardopt.doubt.sureness_result import Sureness
from guardopt.model.aims import Aim, Best, Status
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.optimization.second_opinion import Opinion, finite
from guardopt.questions.alternatives import Alternative
from guardopt.questions.bill import fall_rows, in_order, part_rows
from guardopt.questions.break_even import BreakEven
from guardopt.questions.budgets import Step
from guardopt.questions.kit_lying import KitLying
from guardopt.questions.reasons import verdict_json
from guardopt.questions.verdicts import Reason, Verdict
from guardopt.simulation.pricing import Bill, Prices
from guardopt.spelling import listed
from guardopt.words import days, exact_money, money, once_in, percent, save_less, wrapped, years

if TYPE_CHECKING:
    import pandas as pd


NAMED_AT_MOST = 3
"""Guards of another kit that the headline names."""


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
        The bare bike, the bike as it stands, the bike with the kit, and with each of the alternatives, on a fresh and
        larger sample.
    verdicts
        For each guard, what became of it and a sentence that says why; empty if no reasons were asked for.
    steps
        The budget curve with the same guards forced in and out, found for the reasons; empty if there was no time for
        it, or no reasons were asked for.
    paying
        Where the kit, or some guard of it, saves less than it costs: the best kit for the aim outlay, if it was looked
        for.
    alternatives
        The kits that come next, if reasons were asked for.
    sureness
        How the kit fares if all guesses are doubted, if asked for.
    break_even
        For each guard, between which multiples of the fall rates it is worth having, if asked for.
    lying
        How the bike lies with the kit, and what falls cost by that; None if nothing was measured.
    second_opinion
        What another solver says of the same question, if one was asked.
    """

    scenario: Scenario
    aim: Aim
    budget_cents: int | None
    tail: float
    best: Best
    prices: Prices
    verdicts: tuple[tuple[Verdict, str], ...]
    steps: tuple[Step, ...] = ()
    paying: Kit | None = None
    alternatives: tuple[Alternative, ...] = ()
    sureness: Sureness | None = None
    break_even: dict[str, BreakEven] | None = None
    lying: KitLying | None = None
    second_opinion: Opinion | None = None

    @property
    def kit(self) -> Kit:
        """The ids of the guards on the bike, those owned already included."""
        return self.best.kit

    def _second_opinion(self) -> dict[str, Any]:
        one = self.second_opinion
        if one is None:
            return {}
        agrees = not one.contradicts(self.best.objective)
        known = {"objective": None if one.kit is None else one.value, "bound": finite(one.bound)}
        return {"second_opinion": {"solver": one.solver, **known, "agrees": agrees}}

    @property
    def buy(self) -> list[str]:
        """The guards to buy, in the order of the scenario."""
        return in_order(self.scenario, self.kit - self.scenario.stock)

    @property
    def spend(self) -> float:
        """What the kit costs now, fitting included and offers taken."""
        return self.scenario.spend_cents(self.kit) / 100

    @property
    def status(self) -> Status:
        """Whether the kit is proven best to the gap asked for."""
        return self.best.status

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
    def saving_over_years(self) -> float:
        """What the kit saves over the years against the bike as it stands, before what it costs to buy."""
        return self.stock.cost_over_years - self.fitted.cost_over_years

    @property
    def saving_over_years_se(self) -> float | None:
        """Standard error of the saving; small, since both bikes meet the same falls."""
        return self._over_years(self.prices.saving_standard_error(1, 2))

    def _over_years(self, yearly: float | None) -> float | None:
        return None if yearly is None else self.scenario.annuity * yearly

    @property
    def ahead(self) -> float:
        """What is left of the saving once the guards are paid, what they fetch at the end counted."""
        return self.saving_over_years - self.scenario.changed_for(self.kit)

    @property
    def loses(self) -> bool:
        """Whether something is to be bought that saves less than it costs, as far as the reasons tell."""
        return bool(self.losing) or (bool(self.buy) and self.ahead < 0.0)

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
    def table(self) -> pd.DataFrame:
        """The same as `guards`."""
        return self.guards

    @property
    def guards(self) -> pd.DataFrame:
        """One row for each guard of the scenario, with the fields of its verdict."""
        import pandas as pd

        return pd.DataFrame(self._guards_json())

    @property
    def falls(self) -> pd.DataFrame:
        """One row for each kind of fall, with the bike bare, as it stands and fitted."""
        import pandas as pd

        bikes = zip(("bare", "stock", "fitted"), self.prices.bills[:3], strict=True)
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

    @property
    def headline(self) -> list[str]:
        """The answer: what to buy, what it costs, what it saves, what is still at risk."""
        currency = self.scenario.currency
        lines = [*wrapped(_to_do(self)), *wrapped(f"{_saved(self)}{_does_it_pay(self)}")]
        if not self.aim.adds_up:
            worst = money(self.best.objective, currency)
            lines += wrapped(f"The worst {percent(self.tail)} of falls then cost {worst} each on average.")
        lines += [*wrapped(_still_at_risk(self)), *wrapped(_days_without(self)), *wrapped(_nearly_as_good(self))]
        if self.status is not Status.OPTIMAL:
            lines += wrapped(
                "The search stopped before this was proven best: another kit may be better by "
                f"{percent(self.best.gap)} at most. A longer search narrows it."
            )
        opinion = self.second_opinion
        if opinion is not None:
            agrees = (
                "finds nothing better"
                if not opinion.contradicts(self.best.objective)
                else (f"calls {opinion.bound:.2f} the least there can be, which this kit shows to be wrong")
            )
            lines += wrapped(f"Asked for a second opinion, {opinion.solver} {agrees}.")
        return lines

    def to_json(self) -> dict[str, Any]:
        """The plan as ``plan --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "currency": self.scenario.currency,
            "aim": self.aim.name,
            "budget": None if self.budget_cents is None else self.budget_cents / 100,
            "kit": in_order(self.scenario, self.kit),
            "buy": self.buy,
            "spend": self.spend,
            "status": self.status.value,
            **self._second_opinion(),
            "objective": self.best.objective,
            "bound": self.best.bound,
            "gap": self.best.gap,
            "stock": self._priced_json(1),
            "fitted": self._priced_json(2),
            "saving_over_years": self.saving_over_years,
            "saving_over_years_se": self.saving_over_years_se,
            "falls": self._falls_json(),
            "alternatives": [one.to_json(self.scenario) for one in self.alternatives],
            "guards": self._guards_json(),
            **({} if self.sureness is None else {"sureness": self.sureness.to_json()}),
            **({} if self.lying is None else {"lying": self.lying.to_json()}),
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
            "days_per_year": self.prices.bills[index].days_per_year,
        }

    def _falls_json(self) -> list[dict[str, Any]]:
        stock, fitted = fall_rows(self.scenario, self.stock), fall_rows(self.scenario, self.fitted)
        return [
            {"fall": after["fall"], "per_year": after["per_year"], "stock": _means(before), "fitted": _means(after)}
            for before, after in zip(stock, fitted, strict=True)
        ]

    def _repr_html_(self) -> str:
        return f"<p>{'<br>'.join(map(escape, self.headline))}</p>{self.guards.to_html(index=False)}"


def _means(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key not in ("fall", "per_year")}


def _to_do(plan: Plan) -> str:
    """What to buy for how much, what to sell, and what to take off."""
    scenario, currency = plan.scenario, plan.scenario.currency
    off = in_order(scenario, scenario.stock - plan.kit)
    sold = [name for name in off if scenario.guard[name].sells_cents]
    kept = [name for name in off if name not in sold]
    fetched = exact_money(scenario.sold_cents(plan.kit), currency)
    sell = f" Sell {listed(sold, last='and')}, which you own, for {fetched}." if sold else ""
    take_off = f"{sell} Take off {listed(kept, last='and')}, which you own." if kept else sell
    budget = None if plan.budget_cents is None else exact_money(plan.budget_cents, currency)
    if plan.buy:
        price = exact_money(scenario.bought_cents(plan.kit), currency)
        of_budget = "with no limit to the budget" if budget is None else f"of a budget of {budget}"
        if not sold:
            return f"Buy {listed(plan.buy, last='and')}: {price} {of_budget}.{take_off}"
        spend = scenario.spend_cents(plan.kit)
        rest = (
            f"that leaves {exact_money(-spend, currency)} over"
            if spend < 0
            else f"that takes {exact_money(spend, currency)} {of_budget}"
        )
        return f"Buy {listed(plan.buy, last='and')} for {price}.{take_off} In all {rest}."
    if off:
        return f"Buy nothing.{take_off}"
    within = "" if budget is None else f"within {budget} "
    return f"Buy nothing: {within}no guard improves on the bike as it stands."


def _saved(plan: Plan) -> str:
    """What falls cost before and after."""
    currency, span = plan.scenario.currency, years(plan.scenario.years)
    if plan.scenario.discount_rate:
        span += f" at {100 * plan.scenario.discount_rate:g} % interest"
    if plan.kit == plan.scenario.stock:
        return f"Falls cost about {money(plan.fitted.yearly_cost, currency)} a year."
    less = "less" if plan.saving_over_years >= 0.0 else "more"
    return (
        f"Falls then cost about {money(plan.fitted.yearly_cost, currency)} a year instead of "
        f"{money(plan.stock.yearly_cost, currency)}: {money(abs(plan.saving_over_years), currency)} {less} over {span}"
        f"{_once_paid(plan)}."
    )


def _once_paid(plan: Plan) -> str:
    """What is left of the saving once the guards are paid, where something is."""
    if not plan.buy or plan.ahead < 0.0:
        return ""
    resale = ", resale counted" if plan.scenario.resale_value(plan.kit) else ""
    return f", and {money(plan.ahead, plan.scenario.currency)} of it is left once the guards are paid{resale}"


def _does_it_pay(plan: Plan) -> str:
    """A warning where something is to be bought that saves less than it costs, as the aims bills and worst may do."""
    if plan.aim.counts_price:
        return ""
    outlay = _what_outlay_does(plan)
    if plan.buy and plan.ahead < 0.0:
        less_resale = ", resale taken off" if plan.scenario.resale_value(plan.kit) else ""
        return f" The guards cost more than that{less_resale}; {outlay}."
    if not plan.losing:
        return ""
    return f" But {listed(plan.losing, last='and')} {save_less(len(plan.losing))}; {outlay}."


def _what_outlay_does(plan: Plan) -> str:
    """What the aim outlay does about it, with its kit where that is known and short."""
    if plan.paying is None:
        return "the aim outlay buys only what pays for itself"
    scenario = plan.scenario
    buys = in_order(scenario, plan.paying - scenario.stock)
    if not buys:
        return "the aim outlay buys nothing"
    spend = exact_money(scenario.spend_cents(plan.paying), scenario.currency)
    if plan.ahead >= 0.0 and plan.kit - plan.paying == set(plan.losing) and plan.paying < plan.kit:
        return f"the aim outlay leaves {'it' if len(plan.losing) == 1 else 'them'} out and spends {spend}"
    names = f": {listed(buys, last='and')}" if len(buys) <= NAMED_AT_MOST else ""
    return f"the aim outlay buys only what pays for itself{names} for {spend}"


def _still_at_risk(plan: Plan) -> str:
    scenario, currency = plan.scenario, plan.scenario.currency
    text = f"Still at risk: {money(plan.fitted.cost_over_years, currency)} over {years(scenario.years)}"
    if plan.written_off_per_year > 0.0:
        return f"{text}, and the bike written off {once_in(plan.written_off_per_year)}."
    return f"{text}; no simulated fall writes the bike off."


def _days_without(plan: Plan) -> str:
    """Days a year that the bike is off the road, where some part has days."""
    bare, stock, fitted = (bill.days_per_year for bill in plan.prices.bills[:3])
    if bare == fitted == 0.0:
        return ""
    stands = f", {days(stock)} as it stands" if plan.scenario.stock and plan.kit != plan.scenario.stock else ""
    return f"Off the road {days(fitted)} a year; the bare bike would be {days(bare)}{stands}."


def _nearly_as_good(plan: Plan) -> str:
    """Kits that the simulation cannot tell from this one, by what they have more and less."""
    told = []
    for one in plan.alternatives:
        if one.may_be_luck:
            less, more = in_order(plan.scenario, plan.kit - one.kit), in_order(plan.scenario, one.kit - plan.kit)
            parts = [f"without {listed(less, last='and')}"] * bool(less) + [f"with {listed(more, last='and')}"] * bool(
                more
            )
            told.append(" and ".join(parts))
    return f"Nearly as good, within the luck of the simulation: {'; '.join(told)}." if told else ""
