"""Chances in words: what ``rarely`` or ``often`` stands for where a number would be a guess anyway.

The numbers are the medians of what some 230 science writers gave for each word: F. Mosteller and C. Youtz (1990),
"Quantifying probabilistic expressions", Statistical Science 5(1), 2-34, Table 2, in percent. The article itself was not
at hand: the values are those of three public transcriptions of that table, which agree wherever they overlap, and the
page of the table is not known to us. Taken literally here, and not from the table, are ``never`` and ``always``
(medians there: 0.3 and 99.7): who writes that a fall never strikes a part means that it cannot.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

CHANCE_WORDS: Mapping[str, float] = MappingProxyType(
    {
        "never": 0.0,
        "almost never": 0.029,
        "very rarely": 0.03,
        "rarely": 0.072,
        "seldom": 0.102,
        "occasionally": 0.2,
        "sometimes": 0.25,
        "as often as not": 0.5,
        "more often than not": 0.598,
        "often": 0.725,
        "usually": 0.751,
        "very often": 0.828,
        "almost always": 0.917,
        "always": 1.0,
    }
)
"""The words a chance may be written in, and what each stands for unless the settings say otherwise."""

LADDER = ("never", "rarely", "sometimes", "as often as not", "often", "almost always", "always")
"""Words that are clearly apart; others lie close to one of them, as usually to often."""


def chance_word(text: str) -> str:
    """A word as it stands in the list: in small letters, with single blanks.

    >>> chance_word(" Almost  Never "), chance_word("as_often_as_not")
    ('almost never', 'as often as not')
    """
    return " ".join(text.replace("_", " ").casefold().split())


def told(words: Mapping[str, float]) -> str:
    """What the words used in a scenario stand for, in a sentence or two.

    >>> told({"often": 0.6, "never": 0.0})
    'Chances in words: never 0, often 0.6. The numbers are your own for often.'
    """
    named = sorted(words.items(), key=lambda item: (item[1], item[0]))
    own = [word for word, chance in named if CHANCE_WORDS.get(word) != chance]
    published = [word for word, _ in named if word not in own and word not in ("never", "always")]
    listed = f"Chances in words: {', '.join(f'{word} {chance:g}' for word, chance in named)}."
    source = " The numbers are medians of a survey (Mosteller and Youtz 1990, Table 2)" if published else ""
    if not own:
        return f"{listed}{source}." if source else listed
    yours = f"{', but your own' if source else ' The numbers are your own'} for {', '.join(own)}."
    return f"{listed}{source}{yours}"
