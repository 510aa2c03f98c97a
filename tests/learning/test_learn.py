"""Learning from logs: every number by hand, no order of learning matters, and the truth is found again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from folders import SMALL_TWIN, write_folder
from logs import Rider, simulated_log
from random_scenarios import random_scenario

import guardopt
from guardopt.errors import InputError
from guardopt.learning.fall_log import Log, LoggedFall, Watched
from guardopt.learning.learn import Learned, learn
from guardopt.learning.posterior import Estimate, update
from guardopt.model.numbers import Kind, Number, numbers_of, value_of, with_values
from guardopt.model.pieces import Exposure, Side
from guardopt.model.scenario import Scenario
from guardopt.reports.learn_text import learn_text

LEFT, RIGHT = frozenset({Side.LEFT}), frozenset({Side.RIGHT})
DAY = date(2025, 1, 1)

TWO_YEARS = (Watched("red", DAY, DAY + timedelta(days=487)), Watched("blue", DAY, DAY + timedelta(days=242)))
"""Two bikes, 488 and 243 days: 731 days in all."""


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin, invented."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


def fall(kind: str = "tip_over", sides: frozenset[Side] = LEFT, bike: str = "red", **ids: str) -> LoggedFall:
    """A logged fall with lists of ids as they would stand in a cell, every side spelled out."""
    lists = {name: frozenset(ids.get(name, "").split()) for name in ("fitted", "struck", "scuffed", "broken")}
    return LoggedFall(DAY, bike, kind, sides, **lists)


def estimates(scenario: Scenario, log: Log, weight: float = 4.0) -> dict[str, Estimate]:
    """Every number after a log, by its address."""
    return {one.number.address: one for one in update(scenario, log, weight, {})[0]}


SEVEN = (
    fall(struck="lever.left engine_case", scuffed="lever.left", broken="engine_case"),
    fall(struck="lever.left", broken="lever.left"),
    fall(sides=RIGHT),
    fall(bike="blue", sides=RIGHT, struck="lever.right", scuffed="lever.right"),
    fall(bike="blue"),
    fall("low_side", LEFT | RIGHT, struck="lever.left lever.right radiator", scuffed="tank", broken="lever.left lever.right radiator"),
    fall("low_side", struck="lever.left engine_case", fitted="lever_guard.left crash_bar", scuffed="engine_case"),
)  # fmt: skip
"""Five tip-overs and two low-sides; in one of these the radiator took the tank along."""


BY_HAND = {
    # (guess · weight + yes) / (weight + falls), with weight 4; of rates (per_year · 5 + falls) / (5 + 731 / 365.25)
    "falls.tip_over.per_year": (0.6 * 5 + 5) / (5 + 731 / 365.25),
    "falls.low_side.per_year": (0.2 * 5 + 2) / (5 + 731 / 365.25),
    "falls.tip_over.left_share": (0.6 * 4 + 3) / (4 + 5),
    "falls.low_side.left_share": (0.5 * 4 + 1) / (4 + 1),
    "falls.tip_over.tumble": 0.0,
    "falls.low_side.tumble": (0.05 * 4 + 1) / (4 + 2),
    # both levers share a row: left exposed three times and struck twice, right exposed twice and struck once
    "hits.lever.tip_over": (0.5 * 4 + 3) / (4 + 5),
    "hits.lever.low_side": (0.8 * 4 + 3) / (4 + 3),
    "hits.engine_case.tip_over": (0.3 * 4 + 1) / (4 + 3),
    "hits.engine_case.low_side": (0.6 * 4 + 1) / (4 + 2),
    "hits.radiator.low_side": (0.15 * 4 + 1) / (4 + 2),
    # the tank was harmed by the radiator and not by the road
    "hits.tank.low_side": (0.2 * 4 + 0) / (4 + 2),
    "hits.tank.tip_over": (0.05 * 4 + 0) / (4 + 5),
    # but once harmed, it was scuffed, and that counts
    "parts.tank.break_chance": (0.5 * 4 + 0) / (4 + 1),
    "parts.lever.break_chance": (0.6 * 4 + 3) / (4 + 5),
    "parts.engine_case.break_chance": (0.8 * 4 + 1) / (4 + 2),
    "parts.radiator.break_chance": 1.0,
    "covers.lever_guard.lever.holds": (0.7 * 4 + 1) / (4 + 1),
    "covers.crash_bar.engine_case.holds": (0.8 * 4 + 0) / (4 + 1),
    # not fitted, or for another part
    "covers.case_cover.engine_case.holds": 0.6,
    "covers.crash_bar.tank.low_side.holds": 0.5,
}


@pytest.mark.parametrize("address", BY_HAND)
def test_numbers_come_out_as_by_hand(twin: Scenario, address: str) -> None:
    """Seven falls of two bikes, counted on paper."""
    found = estimates(twin, Log(TWO_YEARS, SEVEN))
    assert found[address].now.mean == pytest.approx(BY_HAND[address], rel=1e-12)
    assert value_of(learn(twin, Log(TWO_YEARS, SEVEN)).scenario, found[address].number) == found[address].now.mean


@pytest.mark.parametrize("weight", [0.5, 4.0, 40.0])
def test_a_formula_says_how_its_number_came_about(twin: Scenario, weight: float) -> None:
    """Whoever works out the formula gets the number; one that knows no news says so."""
    for one in estimates(twin, Log(TWO_YEARS, SEVEN), weight).values():
        if not one.has_news:
            assert one.formula == "as guessed"
            assert one.now == one.guess
        elif not one.hidden:
            worked_out = eval(one.formula.replace("x", "*"), {"__builtins__": {}})  # noqa: S307
            assert worked_out == pytest.approx(one.now.mean, rel=1e-3)


def test_the_time_watched_makes_the_next_plan_surer(twin: Scenario) -> None:
    """`watched_years` grows by what all bikes were watched, for every kind of fall."""
    after = learn(twin, Log(TWO_YEARS, SEVEN)).scenario
    assert [one.watched_years for one in after.falls] == pytest.approx([5 + 731 / 365.25] * 2)


def test_watching_without_a_fall_teaches_rates_alone(twin: Scenario) -> None:
    """Rates sink by the time watched, and by nothing else; all chances stay."""
    after = learn(twin, Log(TWO_YEARS)).scenario
    share = 5 / (5 + 731 / 365.25)
    assert [one.per_year for one in after.falls] == pytest.approx([0.6 * share, 0.2 * share])
    rates = {number: value_of(twin, number) for number in numbers_of(twin) if number.kind is Kind.RATE}
    as_long = tuple(replace(one, watched_years=5.0) for one in with_values(after, rates).falls)
    assert replace(after, falls=as_long) == twin


def test_nothing_watched_changes_nothing(twin: Scenario) -> None:
    """Not a single number."""
    learned = learn(twin, Log())
    assert learned.scenario == twin
    assert not any(one.has_news for one in learned.estimates)
    assert learned.spread == ()


@pytest.mark.parametrize("weight", [0.0, -1.0, float("nan"), float("inf")])
def test_a_guess_is_worth_more_than_nothing(twin: Scenario, weight: float) -> None:
    """Without any weight a chance never seen would be 0/0."""
    with pytest.raises(InputError, match="weight"):
        learn(twin, Log(), weight)


def plain(learned: Learned) -> dict[str, tuple[float, float]]:
    """Counts of every number that comes of adding up alone."""
    return {
        one.number.address: (one.now.count, one.now.out_of)
        for one in learned.estimates
        if not one.hidden and one.number.kind is not Kind.CORRELATION
    }


@pytest.mark.parametrize("seed", range(12))
def test_two_halves_teach_what_the_whole_does(seed: int) -> None:
    """Learning twice is learning once, whatever the bike, and to the last digit that adding up leaves."""
    scenario = random_scenario(seed)
    kit = frozenset(guard.id for guard in scenario.guards[:2])
    kit = kit if not scenario.clashes(kit) else frozenset()
    log = simulated_log(scenario, [Rider("red", 900, kit), Rider("blue", 300)], seed)
    half = len(log.falls) // 2
    first = learn(scenario, Log(log.watched[:1], log.falls[:half]))
    second = learn(first.scenario, Log(log.watched[1:], log.falls[half:]), earlier=first.beliefs)
    whole, twice = plain(learn(scenario, log)), plain(second)
    assert whole
    for address in whole.keys() & twice.keys():
        assert twice[address] == pytest.approx(whole[address], rel=1e-12, abs=1e-12)
    assert [one.watched_years for one in second.scenario.falls] == pytest.approx(
        [one.watched_years + log.years for one in scenario.falls]
    )


def test_a_number_changed_by_hand_is_a_guess_again(twin: Scenario) -> None:
    """What was counted before it was overruled counts no more."""
    first = learn(twin, Log(TWO_YEARS, SEVEN))
    number = next(one.number for one in first.estimates if one.number.address == "hits.lever.low_side")
    overruled = with_values(first.scenario, {number: 0.3})
    again = learn(overruled, Log(), earlier=first.beliefs)
    worth = {one.number.address: one.guess.out_of for one in again.estimates}
    assert worth["hits.lever.low_side"] == 4.0
    assert worth["hits.lever.tip_over"] == 9.0


def test_sides_with_numbers_of_their_own_are_learned_apart(tmp_path: Path) -> None:
    """Where the left lever has another row than the right one, falls on the left teach the left one only."""
    hits = SMALL_TWIN["hits"].replace("lever,0.5,0.8", "lever.left,0.5,0.8\nlever.right,0.4,0.8")
    scenario = guardopt.load(write_folder(tmp_path, hits=hits))
    found = estimates(scenario, Log(TWO_YEARS, SEVEN))
    assert found["hits.lever.left.tip_over"].now.mean == pytest.approx((0.5 * 4 + 2) / (4 + 3))
    assert found["hits.lever.right.tip_over"].now.mean == pytest.approx((0.4 * 4 + 1) / (4 + 2))
    assert "hits.lever.tip_over" not in found


def test_what_the_log_alone_says_stands_beside_the_guess(twin: Scenario) -> None:
    """Five tip-overs in two years: Garwood's 1.9701 to 10.5130, divided by the years."""
    found = estimates(twin, Log(TWO_YEARS, SEVEN))
    alone = found["falls.tip_over.per_year"].alone
    assert alone == pytest.approx((1.9701 / (731 / 365.25), 10.5130 / (731 / 365.25)), abs=1e-4)
    assert found["covers.case_cover.engine_case.holds"].alone is None


