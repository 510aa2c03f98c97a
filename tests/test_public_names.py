"""The names that others may build on; one that is added or taken away is so on purpose."""

import guardopt

PUBLIC = [
    "Aim",
    "Bench",
    "BillReport",
    "BudgetCurve",
    "BudgetSlider",
    "BuyingOrder",
    "Estimate",
    "Forecast",
    "GuardoptError",
    "InputError",
    "Learned",
    "Log",
    "NO_LIMIT",
    "NoKitError",
    "OutOfTimeError",
    "Plan",
    "QuotedFile",
    "ReadyKits",
    "Reason",
    "Scenario",
    "SolverError",
    "Status",
    "Touchdown",
    "bill",
    "budgets",
    "estimate",
    "forecast",
    "kits",
    "learn",
    "load",
    "order",
    "plan",
    "plots",
    "quote",
    "quote_file",
    "touchdown",
    "try_values",
]


def test_public_names_are_these() -> None:
    """In the package's own list and in what an interactive session offers."""
    assert guardopt.__all__ == PUBLIC
    assert dir(guardopt) == PUBLIC


def test_every_public_name_is_there_and_documented() -> None:
    """Names are fetched when first used; each leads somewhere."""
    for name in PUBLIC:
        thing = getattr(guardopt, name)
        assert name == "NO_LIMIT" or (thing.__doc__ or "").strip()


def test_every_answer_has_a_table_and_a_record_and_shows_itself_in_a_notebook() -> None:
    """A reader who knows one answer knows where to look in the next."""
    answers = [
        "BillReport",
        "BudgetCurve",
        "BuyingOrder",
        "Estimate",
        "Forecast",
        "Learned",
        "Plan",
        "QuotedFile",
        "ReadyKits",
        "Touchdown",
    ]
    for name in answers:
        answer = getattr(guardopt, name)
        assert all(callable(getattr(answer, part)) for part in ("to_json", "_repr_html_"))
        assert isinstance(answer.table, property)


def test_an_unknown_name_is_an_error_like_any_other() -> None:
    """A slip of the pen is not taken for a module to load."""
    assert not hasattr(guardopt, "plann")
    assert not hasattr(guardopt, "__path_to_nowhere__")
