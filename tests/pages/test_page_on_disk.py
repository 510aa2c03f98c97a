"""How pages get their place on disk: whole or not at all, and never in the place of anything else."""

from __future__ import annotations

import importlib.util
import os
from pathlib import Path
from typing import Any

import pytest
from folders import write_folder
from made_pages import page_of

from guardopt.cli import commands as cli
from guardopt.errors import InputError
from guardopt.loading.load import load
from guardopt.questions.plan import plan
from guardopt.reports.plan_answer import answer_text

pytest.importorskip("jinja2")
pytest.importorskip("matplotlib")

from guardopt.pages.plan_page import check_target, need_packages, write_page


def earlier_page() -> str:
    """The page of the same bike when it had another name."""
    return page_of("small_twin").html.replace("Small twin", "Old twin")


def problem_of(caught: pytest.ExceptionInfo[InputError]) -> str:
    """The one problem that an error names."""
    (problem,) = caught.value.problems
    return str(problem)


def test_a_written_page_is_there_whole_and_nothing_else_is(tmp_path: Path) -> None:
    """Its folder holds the page and no draft of it."""
    target = tmp_path / "bike.html"
    write_page(target, page_of("small_twin").html)
    assert target.read_text(encoding="utf-8") == page_of("small_twin").html
    assert list(tmp_path.iterdir()) == [target]


def test_an_earlier_page_is_replaced(tmp_path: Path) -> None:
    """The page of an earlier plan gives way to that of a newer one."""
    target = tmp_path / "bike.html"
    write_page(target, earlier_page())
    write_page(target, page_of("small_twin").html)
    assert "Small twin" in target.read_text(encoding="utf-8")


@pytest.mark.parametrize("step", ["write", "fsync", "replace", "mkdir"])
def test_a_failure_leaves_the_earlier_page_and_no_draft(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the disk is full, what was there before is still there, whole."""
    target = tmp_path / "bike.html"
    write_page(target, earlier_page())

    def full(*_: Any, **__: Any) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched, pytest.raises(InputError) as caught:
        patched.setattr(os, step, full)
        write_page(target, page_of("small_twin").html)
    assert problem_of(caught) == f"{target}: cannot be written: no space left on device"
    assert target.read_text(encoding="utf-8") == earlier_page()
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("name", ["scenario.toml", "parts.csv", "offers.csv", "Guards.CSV"])
def test_no_file_of_a_scenario_is_ever_written_over(name: str, tmp_path: Path) -> None:
    """Not even where there is none yet, and in whatever letters its name is written."""
    with pytest.raises(InputError) as caught:
        write_page(tmp_path / name, page_of("small_twin").html)
    assert problem_of(caught) == f"{tmp_path / name}: is the name of a file of a scenario, expected another"
    assert list(tmp_path.iterdir()) == []


def test_a_link_to_a_file_of_a_scenario_is_seen_through(tmp_path: Path) -> None:
    """What counts is where the page would end up."""
    folder = write_folder(tmp_path / "bike")
    link = tmp_path / "page.html"
    link.symlink_to(folder / "parts.csv")
    before = (folder / "parts.csv").read_bytes()
    with pytest.raises(InputError, match="name of a file of a scenario"):
        write_page(link, page_of("small_twin").html)
    assert (folder / "parts.csv").read_bytes() == before


@pytest.mark.parametrize("content", [b"<!DOCTYPE html><p>Our holidays</p>", b"", b"\xff\xfe\x00", b"PK\x03\x04"])
def test_a_file_of_somebody_else_is_not_written_over(content: bytes, tmp_path: Path) -> None:
    """Only a page of ours may be replaced."""
    target = tmp_path / "index.html"
    target.write_bytes(content)
    with pytest.raises(InputError) as caught:
        write_page(target, page_of("small_twin").html)
    found = "is there already and is not a page of guardopt; remove it or choose another name"
    assert problem_of(caught) == f"{target}: {found}"
    assert target.read_bytes() == content


def test_a_page_needs_a_folder_that_is_there(tmp_path: Path) -> None:
    """Neither a missing folder is made, nor a folder written over."""
    with pytest.raises(InputError) as caught:
        check_target(tmp_path / "missing" / "bike.html")
    assert problem_of(caught) == f"{tmp_path / 'missing' / 'bike.html'}: its folder does not exist"
    with pytest.raises(InputError) as caught:
        check_target(tmp_path)
    assert problem_of(caught) == f"{tmp_path}: is a folder, expected a file"


@pytest.mark.parametrize(
    ("absent", "named"),
    [({"jinja2"}, "jinja2"), ({"matplotlib"}, "matplotlib"), ({"jinja2", "matplotlib"}, "jinja2 and matplotlib")],
)
def test_missing_packages_are_named_at_once(absent: set[str], named: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """One line says which they are and how to get them."""
    real = importlib.util.find_spec
    monkeypatch.setattr("guardopt.pages.plan_page.find_spec", lambda name: None if name in absent else real(name))
    with pytest.raises(InputError) as caught:
        need_packages()
    assert problem_of(caught) == f"page: needs {named}; in the folder of guardopt run: .venv/bin/pip install '.[page]'"


def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, str, str]:
    """Run the command line in this process: how it ends, and what it prints on either channel."""
    monkeypatch.setattr("sys.argv", ["guardopt", *map(str, args)])
    try:
        cli.run()
        status = 0
    except SystemExit as ended:
        status = int(ended.code or 0)
    return status, *capsys.readouterr()


def test_the_command_writes_the_page_beside_its_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`plan --page` prints the report as ever, and says on the other channel where the page went."""
    folder, target = write_folder(tmp_path / "bike"), tmp_path / "bike.html"
    status, out, err = command(monkeypatch, capsys, "plan", folder, "--page", target)
    assert (status, out) == (0, f"{answer_text(plan(load(folder)))}\n")
    assert f"Wrote the page to {target}." in err
    assert "<h1>Small twin (invented)</h1>" in target.read_text(encoding="utf-8")


@pytest.mark.parametrize(("option", "name"), [("--page", "bike.html"), ("--proof", "why.json"), ("--list", "buy.csv")])
def test_a_full_disk_costs_no_plan(
    option: str, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The plan is printed before anything is written, and what could not be written is named."""
    folder, target = write_folder(tmp_path / "bike"), tmp_path / name

    def full(*_: Any, **__: Any) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        status, out, err = command(patched, capsys, "plan", folder, option, target)
    assert out == f"{answer_text(plan(load(folder)))}\n"
    assert status == 2
    assert f"{target}: cannot be written: no space left on device" in err.splitlines()[-1]
    assert not target.exists()


def test_the_command_refuses_before_it_plans(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody waits for a plan whose page has no place to go: one line, and no report."""
    folder = write_folder(tmp_path / "bike")
    target = folder / "parts.csv"
    monkeypatch.setattr("guardopt.questions.plan.plan", lambda *_, **__: pytest.fail("planned all the same"))
    status, out, err = command(monkeypatch, capsys, "plan", folder, "--page", target)
    assert (status, out) == (2, "")
    assert err.strip().splitlines() == [f"error: {target}: is the name of a file of a scenario, expected another"]
