"""`guardopt learn`: a new folder with the numbers as learned, the old one untouched, and a report that says why."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from folders import SMALL_TWIN, write_folder
from logs import Rider, simulated_log, write_log
from shipped import FOLDER

from guardopt.cli import commands as cli
from guardopt.cli.error_lines import told
from guardopt.errors import GuardoptError
from guardopt.files.cells import Findings
from guardopt.files.tables import parse_table
from guardopt.learning.fall_log import Log
from guardopt.learning.learn import learn
from guardopt.learning.learned_folder import read_beliefs, write_learned
from guardopt.loading.load import load
from guardopt.model.numbers import numbers_of, value_of
from guardopt.reports.learn_text import learn_text


def run(*args: object) -> Result:
    """Run the command line."""
    return CliRunner().invoke(cli.main, [str(one) for one in args])


def complaint(*args: object) -> str:
    """What is wrong with a command that is refused."""
    result = run(*args)
    assert isinstance(result.exception, GuardoptError)
    assert result.exception.exit_code == 2
    return "\n".join(told(result.exception))


def fingerprint(folder: Path) -> Mapping[str, str]:
    """Every file of a folder with a digest of its bytes."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


@pytest.fixture
def twin(tmp_path: Path) -> Path:
    """The small twin and, beside it, eight years of two bikes."""
    folder = write_folder(tmp_path / "twin")
    scenario = load(folder)
    riders = [Rider("red", 1461, scenario.expand(["crash_bar", "lever_guard"])), Rider("blue", 1461)]
    write_log(tmp_path / "log", scenario, simulated_log(scenario, riders, seed=3))
    return folder


def learned_json(twin: Path, *options: object) -> dict[str, Any]:
    """What the command prints as JSON."""
    result = run("learn", twin, twin.parent / "log", "--into", twin.parent / "after", "--json", *options)
    assert result.exit_code == 0, result.output
    record: dict[str, Any] = json.loads(result.stdout)
    return record


def test_the_new_folder_holds_what_was_learned_and_the_old_one_is_untouched(twin: Path) -> None:
    """`check` passes, every number is the learned one to six figures, and all else is as it was."""
    before = fingerprint(twin)
    record = learned_json(twin)
    assert fingerprint(twin) == before
    after = load(twin.parent / "after")
    assert run("check", twin.parent / "after").exit_code == 0
    by_address = {one.address: value_of(after, one) for one in numbers_of(after)}
    for one in record["numbers"]:
        assert by_address[one["number"]] == pytest.approx(one["now"], rel=1e-6)
    old = load(twin)
    assert (after.guards, after.offers, after.knock_ons) == (old.guards, old.offers, old.knock_ons)
    assert [part.price for part in after.parts] == [part.price for part in old.parts]


def test_only_cells_with_news_change(twin: Path) -> None:
    """Of each table the order of columns and rows, and every cell that was not learned; of the settings every byte."""
    record = learned_json(twin)
    news = {one["number"] for one in record["numbers"] if one["now"] != one["guess"]}
    assert news
    after = twin.parent / "after"
    for name in ("scenario.toml", "guards.csv", "knock_on.csv", "offers.csv"):
        assert (after / name).read_bytes() == (twin / name).read_bytes()
    for name, keys in (("parts", ("part",)), ("hits", ("part",)), ("covers", ("guard", "part", "fall"))):
        tables = [parse_table(f"{name}.csv", (one / f"{name}.csv").read_text(), Findings()) for one in (twin, after)]
        old, new = (table for table in tables if table is not None)
        assert old.columns == new.columns
        for old_row, new_row in zip(old.rows, new.rows, strict=True):
            row = ".".join("".join(old_row.text(key).split()) for key in keys if old_row.text(key))
            changed = {column for column in old.columns if old_row.text(column) != new_row.text(column)}
            assert changed == {column for column in old.columns if f"{name}.{row}.{column}" in news}


def test_dialect_comments_and_strange_layouts_survive(tmp_path: Path) -> None:
    """Semicolons, a byte-order mark, quotation marks, Windows line ends, other files, missing columns."""
    falls = '\ufeff"fall";"per_year"\r\n"tip_over";"0.6"\r\n"low_side";"0.2"\r\n'
    scenario = SMALL_TWIN["scenario"].replace("[bike]", "# bought second hand\n[bike]")
    folder = write_folder(tmp_path / "twin", falls=falls, scenario=scenario)
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    loaded = load(folder)
    write_log(tmp_path / "log", loaded, simulated_log(loaded, [Rider("red", 3652)], seed=1))
    assert run("learn", folder, tmp_path / "log", "--into", tmp_path / "after").exit_code == 0
    written = (tmp_path / "after" / "falls.csv").read_bytes().decode()
    lines = written.split("\r\n")
    assert lines[0].startswith('\ufeff"fall";"per_year";')
    assert set(lines[0].lstrip("\ufeff").split(";")[2:]) <= {"left_share", "tumble", "correlation", "watched_years"}
    assert lines[1].startswith('"tip_over";"')
    assert "# bought second hand" in (tmp_path / "after" / "scenario.toml").read_text()
    assert {path.name for path in (tmp_path / "after").iterdir()} == {
        *(f"{name}.csv" for name in SMALL_TWIN if name != "scenario"),
        "scenario.toml",
        "learned.csv",
    }


