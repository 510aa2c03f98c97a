"""The command line as a process of its own: what it prints where, and how it ends."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from folders import write_folder

SCENARIOS = Path(__file__).parents[1] / "scenarios"
COURIER = str(SCENARIOS / "courier")
QUICK = ("--falls", "300")


def run(*args: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run guardopt and catch what it prints."""
    command = [sys.executable, "-m", "guardopt", *args]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, check=False, timeout=120)  # noqa: S603


def one_line_errors(done: subprocess.CompletedProcess[str]) -> list[str]:
    """The error lines, none of them a traceback."""
    assert "Traceback" not in done.stderr
    return done.stderr.splitlines()


@pytest.mark.parametrize(
    "args",
    [
        ("check", COURIER),
        ("bill", COURIER, *QUICK),
        ("plan", COURIER, *QUICK),
        ("budgets", COURIER, *QUICK),
        ("order", COURIER, "--monthly", "120", *QUICK),
        ("forecast", COURIER, *QUICK),
    ],
)
def test_json_is_one_object_and_text_keeps_to_eighty_plain_columns(args: tuple[str, ...], tmp_path: Path) -> None:
    """Nothing but the object is on standard output (no solver's banner), and nothing is written to the folder."""
    as_json, as_text = run(*args, "--json", cwd=tmp_path), run(*args, cwd=tmp_path)
    assert as_json.returncode == as_text.returncode == 0
    assert isinstance(json.loads(as_json.stdout), dict)
    assert as_json.stderr == as_text.stderr == ""
    assert max(len(line) for line in as_text.stdout.splitlines()) <= 80
    assert "\x1b" not in as_text.stdout
    assert "machine, not the rider" in as_text.stdout
    assert list(tmp_path.iterdir()) == []


def test_several_ids_may_follow_one_option_and_the_scenario_may_come_last() -> None:
    """--fit takes ids with blanks or commas between them, and again and again."""
    ids = ["gear_tip", "engine_bar", "bar_end_slider"]
    wanted = json.loads(run("bill", COURIER, "--json", *QUICK, "--fit", *ids).stdout)
    assert wanted["fitted"] == ["bar_end_slider.left", "bar_end_slider.right", "engine_bar", "gear_tip"]
    for other in (
        ["--fit", ",".join(ids), COURIER],
        [COURIER, "--fit", ids[0], "--fit", ids[1], "--fit", ids[2]],
        ["--fit", *ids, COURIER],
    ):
        assert json.loads(run("bill", "--json", *QUICK, *other).stdout) == wanted


@pytest.mark.parametrize(
    ("args", "status", "message"),
    [
        (("plan", COURIER, "--must", "engine_bra"), 2, "did you mean engine_bar?"),
        (("bill", COURIER, "--fit", "engine_bar", "frame_slider"), 2, "cannot both be fitted"),
        (("bill", COURIER, "--fit", "box_bar"), 2, "box_bar needs rear_bar"),
        (("bill", COURIER, "--fit", "gear_tip", "--bare"), 2, "--bare"),
        (("plan", COURIER, "--must", "engine_bar", "--budget", "10"), 1, "no kit satisfies"),
        (("plan", COURIER, "--must", "engine_bar", "--never", "engine_bar"), 1, "no kit satisfies"),
        (("plan", COURIER, "--budget", "12,50"), 2, "decimal comma"),
        (("plan", COURIER, "--set", "falls.low_side.per_yaer=1"), 2, "per_year"),
        (("plan", COURIER, "--set", "falls.low_side.per_year"), 2, "FILE.ID.COLUMN=VALUE"),
        (("plan", COURIER, "--solver", "nosuch"), 1, "nosuch"),
        (("plan", COURIER, "--tail", "2", "--gap", "-1"), 2, "--tail"),
        (("order", COURIER, "--monthly", "-5"), 2, "--monthly"),
        (("check", "nowhere"), 2, "no such folder"),
    ],
)
def test_errors_are_single_lines_with_the_promised_status(args: tuple[str, ...], status: int, message: str) -> None:
    """Bad input and usage end with 2, what cannot be had with 1; nothing is printed as if it were an answer."""
    done = run(*args)
    assert done.returncode == status
    assert message in done.stderr
    assert done.stdout == ""
    assert all(line.startswith("error: ") for line in one_line_errors(done))


def test_what_ifs_change_the_answer_and_leave_the_files_alone() -> None:
    """A doubled rate doubles that fall's share of the cost; the folder is read, never written."""
    before = {path: path.read_bytes() for path in Path(COURIER).rglob("*.*")}
    plain = json.loads(run("bill", COURIER, "--json", *QUICK, "--bare").stdout)
    more = json.loads(run("bill", COURIER, "--json", *QUICK, "--bare", "--set", "falls.tip_over.per_year=6.4").stdout)
    tip_over = next(fall for fall in plain["falls"] if fall["fall"] == "tip_over")
    added = tip_over["per_year"] * (tip_over["owner_cost"] + tip_over["renewals"])
    assert more["yearly_cost"] == pytest.approx(plain["yearly_cost"] + added)
    assert {path: path.read_bytes() for path in Path(COURIER).rglob("*.*")} == before


def test_warnings_go_to_standard_error_and_stop_nothing(tmp_path: Path) -> None:
    """A scenario that is odd but legal is planned all the same."""
    folder = write_folder(tmp_path / "odd")
    done = run("check", str(folder), "--set", "scenario.owner.discount_rate=0.5")
    assert done.returncode == 0
    assert done.stderr.startswith("warning: ")
    assert "Traceback" not in done.stderr


def test_new_writes_a_scenario_that_plans(tmp_path: Path) -> None:
    """The starter can be checked and planned at once, and is not overwritten."""
    assert run("new", "mine", cwd=tmp_path).returncode == 0
    assert run("check", "mine", cwd=tmp_path).stderr == ""
    assert json.loads(run("plan", "mine", "--json", *QUICK, cwd=tmp_path).stdout)["status"] == "optimal"
    again = run("new", "mine", cwd=tmp_path)
    assert again.returncode == 2
    assert len(one_line_errors(again)) == 1


def test_an_interrupt_ends_with_130_and_one_clean_line() -> None:
    """Ctrl-C in the middle of long work leaves no traceback."""
    command = [sys.executable, "-m", "guardopt", "plan", COURIER, "--falls", "200000"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:  # noqa: S603
        time.sleep(2.0)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert err.strip() == "interrupted"


def test_a_closed_pipe_leaves_no_traceback() -> None:
    """`guardopt plan … | head -1` ends quietly."""
    command = f"{sys.executable} -m guardopt plan {COURIER} --falls 300 | head -1"
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False, timeout=60)  # noqa: S602
    assert done.stdout.count("\n") == 1
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("code", "forbidden"),
    [
        ("from guardopt.cli import main", ("numpy", "pandas", "pulp", "highspy", "pydantic")),
        (f"import guardopt; guardopt.load({COURIER!r})", ("numpy", "pandas", "pulp", "highspy")),
        (
            f"import guardopt; guardopt.plan(guardopt.load({COURIER!r}), reasons=False)",
            ("pandas", "scipy", "matplotlib"),
        ),
    ],
)
def test_heavy_modules_are_imported_only_where_needed(code: str, forbidden: tuple[str, ...]) -> None:
    """Help and check load no solver, and a plan loads no tables or plots."""
    listing = f"{code}\nimport sys\nprint(sorted(set({forbidden!r}) & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", listing], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout.strip() == "[]"
