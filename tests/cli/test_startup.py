"""The command line as a process of its own: what it loads, how it shares a terminal, and how it is stopped."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from folders import edited, write_folder

ROOT = Path(__file__).parents[2]

SOLVER = {"numpy", "pandas", "pulp", "highspy", "scipy", "matplotlib"}


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the small twin, with one thing that is odd."""
    odd = edited("parts", "radiator,centre,260,1.2,,,", "radiator,centre,260,1.2,,15,")
    return write_folder(tmp_path_factory.mktemp("twin"), **odd)


def start(*args: object, **options: Any) -> subprocess.Popen[str]:
    """Start a command, warnings being errors; what it prints is caught unless said otherwise."""
    command = [sys.executable, "-W", "error", *map(str, args)]
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    caught = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "bufsize": 1}
    caught["env"] = {**os.environ, "PYTHONPATH": path}
    # A shell that runs the tests in its background has them ignore interrupts.
    caught["preexec_fn"] = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    return subprocess.Popen(command, **{**caught, **options})  # noqa: S603


def ended(process: subprocess.Popen[str]) -> tuple[int, str, str]:
    """How a command ended and what it printed."""
    out, err = process.communicate(timeout=60)
    return process.returncode, out, err


def loaded_by(*args: object) -> set[str]:
    """The modules that a command has loaded when it ends."""
    code = (
        "import sys\n"
        "from guardopt.cli.commands import run\n"
        "try:\n    run()\n"
        "except SystemExit as ended:\n    assert not ended.code\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    status, _, err = ended(start("-c", code, *args))
    assert status == 0
    return set(err.splitlines()[-1].split())


def test_help_loads_nothing_heavy() -> None:
    """Help is there at once: no numbers, no tables, no solver, no checking."""
    assert not loaded_by("--help") & (SOLVER | {"pydantic"})
    assert not loaded_by("plan", "--help") & (SOLVER | {"pydantic"})


def test_check_and_new_load_no_solver(twin: Path, tmp_path: Path) -> None:
    """What only reads or writes a folder needs no arrays."""
    assert not loaded_by("check", twin, "--json") & SOLVER
    assert not loaded_by("new", tmp_path / "mine") & SOLVER


def test_bill_loads_no_solver_and_plan_no_tables(twin: Path) -> None:
    """Pricing is arrays alone; tables and plots are for notebooks."""
    assert not loaded_by("bill", twin, "--falls", 20) & (SOLVER - {"numpy"})
    assert not loaded_by("plan", twin, "--falls", 20) & {"pandas", "scipy", "matplotlib"}


def test_loading_from_python_loads_nothing_heavy(twin: Path) -> None:
    """The package fetches its parts when they are first used."""
    code = f"import sys, guardopt; guardopt.load({str(twin)!r}); print(*sys.modules)"
    status, out, _ = ended(start("-c", code))
    assert status == 0
    assert not set(out.split()) & SOLVER


@pytest.mark.parametrize("command", ["check", "bill", "plan", "budgets", "order --put-by 120", "forecast"])
def test_every_question_prints_one_object_or_eighty_plain_columns(twin: Path, command: str) -> None:
    """No solver's banner before the object, cautions under every report."""
    ask = ["-m", "guardopt", *command.split(), twin, "--falls", 50]
    (_, as_json, _), (status, as_text, _) = ended(start(*ask, "--json")), ended(start(*ask))
    assert status == 0
    assert isinstance(json.loads(as_json), dict)
    assert max(len(line) for line in as_text.splitlines()) <= 80
    assert "\x1b" not in as_text
    assert "machine, not the rider" in as_text


def test_json_is_all_that_is_on_standard_output(twin: Path, tmp_path: Path) -> None:
    """One object, no solver's banner, no escape characters; nothing is written where the command is run."""
    status, out, err = ended(start("-m", "guardopt", "plan", twin, "--json", "--falls", 50, cwd=tmp_path))
    assert status == 0
    assert json.loads(out)["status"] == "optimal"
    assert "\x1b" not in out
    assert err.startswith("warning: parts.csv")
    assert len(err.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["check", "bill", "plan"])
def test_a_reader_who_stops_listening_is_no_reason_to_complain(twin: Path, command: str) -> None:
    """``guardopt bill … | head -1`` leaves nothing on the screen but the line and the warnings."""
    piped = start("-m", "guardopt", command, twin, "--falls", 20)
    assert piped.stdout is not None
    assert piped.stderr is not None
    piped.stdout.close()
    told = piped.stderr.read()
    piped.stderr.close()
    assert piped.wait(timeout=60) in (0, 1)
    assert len(told.splitlines()) == 1
    assert told.startswith("warning: ")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_an_answer_that_cannot_be_written_is_an_error_in_one_line(twin: Path) -> None:
    """A full disk is told, not shown as a traceback."""
    with Path("/dev/full").open("w") as full:
        status, _, err = ended(start("-m", "guardopt", "check", twin, "--json", stdout=full))
    assert status == 1
    assert err.splitlines()[1:] == ["error: no space left on device"]


def test_an_interrupt_ends_with_130_and_one_word(twin: Path) -> None:
    """Ctrl-C in the middle of long work: no traceback, no half of an answer.

    The warning tells that the work has begun; a million falls take longer to simulate than the wait. A shell shows an
    end by the signal itself as 130 too.
    """
    long = start("-m", "guardopt", "plan", twin, "--falls", 1_000_000)
    assert long.stderr is not None
    assert long.stderr.readline().startswith("warning: ")
    time.sleep(1.5)
    long.send_signal(signal.SIGINT)
    status, out, err = ended(long)
    assert status in (130, -signal.SIGINT)
    assert out == ""
    assert err.strip() == "interrupted"


SIGNS_OF_LIFE = [
    "warning: ",
    "simulating falls",
    "looking for the best kit",
    "working out the reasons",
    "pricing the kit on fresh falls",
    "drawing the page",
]
"""What a plan says on a terminal, in this order."""


@pytest.mark.parametrize("sign", SIGNS_OF_LIFE)
def test_an_interrupt_at_any_moment_leaves_nothing_behind(twin: Path, tmp_path: Path, sign: str) -> None:
    """While packages load, falls are drawn, the program is solved or the page is drawn: no file, no traceback.

    What it says on a terminal tells how far it is, so that a busy machine changes nothing.
    """
    scratch, out_folder = tmp_path / "scratch", tmp_path / "out"
    scratch.mkdir()
    out_folder.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(scratch)}
    # A module that Python was reading when the interrupt came is left open by Python.
    command = ("-W", "ignore::ResourceWarning", "-m", "guardopt", "plan", twin, "--falls", 20_000)
    command += ("--page", out_folder / "page.html")
    terminal, far_end = pty.openpty()
    stopped = start(*command, env=environment, stderr=far_end)
    os.close(far_end)
    told = _read_until(terminal, sign)
    stopped.send_signal(signal.SIGINT)
    told += _read_until(terminal, None)
    os.close(terminal)
    status, out, _ = ended(stopped)
    assert status in (130, -signal.SIGINT)
    # The plan is out before the page is drawn, so that it is not lost with it.
    assert ("Buy " in out) == (sign == "drawing the page")
    assert "Traceback" not in told
    assert list(scratch.iterdir()) == []
    assert list(out_folder.iterdir()) == []


