"""Which crash guards to buy for a motorcycle before the next fall, and why.

One idea carries the package: simulate the falls once; then every question is a small integer program over the same
facts. The letters used throughout:

======  ==============================================================================================
symbol  meaning
======  ==============================================================================================
x_i     1 if guard i is on the bike, else 0; x is the kit
f, λ_f  a kind of fall, and how many are expected a year
p_fi    chance that part i, if exposed, is struck in a fall of kind f on the bare bike
ρ       correlation of the strikes within one fall
S, ε_i  standard normal: how hard the fall is, shared by all parts, and the part's own luck
k, c_k  an item of a fall (a part harmed, a group stripped down) and its cost
r       a root of an item: a strike from the road that brings it about
j, g(j) a cover that holds against a strike, and the guard of it that is chosen for a fact
C_f     expected owner's cost of one fall, min(repair bill, cap)
R_f     expected renewals after one fall
θ_g     cost of a group of falls, bounded from below by facts
ā       present value of one unit of money a year for the years the bike is kept
======  ==============================================================================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from guardopt.billing import BillReport, bill
    from guardopt.budget_curve import BudgetCurve, budgets
    from guardopt.buying_order import BuyingOrder
    from guardopt.errors import GuardoptError, InputError, NoKitError, OutOfTimeError, SolverError
    from guardopt.kits_chosen import ReadyKits
    from guardopt.learning import Learned, learn
    from guardopt.outlook import Forecast, forecast
    from guardopt.planned import Plan
    from guardopt.plans import NO_LIMIT, plan
    from guardopt.quoting import quote
    from guardopt.reading import load
    from guardopt.ready_kits import kits
    from guardopt.saving_up import order
    from guardopt.scenario import Scenario
    from guardopt.what_if import sweep
    from guardopt.workbench import Workbench

__version__ = "0.1.0"

__all__ = [
    "NO_LIMIT",
    "BillReport",
    "BudgetCurve",
    "BuyingOrder",
    "Forecast",
    "GuardoptError",
    "InputError",
    "Learned",
    "NoKitError",
    "OutOfTimeError",
    "Plan",
    "ReadyKits",
    "Scenario",
    "SolverError",
    "Workbench",
    "bill",
    "budgets",
    "forecast",
    "kits",
    "learn",
    "load",
    "order",
    "plan",
    "quote",
    "sweep",
]

_HOMES = {
    "billing": ("BillReport", "bill"),
    "budget_curve": ("BudgetCurve", "budgets"),
    "buying_order": ("BuyingOrder",),
    "errors": ("GuardoptError", "InputError", "NoKitError", "OutOfTimeError", "SolverError"),
    "kits_chosen": ("ReadyKits",),
    "learning": ("Learned", "learn"),
    "outlook": ("Forecast", "forecast"),
    "planned": ("Plan",),
    "plans": ("NO_LIMIT", "plan"),
    "quoting": ("quote",),
    "reading": ("load",),
    "ready_kits": ("kits",),
    "saving_up": ("order",),
    "scenario": ("Scenario",),
    "what_if": ("sweep",),
    "workbench": ("Workbench",),
}


def __getattr__(name: str) -> object:
    """Fetch a public name when it is first used, so that a command that needs no solver loads none."""
    from importlib import import_module

    for module, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"guardopt.{module}"), name)
    raise AttributeError(f"module 'guardopt' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