def test_two_logs_one_after_the_other_teach_what_both_do_at_once(twin: Path) -> None:
    """What is counted stands in learned.csv, so the second log is added to the first."""
    scenario, home = load(twin), twin.parent
    riders = [Rider("red", 1000, scenario.expand(["crash_bar"])), Rider("blue", 700)]
    log = simulated_log(scenario, riders, seed=4)
    for name, row in (("first", 0), ("second", 1)):
        bike = riders[row].bike
        falls = tuple(fall for fall in log.falls if fall.bike == bike)
        write_log(home / name, scenario, Log((log.watched[row],), falls))
    write_log(home / "whole", scenario, log)
    for source, name, into in ((twin, "first", "half"), (home / "half", "second", "twice"), (twin, "whole", "once")):
        assert run("learn", source, home / name, "--into", home / into).exit_code == 0
    once, twice = read_beliefs(home / "once"), read_beliefs(home / "twice")
    assert set(once) <= set(twice)
    plain = [name for name in once if not name.endswith(".correlation")]
    assert len(plain) > 10
    for name in plain:
        assert twice[name].count == pytest.approx(once[name].count, rel=1e-9, abs=1e-9), name
        assert twice[name].out_of == pytest.approx(once[name].out_of, rel=1e-6), name


def test_an_empty_log_changes_nothing_or_exposure_alone(twin: Path) -> None:
    """Nothing watched leaves every byte; watching without a fall changes falls.csv only."""
    scenario, home = load(twin), twin.parent
    write_log(home / "nothing", scenario, Log())
    write_log(home / "quiet", scenario, Log(simulated_log(scenario, [Rider("red", 9)], 1).watched))
    old = fingerprint(twin)
    for name, changed in (("nothing", set()), ("quiet", {"falls.csv"})):
        assert run("learn", twin, home / name, "--into", home / f"after_{name}").exit_code == 0
        new = fingerprint(home / f"after_{name}")
        assert {file for file in old if old[file] != new[file]} == changed


def test_what_ifs_start_from_another_guess(twin: Path) -> None:
    """A number set on the command line is the guess that is learned from, and what is written comes from it."""
    record = learned_json(twin, "--change", "falls.tip_over.per_year=3", "--weight", 10)
    by_address = {one["number"]: one for one in record["numbers"]}
    rate = by_address["falls.tip_over.per_year"]
    assert rate["guess"] == 3.0
    assert rate["now"] == pytest.approx((3.0 * 5 + rate["seen"]) / (5 + record["years"]))
    assert by_address["hits.lever.tip_over"]["guess_worth"] == 10.0
    assert load(twin.parent / "after").falls[0].per_year == pytest.approx(rate["now"], rel=1e-6)


def test_a_what_if_cannot_change_what_there_is(twin: Path) -> None:
    """The files that are written have both levers."""
    options = (
        "--into",
        twin.parent / "after",
        "--change",
        "parts.lever.side=left",
        "--change",
        "guards.lever_guard.side=left",
    )
    found = complaint("learn", twin, twin.parent / "log", *options)
    assert found == "--change: changes which parts, guards, falls or covers there are; change the files instead"
    assert not (twin.parent / "after").exists()


def test_nothing_is_written_over(twin: Path) -> None:
    """Not into a folder with something in it, not over a file, not over the scenario itself."""
    file = twin.parent / "file"
    file.write_text("mine", encoding="utf-8")
    before = fingerprint(twin.parent)
    for into, why in ((twin, "is not empty"), (file, "is a file"), (twin.parent / "log", "is not empty")):
        found = complaint("learn", twin, twin.parent / "log", "--into", into)
        assert found.startswith(f"--into {into}: {why}")
    assert fingerprint(twin.parent) == before


