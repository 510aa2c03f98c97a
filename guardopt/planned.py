"""A plan: which guards to buy, what they save and why, as tables and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

from guardopt.aims import Aim, Best, Status, status_of
from guardopt.billing import fall_rows, in_order, part_rows
from guardopt.bills import Bill, Prices
from guardopt.break_even import BreakEven
from guardopt.budget_curve import Step
from guardopt.explain import Reason, Verdict
from guardopt.layout import wrapped
from guardopt.pieces import Kit
from guardopt.scenario import Scenario
from guardopt.sentences import verdict_json
from guardopt.spelling import listed
from guardopt.sureness import Sureness
from guardopt.wording import exact_money, money, once_in, percent, save_less, years

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
        The bare bike, the bike as it stands and the bike with the kit, on a fresh and larger sample.
    verdicts
        For each guard, what became of it and a sentence that says why; empty if no reasons were asked for.
    steps
        The budget curve with the same guards forced in and out, found for the reasons; empty if there was no time for
        it, or no reasons were asked for.
    paying
        Where the kit, or some guard of it, saves less than it costs: the best kit for the aim outlay, if it was looked
        for.
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
    steps: tuple[Step, ...] = ()
    paying: Kit | None = None
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
        return status_of(self.best.proven)

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
    def loses(self) -> bool:
        """Whether something is to be bought that saves less than it costs, as far as the reasons tell."""
        return bool(self.losing) or (bool(self.bought) and self.ahead < 0.0)

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

    @property
    def headline(self) -> list[str]:
        """The answer: what to buy, what it costs, what it saves, what is still at risk."""
        currency = self.scenario.currency
        lines = [*wrapped(_to_do(self)), *wrapped(f"{_saved(self)}{_does_it_pay(self)}")]
        if self.aim is Aim.WORST:
            worst = money(self.best.objective, currency)
            lines += wrapped(f"The worst {percent(self.tail)} of falls then cost {worst} each on average.")
        lines += wrapped(_still_at_risk(self))
        if self.status is Status.TIME_LIMIT:
            lines += wrapped(
                f"The time ran out before this was proven best: another kit may be better by {percent(self.best.gap)} "
                "at most. A longer --time-limit narrows it."
            )
        return lines

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
        return f"<p>{'<br>'.join(map(escape, self.headline))}</p>{self.guards.to_html(index=False)}"


def _means(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key not in ("fall", "per_year")}


def _to_do(plan: Plan) -> str:
    """What to buy for how much, and what to take off."""
    scenario, currency = plan.scenario, plan.scenario.currency
    off = listed(in_order(scenario, scenario.stock - plan.kit), last="and")
    take_off = f" Take off {off}, which you own." if off else ""
    budget = None if plan.budget_cents is None else exact_money(plan.budget_cents, currency)
    if plan.bought:
        spend = exact_money(scenario.spend_cents(plan.kit), currency)
        of_budget = "with no limit to the budget" if budget is None else f"of a budget of {budget}"
        return f"Buy {listed(plan.bought, last='and')}: {spend} {of_budget}.{take_off}"
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
    less = "less" if plan.saving >= 0.0 else "more"
    return (
        f"Falls then cost about {money(plan.fitted.yearly_cost, currency)} a year instead of "
        f"{money(plan.stock.yearly_cost, currency)}: {money(abs(plan.saving), currency)} {less} over {span}"
        f"{_once_paid(plan)}."
    )


def _once_paid(plan: Plan) -> str:
    """What is left of the saving once the guards are paid, where something is."""
    if not plan.bought or plan.ahead < 0.0:
        return ""
    resale = ", resale counted" if plan.scenario.resale_value(plan.kit) else ""
    return f", and {money(plan.ahead, plan.scenario.currency)} of it is left once the guards are paid{resale}"


def _does_it_pay(plan: Plan) -> str:
    """A warning where something is to be bought that saves less than it costs, as the aims bills and worst may do."""
    if plan.aim is Aim.OUTLAY:
        return ""
    outlay = _what_outlay_does(plan)
    if plan.bought and plan.ahead < 0.0:
        less_resale = ", resale taken off" if plan.scenario.resale_value(plan.kit) else ""
        return f" The guards cost more than that{less_resale}; {outlay}."
    if not plan.losing:
        return ""
    return f" But {listed(plan.losing, last='and')} {save_less(len(plan.losing))}; {outlay}."


def _what_outlay_does(plan: Plan) -> str:
    """What the aim outlay does about it, with its kit where that is known and short."""
    if plan.paying is None:
        return "--aim outlay buys only what pays for itself"
    scenario = plan.scenario
    buys = in_order(scenario, plan.paying - scenario.stock)
    if not buys:
        return "--aim outlay buys nothing"
    spend = exact_money(scenario.spend_cents(plan.paying), scenario.currency)
    if plan.ahead >= 0.0 and plan.kit - plan.paying == set(plan.losing) and plan.paying < plan.kit:
        return f"--aim outlay leaves {'it' if len(plan.losing) == 1 else 'them'} out and spends {spend}"
    names = f": {listed(buys, last='and')}" if len(buys) <= NAMED_AT_MOST else ""
    return f"--aim outlay buys only what pays for itself{names} for {spend}"


def _still_at_risk(plan: Plan) -> str:
    scenario, currency = plan.scenario, plan.scenario.currency
    text = f"Still at risk: {money(plan.fitted.cost_over_years, currency)} over {years(scenario.years)}"
    if plan.written_off_per_year > 0.0:
        return f"{text}, and the bike written off {once_in(plan.written_off_per_year)}."
    return f"{text}; no simulated fall writes the bike off."
