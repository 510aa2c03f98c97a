"""A log of real falls is read as it was written, or refused with every mistake in it named at once."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from folders import write_folder
from logs import Rider, courier_log, simulated_log, write_log
from shipped import FOLDER, shipped

from guardopt.errors import InputError
from guardopt.learning.fall_log import Log, Watched
from guardopt.learning.fall_log_reading import read_log
from guardopt.loading.load import load
from guardopt.model.pieces import Side
from guardopt.model.scenario import Scenario

WATCHED = "bike,from,to\nred,2025-01-01,2025-12-31\n"
HEADER = "date,bike,fall,side,fitted,struck,scuffed,broken\n"


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin: two levers, an engine case on the left, a radiator that takes the tank along."""
    return load(write_folder(tmp_path_factory.mktemp("twin")))


def log_folder(path: Path, rows: str | None, watched: str | None = WATCHED) -> Path:
    """Write a log; `rows` come below the usual column names, None leaves a file out."""
    path.mkdir(exist_ok=True)
    if rows is not None:
        (path / "log.csv").write_text(HEADER + rows, encoding="utf-8")
    if watched is not None:
        (path / "watched.csv").write_text(watched, encoding="utf-8")
    return path


def mistakes(folder: Path, scenario: Scenario) -> list[str]:
    """Everything that is wrong with a log."""
    with pytest.raises(InputError) as caught:
        read_log(folder, scenario)
    return str(caught.value).splitlines()


def test_a_fall_is_read_as_it_was_written(twin: Scenario, tmp_path: Path) -> None:
    """An id without a side stands for both; what was struck and not harmed was spared by what was fitted."""
    row = "2025-03-31,red,low_side,both,lever_guard crash_bar,lever engine_case tank,lever.right,tank\n"
    (fall,) = read_log(log_folder(tmp_path, row), twin).falls
    assert fall.day == date(2025, 3, 31)
    assert fall.sides == {Side.LEFT, Side.RIGHT}
    assert fall.fitted == {"lever_guard.left", "lever_guard.right", "crash_bar"}
    assert fall.spared == {"lever.left", "engine_case"}
    assert fall.harmed == {"lever.right", "tank"}


def test_the_first_and_the_last_day_are_watched(twin: Scenario, tmp_path: Path) -> None:
    """A whole year from January to December is one year of 365 days, and both its ends count."""
    rows = "2025-01-01,red,tip_over,left,,lever.left,lever.left,\n2025-12-31,red,tip_over,left,,,,\n"
    log = read_log(log_folder(tmp_path, rows), twin)
    assert len(log.falls) == 2
    assert log.years == pytest.approx(365 / 365.25)


def test_several_times_of_one_bike_add_up(twin: Scenario, tmp_path: Path) -> None:
    """A bike laid up over winter is watched in two goes."""
    watched = "bike;from;to\nred;2025-01-01;2025-01-10\nred;2025-02-01;2025-02-10\nblue;2025-01-01;2025-01-01\n"
    log = read_log(log_folder(tmp_path, "", watched), twin)
    assert log.years_of == {"red": pytest.approx(20 / 365.25), "blue": pytest.approx(1 / 365.25)}


