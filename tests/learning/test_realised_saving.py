"""Whether the guards paid: what strikes they spared would have cost, against what they cost themselves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from logs import Rider, simulated_log

from guardopt.learning.conjugate import Belief
from guardopt.learning.fall_log import Log, LoggedFall, Watched
from guardopt.learning.realised_saving import PaidOff, paid_off
from guardopt.model.pieces import Cover, Exposure, Fall, Guard, Insurance, KnockOn, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.pricing import price
from guardopt.simulation.sampling import draw

DAY = date(2025, 1, 1)
MAKE = Callable[..., Scenario]


@pytest.fixture(scope="module")
def bike(make_scenario: MAKE) -> Scenario:
    """A case of 100 that always breaks, a lamp of 60 that breaks half the time, and a pair of guards for both."""
    parts = [
        Part("case", "case", Side.CENTRE, 100.0, hours=1.0, strip_down="cover"),
        Part("lamp", "lamp", Side.CENTRE, 60.0, break_chance=0.5, touch_up=10.0, strip_down="cover"),
    ]
    guards = [Guard("bar", "bar", Side.PAIR, 9000, fit_cents=500, wear_per_fall=4.0), Guard("pad", "pad", Side.CENTRE, 2000, wear_per_fall=1.0, owned=True)]  # fmt: skip
    covers = [Cover(("bar",), "case", 0.8), Cover(("bar",), "lamp", 0.5), Cover(("bar", "pad"), "lamp", 0.4)]
    return make_scenario(parts, guards, covers, repair_rate=50.0, strip_down={"cover": 0.4})


def fall(struck: str, scuffed: str = "", broken: str = "", fitted: str = "bar pad", bike: str = "red") -> LoggedFall:
    """A logged fall to the left."""
    lists = (frozenset(ids.split()) for ids in (fitted, struck, scuffed, broken))
    return LoggedFall(DAY, bike, "fall", frozenset({Side.LEFT}), *lists)


def account(scenario: Scenario, *falls: LoggedFall, watched: tuple[str, ...] = ("red",), worth: float = 1e9) -> PaidOff:
    """The guards' account, break chances being as good as certain unless they are worth little."""
    breaks = {part.id: Belief(part.break_chance * worth, worth, is_rate=False) for part in scenario.parts}
    return paid_off(scenario, Log(tuple(Watched(one, DAY, DAY) for one in watched), falls), breaks, scenario.hits)


def test_a_spared_part_that_always_breaks_saves_its_whole_bill(bike: Scenario) -> None:
    """Price, one hour's work, and 0.4 hours to get at it: 100 + 50 + 20."""
    found = account(bike, fall("case"))
    assert (found.saved, found.saved_low, found.saved_high) == (170.0, 170.0, 170.0)
    assert found.strikes_spared == 1
    assert found.paid == 0.0


def test_a_spared_part_saves_a_touch_up_or_a_replacement(bike: Scenario) -> None:
    """Half the time 10, half the time 60 + 20: 45 on average, between these two."""
    found = account(bike, fall("lamp"))
    assert found.saved == pytest.approx(45.0, abs=2.5)
    assert (found.saved_low, found.saved_high) == (10.0, 80.0)


def test_what_is_stripped_down_anyway_is_not_saved(bike: Scenario) -> None:
    """The lamp broke, so the cover came off in any case; sparing the case saved 150 on top of the 80 that were paid."""
    found = account(bike, fall("case lamp", broken="lamp"))
    assert found.paid == 80.0
    assert found.saved == 150.0


def test_nothing_is_saved_above_the_cap(bike: Scenario) -> None:
    """With an excess of 100, a bill of 80 could have grown by 20 at most."""
    insured = replace(bike, insurance=Insurance(100.0))
    assert account(insured, fall("case lamp", broken="lamp")).saved == 20.0
    wreck = replace(bike, value=60.0)
    assert account(wreck, fall("case lamp", broken="lamp")).saved == 0.0


def test_a_spared_part_might_have_taken_another_along(bike: Scenario) -> None:
    """Had the case broken, the lamp would have gone with it half the time: 170 + ½ (½·10 + ½·60) on average."""
    linked = replace(bike, knock_ons=(KnockOn("case", "lamp", 0.5),))
    found = account(linked, fall("case"))
    assert found.saved == pytest.approx(170.0 + 0.5 * 35.0, abs=2.0)
    assert (found.saved_low, found.saved_high) == (170.0, 230.0)


def test_a_part_that_was_harmed_already_is_not_harmed_again(bike: Scenario) -> None:
    """The lamp was scuffed in truth, and stays so whatever the case might have done to it."""
    linked = replace(bike, knock_ons=(KnockOn("case", "lamp", 1.0),))
    assert account(linked, fall("case lamp", scuffed="lamp")).saved == 170.0


def test_a_blow_passed_on_in_truth_is_not_drawn_again(bike: Scenario) -> None:
    """The case broke and left the lamp whole: that is known, and only the peg that was spared is to be simulated."""
    peg = Part("peg", "peg", Side.CENTRE, 7.0)
    linked = replace(
        bike,
        parts=(*bike.parts, peg),
        covers=(*bike.covers, Cover(("bar",), "peg", 0.5)),
        knock_ons=(KnockOn("case", "lamp", 0.9),),
    )
    found = account(linked, fall("case peg", broken="case"))
    assert (found.saved_low, found.saved, found.saved_high) == (7.0, 7.0, 7.0)


