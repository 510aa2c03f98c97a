"""In which order to buy: the answer, month by month."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from guardopt.model.aims import Aim, Status
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import in_order

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Purchase:
    """What is bought in one month, counted from 0 for now.

    Attributes
    ----------
    take_off, put_on
        What comes off the bike, with or without anything to buy, and what goes on it: of what is bought all but what
        is left off, and what was left off before.
    sell
        What is sold: an owned guard that is off for good.
    fetches
        What it fetches.
    spend, purse
        What is paid, what is sold taken off, and what is left afterwards.
    yearly_cost
        What falls cost a year from then on, on the planning sample.
    kit
        What is on the bike from then on.
    """

    month: int
    buy: tuple[str, ...]
    take_off: tuple[str, ...]
    put_on: tuple[str, ...]
    spend: float
    purse: float
    yearly_cost: float
    kit: Kit
    sell: tuple[str, ...] = ()
    fetches: float = 0.0

    @property
    def left_off(self) -> tuple[str, ...]:
        """What is bought and stays off the bike for now."""
        return tuple(name for name in self.buy if name not in self.put_on)

    @property
    def put_back(self) -> tuple[str, ...]:
        """What goes on the bike and was had before."""
        return tuple(name for name in self.put_on if name not in self.buy)


@dataclass(frozen=True)
class BuyingOrder:
    """A course of buying.

    Attributes
    ----------
    aim
        What was to be least: ``bills`` or ``outlay``.
    steps
        The months in which something is bought, or taken off.
    losing
        The guards among them that save less than they cost beside the rest of the last kit.
    cost, bound
        Cost over the years along this course, dislikes included, and for the aim outlay what is paid for guards, resale
        taken off; and a value that no course is below.
    cost_if_waiting, wait_months
        The same if the last kit is bought only when all of it can be paid, and when that is.
    proven
        False if the search had to stop before the gap closed.
    is_out_of_time
        Whether the time limit, the last resort, had come by then.
    """

    scenario: Scenario
    aim: Aim
    put_by: float
    in_hand: float
    months: int
    steps: tuple[Purchase, ...]
    losing: tuple[str, ...]
    cost: float
    bound: float
    cost_if_waiting: float
    wait_months: int
    proven: bool
    is_out_of_time: bool = False

    @property
    def status(self) -> Status:
        """How the search ended."""
        if self.proven:
            return Status.OPTIMAL
        return Status.TIME_LIMIT if self.is_out_of_time else Status.EFFORT_LIMIT

    @property
    def table(self) -> pd.DataFrame:
        """One row for each month in which something is bought or taken off."""
        import pandas as pd

        return pd.DataFrame(self.to_json()["steps"])

    def to_json(self) -> dict[str, Any]:
        """The course as ``order --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "currency": self.scenario.currency,
            "aim": self.aim.name,
            "put_by": self.put_by,
            "in_hand": self.in_hand,
            "months": self.months,
            "steps": [
                {
                    "month": step.month,
                    "buy": list(step.buy),
                    "take_off": list(step.take_off),
                    "put_on": list(step.put_on),
                    "sell": list(step.sell),
                    "fetches": step.fetches,
                    "spend": step.spend,
                    "purse": step.purse,
                    "yearly_cost": step.yearly_cost,
                    "kit": in_order(self.scenario, step.kit),
                }
                for step in self.steps
            ],
            "losing": list(self.losing),
            "cost": self.cost,
            "bound": self.bound,
            "gap": (self.cost - self.bound) / max(1.0, abs(self.cost)),
            "status": self.status.value,
            "cost_if_waiting": self.cost_if_waiting,
            "wait_months": self.wait_months,
        }

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))