REPEATS = 2000


@cache
def coverage(folder: Path) -> Mapping[str, tuple[float, float, float]]:
    """For each number: how often its interval holds the truth, and the error of the mean and of the guess, squared.

    The truth is drawn from what a guess of weight 4 says, or of five years; then a bike with all its guards on is
    watched for four years.
    """
    scenario = guardopt.load(write_folder(folder))
    numbers = [one for one in numbers_of(scenario) if one.kind is not Kind.CORRELATION]
    rng = np.random.default_rng(2)
    kit = scenario.expand(["lever_guard", "crash_bar", "case_cover", "radiator_grille"])
    held: Counter[str] = Counter()
    errors: Counter[str] = Counter()
    of_guess: Counter[str] = Counter()
    for repeat in range(REPEATS):
        truth = {number: drawn(rng, number, value_of(scenario, number)) for number in numbers}
        log = simulated_log(with_values(scenario, truth), [Rider("red", 1461, kit)], repeat)
        for one in update(scenario, log, 4.0, {})[0]:
            if one.number in truth:
                true, address = truth[one.number], one.number.address
                held[address] += one.interval[0] <= true <= one.interval[1]
                errors[address] += (one.now.mean - true) ** 2
                of_guess[address] += (one.guess.mean - true) ** 2
    return {name: (held[name] / REPEATS, errors[name], of_guess[name]) for name in errors}


