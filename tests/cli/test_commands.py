"""The command line: what it takes, what it prints where, and how it ends."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from folders import edited, write_folder

import guardopt
from guardopt.cli import commands as cli


@dataclass(frozen=True)
class Answer:
    """How a command ended and what it printed."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """What was printed, which has to be one JSON object and nothing else."""
        assert self.status == 0, self.err
        return json.loads(self.out)

    @property
    def errors(self) -> list[str]:
        """The errors, which have to be all that was printed, one line each."""
        assert self.out == ""
        lines = self.err.splitlines()
        assert all(line.startswith("error: ") for line in lines)
        return [line.removeprefix("error: ") for line in lines]


@pytest.fixture
def ask(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Callable[..., Answer]:
    """Run a command within this process, as the shell would."""

    def run(*args: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["guardopt", *map(str, args)])
        with pytest.raises(SystemExit) as ended:
            cli.run()
        assert isinstance(ended.value.code, int)
        return Answer(ended.value.code, *capfd.readouterr())

    return run


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the small twin."""
    return write_folder(tmp_path_factory.mktemp("twin"))


def test_json_is_what_the_package_says(ask: Callable[..., Answer], twin: Path) -> None:
    """Numbers unrounded, the very ones that a program would get."""
    scenario = guardopt.load(twin)
    assert ask("bill", twin, "--json").json == guardopt.bill(scenario).to_json()
    assert ask("bill", twin, "--bare", "--json").json == guardopt.bill(scenario, []).to_json()
    assert ask("plan", twin, "--json").json == guardopt.plan(scenario).to_json()
    asked = {"budget": 90.0, "aim": "worst", "must": ["case_cover"], "never": ["lever_guard"], "tail": 0.2}
    options = ["--budget", 90, "--aim", "worst", "--must", "case_cover", "--never", "lever_guard", "--tail", 0.2]
    assert ask("plan", twin, "--json", *options).json == guardopt.plan(scenario, **asked).to_json()
    checked = ask("check", twin, "--json").json
    assert checked["scenario"] == scenario.title
    assert (checked["parts"], checked["guards"], checked["cap"]) == (5, 5, 3200.0)
    assert checked["falls"] == {"tip_over": 0.6, "low_side": 0.2}
    assert checked["warnings"] == []


def test_text_is_what_the_package_says(ask: Callable[..., Answer], twin: Path) -> None:
    """The report and one line break, and nothing on standard error."""
    from guardopt.reports.bill_text import bill_text
    from guardopt.reports.check_text import check_text
    from guardopt.reports.plan_answer import answer_text, why_text
    from guardopt.reports.plan_text import plan_text

    scenario = guardopt.load(twin)
    assert ask("check", twin) == Answer(0, check_text(scenario) + "\n", "")
    assert ask("bill", twin) == Answer(0, bill_text(guardopt.bill(scenario)) + "\n", "")
    made = guardopt.plan(scenario, reasons=False)
    assert ask("plan", twin, "--no-reasons") == Answer(0, answer_text(made) + "\n", "")
    assert ask("plan", twin, "--full", "--no-reasons") == Answer(0, plan_text(made) + "\n", "")
    made = guardopt.plan(scenario)
    assert ask("plan", twin) == Answer(0, answer_text(made) + "\n", "")
    story = why_text(made, ["crash_bar", "lever_guard.left", "lever_guard.right"])
    assert ask("plan", twin, "--why", "crash_bar,lever_guard") == Answer(0, story + "\n", "")
    unknown = "error: --why: no guard 'crash_br' in this scenario; did you mean crash_bar?\n"
    assert ask("plan", twin, "--why", "crash_br") == Answer(2, "", unknown)
    assert ask("plan", twin, "--why", "crash_bar", "--full") == Answer(2, "", "error: --why: cannot go with --full\n")


def test_what_ifs_and_sample_options_change_the_scenario_before_it_is_asked(
    ask: Callable[..., Answer], twin: Path
) -> None:
    """--change, --seed and --falls do what changing the folder would do, and leave the folder alone."""
    before = {path.name: path.read_bytes() for path in twin.iterdir()}
    changes = {
        "falls.low_side.per_year": 0.8,
        "scenario.owner.years": 5,
        "scenario.sampling.seed": 7,
        "scenario.sampling.falls": 50,
    }
    sets = ["--change", "falls.low_side.per_year=0.8", "--change", "scenario.owner.years=5"]
    said = ask("bill", twin, "--json", *sets, "--seed", 7, "--falls", 50).json
    assert said == guardopt.bill(guardopt.load(twin, changes)).to_json()
    assert said != ask("bill", twin, "--json", *sets).json
    assert {path.name: path.read_bytes() for path in twin.iterdir()} == before


