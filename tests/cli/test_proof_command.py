"""Writing a plan's proof and checking it, as a rider types it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from guardopt.cli import commands as cli

ASKED = ["--falls", "60", "--budget", "200"]


def run(*arguments: str | Path) -> Result:
    """Run a command."""
    return CliRunner().invoke(cli.main, [str(one) for one in arguments])


@pytest.fixture(scope="module")
def proof(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A proof written for a few falls of a shipped scenario."""
    path = tmp_path_factory.mktemp("proof") / "proof.json"
    shown = run("plan", "scenarios/courier", *ASKED, "--no-reasons", "--proof", path)
    assert shown.exit_code == 0, shown.output
    return path


def test_a_plan_writes_a_proof_that_holds(proof: Path) -> None:
    """In words and as JSON."""
    shown = run("audit", "scenarios/courier", proof)
    assert shown.exit_code == 0
    assert "The proof holds." in shown.stdout
    found = json.loads(run("audit", "scenarios/courier", proof, "--json").stdout)
    assert found["valid"]
    assert {"valid", "leaves", "rows", "objective", "bound", "gap"} <= set(found)


def test_a_changed_proof_is_told_and_ends_with_1(proof: Path, tmp_path: Path) -> None:
    """With what is wrong."""
    changed = tmp_path / "changed.json"
    changed.write_text(proof.read_text(encoding="utf-8").replace('"bound": ', '"bound": 1', 1), encoding="utf-8")
    shown = run("audit", "scenarios/courier", changed)
    assert shown.exit_code == 1
    assert "its seal does not fit" in shown.stdout


def test_what_is_no_proof_is_bad_input(proof: Path, tmp_path: Path) -> None:
    """Another file, none, or other falls than the proof's."""
    for arguments in (["README.md"], [str(tmp_path / "none.json")], [str(proof), "--falls", "61"]):
        assert run("audit", "scenarios/courier", *arguments).exc_info is not None
        assert run("audit", "scenarios/courier", *arguments).exit_code != 0


def test_a_proof_is_not_written_over_something_else(tmp_path: Path) -> None:
    """It is refused before the search begins, and what is there stays."""
    taken = tmp_path / "notes.txt"
    taken.write_text("mine", encoding="utf-8")
    assert run("plan", "scenarios/courier", *ASKED, "--proof", taken).exit_code != 0
    assert taken.read_text(encoding="utf-8") == "mine"
