"""The names that others may build on; one that is added or taken away is so on purpose."""

import guardopt

PUBLIC = [
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


def test_public_names_are_these() -> None:
    """In the package's own list and in what an interactive session offers."""
    assert guardopt.__all__ == PUBLIC
    assert dir(guardopt) == sorted([*PUBLIC, "__version__"])


def test_every_public_name_is_there_and_documented() -> None:
    """Names are fetched when first used; each leads somewhere."""
    for name in PUBLIC:
        thing = getattr(guardopt, name)
        assert name == "NO_LIMIT" or (thing.__doc__ or "").strip()


def test_an_unknown_name_is_an_error_like_any_other() -> None:
    """A slip of the pen is not taken for a module to load."""
    assert not hasattr(guardopt, "plann")
    assert not hasattr(guardopt, "__path_to_nowhere__")