def test_mistakes_in_a_log_stop_it_before_anything_is_written(twin: Path) -> None:
    """Every mistake is named, and there is no new folder."""
    log = twin.parent / "log" / "log.csv"
    log.write_text(log.read_text().replace("tip_over", "tip_ovre"), encoding="utf-8")
    found = complaint("learn", twin, twin.parent / "log", "--into", twin.parent / "after")
    assert "log.csv, line 2, column fall: found 'tip_ovre'" in found
    assert sorted(path.name for path in twin.parent.iterdir()) == ["log", "twin"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("number,count\nx,1\n", "learned.csv, line 1: column out_of is missing"),
        ("number,count,out_of\nx,5,4\n", "learned.csv, line 2, column count: found 5, expected at most out_of, 4"),
        ("number,count,out_of\nx,1,4\nx,1,4\n", "learned.csv, line 3, column number: found 'x' again"),
        (
            "number,count,out_of\nx,-1,4\n",
            "learned.csv, line 2, column count: found '-1', expected a number of at least 0",
        ),
        ("number,count,out_of\nx,1,0\n", "learned.csv, line 2, column out_of: found '0', expected a number above 0"),
    ],
)
def test_a_spoilt_learned_file_is_named(twin: Path, text: str, message: str) -> None:
    """Counts that cannot be are not guessed at."""
    (twin / "learned.csv").write_text(text, encoding="utf-8")
    assert message in complaint("learn", twin, twin.parent / "log", "--into", twin.parent / "after")


def test_a_folder_that_was_not_written_as_learned_is_not_left_behind(
    twin: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If reading it again finds other numbers, there is an error and no folder."""
    monkeypatch.setattr("guardopt.learning.learned_folder.written", lambda value: f"{value / 2:.7g}")
    learned = learn(load(twin), twin.parent / "log")
    with pytest.raises(GuardoptError, match="not as it was learned"):
        write_learned(twin, learned, {}, twin.parent / "after")
    assert sorted(path.name for path in twin.parent.iterdir()) == ["log", "twin"]


@pytest.fixture(scope="module")
def courier(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The courier as learned from the shipped log."""
    into = tmp_path_factory.mktemp("courier") / "learned"
    result = run("learn", FOLDER / "courier", FOLDER / "courier" / "log", "--into", into, "--falls", 400)
    assert result.exit_code == 0
    (into.parent / "report.txt").write_text(result.stdout, encoding="utf-8")
    return into


def test_the_report_fits_a_terminal_and_answers_in_order(courier: Path) -> None:
    """Eighty columns; the kit, how often, whether riders differ, the chances, the account, what to watch."""
    lines = (courier.parent / "report.txt").read_text(encoding="utf-8").splitlines()
    assert max(map(len, lines)) <= 80
    headings = [
        "How often (falls a year)",
        "Did the guards pay?",
        "What to watch next",
        "Do all bikes fall alike?",
        "Chances",
    ]
    assert [line for line in lines if line in headings] == headings
    text = " ".join(" ".join(lines).split())
    assert "This rests on 50 falls of 6 bikes watched for 8.3 years in all." in text
    assert "No: some riders fall more than others (index of dispersion 2.92, where 1 is chance" in text
    assert "now = (guess x watched_years + falls) / (watched_years + years in the log)" in text
    assert "now = (guess x weight + yes) / (weight + falls)" in text
    assert "Left alone, for want of 20 falls: slow_drop, low_side, high_side, dooring, rear_shunt and head_on." in text


def test_a_rare_fall_whose_guess_rests_on_too_little_is_named(twin: Path) -> None:
    """0.012 a year over one year is worth an eightieth of a fall, so a log without one all but wipes it out."""
    courier = FOLDER / "courier"
    rare = run(
        "learn", courier, courier / "log", "--into", twin.parent / "light", "--change", "falls.head_on.watched_years=1"
    )
    text = " ".join(rare.stdout.split())
    assert "The guess for head_on has too few watched_years to stand up to a log without such a fall." in text
    assert "put at least 1 / per_year there" in text
    well = run("learn", courier, courier / "log", "--into", twin.parent / "well")
    assert "too few watched_years" not in " ".join(well.stdout.split())


def test_the_shipped_scenario_is_as_sound_with_its_log_in_it_as_without(courier: Path) -> None:
    """A folder in a scenario folder is left alone, and what was learned can be planned with."""
    assert load(FOLDER / "courier").warnings == load(courier).warnings == ()
    assert run("plan", courier, "--no-reasons", "--falls", 200).exit_code == 0


@pytest.mark.parametrize("riders", [[], [Rider("red", 400)], [Rider("red", 40), Rider("blue", 40)]])
def test_short_logs_make_whole_reports(tmp_path: Path, riders: list[Rider]) -> None:
    """No log is too small to be reported on, with every number shown."""
    scenario = load(write_folder(tmp_path))
    learned = learn(scenario, simulated_log(scenario, riders, seed=1))
    lines = learn_text(learned, learned.effect(), show_all=True).splitlines()
    assert max(map(len, lines)) <= 80
    assert "Did the guards pay?" in lines
