"""How what was found in a file is shown, and what it may have been meant to be."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from decimal import Decimal

_LONGEST_SHOWN = 60
_LONGEST_LIST = 12


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


def both_sides(ids: Iterable[str]) -> list[str]:
    """Guards or parts as a sentence names them: the two sides of one together, where the first of them stands.

    >>> both_sides(["slider.left", "bar", "slider.right", "tip.left"])
    ['slider (left and right)', 'bar', 'tip.left']
    """
    ids = list(ids)
    named: dict[str, str] = {}
    for name in ids:
        row, _, side = name.rpartition(".")
        other = {"left": "right", "right": "left"}.get(side)
        is_pair = other is not None and f"{row}.{other}" in ids
        named.setdefault(row if is_pair else name, f"{row} (left and right)" if is_pair else name)
    return list(named.values())


LIKENESS, CLOSE_LIKENESS = 0.6, 0.8
"""Likeness of two spellings, from 0 to 1, from which one may be meant for the other, and from which it surely is."""


def nearest(word: str, known: Iterable[str], likeness: float = LIKENESS) -> str | None:
    """The known word whose spelling is closest, if one is close enough to have been meant.

    >>> nearest("mostly", ["often", "almost always"]), nearest("mostly", ["often", "almost always"], CLOSE_LIKENESS)
    ('almost always', None)
    """
    by_folded = {name.casefold(): name for name in known if name.isprintable()}
    matches = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=likeness)
    return by_folded[matches[0]] if matches else None


def advice(word: str, known: Iterable[str], unused: Iterable[str] | None = None) -> str:
    """What to append to a message about an unknown word: the nearest spelling, else the known words if they are few.

    Of known words of which each may stand only once, those that are still `unused` may be meant; a nearer one that is
    not is named as there already.
    """
    known = [name for name in known if name.isprintable()]
    free = known if unused is None else list(unused)
    close = nearest(word, free)
    if close is not None:
        return f"; did you mean {close}?"
    if (taken := nearest(word, known)) is not None:
        return f"; {taken} is there already"
    if 0 < len(known) <= _LONGEST_LIST:
        return f"; known: {', '.join(known)}"
    return ""
