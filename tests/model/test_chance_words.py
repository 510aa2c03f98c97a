"""Words for chances stand for published numbers, or for the rider's own."""

from __future__ import annotations

from itertools import pairwise

import pytest

from guardopt.model.chance_words import CHANCE_WORDS, LADDER, chance_word, told

SCIENCE_WRITERS = {
    "always": 99.7,
    "almost always": 91.7,
    "very often": 82.8,
    "usually": 75.1,
    "often": 72.5,
    "more often than not": 59.8,
    "as often as not": 50.0,
    "sometimes": 25.0,
    "occasionally": 20.0,
    "seldom": 10.2,
    "rarely": 7.2,
    "very rarely": 3.0,
    "almost never": 2.9,
    "never": 0.3,
}
"""Medians in percent, F. Mosteller and C. Youtz (1990), "Quantifying probabilistic expressions", Statistical Science
5(1), 2-34, Table 2. Taken from public transcriptions of that table, not from the article; its page is not known to us.
"""


@pytest.mark.parametrize("word", [word for word in SCIENCE_WRITERS if word not in ("always", "never")])
def test_a_word_stands_for_the_published_median(word: str) -> None:
    """In percent there, from 0 to 1 here."""
    assert CHANCE_WORDS[word] == pytest.approx(SCIENCE_WRITERS[word] / 100, abs=1e-12)


def test_never_and_always_are_taken_literally() -> None:
    """People mean 0.3 and 99.7 percent; a part that a fall never strikes cannot be struck here."""
    assert CHANCE_WORDS["never"] == 0.0
    assert CHANCE_WORDS["always"] == 1.0
    assert set(CHANCE_WORDS) == set(SCIENCE_WRITERS)


def test_words_are_ordered_by_their_chance() -> None:
    """Lists and drop-downs show them from never to always."""
    assert list(CHANCE_WORDS.values()) == sorted(CHANCE_WORDS.values())


def test_the_words_to_begin_with_are_clearly_apart() -> None:
    """Each is at least seven in a hundred from the next, which often and usually are not."""
    steps = [CHANCE_WORDS[higher] - CHANCE_WORDS[lower] for lower, higher in pairwise(LADDER)]
    assert min(steps) > 0.07
    assert CHANCE_WORDS["usually"] - CHANCE_WORDS["often"] < 0.03


def test_a_word_may_be_written_in_any_letters() -> None:
    """Capitals and underscores of other programs change nothing."""
    assert chance_word("  Almost_Always ") == "almost always"


def test_reports_say_what_words_stand_for_and_whose_numbers_these_are() -> None:
    """Published, the rider's own, or both."""
    survey = "The numbers are medians of a survey (Mosteller and Youtz 1990, Table 2)"
    assert told({"always": 1.0}) == "Chances in words: always 1."
    assert told({"often": 0.725}) == f"Chances in words: often 0.725. {survey}."
    both = {"often": 0.6, "rarely": 0.072}
    assert told(both) == f"Chances in words: rarely 0.072, often 0.6. {survey}, but your own for often."