@pytest.mark.parametrize(
    "ids",
    [
        ["--fit", "crash_bar,lever_guard"],
        ["--fit", "crash_bar, lever_guard"],
        ["--fit=crash_bar,lever_guard"],
        ["--fit", "crash_bar", "--fit", "lever_guard"],
        ["--fit", "lever_guard.right,crash_bar", "--fit=lever_guard.left"],
    ],
)
def test_ids_are_given_by_commas_or_by_the_option_again(ask: Callable[..., Answer], twin: Path, ids: list[str]) -> None:
    """Whichever way, and whatever stands before and behind."""
    wanted = guardopt.bill(guardopt.load(twin), ["crash_bar", "lever_guard"]).to_json()
    for args in ([twin, *ids, "--json"], ["--json", *ids, twin], [*ids, twin, "--json"]):
        assert ask("bill", *args).json == wanted


def test_ids_of_several_options_do_not_mix(ask: Callable[..., Answer], twin: Path) -> None:
    """Each id goes with its own option."""
    options = ["--must", "case_cover,radiator_grille", "--budget", "none", "--never", "crash_bar,lever_guard"]
    kit = ask("plan", twin, "--no-reasons", "--json", *options).json["kit"]
    assert kit == ["case_cover", "radiator_grille"]


def test_a_blank_between_ids_is_answered_with_how_to_write_them(ask: Callable[..., Answer], twin: Path) -> None:
    """A word that belongs to no option is refused; a command that takes no ids does not talk of them."""
    refused = ask("plan", twin, "--must", "case_cover", "crash_bar")
    assert refused.status == 2
    assert refused.errors == [
        "Got unexpected extra argument (crash_bar); several ids are written with commas between them: --must ID,ID"
    ]
    assert "commas" not in ask("check", twin, "crash_bar").err


def test_a_budget_is_an_amount_or_none(ask: Callable[..., Answer], twin: Path) -> None:
    """The word lifts the limit; other words are refused with how to write it."""
    assert ask("plan", twin, "--no-reasons", "--json", "--budget", "none").json["budget"] is None
    assert ask("plan", twin, "--no-reasons", "--json", "--budget", "99.5").json["budget"] == 99.5
    # Halves of a cent are rounded up, as they are in files.
    assert ask("plan", twin, "--no-reasons", "--json", "--budget", "360.1250").json["budget"] == 360.13
    for written, found in {
        "12,50": "found '12,50', a decimal comma: write 12.50",
        "1.200": "found '1.200', a point that may divide thousands or decimals: write 1200 or 1.20",
        "1.245": "found '1.245', a point that may divide thousands or decimals: write 1245 or 1.25",
        "1.200.50": "found '1.200.50', a thousands separator: write 1200.50",
        "lots": "found 'lots', expected an amount or \"none\"",
        "-1": "found -1, expected an amount of at least 0",
        "nan": "found 'nan', expected an amount or \"none\"",
    }.items():
        refused = ask("plan", twin, f"--budget={written}")
        assert (refused.status, refused.errors) == (2, [f"--budget: {found}"])


def test_a_doubled_rate_doubles_that_falls_share_and_leaves_the_files_alone(
    ask: Callable[..., Answer], twin: Path
) -> None:
    """The folder is read, never written."""
    before = {path: path.read_bytes() for path in twin.iterdir()}
    plain = ask("bill", twin, "--json", "--bare").json
    more = ask("bill", twin, "--json", "--bare", "--change", "falls.tip_over.per_year=1.2").json
    tip_over = next(fall for fall in plain["falls"] if fall["fall"] == "tip_over")
    assert tip_over["per_year"] == 0.6
    added = 0.6 * (tip_over["owner_cost"] + tip_over["renewals"])
    assert more["yearly_cost"] == pytest.approx(plain["yearly_cost"] + added)
    assert {path: path.read_bytes() for path in twin.iterdir()} == before


