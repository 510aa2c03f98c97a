"""What README shows is what the commands print; what it names is there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from guardopt.cli import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
LISTINGS = re.findall(r"```\n\$ guardopt (?P<command>[^\n]*)\n(?P<shown>.*?)```", README, flags=re.DOTALL)


def shown_in(shown: list[str], printed: list[str]) -> str | None:
    """The beginning of the first run of lines that was not printed so; dots stand for any lines left out."""
    place = 0
    runs: list[list[str]] = [[]]
    for line in shown:
        if line.strip() == "...":
            runs.append([])
        else:
            runs[-1].append(line)
    for index, run in enumerate(runs):
        starts = range(place, len(printed) - len(run) + 1) if index else [0]
        found = next((start for start in starts if printed[start : start + len(run)] == run), None)
        if found is None:
            return run[0]
        place = found + len(run)
    return None


def test_readme_has_listings() -> None:
    """Otherwise the next test would claim nothing."""
    assert len(LISTINGS) >= 6


@pytest.mark.parametrize(("command", "shown"), LISTINGS, ids=[command for command, _ in LISTINGS])
def test_listings_are_what_the_commands_print(
    command: str, shown: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Line by line, but for lines left out where there are dots."""
    (tmp_path / "scenarios").symlink_to(ROOT / "scenarios")
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, shlex.split(command), catch_exceptions=False)
    assert result.exit_code == 0
    assert shown_in(shown.splitlines(), result.stdout.splitlines()) is None


def test_a_wrong_line_in_a_listing_would_be_found() -> None:
    """The comparison itself: lines may be left out where there are dots, and nowhere else."""
    printed = ["one", "two", "three"]
    assert shown_in(["one", "...", "three"], printed) is None
    assert shown_in(["one", "three"], printed) == "one"
    assert shown_in(["...", "four"], printed) == "four"


def test_files_and_commands_that_readme_names_are_there() -> None:
    """Links lead somewhere, scenarios exist, and every command of README is a command."""
    for target in re.findall(r"\]\((?!http)([^)#]+)\)", README):
        assert (ROOT / target).exists()
    for scenario in set(re.findall(r"scenarios/[a-z_]+", README)):
        assert (ROOT / scenario).is_dir()
    assert set(re.findall(r"`guardopt ([a-z]+)", README)) <= set(main.commands)


def test_the_log_that_readme_shows_can_be_learned_from(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is a log of the starter, as somebody would write it by hand."""
    monkeypatch.chdir(tmp_path)
    (log,) = re.findall(r"```\n(date,bike,.*?)```", README, flags=re.DOTALL)
    (watched,) = re.findall(r"one row, `([^`]*)`", README)
    Path("log").mkdir()
    Path("log", "log.csv").write_text(log)
    Path("log", "watched.csv").write_text(f"bike,from,to\n{watched}\n")
    for command in ("new mybike", "learn mybike log --into learned --falls 100"):
        assert CliRunner().invoke(main, command.split(), catch_exceptions=False).exit_code == 0