def test_a_knock_on_explains_harm_without_a_strike(twin: Scenario, tmp_path: Path) -> None:
    """The broken radiator took the tank along; a scuffed one could not have."""
    broken = "2025-03-31,red,low_side,left,,radiator,tank,radiator\n"
    assert read_log(log_folder(tmp_path, broken), twin).falls[0].struck == {"radiator"}
    scuffed = "2025-03-31,red,low_side,left,,radiator,tank radiator,\n"
    assert mistakes(log_folder(tmp_path, scuffed), twin) == [
        "log.csv, line 2, column scuffed: found tank, which is not among the struck, and no broken part takes it along"
    ]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "04.03.2025,red,tip_over,left,,,,",
            "column date: found '04.03.2025', where day and month may be mixed up: write 2025-03-04 or 2025-04-03",
        ),
        ("2025-02-30,red,tip_over,left,,,,", "column date: found '2025-02-30', expected a date such as 2026-03-31"),
        (
            "2026-01-01,red,tip_over,left,,,,",
            "column date: found 2026-01-01, when red was not watched; expected a day in 2025-01-01 to 2025-12-31",
        ),
        (
            "2025-03-31,rde,tip_over,left,,,,",
            "column bike: found 'rde', expected a bike of watched.csv; did you mean red?",
        ),
        (
            "2025-03-31,red,tipover,left,,,,",
            "column fall: found 'tipover', expected a fall of falls.csv; did you mean tip_over?",
        ),
        (
            "2025-03-31,red,tip_over,lft,,,,",
            "column side: found 'lft', expected left, right or both; did you mean left?",
        ),
        ("2025-03-31,red,tip_over,,,,,", "column side: nothing found, expected left, right or both"),
        (
            "2025-03-31,red,tip_over,left,,levr.left,,",
            "column struck: found 'levr.left', expected a part of parts.csv; did you mean lever?",
        ),
        (
            "2025-03-31,red,tip_over,left,crashbar,,,",
            "column fitted: found 'crashbar', expected a guard of guards.csv; did you mean crash_bar?",
        ),
        ("2025-03-31,red,tip_over,left,,tank tank,tank,", "column struck: found 'tank tank', tank is named twice"),
        (
            "2025-03-31,red,tip_over,both,,lever lever.left,lever,",
            "column struck: lever.left is named twice",
        ),
        (
            "2025-03-31,red,tip_over,right,,engine_case,engine_case,",
            "column struck: found engine_case in a fall on the right, expected parts that this side exposes",
        ),
        (
            "2025-03-31,red,tip_over,left,,lever,lever.left,",
            "column struck: found lever.right in a fall on the left, expected parts that this side exposes; lever means "
            "both sides, write lever.left",
        ),
        (
            "2025-03-31,red,tip_over,left,,tank,tank,tank",
            "column broken: found tank, which is among the scuffed as well",
        ),
        (
            "2025-03-31,red,tip_over,left,,,tank,",
            "column scuffed: found tank, which is not among the struck, and no broken part takes it along",
        ),
        (
            "2025-03-31,red,tip_over,left,crash_bar,tank,,",
            "column struck: found tank, which was not harmed though no guard fitted covers it in this fall; expected it "
            "among the scuffed or the broken, or not among the struck",
        ),
    ],
)
def test_a_mistake_is_named_with_its_place(twin: Scenario, tmp_path: Path, row: str, message: str) -> None:
    """Each kind of mistake in a row by example; the crash bar spares the tank in low-sides only."""
    found = mistakes(log_folder(tmp_path, f"{row}\n"), twin)
    assert f"log.csv, line 2, {message}" in found


def test_guards_that_cannot_be_on_the_bike_at_once_are_named(tmp_path: Path) -> None:
    """Two guards for one mounting place, and one without what it needs."""
    row = "2025-03-31,red,tip_over,left,hand_guard bar_end_slider.left box_bar,,,\n"
    assert mistakes(log_folder(tmp_path, row), shipped("courier")) == [
        "log.csv, line 2, column fitted: box_bar needs rear_bar",
        "log.csv, line 2, column fitted: bar_end_slider.left and hand_guard cannot both be fitted",
    ]