def test_guards_cost_their_price_once_a_bike_and_wear_in_each_fall(bike: Scenario) -> None:
    """Bar and pad on each of two bikes, owned or not: 2 · (90 + 5 + 20).

    The bar wears when it covers a struck part, the pad only beside it when the lamp is struck; a fall that strikes
    nothing wears nothing.
    """
    falls = (fall("lamp"), fall("case"), fall("", bike="blue"), fall("lamp", bike="blue"))
    found = account(bike, *falls, watched=("red", "blue"))
    assert found.guards_cost == 230.0
    assert found.renewals == 5.0 + 4.0 + 0.0 + 5.0
    assert found.balance == pytest.approx(found.saved - 230.0 - 14.0)


def test_offers_are_taken(bike: Scenario) -> None:
    """The two for 100 instead of 110."""
    offered = replace(bike, offers=(Offer("both", frozenset({"bar", "pad"}), 10_000),))
    assert account(offered, fall("lamp")).guards_cost == 105.0


def test_the_guards_of_a_bike_that_never_fell_are_not_seen(bike: Scenario) -> None:
    """So the account says of how many bikes it knows the guards."""
    found = account(bike, fall("lamp"), watched=("red", "blue", "green"))
    assert (found.bikes_seen, found.bikes) == (1, 3)


def test_doubt_about_breaking_widens_the_account(bike: Scenario) -> None:
    """Twenty lamps spared: with the chance itself in doubt, all breaking or none is less far-fetched."""
    falls = [fall("lamp")] * 20
    sure, doubtful = account(bike, *falls), account(bike, *falls, worth=2.0)
    assert doubtful.saved == pytest.approx(sure.saved, rel=0.05)
    assert doubtful.saved_high - doubtful.saved_low > 2 * (sure.saved_high - sure.saved_low)


def test_a_strike_that_a_guard_may_have_caused_is_spared_by_bayes_rule(bike: Scenario) -> None:
    """The bare case is struck with 0.2; the bar exposes it with 0.5. Struck and spared, it saves 170 with 0.2 / 0.6.

    Struck and broken, it cost 170 that the bare bike would have been spared with the chance left, 2/3.
    """
    exposing = replace(
        bike, hits={**bike.hits, ("fall", "case"): 0.2}, exposures=(Exposure(("bar",), "case", 0.5),), covers=()
    )
    saved = account(exposing, fall("case"))
    assert saved.saved == pytest.approx(170.0 / 3, rel=0.05)
    lost = account(exposing, fall("case", broken="case"))
    assert lost.saved == pytest.approx(-170.0 * 2 / 3, rel=0.05)
    assert lost.paid == pytest.approx(170.0)
    assert account(exposing, fall("case", broken="case", fitted="pad")).saved == 0.0


@pytest.mark.parametrize("exposed", [0.0, 0.25])
def test_a_long_log_saves_what_the_bills_say(make_scenario: MAKE, exposed: float) -> None:
    """Over a thousand simulated falls, saved + paid is what the bare bike costs, and paid what the fitted one does.

    With a guard that exposes the mount as well.
    """
    parts: list[Any] = [
        Part("lever.left", "lever", Side.LEFT, 40.0, break_chance=0.6, touch_up=4.0),
        Part("lever.right", "lever", Side.RIGHT, 40.0, break_chance=0.6, touch_up=4.0),
        Part("tank", "tank", Side.CENTRE, 500.0, break_chance=0.3, touch_up=80.0),
        Part("mount", "mount", Side.CENTRE, 300.0),
    ]
    guards = [Guard("bar", "bar", Side.PAIR, 9000, wear_per_fall=3.0)]
    covers = [
        Cover(("bar",), part, holds) for part, holds in (("lever.left", 0.7), ("lever.right", 0.7), ("tank", 0.5))
    ]
    scenario = make_scenario(
        parts,
        guards,
        covers,
        falls=[Fall("fall", 10.0, tumble=0.1)],
        hits={
            ("fall", "lever.left"): 0.8,
            ("fall", "lever.right"): 0.8,
            ("fall", "tank"): 0.3,
            ("fall", "mount"): 0.02,
        },
        knock_ons=(KnockOn("tank", "mount", 0.3),),
        value=700.0,
        exposures=(Exposure(("bar",), "mount", exposed),) if exposed else (),
    )
    log = simulated_log(scenario, [Rider("red", 36_525, frozenset({"bar"}))], seed=2)
    breaks = {part.id: Belief(part.break_chance * 1e9, 1e9, is_rate=False) for part in parts}
    found = paid_off(scenario, log, breaks, scenario.hits)
    bare, fitted = price(Bike(scenario), draw(scenario, 40_000, 3, "test"), [frozenset(), frozenset({"bar"})]).bills
    falls = len(log.falls)
    assert falls > 900
    assert found.paid / falls == pytest.approx(float(fitted.owner_cost[0]), rel=0.08)
    assert (found.paid + found.saved) / falls == pytest.approx(float(bare.owner_cost[0]), rel=0.08)
    assert found.renewals / falls == pytest.approx(float(fitted.renewals[0]), rel=0.05)
