"""The commands budgets, order, forecast and the doubts of plan: options, JSON, errors and time limits."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from folders import edited, write_folder

import guardopt
from guardopt.cli import commands as cli
from guardopt.model.scenario import Scenario
from guardopt.questions.budgets import budgets
from guardopt.questions.forecast import forecast
from guardopt.questions.plan import plan
from guardopt.questions.purchase_schedule import order
from guardopt.reports.plan_answer import answer_text
from guardopt.reports.question_text import budgets_text, forecast_text, order_text

Ask = Callable[..., tuple[int, str, str]]


@pytest.fixture
def ask(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Ask:
    """Run a command within this process, as the shell would: its status, what it printed, and its errors."""

    def run(*args: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["guardopt", *map(str, args)])
        with pytest.raises(SystemExit) as ended:
            cli.run()
        assert isinstance(ended.value.code, int)
        return ended.value.code, *capfd.readouterr()

    return run


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the small twin, with few falls."""
    return write_folder(tmp_path_factory.mktemp("twin"), **edited("scenario", "falls = 200", "falls = 40"))


@pytest.fixture(scope="module")
def twin(folder: Path) -> Scenario:
    """The small twin."""
    return guardopt.load(folder)


def record(answer: tuple[int, str, str]) -> dict[str, Any]:
    """What was printed, which has to be one JSON object and nothing else."""
    status, out, err = answer
    assert (status, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    return found


def test_json_is_what_the_package_says(ask: Ask, folder: Path, twin: Scenario) -> None:
    """With the same options the command gives the record of the function, numbers unrounded."""
    assert record(ask("budgets", folder, "--json")) == budgets(twin).to_json()
    options = ["--aim", "outlay", "--must", "case_cover", "--never", "lever_guard"]
    asked: dict[str, Any] = {"aim": "outlay", "must": ["case_cover"], "never": ["lever_guard"]}
    assert record(ask("budgets", folder, "--json", *options)) == budgets(twin, **asked).to_json()
    assert record(ask("order", folder, "--json", "--put-by", 40)) == order(twin, 40.0).to_json()
    options = ["--put-by", "12.5", "--in-hand", 80, "--months", 4, "--time-limit", 30]
    assert record(ask("order", folder, "--json", *options)) == order(twin, 12.5, in_hand=80.0, months=4).to_json()
    assert record(ask("forecast", folder, "--json")) == forecast(twin).to_json()
    options = ["--budget", 90, "--aim", "worst", "--must", "case_cover", "--never", "lever_guard"]
    asked = {"budget": 90.0, "aim": "worst", "must": ["case_cover"], "never": ["lever_guard"]}
    assert record(ask("forecast", folder, "--json", *options)) == forecast(twin, **asked).to_json()
    fit = ["--fit", "lever_guard,crash_bar", "--time-limit", 9]
    assert record(ask("forecast", folder, "--json", *fit)) == forecast(twin, ["lever_guard", "crash_bar"]).to_json()


def test_text_is_what_the_package_says(ask: Ask, folder: Path, twin: Scenario) -> None:
    """The report and one line break, nothing on standard error, no colours when piped."""
    curve = budgets(twin)
    assert ask("budgets", folder, "--step", 0) == (0, budgets_text(curve, curve) + "\n", "")
    thinned = budgets_text(curve, curve.thinned(upto=200.0, step=50.0)) + "\n"
    assert ask("budgets", folder, "--upto", 200, "--step", 50) == (0, thinned, "")
    readable = budgets_text(curve, curve.thinned(step=curve.readable_step)) + "\n"
    assert ask("budgets", folder) == (0, readable, "")
    assert ask("order", folder, "--put-by", 40) == (0, order_text(order(twin, 40.0)) + "\n", "")
    assert ask("forecast", folder) == (0, forecast_text(forecast(twin)) + "\n", "")
    made = plan(twin, reasons=False, sure=5, break_even=True)
    asked = ("plan", folder, "--no-reasons", "--sure", 5, "--break-even")
    assert ask(*asked) == (0, answer_text(made) + "\n", "")


def test_budgets_shown_as_json_are_those_asked_for(ask: Ask, folder: Path, twin: Scenario) -> None:
    """Every step unless --upto or --step says otherwise; where money stops paying is told of the whole curve."""
    curve = budgets(twin)
    for options, shown in (
        ([], curve),
        (["--step", 0], curve),
        (["--upto", 100], curve.thinned(upto=100.0)),
        (["--step", 50], curve.thinned(step=50.0)),
        (["--upto", 150, "--step", 60], curve.thinned(150.0, 60.0)),
    ):
        found = record(ask("budgets", folder, "--json", *options))
        assert found["steps"] == shown.to_json()["steps"]
        assert found["pays_until"] == curve.pays_until


def test_doubts_have_the_promised_keys(ask: Ask, folder: Path) -> None:
    """Sureness of its own, and from when to when each guard is worth it; without the options, neither."""
    plain = record(ask("plan", folder, "--json", "--no-reasons"))
    assert "sureness" not in plain
    assert plain["guards"] == []
    doubted = record(ask("plan", folder, "--json", "--sure", 20, "--break-even"))
    assert list(doubted["sureness"]) == [
        *("draws_asked", "draws", "best_share", "best_share_se", "mean_regret", "mean_regret_se", "worst_regret"),
        *("guards", "evpi", "evpi_se", "groups", "numbers", "better_kit", "better_by", "better_by_se"),
    ]
    assert doubted["sureness"]["evpi"] == doubted["sureness"]["mean_regret"]
    assert doubted["sureness"]["draws"] == doubted["sureness"]["draws_asked"] == 20
    assert [list(guard) for guard in doubted["sureness"]["guards"]] == [["guard", "share"]] * 5
    for guard in doubted["guards"]:
        assert list(guard)[-3:] == ["worth_it_from", "worth_it_until", "worth_it_known"]
        assert guard["worth_it_known"]


def test_break_even_needs_no_reasons(ask: Ask, folder: Path, twin: Scenario) -> None:
    """Without reasons each guard has its multiples all the same."""
    found = record(ask("plan", folder, "--json", "--no-reasons", "--break-even"))
    with_reasons = record(ask("plan", folder, "--json", "--break-even"))
    keys = ("guard", "picked", "worth_it_from", "worth_it_until", "worth_it_known")
    by_id = {guard["guard"]: {key: guard[key] for key in keys} for guard in with_reasons["guards"]}
    assert {guard["guard"]: guard for guard in found["guards"]} == by_id
    assert list(by_id) != []
    assert len(by_id) == len(twin.guards)


@pytest.mark.parametrize(
    ("options", "draws"),
    [(["--sure"], 200), (["--sure", "7"], 7), (["--sure=9"], 9), (["--sure", "--no-reasons"], 200)],
)
def test_sure_without_a_number_means_two_hundred(ask: Ask, folder: Path, options: list[str], draws: int) -> None:
    """Behind it may stand a number, another option, the scenario or nothing."""
    quick = ["--json", "--falls", "20"]
    assert record(ask("plan", folder, *quick, *options))["sureness"]["draws"] == draws


@pytest.mark.parametrize(
    ("args", "status", "told"),
    [
        (["budgets", "--upto", "-1"], 2, ["--upto: found -1, expected an amount of at least 0"]),
        (["budgets", "--step", "0.001"], 2, ["--step: found 0.001, expected an amount of at least 0.01"]),
        (["budgets", "--aim", "cheapest"], 2, ["cheapest"]),
        (["budgets", "--must", "crash_baar"], 2, ["--must: no guard 'crash_baar'", "did you mean crash_bar?"]),
        (["budgets", "--must", "crash_bar", "--upto", "100"], 1, ["up to a budget of 100.00", "180.00"]),
        (
            ["budgets", "--must", "crash_bar", "--never", "crash_bar"],
            1,
            ["crash_bar is forced in and ruled out as well"],
        ),
        (["budgets", "--time-limit", "0"], 2, ["--time-limit: found 0, expected seconds above 0"]),
        (["budgets", "--time-limit", "nan"], 2, ["--time-limit: found 'nan', expected a number"]),
        (["budgets", "--time-limit", "1e-9"], 1, ["time"]),
        (["order"], 2, ["--put-by"]),
        (["order", "--put-by", "12,50"], 2, ["--put-by: found '12,50', a decimal comma: write 12.50"]),
        (
            ["order", "--put-by", "5", "--in-hand", "1.250"],
            2,
            ["--in-hand: found '1.250', a point", "write 1250 or 1.25"],
        ),
        (["budgets", "--upto", "1.200,50"], 2, ["--upto: found '1.200,50', a thousands separator and a decimal comma"]),
        (["budgets", "--step", "lots"], 2, ["--step: found 'lots', expected an amount"]),
        (["order", "--put-by", "0"], 2, ["--put-by: found 0 with nothing saved already"]),
        (["order", "--put-by", "-5", "--months", "99"], 2, ["--put-by: found -5", "--months: found 99"]),
        (["order", "--put-by", "5", "--in-hand", "inf"], 2, ["--in-hand: found 'inf', expected an amount"]),
        (["forecast", "--fit", "crash_baar"], 2, ["--fit: no guard 'crash_baar'", "did you mean crash_bar?"]),
        (["forecast", "--time-limit", "-1", "--fit", "x"], 2, ["--time-limit: found -1", "--fit: no guard 'x'"]),
        (["plan", "--sure", "0"], 2, ["--sure"]),
        (["plan", "--sure=-3"], 2, ["-3"]),
    ],
)
def test_bad_questions_end_with_clean_lines_and_the_promised_status(
    ask: Ask, folder: Path, args: list[str], status: int, told: list[str]
) -> None:
    """2 for what is wrong, 1 for what cannot be had; all that is wrong at once, and nothing on standard output."""
    command, *options = args
    ended, out, err = ask(command, folder, *options)
    assert (ended, out) == (status, "")
    assert all(line.startswith("error: ") for line in err.splitlines())
    assert all(one in err for one in told)
    assert "Traceback" not in err


def test_questions_keep_to_their_time(ask: Ask, folder: Path) -> None:
    """With no time at all order, forecast and plan still answer, and say what was left open."""
    found = record(ask("order", folder, "--json", "--put-by", 40, "--time-limit", "1e-9"))
    assert (found["status"] == "optimal") == (found["gap"] <= 1e-4)
    found = record(ask("forecast", folder, "--json", "--time-limit", "1e-9"))
    assert found["status"] == "time_limit"
    assert found["gap"] > 0.0
    found = record(ask("plan", folder, "--json", "--time-limit", "1e-9", "--sure", "--break-even"))
    assert (found["status"], found["sureness"]["draws"]) == ("time_limit", 0)
    assert not any(guard["worth_it_known"] for guard in found["guards"])


def test_what_ifs_change_the_scenario_before_it_is_asked(ask: Ask, folder: Path) -> None:
    """--change, --seed and --falls do what changing the folder would do."""
    changes = {"scenario.owner.budget": 100.0, "scenario.sampling.seed": 7, "scenario.sampling.falls": 50}
    changed = guardopt.load(folder, changes)
    options = ["--json", "--change", "scenario.owner.budget=100", "--seed", 7, "--falls", 50]
    assert record(ask("budgets", folder, *options)) == budgets(changed).to_json()
    assert record(ask("order", folder, "--put-by", 30, *options)) == order(changed, 30.0).to_json()
    assert record(ask("forecast", folder, *options)) == forecast(changed).to_json()


@pytest.mark.parametrize("command", ["budgets", "order", "forecast"])
def test_help_keeps_to_eighty_columns_and_names_the_time_limit(ask: Ask, command: str) -> None:
    """Each of these questions may take long, so each can be stopped."""
    status, out, err = ask(command, "--help")
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert "--time-limit SECONDS" in out
