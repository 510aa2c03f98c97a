"""How messages quote what was found, guess what was meant and explain how a number is written."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guardopt.number_faults import PLAIN_NUMBER, number_fault
from guardopt.spelling import advice, nearest, printable, shown


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("12,50", "a decimal comma: write 12.50"),
        (",5", "a decimal comma: write .5"),
        ("0,250", "a decimal comma: write 0.250"),
        ("1,250", "a comma that may divide thousands or decimals: write 1250 or 1.250"),
        ("1 250", "a thousands separator: write 1250"),
        ("1\u202f250,5", "a thousands separator and a decimal comma: write 1250.5"),
        ("1'250.50", "a thousands separator: write 1250.50"),
        ("1,250.00", "a thousands separator: write 1250.00"),
        ("1,250,000", "a thousands separator: write 1250000"),
        ("1.250,00", "a thousands separator and a decimal comma: write 1250.00"),
        ("1.250.000", "a thousands separator: write 1250000"),
        ("40 %", "a percent sign: write 0.40"),
        ("12,5%", "a percent sign and a decimal comma: write 0.125"),
        ("€ 30", "a currency sign: write 30"),
        ("30 EUR", "a currency sign: write 30"),
        ("4/1/2025", "a date, perhaps from typing 1/4: write 0.25 (or 1.4 or 4.1 if that was meant)"),
        ("1:04", "a time of day, perhaps from typing 1:4: write 0.25 (or 0.0444444 if that was meant)"),
        ("$1,250.00", "a currency sign and a thousands separator: write 1250.00"),
    ],
)
def test_a_number_in_a_local_notation_is_explained(text: str, fault: str) -> None:
    """A rider who types numbers as at home is told how to write the same number here."""
    assert number_fault(text) == fault


@pytest.mark.parametrize("text", ["", "abc", "12.50", "inf", "NAN", "%", "€", "1,2,3", "1-2-3", "kg 3 x", "1 25"])
def test_what_is_no_number_is_not_explained_as_one(text: str) -> None:
    """Nothing is guessed about text that does not plainly mean a number."""
    assert number_fault(text) is None


@given(st.text("0123456789.,-+ '%€EUR", max_size=12))
def test_every_number_suggested_can_be_read(text: str) -> None:
    """Following the advice of a message never leads to the same error again."""
    fault = number_fault(text)
    if fault is not None:
        suggestions = fault.rpartition(": write ")[2].split(" or ")
        assert all(PLAIN_NUMBER.fullmatch(suggestion) for suggestion in suggestions)


def test_the_nearest_spelling_ignores_capitals_and_wants_some_likeness() -> None:
    """A capital or a dropped letter is a slip; a different word is not."""
    assert nearest("Price", ["price", "part"]) == "price"
    assert nearest("prce", ["price", "part"]) == "price"
    assert nearest("zebra", ["price", "part"]) is None


def test_advice_prefers_words_that_are_not_in_use_yet() -> None:
    """Where one column is misspelt it is the missing one that was meant."""
    assert advice("fit_hour", ["fit_hours", "hours"]) == "; did you mean fit_hours?"
    assert advice("hour", ["hour_s", "hours"], unused=["hour_s"]) == "; did you mean hour_s?"


def test_advice_lists_what_is_known_only_while_it_is_short() -> None:
    """A dozen names help; a shop's whole catalogue does not."""
    assert advice("zebra", ["price", "part"]) == "; known: price, part"
    assert advice("zebra", [f"guard_{number}" for number in range(13)]) == ""


@given(st.text())
def test_what_was_found_is_quoted_on_one_short_line(text: str) -> None:
    """No cell can break a message into lines or send control characters to a terminal."""
    assert shown(text).isprintable()
    assert printable(text).isprintable()
    assert len(text) <= 60 or len(shown(text)) < 700


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        (3, "3"),
        (Decimal("4.50"), "4.50"),
        (Decimal("Infinity"), "inf"),
        ("abc", "'abc'"),
        ([1], "'[1]'"),
    ],
)
def test_values_are_shown_as_the_file_has_them(value: object, text: str) -> None:
    """Text is quoted and numbers are not, as in the settings file."""
    assert shown(value) == text
