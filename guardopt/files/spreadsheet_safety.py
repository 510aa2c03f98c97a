"""Keeps a spreadsheet that opens a CSV file from running a text in it as a formula.

A cell that begins with ``=``, ``+``, ``-``, ``@``, their full-width forms, a tab or a line end may be taken for one. An
apostrophe before it makes it text (OWASP Foundation, "CSV Injection"). So that every text is read back as it was, one
that begins with apostrophes before such a sign gets one more. Numbers stay as they are; they are no danger.
"""

from __future__ import annotations

from collections.abc import Iterable

from guardopt.number_faults import PLAIN_NUMBER

STARTS = frozenset("=+-@＝＋－＠\t\r\n")


def has_formulas(texts: Iterable[str]) -> bool:
    """Whether any of these texts may be taken for a formula."""
    return not (STARTS | {"'"}).isdisjoint({text[:1] for text in texts})


def safe(text: str) -> str:
    """A text as it can stand in a CSV file that a spreadsheet opens.

    >>> safe("=1+1"), safe("-12.50"), safe("lever")
    ("'=1+1", '-12.50', 'lever')
    """
    return f"'{text}" if _begins_like_one(text) and not PLAIN_NUMBER.fullmatch(text) else text


def unsafe(text: str) -> str:
    """The text that `safe` made safe.

    >>> unsafe("'=1+1"), unsafe("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text[:1] == "'" and _begins_like_one(text) else text


def _begins_like_one(text: str) -> bool:
    return text.lstrip("'")[:1] in STARTS and text.strip("'") != ""
