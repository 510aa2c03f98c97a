"""What keeps a text from being read as a number though it plainly is meant as one, and how it ought to be written."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from guardopt.spelling import listed
from guardopt.spreadsheet_dates import Typed, part_of_day, typed_as_number, typed_as_odds

PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
POINT_AND_THREE_DIGITS = re.compile(r"[+]?[1-9][0-9]{0,2}\.[0-9]{3}")
POINTS_AND_A_COMMA = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+")

_SPACED = re.compile(r"[+-]?[0-9]{1,3}(?:[\s'’][0-9]{3})+(?:[.,][0-9]+)?")
_COMMAS_IN_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:(?:,[0-9]{3})+\.[0-9]+|(?:,[0-9]{3}){2,})")
_POINTS_IN_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:(?:\.[0-9]{3})+,[0-9]+|(?:\.[0-9]{3}){2,})")
_POINTS_THROUGHOUT = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+\.[0-9]{1,2}")
_ONE_COMMA_THREE_DIGITS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_CURRENCY_CODE = re.compile(r"^[A-Z]{3}\b\s*|\s*\b[A-Z]{3}$")

A_DATE, A_TIME = "a date", "a time of day"

_AMOUNT = r"[0-9]+(?:[.,][0-9]+)?"
_NO_CENTS = re.compile(rf"({_AMOUNT})[.,]?\s*[-–—−]{{1,2}}")
_RANGE = re.compile(rf"({_AMOUNT})\s*(?:[-–—]|to|bis|\.\.+)\s*({_AMOUNT})")
_FRACTION = re.compile(r"([0-9]{1,3})\s*[/⁄]\s*([1-9][0-9]{0,2})")
_ONE_IN = re.compile(
    rf"([1-9][0-9]{{0,2}}|one|once)\s+(?:in|every|out of)\s+(?:about\s+)?({_AMOUNT})(?:\s+years?)?", re.IGNORECASE
)
_MINUTES = re.compile(rf"({_AMOUNT})\s*min(?:ute[ns]?|s)?\.?", re.IGNORECASE)
_ABOUT = re.compile(
    rf"(?:ca\.?|c\.|circa|about|approx\.?|around|etwa|~|≈|<=?|>=?|≤|≥|max\.?|min\.?)\s*({_AMOUNT})", re.IGNORECASE
)
_WORD_BEHIND = re.compile(rf"([+-]?{_AMOUNT})\s*[^\W\d_]+\.?(?:\s+[^\W\d_]+\.?){{0,2}}")
_LOOK_ALIKES = str.maketrans("OolI", "0011")
_ERRORS = re.compile(r"#[A-Z0-9/]+[!?]?|Err:[0-9]+")


@dataclass(frozen=True, slots=True)
class NumberFault:
    """What is wrong with a number, and ways to write it, as far as they can be told.

    Attributes
    ----------
    typed
        What a spreadsheet made this of if the first choice was meant; blank if all choices are as likely.
    """

    what: str
    choices: tuple[str, ...] = ()
    typed: str = ""

    def __str__(self) -> str:
        return self.told("write")

    def told(self, write: str) -> str:
        """The fault in words; `write` is what to do with the numbers to choose from."""
        if not self.choices:
            return self.what
        if not self.typed:
            return f"{self.what}: {write} {listed(self.choices)}"
        first, *others = self.choices
        rest = f" (or {listed(others)} if that was meant)" if others else ""
        return f"{self.what}, perhaps from typing {self.typed}: {write} {first}{rest}"


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
    >>> number_fault("4 years"), number_fault("450,-")
    ('a word behind the number: write 4', 'a dash in the place of cents: write 450')
    """
    fault = fault_of(text)
    return None if fault is None else str(fault)


def fault_of(text: str) -> NumberFault | None:
    """The same, with the ways to write it apart."""
    if PLAIN_NUMBER.fullmatch(text):
        return None
    return _by_signs(text) or next((fault for look in _LOOKS if (fault := look(text))), None)


def thousands_fault(text: str) -> str | None:
    """What keeps an amount of money with a point before three digits from being read: they may be thousands.

    Examples
    --------
    >>> thousands_fault("1.205")
    'a point that may divide thousands or decimals: write 1205 or 1.21'
    >>> thousands_fault("1.20"), thousands_fault("1.2050"), thousands_fault("0.205")
    (None, None, None)
    """
    fault = thousands_of(text)
    return None if fault is None else str(fault)


def thousands_of(text: str) -> NumberFault | None:
    """The same, with the ways to write it apart."""
    if not POINT_AND_THREE_DIGITS.fullmatch(text):
        return None
    return NumberFault("a point that may divide thousands or decimals", (text.replace(".", ""), in_cents(text)))


def in_cents(text: str) -> str:
    """A plain number with two decimals.

    >>> in_cents("1.205")
    '1.21'
    """
    return str(Decimal(text).quantize(Decimal("0.01"), ROUND_HALF_UP))