def _read_until(terminal: int, sign: str | None) -> str:
    """What a process says on a terminal until it has said something, or until it ends."""
    told = ""
    while sign is None or sign not in told:
        try:
            more = os.read(terminal, 10_000).decode(errors="replace")
        except OSError:  # how Linux tells that the far end of a terminal is closed
            more = ""
        if not more:
            break
        told += more
    assert sign is None or sign in told
    return told


def test_runs_side_by_side_do_not_disturb_each_other(twin: Path) -> None:
    """Two plans at once, of one scenario and different budgets, come out as they do alone."""
    commands = [("-m", "guardopt", "plan", twin, "--json", "--falls", 200, "--budget", one) for one in (60, 250)]
    alone = [ended(start(*command)) for command in commands]
    running = [start(*command) for command in commands for _ in range(2)]
    together = [ended(one) for one in running]
    assert together == [one for one in alone for _ in range(2)]
    assert alone[0] != alone[1]


def test_progress_is_shown_on_a_terminal_and_wiped_at_the_end(twin: Path) -> None:
    """On standard error alone; standard output stays plain."""
    terminal, far_end = pty.openpty()
    status, out, _ = ended(start("-m", "guardopt", "plan", twin, "--falls", 50, stderr=far_end))
    os.close(far_end)
    told = os.read(terminal, 10_000).decode()
    os.close(terminal)
    assert status == 0
    assert "looking for the best kit …" in told
    assert told.endswith("\r\x1b[K")
    assert "\x1b" not in out
    assert out.startswith("Small twin (invented)\n")
