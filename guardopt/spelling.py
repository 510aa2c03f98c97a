"""How what was found in a file is shown, what it may have been meant to be, and how a number ought to be written."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal

PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")

_LONGEST_SHOWN = 60
_LONGEST_LIST = 12

_SPACED = re.compile(r"[+-]?[0-9]{1,3}(?:[\s'’][0-9]{3})+(?:[.,][0-9]+)?")
_COMMAS_IN_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:(?:,[0-9]{3})+\.[0-9]+|(?:,[0-9]{3}){2,})")
_POINTS_IN_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:(?:\.[0-9]{3})+,[0-9]+|(?:\.[0-9]{3}){2,})")
_POINTS_THROUGHOUT = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+\.[0-9]{1,2}")
_ONE_COMMA_THREE_DIGITS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_POINT_AND_THREE_DIGITS = re.compile(r"[+]?[1-9][0-9]{0,2}\.[0-9]{3}")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_CURRENCY_CODE = re.compile(r"^[A-Z]{3}\b\s*|\s*\b[A-Z]{3}$")


def shown(value: object) -> str:
    """A value as a message quotes it: on one line, not too long, and without characters a terminal would act on."""
    if isinstance(value, Decimal) and not value.is_finite():
        value = float(value)
    text = printable(str(value))
    return text.lower() if isinstance(value, bool | int | float | Decimal) else f"'{text}'"


def printable(text: str) -> str:
    """Text as it can stand in a message without quotation marks: escaped, and cut off where it is long."""
    if len(text) > _LONGEST_SHOWN:
        text = text[: _LONGEST_SHOWN - 1] + "…"
    return escaped(text)


def escaped(text: str) -> str:
    """Text on one line, with nothing in it that a terminal would act on."""
    return text if text.isprintable() else repr(text)[1:-1]


def listed(words: Sequence[str], last: str = "or") -> str:
    """Words as a sentence lists them.

    >>> listed(["a", "b", "c"]), listed(["a"]), listed([])
    ('a, b or c', 'a', '')
    """
    *first, final = words or [""]
    return f"{', '.join(first)} {last} {final}" if first else final


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word whose spelling is closest, if one is close enough to have been meant."""
    by_folded = {name.casefold(): name for name in known if name.isprintable()}
    matches = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.6)
    return by_folded[matches[0]] if matches else None


def advice(word: str, known: Iterable[str], unused: Iterable[str] = ()) -> str:
    """What to append to a message about an unknown word: the nearest spelling, else the known words if they are few.

    A known word that has not been `unused` so far is the less likely meant.
    """
    known = [name for name in known if name.isprintable()]
    close = nearest(word, unused) or nearest(word, known)
    if close is not None:
        return f"; did you mean {close}?"
    if 0 < len(known) <= _LONGEST_LIST:
        return f"; known: {', '.join(known)}"
    return ""


def thousands_fault(text: str) -> str | None:
    """What keeps an amount of money with a point before three digits from being read: they may be thousands.

    Examples
    --------
    >>> thousands_fault("1.205")
    'a point that may divide thousands or decimals: write 1205 or 1.21'
    >>> thousands_fault("1.20"), thousands_fault("1.2050"), thousands_fault("0.205")
    (None, None, None)
    """
    if not _POINT_AND_THREE_DIGITS.fullmatch(text):
        return None
    cents = Decimal(text).quantize(Decimal("0.01"), ROUND_HALF_UP)
    return f"a point that may divide thousands or decimals: write {text.replace('.', '')} or {cents}"


def number_fault(text: str) -> str | None:
    """What keeps a text from being read as a number, and how to write it, if it plainly is meant as one.

    Examples
    --------
    >>> number_fault("12,50")
    'a decimal comma: write 12.50'
    >>> number_fault("40 %")
    'a percent sign: write 0.40'
    >>> number_fault("1,250")
    'a comma that may divide thousands or decimals: write 1250 or 1.250'
    """
    faults: list[str] = []
    bare = text
    if "%" in bare:
        faults.append("a percent sign")
        bare = bare.replace("%", "").strip()
    without_currency = "".join(letter for letter in bare if unicodedata.category(letter) != "Sc").strip()
    without_currency = _CURRENCY_CODE.sub("", without_currency)
    if without_currency != bare:
        faults.append("a currency sign")
        bare = without_currency
    if _ONE_COMMA_THREE_DIGITS.fullmatch(bare):
        faults.append("a comma that may divide thousands or decimals")
        choices = [bare.replace(",", ""), bare.replace(",", ".")]
    elif _SPACED.fullmatch(bare):
        faults.append("a thousands separator")
        if "," in bare:
            faults.append("a decimal comma")
        choices = [re.sub(r"[^0-9.,+-]", "", bare).replace(",", ".")]
    elif _COMMAS_IN_THOUSANDS.fullmatch(bare):
        faults.append("a thousands separator")
        choices = [bare.replace(",", "")]
    elif _POINTS_IN_THOUSANDS.fullmatch(bare):
        faults.append("a thousands separator")
        if "," in bare:
            faults.append("a decimal comma")
        choices = [bare.replace(".", "").replace(",", ".")]
    elif _POINTS_THROUGHOUT.fullmatch(bare):
        faults.append("a thousands separator")
        whole, _, decimals = bare.rpartition(".")
        choices = [f"{whole.replace('.', '')}.{decimals}"]
    elif _DECIMAL_COMMA.fullmatch(bare):
        faults.append("a decimal comma")
        choices = [bare.replace(",", ".")]
    elif faults and PLAIN_NUMBER.fullmatch(bare):
        choices = [bare]
    else:
        return None
    if "%" in text:
        choices = [f"{Decimal(choice).scaleb(-2):f}" for choice in choices]
    return f"{listed(faults, last='and')}: write {listed(choices)}"