@pytest.mark.parametrize("moment", ["before it failed", "and was swallowed"])
def test_an_interrupt_that_a_package_swallowed_still_ends_the_command(
    moment: str, twin: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Whether the package is unusable since, or goes on as if nothing had been: one word and 130."""
    interrupted: list[bool] = []

    def fail(*_: object, **__: object) -> None:
        interrupted.append(True)
        if moment == "before it failed":
            raise guardopt.SolverError("solver HiGHS failed: not available")

    monkeypatch.setattr("guardopt.questions.plan.wrong_gap", lambda _: fail() or [])
    monkeypatch.setattr(sys, "argv", ["guardopt", "plan", str(twin), "--no-reasons"])
    with pytest.raises(SystemExit) as ended:
        cli.run(was_interrupted=lambda: bool(interrupted))
    assert ended.value.code == 130
    out, err = capfd.readouterr()
    assert (out, err.split()) == ("", ["interrupted"])


@pytest.mark.parametrize(
    ("args", "errors"),
    [
        (
            ["bill", "TWIN", "--fit", "crash_baar,leverguard"],
            ["did you mean crash_bar?", "did you mean lever_guard?"],
        ),
        (["plan", "TWIN", "--must", "crash_baar", "--tail", "2"], ["--tail: found 2", "did you mean crash_bar?"]),
        (["bill", "TWIN", "--bare", "--fit", "crash_bar"], ["--bare: cannot go with --fit"]),
        (["bill", "TWIN", "--fit", ","], ["--fit: no id behind it"]),
        (["bill", "TWIN", "--fit"], ["Option '--fit' requires an argument"]),
        (["bill", "--fit", "TWIN"], ["Missing argument 'SCENARIO'"]),
        (["plan"], ["Missing argument 'SCENARIO'"]),
        (["plan", "TWIN", "TWIN"], ["unexpected extra argument"]),
        (["plan", "TWIN", "--aim", "cheap"], ["'cheap' is not one of 'bills', 'outlay', 'worst'"]),
        (
            ["plan", "TWIN", "--budget", "abc", "--gap", "1_0", "--falls", "0"],
            [
                "--budget: found 'abc', expected an amount or \"none\"",
                "--gap: found '1_0', expected a number",
                "--falls: found '0', expected a whole number from 1 to 1000000",
            ],
        ),
        (["plan", "TWIN", "--falls", "0"], ["--falls: found '0', expected a whole number from 1 to 1000000"]),
        (
            ["plan", "TWIN", "--seed", "-1"],
            ["--seed: found '-1', expected a whole number from 0 to 100000000000000000"],
        ),
        (["plan", "TWIN", "--budgte", "3"], ["No such option '--budgte'"]),
        (["plna", "TWIN"], ["No such command 'plna'"]),
        (["check", "nowhere"], ["nowhere: no such folder"]),
        (
            ["check", "TWIN", "--change", "falls.low_side"],
            ["--change: found 'falls.low_side', expected FILE.ID.COLUMN=VALUE"],
        ),
        (["check", "TWIN", "--change", "falls.low_syde.per_year=1"], ["did you mean low_side?"]),
        (
            ["check", "TWIN", "--change", "falls.low_side.per_year=40%", "--change", "parts.tank.price=-1"],
            ["found '-1', expected a number of at least 0", "a percent sign: write 0.40"],
        ),
    ],
)
def test_bad_input_and_usage_end_with_2_and_a_line_for_each_error(
    ask: Callable[..., Answer], twin: Path, args: list[str], errors: list[str]
) -> None:
    """Every error says what is wrong; nothing is printed as if it were an answer."""
    refused = ask(*(twin if arg == "TWIN" else arg for arg in args))
    assert refused.status == 2
    assert len(refused.errors) == len(errors)
    for told, expected in zip(refused.errors, errors, strict=True):
        assert expected in told


def test_kits_that_cannot_be_fitted_are_refused(ask: Callable[..., Answer], tmp_path: Path) -> None:
    """Slots, needs and not-withs each."""
    guards = (
        "guard,side,price,slot,needs,not_with\n"
        "bar,pair,100,side,,\nslider,both,30,side,,\nbrace,centre,40,,bar,\nbag,centre,20,,,brace\n"
    )
    covers = "guard,part,holds\nbar,engine_case,0.8\nslider,engine_case,0.5\nbrace,radiator,0.5\nbag,tank,0.3\n"
    folder = write_folder(tmp_path / "clashes", guards=guards, covers=covers, offers=None)
    for ids, errors in {
        "bar slider.left": ["--fit: bar and slider.left cannot both be fitted"],
        "brace": ["--fit: brace needs bar"],
        "bar brace bag": ["--fit: brace and bag cannot both be fitted"],
        "slider brace bag": ["--fit: brace needs bar", "--fit: brace and bag cannot both be fitted"],
    }.items():
        refused = ask("bill", folder, "--fit", ids)
        assert (refused.status, refused.errors) == (2, errors)


@pytest.mark.parametrize(
    ("args", "why"),
    [
        (
            ["--must", "crash_bar", "--budget", "179.99"],
            "the least that a kit with crash_bar costs is 180.00, more than the budget of 179.99",
        ),
        (["--must", "crash_bar", "--never", "crash_bar"], "crash_bar is forced in and ruled out as well"),
        (
            ["--must", "crash_bar,radiator_grille", "--change", "scenario.owner.max_weight_kg=4.1"],
            "crash_bar and radiator_grille would weigh 4.2 kg, more than the limit of 4.1 kg",
        ),
        (
            ["--must", "crash_bar,radiator_grille", "--change", "guards.radiator_grille.not_with=crash_bar"],
            "crash_bar and radiator_grille cannot both be fitted",
        ),
        (
            ["--must", "case_cover", "--never", "crash_bar", "--change", "guards.case_cover.needs=crash_bar"],
            "case_cover needs crash_bar, which is ruled out",
        ),
    ],
)
def test_what_cannot_be_had_ends_with_1(ask: Callable[..., Answer], twin: Path, args: list[str], why: str) -> None:
    """Too dear, ruled out as well, too heavy, in each other's way, without what it needs: the error says which."""
    refused = ask("plan", twin, *args)
    assert refused.status == 1
    assert refused.errors == [why]


def test_a_solver_that_is_not_there_ends_with_1(ask: Callable[..., Answer], twin: Path) -> None:
    """Those that are there are named."""
    refused = ask("plan", twin, "--solver", "nosuch")
    assert refused.status == 1
    assert "HiGHS" in refused.errors[0]


@pytest.mark.usefixtures("flattering_planner")
def test_an_answer_that_does_not_survive_recomputing_ends_with_1(ask: Callable[..., Answer], twin: Path) -> None:
    """No plan is printed."""
    refused = ask("plan", twin)
    assert refused.status == 1
    assert len(refused.errors) == 1


def test_warnings_go_to_standard_error_and_stop_nothing(ask: Callable[..., Answer], tmp_path: Path) -> None:
    """A touch-up price on a part that always breaks has no effect; the answer is the same as without."""
    odd = write_folder(
        tmp_path / "odd", **edited("parts", "radiator,centre,260,1.2,,,", "radiator,centre,260,1.2,,15,")
    )
    plain = write_folder(tmp_path / "plain")
    for command in (["check"], ["bill"], ["plan", "--no-reasons"]):
        said, expected = ask(*command, odd, "--json"), ask(*command, plain, "--json")
        assert len(said.err.splitlines()) == 1
        assert said.err.startswith("warning: parts.csv, line 4, column touch_up: ")
        assert {**said.json, "warnings": []} == {**expected.json, "warnings": []}
    assert ask("check", odd, "--json").json["warnings"] == [said.err.removeprefix("warning: ").rstrip("\n")]


def test_a_new_scenario_can_be_checked_and_planned_at_once(
    ask: Callable[..., Answer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told what to do next, nothing is odd about it, and nothing is written but the new folder."""
    monkeypatch.chdir(tmp_path)
    wrote = ask("new", "mine")
    assert wrote.status == 0
    assert "guardopt check mine" in wrote.out
    assert "invented" in wrote.out
    for command in (["check", "mine"], ["bill", "mine", "--falls", 50], ["plan", "mine", "--falls", 50]):
        answer = ask(*command)
        assert (answer.status, answer.err) == (0, "")
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]
    refused = ask("new", "mine")
    assert (refused.status, refused.errors) == (2, ["mine: is not empty, expected a new or empty folder"])


def test_the_version_is_the_packages(ask: Callable[..., Answer]) -> None:
    """One place says it."""
    assert ask("--version") == Answer(0, f"guardopt, version {guardopt.__version__}\n", "")
