"""What the documents show is what the commands print; what they name is there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from guardopt.cli.commands import main

ROOT = Path(__file__).parents[1]
DOCUMENTS = {
    name: (ROOT / name).read_text(encoding="utf-8")
    for name in (
        "README.md",
        "DEVELOPERS.md",
        "guardopt/README.md",
        "notebooks/README.md",
        "scenarios/README.md",
        "scenarios/workbooks.md",
        "tests/bench/README.md",
    )
}
LISTINGS = [
    listing
    for text in DOCUMENTS.values()
    for listing in re.findall(r"```\n\$ guardopt (?P<command>[^\n]*)\n(?P<shown>.*?)```", text, flags=re.DOTALL)
]


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


def test_there_are_listings() -> None:
    """Otherwise the next test would claim nothing."""
    assert len(LISTINGS) >= 8
    assert {command.split()[0] for command, _ in LISTINGS} >= {"plan", "bill", "budgets", "order", "forecast", "kits"}


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


@pytest.mark.parametrize("name", DOCUMENTS)
def test_files_and_commands_that_a_document_names_are_there(name: str) -> None:
    """Links lead somewhere, headings they point at included; scenarios exist, and every command is one."""
    text, folder = DOCUMENTS[name], (ROOT / name).parent
    for target, heading in re.findall(r"\]\((?!http)([^)#]*)(?:#([^)]*))?\)", text):
        path = folder / target if target else ROOT / name
        assert path.exists(), target
        if heading:
            headings = re.findall(r"^#+ (.*)$", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
            assert heading in {re.sub(r"[^\w -]", "", one.lower()).replace(" ", "-") for one in headings}, heading
    for scenario in set(re.findall(r"scenarios/[a-z_]+", text)):
        assert (ROOT / scenario).exists() or (ROOT / f"{scenario}.md").is_file(), scenario
    assert set(re.findall(r"`guardopt ([a-z]+)", text)) <= set(main.commands)


def test_options_in_the_documents_are_those_of_the_commands() -> None:
    """Whoever types what is written there is not refused for an option that is called otherwise."""
    known = {option for command in main.commands.values() for one in command.params for option in one.opts}
    # Those of other programs that the documents show how to run.
    others = {"--help", "--check", "--format", "--only"}
    for name, text in DOCUMENTS.items():
        named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", text))
        assert named <= known | others, name


def test_the_documents_are_of_a_length_to_be_read() -> None:
    """The first page is one to read through, and so is the one about the code."""
    assert len(DOCUMENTS["README.md"].splitlines()) <= 350
    assert len(DOCUMENTS["DEVELOPERS.md"].splitlines()) <= 200


def test_what_guards_do_not_do_is_said_on_the_first_page() -> None:
    """What somebody has to know before relying on an answer."""
    said = " ".join(DOCUMENTS["README.md"].replace("*", "").split())
    for sentence in (
        "Guards protect the machine and not the rider.",
        "The evidence on rider injury is mixed",
        "Fitting and repair of frame, fork, brakes and steering belong to a qualified mechanic.",
        "Local vehicle rules, the maker's instructions and the insurer's terms come first.",
        "The numbers are estimates",
    ):
        assert sentence in said


def test_the_python_of_the_first_page_prints_what_it_says(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Run as it stands, from the folder of the project."""
    code, shown = re.findall(r"```python\n(.*?)```\n\nIt prints\n\n```\n(.*?)```", DOCUMENTS["README.md"], re.DOTALL)[0]
    monkeypatch.chdir(ROOT)
    exec(compile(code, "README.md", "exec"), {})  # noqa: S102
    assert capsys.readouterr().out == shown


def test_the_log_that_is_shown_can_be_learned_from(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is a log of the starter, as somebody would write it by hand."""
    monkeypatch.chdir(tmp_path)
    text = DOCUMENTS["scenarios/README.md"]
    (log,) = re.findall(r"```\n(date,bike,.*?)```", text, flags=re.DOTALL)
    (watched,) = re.findall(r"one row, `([^`]*)`", text)
    Path("log").mkdir()
    Path("log", "log.csv").write_text(log)
    Path("log", "watched.csv").write_text(f"bike,from,to\n{watched}\n")
    for command in ("new mybike", "learn mybike log --into learned --falls 100"):
        assert CliRunner().invoke(main, command.split(), catch_exceptions=False).exit_code == 0
