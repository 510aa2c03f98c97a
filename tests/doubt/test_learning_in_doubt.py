"""What learning says of doubt: a change of kit that is within it is none, and a log without winters says so."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from random_scenarios import random_scenario

from guardopt.learning.fall_log import Log, Watched
from guardopt.learning.kit_change import Effect, effect_of
from guardopt.learning.learn import learn
from guardopt.model.numbers import Kind, numbers_of
from guardopt.reports.learn_text import learn_text


def effect(gain: float, gain_sd: float) -> Effect:
    """A change of kit."""
    return Effect(frozenset(), frozenset({"guard0"}), 10_000, 90.0, 80.0 + gain, 80.0, (), gain_sd, 0.0, True)


@pytest.mark.parametrize(("gain", "gain_sd", "is_clear"), [(5.0, 2.0, True), (5.0, 6.0, False), (-1.0, 0.5, False)])
def test_a_change_of_kit_counts_only_beyond_what_the_numbers_leave_in_doubt(
    gain: float, gain_sd: float, is_clear: bool
) -> None:
    """Within one standard deviation the report gives no reason to change."""
    scenario = replace(random_scenario(1), falls_sampled=20)
    learned = learn(scenario, Log((Watched("one", date(2025, 1, 1), date(2025, 12, 31)),)))
    one = effect(gain, gain_sd)
    assert one.change_is_clear == is_clear
    told = " ".join(learn_text(learned, one).split())
    assert ("No reason to change the kit" in told) == (not is_clear)
    assert ("The best kit" in told) == is_clear
    assert one.to_json(scenario)["change_is_clear"] == is_clear


def test_a_doubt_that_weighs_on_both_kits_alike_leaves_no_doubt_about_the_change() -> None:
    """Without doubts the gain is certain; a kit that stays has no gain to doubt."""
    scenario = replace(random_scenario(3), falls_sampled=40)
    sds = {number: 0.3 for number in numbers_of(scenario) if number.kind is Kind.RATE}
    assert effect_of(scenario, scenario, sds).gain_sd == 0.0
    dearer = replace(scenario, budget_cents=0)
    changed = effect_of(dearer, scenario, sds)
    assert changed.kit_changes
    assert 0.0 < changed.gain_sd < changed.yearly_cost_sd
    assert effect_of(dearer, scenario, {}).gain_sd == 0.0


@pytest.mark.parametrize(
    ("first", "last", "missing"),
    [
        (date(2025, 3, 20), date(2025, 10, 5), (1, 2, 11, 12)),
        (date(2024, 11, 1), date(2025, 2, 1), (3, 4, 5, 6, 7, 8, 9, 10)),
        (date(2023, 5, 1), date(2025, 5, 1), ()),
    ],
)
def test_a_log_that_does_not_cover_the_whole_year_says_so(first: date, last: date, missing: tuple[int, ...]) -> None:
    """Months are those of the calendar, in whichever year they were watched."""
    log = Log((Watched("one", first, last),))
    assert log.unwatched_months == missing
    learned = learn(random_scenario(1), log)
    assert learned.to_json()["unwatched_months"] == list(missing)
    assert ("No bike was watched in" in learn_text(learned, effect(5.0, 1.0))) == bool(missing)
