"""The limits that are stated are those that are kept."""

from __future__ import annotations

from pathlib import Path

from guardopt.cli import options
from guardopt.files import limits
from guardopt.files.cell_types import LARGEST_NUMBER

DOCUMENT = (Path(__file__).parents[1] / "scenarios" / "README.md").read_text(encoding="utf-8")
STATED = DOCUMENT.split("## Limits\n")[1].split("\n## ")[0]


def row(words: str) -> str:
    """The row of the table that begins with these words."""
    (found,) = [line for line in STATED.splitlines() if line.startswith(f"| {words}")]
    return found


def test_the_document_states_the_limits_that_are_kept() -> None:
    """Number by number."""
    most = limits.MOST_ROWS
    assert f"{limits.MOST_BYTES:,} bytes, {limits.MOST_COLUMNS} columns" in row("a table of a scenario")
    settings = row("`scenario.toml`")
    assert f"{limits.MOST_SETTINGS_BYTES:,} bytes; brackets {limits.DEEPEST} deep, {limits.DEEPEST} names" in settings
    assert {most[name] for name in ("parts", "hits", "guards", "offers", "riding")} == {500}
    assert "500 each" in row("rows of `parts.csv`")
    assert f"| {most['falls']} |" in row("rows of `falls.csv`")
    assert most["covers"] == most["exposes"] == 5_000
    assert "5,000 each" in row("rows of `covers.csv`")
    assert f"{most['knock_on']:,}, and {limits.LONGEST_CHAIN} knock-ons" in row("rows of `knock_on.csv`")
    assert f"| {most['points']:,} |" in row("rows of `points.csv`")
    assert f"{limits.MOST_OTHER_ROWS:,} each" in row("rows of `log.csv`")
    assert f"{limits.LONGEST_LINE:,} characters, {limits.MOST_COLUMNS} columns" in row("rows of a table of riders")
    assert f"{limits.LONGEST_CELL:,} characters" in row("a cell")
    assert f"| {limits.MOST_IDS}; joined by `+`: {limits.MOST_JOINED} |" in row("ids in one cell")
    assert f"| {LARGEST_NUMBER:,} |" in row("an amount")
    assert f"| {limits.MOST_PROBLEMS:,} |" in row("mistakes told")
    assert f"| {options.MOST_DRAWS:,} |" in row("`--sure`")
    assert f"| {options.MOST_EFFORT:,} |" in row("`--effort`")