@pytest.mark.parametrize(
    ("watched", "message"),
    [
        (
            "bike,from,to\nred,2025-01-01,2025-06-30\nred,2025-06-30,2025-12-31\n",
            "watched.csv, line 3: red is watched twice from 2025-06-30 on, first in watched.csv, line 2",
        ),
        (
            "bike,from,to\nred,2025-06-30,2025-01-01\n",
            "watched.csv, line 2, column to: found 2025-01-01, expected a day not before 2025-06-30, the first one "
            "watched",
        ),
        (
            "bike,from,to\nred,2025-06-30,\n",
            "watched.csv, line 2, column to: nothing found, expected a date such as 2026-03-31",
        ),
        ("bike,from\nred,2025-06-30\n", "watched.csv, line 1: column to is missing"),
        ("bike,from,until\nred,2025-06-30,2025-07-01\n", "watched.csv, line 1, column until: unknown column"),
        (None, "watched.csv: no such file in the folder"),
    ],
)
def test_mistakes_in_the_times_watched_are_named(
    twin: Scenario, tmp_path: Path, watched: str | None, message: str
) -> None:
    """A day that counts twice would make falls look rarer than they are."""
    assert any(found.startswith(message) for found in mistakes(log_folder(tmp_path, "", watched), twin))


def test_everything_is_named_at_once_file_by_file(twin: Scenario, tmp_path: Path) -> None:
    """Nobody has to mend a log in ten rounds."""
    rows = "2024-01-01,red,tip_over,up,,,,\n2025-01-01,blue,tip_over,left,,levers,,\nx,red,slip,left,,,,\n"
    watched = "bike,from,to\nred,2025-01-01,2024-01-01\nred,2025-01-01,2025-12-31\nred,x,2025-12-31\n"
    found = mistakes(log_folder(tmp_path, rows, watched), twin)
    assert [message.split(":")[0] for message in found] == [
        "watched.csv, line 2, column to",
        "watched.csv, line 4, column from",
        "log.csv, line 2, column side",
        "log.csv, line 3, column bike",
        "log.csv, line 3, column struck",
        "log.csv, line 4, column date",
    ]


def test_a_fall_written_down_twice_is_a_warning(twin: Scenario, tmp_path: Path) -> None:
    """It may have been two falls of one day, and it may have been a slip."""
    row = "2025-03-31,red,tip_over,left,,lever.left,lever.left,\n"
    log = read_log(log_folder(tmp_path, row + row), twin)
    assert len(log.falls) == 2
    assert [str(one) for one in log.warnings] == [
        "log.csv, line 3: is the same as log.csv, line 2; if it is one fall, take one of them out"
    ]


def test_an_empty_log_is_a_log(twin: Scenario, tmp_path: Path) -> None:
    """A year without a fall is news; nothing watched is none."""
    assert read_log(log_folder(tmp_path, ""), twin) == Log((Watched("red", date(2025, 1, 1), date(2025, 12, 31)),))
    assert read_log(log_folder(tmp_path, "", "bike,from,to\n"), twin) == Log()


@pytest.mark.parametrize(
    ("path", "message"),
    [("nowhere", "no such folder"), ("log.csv", "is a file, expected the folder or workbook of a log")],
)
def test_a_log_is_a_folder(twin: Scenario, tmp_path: Path, path: str, message: str) -> None:
    """The path is named as it was given."""
    log_folder(tmp_path, "")
    assert mistakes(tmp_path / path, twin) == [f"{tmp_path / path}: {message}"]


def test_simulated_falls_are_written_and_read_without_a_complaint(tmp_path: Path) -> None:
    """Whatever the package's own falls can do to a bike, the checks call possible."""
    truth = load(FOLDER / "courier", {"falls.low_side.per_year": 4, "falls.low_side.tumble": 0.4})
    riders = [Rider("a", 2000, truth.expand(["engine_bar", "hand_guard", "rear_bar"])), Rider("b", 2000)]
    log = simulated_log(truth, riders, seed=1)
    read = read_log(write_log(tmp_path, truth, log), truth)
    assert len(log.falls) > 80
    assert any(fall.harmed - fall.struck for fall in log.falls)
    assert (read.watched, read.falls) == (log.watched, log.falls)


def test_the_shipped_log_is_the_simulated_one() -> None:
    """It is invented: simulated with numbers of our own and a fixed seed."""
    log = read_log(FOLDER / "courier" / "log", shipped("courier"))
    assert log == courier_log(lambda changes: load(FOLDER / "courier", changes))