def drawn(rng: np.random.Generator, number: Number, guess: float) -> float:
    """A truth that the guess leaves possible."""
    if number.kind is Kind.RATE:
        return float(rng.gamma(guess * 5, 1 / 5))
    return guess if guess in (0.0, 1.0) else float(rng.beta(guess * 4, (1 - guess) * 4))


@pytest.fixture(scope="module")
def covered(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, tuple[float, float, float]]:
    """How 2,000 simulated logs were learned from."""
    return coverage(tmp_path_factory.mktemp("twin"))


def test_intervals_hold_the_truth_nine_times_in_ten(covered: Mapping[str, tuple[float, float, float]]) -> None:
    """Rates, sides, strikes, breaks and holds, those of guards that cover for each other included."""
    shares = {name: share for name, (share, error, _) in covered.items() if error > 0.0}
    assert len(shares) == 22
    assert {name: share for name, share in shares.items() if not 0.87 <= share <= 0.93} == {}


def test_learning_comes_nearer_to_the_truth_than_guessing(covered: Mapping[str, tuple[float, float, float]]) -> None:
    """For every number that the falls of four years say something about."""
    for name, (_, error, of_guess) in covered.items():
        assert error < of_guess or error == of_guess == 0.0, name


def test_a_long_log_finds_the_truth_again(twin: Scenario) -> None:
    """Four hundred bike-years of falls outweigh any guess: each number is within four standard deviations."""
    truth = with_values(
        twin, {one: min(0.9, 0.15 + 0.7 * value_of(twin, one)) for one in numbers_of(twin) if one.kind is not Kind.RATE}
    )
    riders = [Rider(f"bike_{row}", 36_525, twin.expand(["lever_guard", "crash_bar"])) for row in range(3)]
    found = estimates(twin, simulated_log(truth, [*riders, Rider("bare", 36_525)], seed=7))
    for one in found.values():
        if one.seen.out_of + one.hidden > 100 and one.number.kind is not Kind.CORRELATION:
            true = value_of(truth, one.number)
            assert abs(one.now.mean - true) < 4 * one.now.sd, one.number.address
            assert one.now.sd < 0.1


