"""What each kind of fall costs with a given kit: the question before any buying."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from guardopt.errors import InputError, Parameter, Problem
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench, on_bench
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import Bill, price
from guardopt.spelling import advice, shown

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class BillReport:
    """What falls cost with one kit on the bike.

    Attributes
    ----------
    scenario
        The bike and its falls.
    bill
        Means of one fall of each kind, and yearly sums.
    yearly_cost_se
        Standard error of the yearly cost; None if one simulated fall a stratum cannot tell.
    """

    scenario: Scenario
    bill: Bill
    yearly_cost_se: float | None

    @property
    def cost_over_years_se(self) -> float | None:
        """Standard error of the cost over the years."""
        return None if self.yearly_cost_se is None else self.scenario.annuity * self.yearly_cost_se

    @property
    def table(self) -> pd.DataFrame:
        """The same as `falls`."""
        return self.falls

    @property
    def falls(self) -> pd.DataFrame:
        """One row for each kind of fall."""
        import pandas as pd

        return pd.DataFrame(fall_rows(self.scenario, self.bill))

    @property
    def parts(self) -> pd.DataFrame:
        """One row for each part, the dearest a year first."""
        import pandas as pd

        table = pd.DataFrame(part_rows(self.scenario, self.bill))
        return table.sort_values("bill_per_year", ascending=False, kind="stable", ignore_index=True)

    def to_json(self) -> dict[str, Any]:
        """The report as ``bill --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "currency": self.scenario.currency,
            "fitted": in_order(self.scenario, self.bill.kit),
            "spend": self.scenario.spend_cents(self.bill.kit) / 100,
            "yearly_cost": self.bill.yearly_cost,
            "yearly_cost_se": self.yearly_cost_se,
            "cost_over_years": self.bill.cost_over_years,
            "cost_over_years_se": self.cost_over_years_se,
            "falls": [
                {**row, "parts": harm_rows(self.scenario, self.bill, index)}
                for index, row in enumerate(fall_rows(self.scenario, self.bill))
            ],
            "parts": part_rows(self.scenario, self.bill),
            "strip_down": [
                {"group": name, "bill_per_year": float(self.bill.strip_bill_per_year[row])}
                | _waited(self.bill.strip_put_right_per_year[row])
                for row, name in enumerate(Bike(self.scenario).costs.groups)
            ],
            "days_per_year": self.bill.days_per_year,
        }

    def _repr_html_(self) -> str:
        return f"{self.falls.to_html(index=False)}{self.parts.to_html(index=False)}"


def fall_rows(scenario: Scenario, bill: Bill) -> list[dict[str, Any]]:
    """One record for each kind of fall."""
    return [
        {
            "fall": fall.id,
            "per_year": fall.per_year,
            "repair_bill": float(bill.repair_bill[row]),
            "owner_cost": float(bill.owner_cost[row]),
            "renewals": float(bill.renewals[row]),
            "write_off_chance": float(bill.write_off_chance[row]),
            "off_road": float(bill.off_road[row]),
            "off_road_days": float(bill.days[row]),
        }
        for row, fall in enumerate(scenario.falls)
    ]


def part_rows(scenario: Scenario, bill: Bill) -> list[dict[str, Any]]:
    """One record for each part; of what it costs a year, `put_right_per_year` is what had waited."""
    return [
        {
            "part": part.id,
            "harmed_per_year": float(bill.part_harmed_per_year[row]),
            "bill_per_year": float(bill.part_bill_per_year[row]),
        }
        | ({"put_right_per_year": float(bill.part_put_right_per_year[row])} if part.waits else {})
        for row, part in enumerate(scenario.parts)
    ]


def _waited(amount: float) -> dict[str, float]:
    """What a group costs a year for parts that have waited, where there are such parts."""
    return {"put_right_per_year": float(amount)} if amount else {}


def harm_rows(scenario: Scenario, bill: Bill, fall: int) -> list[dict[str, Any]]:
    """One record for each part: what becomes of it in one fall of a kind, in the order of contact."""
    return [
        {
            "part": scenario.parts[row].id,
            "harmed_chance": float(bill.part_harmed[fall, row]),
            "bill": float(bill.part_bill[fall, row]),
        }
        for row in contact_order(scenario, scenario.falls[fall].id)
    ]


def contact_order(scenario: Scenario, fall: str) -> list[int]:
    """Rows of the parts in the order in which a kind of fall reaches them: by falling chance of being struck."""
    return sorted(range(len(scenario.parts)), key=lambda row: -scenario.hits[fall, scenario.parts[row].id])


def in_order(scenario: Scenario, kit: Kit) -> list[str]:
    """The ids of a kit in the order of the scenario."""
    return [guard.id for guard in scenario.guards if guard.id in kit]


def known_guards(scenario: Scenario, ids: Iterable[str], where: str) -> Kit:
    """Guards meant by ids that a person typed.

    Raises
    ------
    InputError
        Some ids are unknown; each is named, with the nearest known one.
    """
    known = {name for guard in scenario.guards for name in (guard.id, guard.row)}
    ids = list(ids)
    problems = [
        Problem(where, f"no guard {shown(name)} in this scenario{advice(name, sorted(known))}")
        for name in ids
        if name not in known
    ]
    if problems:
        raise InputError(problems)
    return scenario.expand(ids)


def forced_guards(scenario: Scenario, must: Iterable[str], never: Iterable[str]) -> tuple[Kit, Kit]:
    """Guards that a person typed to be forced in and out.

    Raises
    ------
    InputError
        Some ids are unknown; each is named, with the nearest known one.
    """
    problems: list[Problem] = []
    kits: list[Kit] = []
    for where, ids in ((Parameter("must"), must), (Parameter("never"), never)):
        try:
            kits.append(known_guards(scenario, ids, where))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return kits[0], kits[1]


def legal_kit(scenario: Scenario, kit: Kit) -> Kit:
    """The same kit, if its guards can all be on the bike at once.

    Raises
    ------
    InputError
        They cannot; every clash is named.
    """
    clashes = scenario.clashes(kit)
    if clashes:
        raise InputError([Problem(Parameter("fit"), clash) for clash in clashes])
    return kit


def bill(subject: Scenario | Bench, fit: Iterable[str] | None = None) -> BillReport:
    """What each kind of fall costs.

    Parameters
    ----------
    subject
        A scenario, or a bench that holds one.
    fit
        Ids of the guards on the bike, and no others; an id without a side stands for all its sides. None: the bike as
        it stands, with the guards its owner has. An empty list is the bare bike.

    Raises
    ------
    InputError
        An id is unknown, or the guards cannot all be on the bike.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.writing.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> folder.cleanup()
    >>> bare, fitted = guardopt.bill(scenario, []), guardopt.bill(scenario, ["engine_bar", "bar_slider"])
    >>> bare.falls["fall"].tolist()
    ['tip_over', 'slow_turn', 'low_side', 'head_on']
    >>> bool((fitted.falls["owner_cost"] <= bare.falls["owner_cost"]).all())
    True
    """
    bench = on_bench(subject)
    scenario = bench.scenario
    kit = scenario.stock if fit is None else legal_kit(scenario, known_guards(scenario, fit, Parameter("fit")))
    prices = price(Bike(scenario), bench.fresh([kit]), [kit])
    return BillReport(scenario, prices.bills[0], prices.standard_error(0))
