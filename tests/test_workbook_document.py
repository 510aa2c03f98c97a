"""What the document on workbooks says is so."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

from guardopt.model.chance_words import CHANCE_WORDS, LADDER
from guardopt.writing.starter_kinds import KINDS

TEXT = (Path(__file__).parent.parent / "scenarios" / "workbooks.md").read_text(encoding="utf-8")


def test_the_table_of_words_is_the_one_that_is_used() -> None:
    """Every word, and no other."""
    cells = [cell.strip() for row in re.findall(r"^\|(.*)\|$", TEXT, re.MULTILINE)[2:] for cell in row.split("|")]
    pairs = pairwise(cells)
    assert {word: float(number) for word, number in pairs if re.fullmatch(r"[0-9.]+", number)} == CHANCE_WORDS


def test_the_words_that_are_clearly_apart_are_those_of_the_first_sheet() -> None:
    """In their order, from never to always."""
    said = " ".join(TEXT.partition("Clearly apart")[2].partition(";")[0].split())
    assert re.findall(r"\*([a-z ]+)\*", said) == list(LADDER)


def test_every_starter_is_named() -> None:
    """As the command takes them."""
    assert f"--like {'|'.join(KINDS)}" in TEXT
