"""Money, years and shares in words, as sentences and tables show them, and paragraphs as lines."""

from __future__ import annotations

import re
import textwrap

WIDTH = 80

GLUED = re.compile(r"(?<=\b[A-Z]{3}) (?=[0-9])|(?<=±) (?=[0-9])|(?<=[0-9]) (?=±|%|kg\b|years?\b|months?\b|weeks?\b)")
"""Blanks between an amount and its unit or its error, where a line should not end."""


def money(amount: float, currency: str) -> str:
    """An amount with its currency: cents below a hundred, whole units from there on.

    >>> money(34.5, "EUR"), money(1234.56, "EUR"), money(-0.001, "EUR")
    ('EUR 34.50', 'EUR 1,235', 'EUR 0.00')
    """
    return f"{currency} {number(amount)}"


def number(amount: float) -> str:
    """An amount without its currency.

    >>> number(34.5), number(-1234.56), number(-0.001)
    ('34.50', '-1,235', '0.00')
    """
    if abs(amount) < 99.995:
        text = f"{amount:.2f}"
        return "0.00" if text == "-0.00" else text
    return f"{amount:,.0f}"


def exact_money(cents: int, currency: str) -> str:
    """An amount of whole cents, all of them shown.

    >>> exact_money(123456, "EUR")
    'EUR 1,234.56'
    """
    return f"{currency} {cents / 100:,.2f}"


def years(count: float) -> str:
    """A span of years.

    >>> years(1.0), years(0.04), years(2.25)
    ('1 year', '2 weeks', '2.2 years')
    """
    if count < 1 / 12:
        weeks = max(1, round(count * 52))
        return f"{weeks} week{'s' * (weeks != 1)}"
    if count < 0.95:
        months = max(1, round(count * 12))
        return f"{months} month{'s' * (months != 1)}"
    text = f"{count:.1f}".removesuffix(".0")
    return f"{text} year{'s' * (text != '1')}"


def days(count: float) -> str:
    """A number of days, with at least one figure that counts.

    >>> days(12.3), days(1.04), days(0.031)
    ('12 days', '1 day', '0.03 days')
    """
    text = f"{count:.0f}" if count >= 9.5 else f"{count:.1f}".removesuffix(".0") if count >= 0.095 else f"{count:.1g}"
    return f"{text} day{'s' * (text != '1')}"


def save_less(count: int) -> str:
    """What so many guards do that are a loss.

    >>> save_less(1), save_less(2)
    ('saves less than it costs', 'save less than they cost')
    """
    return "saves less than it costs" if count == 1 else "save less than they cost"


def once_in(per_year: float) -> str:
    """How often something happens, by the years between.

    >>> once_in(0.3), once_in(0.0181)
    ('about once in 3.3 years', 'about once in 55 years')
    """
    between = 1.0 / per_year
    return f"about once in {years(between if between < 10.0 else round(between))}"


def percent(share: float) -> str:
    """A share of one as a percentage, never rounded to none or all.

    >>> percent(0.123), percent(0.0004), percent(0.9999), percent(1.0)
    ('12 %', 'under 1 %', 'over 99 %', '100 %')
    """
    if 0.0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1.0:
        return "over 99 %"
    return f"{share:.0%}".replace("%", " %")


def glued(text: str) -> str:
    """Text for a page, where an amount is not broken over two lines."""
    return GLUED.sub("\u00a0", text)


def wrapped(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """A paragraph as lines of at most eighty columns; a word is broken only if it is longer than a line."""
    lines = textwrap.wrap(
        GLUED.sub("\0", text),
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
    return [line.replace("\0", " ") for line in lines]
