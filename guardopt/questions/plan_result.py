"""A plan: which guards to buy, what they save and why, as tables and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

from guardopt.model.aims import Aim, Best, Status
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.alternatives import Alternative, NextStep, next_step
from guardopt.questions.bill import fall_rows, in_order, part_rows
from guardopt.questions.budgets import Step
from guardopt.questions.explanation.reasons import verdict_json
from guardopt.questions.explanation.verdicts import Reason, Verdict
from guardopt.simulation.pricing import Bill, Prices

if TYPE_CHECKING:
    import pandas as pd

    from guardopt.doubt.sureness_result import Sureness
    from guardopt.optimization.second_opinion import Opinion
    from guardopt.questions.break_even import BreakEven
    from guardopt.questions.measured.kit_lying import KitLying


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
        from guardopt.optimization.second_opinion import finite

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
    def next_step(self) -> NextStep | None:
        """What a little more than the budget would buy, for the aim bills; None where that saves less, or unknown."""
        if self.aim is not Aim.BILLS or self.budget_cents is None:
            return None
        return next_step(self.steps, self.budget_cents)

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
        """The answer in about ten lines: what to buy, what comes of it, what is still at risk, how sure it is."""
        from guardopt.questions.plan_headline import headline

        return headline(self)

    @property
    def closest_call(self) -> Verdict | None:
        """The guard to be bought that need only save a little less for a kit without it to do as well; None if none."""
        calls = [
            (one.least_shortfall, row, one)
            for row, (one, _) in enumerate(self.verdicts)
            if one.reason is Reason.PICKED and one.least_shortfall is not None
        ]
        return min(calls, key=lambda call: call[:2])[2] if calls else None

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
            "left_once_paid": self.ahead,
            "written_off_per_year": self.written_off_per_year,
            "check_first": None if self.closest_call is None else self.closest_call.guard,
            "falls": self._falls_json(),
            "next_step": None if self.next_step is None else self.next_step.to_json(self.scenario),
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
