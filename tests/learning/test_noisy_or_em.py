"""Which of several guards held is not seen; what can be learned of it all the same."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from logs import Rider, simulated_log

from guardopt.learning.conjugate import Belief, Seen
from guardopt.learning.noisy_or_em import Strike, learn_holds, plain_counts
from guardopt.learning.posterior import update
from guardopt.model.numbers import Kind, Number, value_of, with_values
from guardopt.model.pieces import Cover, Fall, Guard, KnockOn, Part, Side
from guardopt.model.scenario import Scenario

BAR, COVER = (
    Number(f"covers.{name}.case.holds", Kind.HOLD, covers=(row,)) for row, name in enumerate(("bar", "cover"))
)
GUESSES = {BAR: Belief(2.4, 4.0, is_rate=False), COVER: Belief(2.0, 4.0, is_rate=False)}
BOTH, BAR_ALONE, COVER_ALONE = ((BAR, 1), (COVER, 1)), ((BAR, 1),), ((COVER, 1),)


def test_one_guard_at_a_time_is_counting() -> None:
    """With nothing hidden, beliefs are those of counts added."""
    strikes = {Strike(BAR_ALONE, 0.0, False): 7, Strike(BAR_ALONE, 0.0, True): 3, Strike(COVER_ALONE, 0.0, True): 2}
    learned = learn_holds(GUESSES, strikes)
    assert learned == {BAR: GUESSES[BAR] + Seen(7, 10), COVER: GUESSES[COVER] + Seen(0, 2)}
    assert plain_counts(strikes) == {BAR: Seen(7, 10), COVER: Seen(0, 2)}


def test_strikes_that_hide_what_held_are_not_counted() -> None:
    """Neither those with two guards, nor those beside a broken part, be the struck part harmed or not.

    Counting the unharmed ones alone would make guards look better than they are.
    """
    hidden = {Strike(BOTH, 0.0, False): 2, Strike(BOTH, 0.0, True): 3}
    beside = {Strike(BAR_ALONE, 0.3, False): 4, Strike(BAR_ALONE, 0.3, True): 5}
    assert plain_counts({**hidden, **beside, Strike(BAR_ALONE, 0.0, False): 1}) == {BAR: Seen(1, 1)}


def test_when_two_guards_fail_both_have_failed() -> None:
    """A part harmed with two guards on says so of each, and nothing is hidden."""
    learned = learn_holds(GUESSES, {Strike(BOTH, 0.0, True): 5})
    assert learned == {BAR: GUESSES[BAR] + Seen(0, 5), COVER: GUESSES[COVER] + Seen(0, 5)}


def test_expectation_and_maximisation_agree_at_the_mode() -> None:
    """No chances nearby have a larger posterior on the scale of log-odds."""
    strikes = {Strike(BOTH, 0.0, False): 9, Strike(BOTH, 0.0, True): 2, Strike(BAR_ALONE, 0.3, True): 4}
    learned = learn_holds(GUESSES, strikes)
    best = np.array([learned[BAR].mean, learned[COVER].mean])

    def log_posterior(bar: float, cover: float) -> float:
        prior = 2.4 * np.log(bar) + 1.6 * np.log(1 - bar) + 2.0 * np.log(cover) + 2.0 * np.log(1 - cover)
        none = (1 - bar) * (1 - cover)
        return float(prior + 9 * np.log(1 - none) + 2 * np.log(none) + 4 * np.log((1 - bar) + bar * 0.3))

    peak = log_posterior(*best)
    for step in ((1e-3, 0), (-1e-3, 0), (0, 1e-3), (0, -1e-3), (1e-3, -1e-3), (-1e-3, 1e-3)):
        assert log_posterior(*(best + step)) < peak


def test_beliefs_are_near_the_exact_posterior() -> None:
    """Against the posterior of two guards worked out on a fine grid: means and intervals to a few hundredths."""
    strikes = {Strike(BOTH, 0.0, False): 8, Strike(BOTH, 0.0, True): 1, Strike(BAR_ALONE, 0.0, False): 3}
    learned = learn_holds(GUESSES, strikes)
    grid = (np.arange(2000) + 0.5) / 2000
    bar, cover = np.meshgrid(grid, grid, indexing="ij")
    none = (1 - bar) * (1 - cover)
    log_weight = (2.4 - 1 + 3) * np.log(bar) + (1.6 - 1) * np.log(1 - bar) + np.log(cover) + np.log(1 - cover)
    weight = np.exp(log_weight + 8 * np.log(1 - none) + np.log(none))
    for number, axis in ((BAR, 1), (COVER, 0)):
        margin = weight.sum(axis=axis) / weight.sum()
        low, high = np.interp([0.05, 0.95], np.cumsum(margin), grid)
        assert learned[number].mean == pytest.approx(margin @ grid, abs=0.02)
        assert learned[number].interval() == pytest.approx((low, high), abs=0.035)


def test_hidden_holds_are_worth_less_than_seen_ones() -> None:
    """Ten parts spared by one of two guards teach less of each than ten spared by it alone."""
    hidden = learn_holds(GUESSES, {Strike(BOTH, 0.0, False): 10})
    seen = learn_holds(GUESSES, {Strike(BAR_ALONE, 0.0, False): 10})
    assert GUESSES[BAR].mean < hidden[BAR].mean < seen[BAR].mean
    assert hidden[BAR].out_of < seen[BAR].out_of == 14.0


def test_harm_that_another_part_may_have_done_is_held_against_a_guard_in_part() -> None:
    """The surer the other part passes its blow on, the less is the guard to blame."""
    means = [learn_holds(GUESSES, {Strike(BAR_ALONE, passed, True): 6})[BAR].mean for passed in (0.0, 0.3, 0.9, 1.0)]
    assert means == sorted(means)
    assert means[0] == pytest.approx(2.4 / 10)
    assert means[-1] == pytest.approx(0.6, abs=1e-6)


def test_guards_thought_useless_share_the_credit() -> None:
    """Both guessed at 0, and yet the part was spared: neither is to be preferred."""
    nil = {number: Belief(0.0, 4.0, is_rate=False) for number in GUESSES}
    learned = learn_holds(nil, {Strike(BOTH, 0.0, False): 3})
    assert learned[BAR].mean == pytest.approx(learned[COVER].mean)
    assert 0.0 < learned[BAR].mean < 0.5


@pytest.fixture(scope="module")
def cased(make_scenario: Callable[..., Scenario]) -> Scenario:
    """A part with two guards that go together, and a neighbour whose breaking may harm it in spite of them."""
    part, neighbour = (
        Part("case", "case", Side.CENTRE, 100.0),
        Part("mount", "mount", Side.CENTRE, 50.0, break_chance=0.4),
    )
    guards = [Guard("bar", "bar", Side.PAIR, 1000), Guard("cover", "cover", Side.CENTRE, 1000)]
    covers = [Cover(("bar",), "case", 0.6), Cover(("cover",), "case", 0.5)]
    return make_scenario(
        [part, neighbour],
        guards,
        covers,
        falls=[Fall("fall", 4.0, correlation=0.3)],
        hits={("fall", "case"): 0.8, ("fall", "mount"): 0.3},
        knock_ons=(KnockOn("mount", "case", 0.5),),
    )


def errors(cased: Scenario, kits: list[Any], repeats: int) -> dict[str, Any]:
    """Errors of the learned holds and of those that leave out what is hidden: ``(repeats, 2)`` for each guard."""
    rng = np.random.default_rng(4)
    found: dict[str, list[tuple[float, float]]] = {}
    for repeat in range(repeats):
        numbers = [one.number for one in update(cased, simulated_log(cased, [], 0), 4.0, {})[0]]
        truth = {
            one: float(rng.beta(4 * value_of(cased, one), 4 - 4 * value_of(cased, one)))
            for one in numbers
            if one.kind is Kind.HOLD
        }
        riders = [Rider(f"bike_{row}", 1461, kit) for row, kit in enumerate(kits)]
        log = simulated_log(with_values(cased, truth), riders, repeat)
        for one in update(cased, log, 4.0, {})[0]:
            if one.number in truth:
                left_out = (one.guess + one.seen).mean
                pair = (one.now.mean - truth[one.number], left_out - truth[one.number])
                found.setdefault(one.number.address, []).append(pair)
    return {address: np.array(pairs) for address, pairs in found.items()}


@pytest.mark.parametrize("kits", [[{"bar", "cover"}], [{"bar", "cover"}, {"bar"}], [{"bar"}, {"cover"}]])
def test_sharing_out_beats_leaving_out(cased: Scenario, kits: list[set[str]]) -> None:
    """Over 300 simulated logs the mean square error is smaller for both guards, and there is no bias.

    Be they always together, one of them alone now and then, or apart, with harm from the neighbour to explain away.
    """
    for pairs in errors(cased, [frozenset(kit) for kit in kits], 300).values():
        shared, left_out = (pairs**2).mean(axis=0)
        assert shared < left_out
        assert abs(pairs[:, 0].mean()) < 4 * pairs[:, 0].std() / len(pairs) ** 0.5 + 0.005