def _by_signs(text: str) -> NumberFault | None:
    """Faults of signs within or around a number: percent, currency, thousands, decimal commas."""
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
    elif DECIMAL_COMMA.fullmatch(bare):
        faults.append("a decimal comma")
        choices = [bare.replace(",", ".")]
    elif faults and PLAIN_NUMBER.fullmatch(bare):
        choices = [bare]
    elif faults and (dash := _NO_CENTS.fullmatch(bare)):
        faults.append("a dash in the place of cents")
        choices = [_plain(dash[1])]
    else:
        return None
    if "%" in text:
        choices = [f"{Decimal(choice).scaleb(-2):f}" for choice in choices]
    return NumberFault(listed(faults, last="and"), tuple(choices))


def _plain(amount: str) -> str:
    return amount.replace(",", ".")


def date_or_time(what: str, typed: Typed) -> NumberFault:
    """The fault of a cell of which a spreadsheet made a date or a time."""
    return NumberFault(what, typed.numbers, typed.as_typed)


def _date(text: str) -> NumberFault | None:
    typed = typed_as_number(text)
    return None if typed is None else date_or_time(A_DATE, typed)


def _time(text: str) -> NumberFault | None:
    number = part_of_day(text)
    if number is None:
        return None
    return date_or_time(A_TIME, typed_as_odds(text) or Typed((f"{number:g}",)))


def _no_cents(text: str) -> NumberFault | None:
    if not (match := _NO_CENTS.fullmatch(text)):
        return None
    # Where cents are dashed out, a point before three digits divides thousands.
    amount = match[1].replace(".", "") if POINT_AND_THREE_DIGITS.fullmatch(match[1]) else _plain(match[1])
    return NumberFault("a dash in the place of cents", (amount,))


def _range(text: str) -> NumberFault | None:
    if not (match := _RANGE.fullmatch(text)):
        return None
    middle = (Decimal(_plain(match[1])) + Decimal(_plain(match[2]))) / 2
    return NumberFault("a range (its middle will do)", (f"{middle:f}",))


def _fraction(text: str) -> NumberFault | None:
    if len(text) == 1 and unicodedata.category(text) == "No":
        return NumberFault("a fraction", (f"{unicodedata.numeric(text):.4g}",))
    if not (match := _FRACTION.fullmatch(text)):
        return None
    return NumberFault("a fraction", (f"{int(match[1]) / int(match[2]):.4g}",))


def _one_in(text: str) -> NumberFault | None:
    match = _ONE_IN.fullmatch(text)
    if match is None or not (among := float(_plain(match[2]))):
        return None
    times = int(match[1]) if match[1].isdigit() else 1
    return NumberFault("a number in words", (f"{times / among:.4g}",))


def _minutes(text: str) -> NumberFault | None:
    if not (match := _MINUTES.fullmatch(text)):
        return None
    return NumberFault("minutes, of which an hour has 60", (f"{float(_plain(match[1])) / 60:.3g}",))


def _about(text: str) -> NumberFault | None:
    match = _ABOUT.fullmatch(text)
    return NumberFault("a word or sign before the number", (_plain(match[1]),)) if match else None


def _apostrophe(text: str) -> NumberFault | None:
    bare = text.lstrip("'’`")
    return NumberFault("an apostrophe before it", (bare,)) if bare != text and PLAIN_NUMBER.fullmatch(bare) else None


def _other_minus(text: str) -> NumberFault | None:
    bare = "-" + text[1:]
    is_dash = text[:1] in ("−", "–", "—")
    return NumberFault("a dash that is not a minus", (bare,)) if is_dash and PLAIN_NUMBER.fullmatch(bare) else None


def _formula(text: str) -> NumberFault | None:
    return NumberFault("a formula, expected its value") if text.startswith("=") else None


def _spreadsheet_error(text: str) -> NumberFault | None:
    return NumberFault("an error of the spreadsheet, expected a value") if _ERRORS.fullmatch(text) else None


def _letter_among_digits(text: str) -> NumberFault | None:
    digits = text.translate(_LOOK_ALIKES)
    if digits == text or not PLAIN_NUMBER.fullmatch(digits):
        return None
    return NumberFault("a letter that looks like a digit", (digits,))


def _word_behind(text: str) -> NumberFault | None:
    match = _WORD_BEHIND.fullmatch(text)
    return NumberFault("a word behind the number", (_plain(match[1]),)) if match else None


_LOOKS: Sequence[Callable[[str], NumberFault | None]] = (
    _date,
    _time,
    _no_cents,
    _range,
    _fraction,
    _one_in,
    _minutes,
    _about,
    _apostrophe,
    _other_minus,
    _formula,
    _spreadsheet_error,
    _letter_among_digits,
    _word_behind,
)
"""From the particular to the general: what a text may be if signs alone do not explain it."""
