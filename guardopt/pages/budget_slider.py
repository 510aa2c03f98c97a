"""A budget to be moved in a live notebook, and the best kit for it; a plain table where nothing can be moved."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING, Any

from guardopt.model.scenario import Scenario
from guardopt.questions.bill import in_order
from guardopt.questions.budgets import BudgetCurve, Step
from guardopt.questions.plan_headline import guards_named
from guardopt.words import exact_money, money, years

if TYPE_CHECKING:
    import pandas as pd


class BudgetSlider:
    """Shows the best kit for a budget, in a notebook.

    With ipywidgets installed and a notebook that runs, a slider; otherwise, and where a stored notebook is only read, a
    table of round budgets.

    Parameters
    ----------
    curve
        The best kit for every budget, from `budgets`.
    now
        The budget to begin with. Default: that of the scenario, or the one up to which money pays.
    """

    def __init__(self, curve: BudgetCurve, now: float | None = None) -> None:
        own = curve.scenario.budget_cents
        self.curve = curve
        self.now = now if now is not None else curve.pays_until if own is None else own / 100

    def said(self, budget: float) -> str:
        """What is best for a budget, in a sentence or two."""
        scenario, currency = self.curve.scenario, self.curve.scenario.currency
        step = self.curve.at(round(budget * 100))
        amount = exact_money(round(budget * 100), currency)
        if step is None:
            least = exact_money(self.curve.steps[0].budget_cents, currency)
            return f"With {amount} there is no kit; the least costs {least}."
        bought, sold = _bought(scenario, step), sorted(scenario.stock - step.best.kit)
        buy = f"buy {guards_named(scenario, bought)}" if bought else "buy nothing"
        off = f", take off {guards_named(scenario, sold)}" if sold else ""
        spent = f", for {exact_money(step.spend_cents, currency)} in all" if bought or sold else ""
        return (
            f"With {amount}: {buy}{off}{spent}. "
            f"Falls then cost {money(step.cost_over_years, currency)} over {years(scenario.years)}."
        )

    @property
    def table(self) -> pd.DataFrame:
        """The kits that round budgets buy: from which budget on, what is bought, what falls cost over the years."""
        import pandas as pd

        scenario = self.curve.scenario
        rows = [
            {
                "from": step.budget_cents / 100,
                "buy": guards_named(scenario, _bought(scenario, step)) or "nothing",
                "falls cost": round(step.cost_over_years, 2),
            }
            for step in self.curve.thinned(step=self.curve.readable_step).steps
        ]
        return pd.DataFrame(rows)

    def widget(self) -> Any:
        """The slider with the sentence below it, as a widget of ipywidgets.

        Raises
        ------
        ImportError
            ipywidgets is not installed; the extra ``[notebook]`` brings it.
        """
        import ipywidgets

        most = max(self.curve.steps[-1].budget_cents / 100, self.now)
        slider = ipywidgets.FloatSlider(
            value=self.now,
            min=0.0,
            max=most,
            step=most / 200.0 if most else 1.0,
            description="Budget",
            readout_format=",.0f",
            layout=ipywidgets.Layout(width="95%"),
        )
        below = ipywidgets.HTML(html.escape(self.said(self.now)))

        def move(change: Any) -> None:
            below.value = html.escape(self.said(change["new"]))

        slider.observe(move, "value")
        return ipywidgets.VBox([slider, below])

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        """The table, and the slider for front ends that can show one."""
        table = self.table
        bundle = {"text/plain": table.to_string(index=False), "text/html": table.to_html(index=False)}
        try:
            live = self.widget()._repr_mimebundle_()
        except ImportError:
            return bundle
        return {**live, **bundle}


def _bought(scenario: Scenario, step: Step) -> list[str]:
    return in_order(scenario, step.best.kit - scenario.stock)