def test_tables_and_json_say_the_same(twin: Scenario) -> None:
    """One row for each number; a notebook shows those with news."""
    learned = guardopt.learn(twin, Log(TWO_YEARS, SEVEN))
    record: dict[str, Any] = learned.to_json()
    assert learned.table["number"].tolist() == [one["number"] for one in record["numbers"]]
    assert learned.table["now"].tolist() == [one["now"] for one in record["numbers"]]
    assert (record["bikes"], record["falls"], record["years"]) == (2, 7, pytest.approx(731 / 365.25))
    shown = learned._repr_html_()
    assert "hits.lever.tip_over" in shown
    assert "covers.case_cover" not in shown


def test_numbers_are_set_and_read_by_their_address(twin: Scenario) -> None:
    """Setting a number changes that number, and setting it back changes nothing."""
    for number in numbers_of(twin):
        before = value_of(twin, number)
        changed = with_values(twin, {number: 0.123})
        assert value_of(changed, number) == 0.123
        others = [one for one in numbers_of(twin) if one != number]
        assert all(value_of(changed, one) == value_of(twin, one) for one in others)
        assert with_values(changed, {number: before}) == twin


def test_a_strike_that_a_guard_may_have_caused_does_not_count(twin: Scenario) -> None:
    """With the crash bar on, which may roll the bike onto its case, nobody can tell what the bare case would have got.

    Only low-sides count where the row is for tip-overs, and falls without the bar. The right answer is 1 of 2 with the
    guess worth 4; counting all would be 3 of 4.
    """
    bar = Exposure(("crash_bar",), "engine_case", 0.9, fall="tip_over")
    falls = (
        fall(struck="engine_case", broken="engine_case"),
        fall(),
        fall(struck="engine_case", broken="engine_case", fitted="crash_bar"),
        fall(struck="engine_case", broken="engine_case", fitted="crash_bar"),
        fall("low_side", struck="engine_case", broken="engine_case", fitted="crash_bar"),
    )
    log = Log(TWO_YEARS, falls)
    assert estimates(twin, log)["hits.engine_case.tip_over"].now.mean == pytest.approx((0.3 * 4 + 3) / (4 + 4))
    found = estimates(replace(twin, exposures=(bar,)), log)
    assert found["hits.engine_case.tip_over"].now.mean == pytest.approx((0.3 * 4 + 1) / (4 + 2))
    assert found["hits.engine_case.low_side"].seen.out_of == 1.0
    assert found["hits.tank.tip_over"].seen.out_of == 4.0
    assert found["parts.engine_case.break_chance"].seen.out_of == 4.0


def test_the_report_says_which_strikes_do_not_count(twin: Scenario) -> None:
    """One sentence names the part, and only where the guard was on in a fall."""
    scenario = replace(twin, exposures=(Exposure(("crash_bar",), "engine_case", 0.9),))
    said = {
        worn: " ".join(learn_text(made, made.effect()).split())
        for worn in ("", "crash_bar")
        for made in [learn(scenario, Log(TWO_YEARS, (fall(struck="engine_case", fitted=worn),)))]
    }
    assert "may itself strike engine_case do not count" in said["crash_bar"]
    assert "may itself strike" not in said[""]
