"""How sure a kit is when all guesses are doubted: exhaustive search under every draw, and what a short time leaves."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from random_scenarios import EveryKit, price_every_kit, random_scenario, sample_of

from guardopt.deadline import Deadline
from guardopt.doubt import best_kits
from guardopt.doubt.best_kits import CLOSE, Question
from guardopt.doubt.doubtful_numbers import Beliefs, Doubtful, doubtful_numbers, drawn_values, scenario_with
from guardopt.doubt.draw_pricing import KitPricer
from guardopt.doubt.flips import FlipFinder
from guardopt.doubt.sureness import sureness
from guardopt.doubt.sureness_result import Sureness
from guardopt.errors import InputError
from guardopt.model.aims import AIMS, Aim, Limits
from guardopt.model.numbers import Kind
from guardopt.model.pieces import Cover, Fall, Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.plan import plan
from guardopt.simulation.batch_pricing import mean_costs
from guardopt.simulation.compiled import Bike

DRAWS = 8


def small(seed: int) -> Scenario:
    """A random scenario with few guards and falls."""
    return replace(random_scenario(seed, guards=4, parts=5), falls_sampled=30)


def asked(scenario: Scenario, aim: Aim = Aim.BILLS) -> Question:
    """The question whose answer is doubted."""
    limits = Limits(scenario.budget_cents)
    return Question(aim, limits, 0.1, Planner(scenario, sample_of(scenario)).best(aim, limits).kit, 1e-9)


def worlds(scenario: Scenario, draws: int) -> list[Scenario]:
    """The scenario under each draw of its numbers."""
    numbers = doubtful_numbers(scenario, Beliefs())
    return [scenario_with(scenario, numbers, row) for row in drawn_values(numbers, draws, scenario.seed)]


def every_kit(scenario: Scenario) -> EveryKit:
    """Every kit priced under a scenario's own numbers."""
    return price_every_kit(scenario, sample_of(scenario))


@pytest.mark.parametrize(("seed", "aim"), [(1, Aim.BILLS), (2, Aim.OUTLAY), (3, Aim.WORST), (4, Aim.BILLS)])
def test_regrets_are_those_of_trying_every_kit_under_every_draw(seed: int, aim: Aim) -> None:
    """To within the gap at which a draw's best kit counts as found; and no regret is negative."""
    scenario = small(seed)
    question = asked(scenario, aim)
    found = sureness(scenario, sample_of(scenario), question, draws=DRAWS)
    regrets, slack = [], 0.0
    for other in worlds(scenario, DRAWS):
        every = every_kit(other)
        least = every.least(aim, question.limits)
        assert least is not None
        regrets.append(every.of(aim, question.kit) - least)
        slack = max(slack, CLOSE * max(1.0, abs(least)))
    assert found.worst_regret == pytest.approx(max(regrets), abs=slack)
    assert found.mean_regret == found.evpi == pytest.approx(np.mean(regrets), abs=slack)
    assert found.best_share is not None
    assert sum(regret <= 1e-9 for regret in regrets) / DRAWS <= found.best_share <= 1.0
    assert found.draws == found.draws_asked == DRAWS
    assert all(0.0 <= share <= 1.0 for _, share in found.guards)


@pytest.mark.parametrize("aim", AIMS.values())
def test_kits_measure_under_other_numbers_what_pricing_them_anew_says(aim: Aim) -> None:
    """Side by side or kind by kind, falls cost the same."""
    scenario = small(5)
    pricer = KitPricer(scenario, sample_of(scenario), aim, 0.1)
    for other in worlds(scenario, 3):
        every = every_kit(other)
        assert pricer.measures(other, every.kits) == pytest.approx(every.measured[aim], rel=1e-9, abs=1e-7)


def test_on_fewer_falls_kits_measure_under_the_guesses_what_the_whole_sample_says() -> None:
    """By how much the few falls mislead there is taken off, kind by kind of fall."""
    scenario = replace(small(6), falls_sampled=200)
    sample = sample_of(scenario)
    pricer = KitPricer(scenario, sample, Aim.BILLS, 0.1, 20)
    kits = every_kit(replace(scenario, falls_sampled=2)).kits
    rates = np.array([2.0 * fall.per_year for fall in scenario.falls])
    twice = replace(scenario, falls=tuple(replace(fall, per_year=2.0 * fall.per_year) for fall in scenario.falls))
    exact = scenario.annuity * mean_costs(Bike(scenario), sample, kits).yearly(rates)
    dislike = np.array([scenario.dislike(kit) for kit in kits])
    assert pricer.measures(twice, kits) == pytest.approx(exact + dislike, rel=1e-9)


def test_the_same_seed_gives_the_same_answer() -> None:
    """Asked twice it is the same to the last digit."""
    scenario = small(3)
    question = asked(scenario)
    one, two = (sureness(scenario, sample_of(scenario), question, draws=50) for _ in range(2))
    assert one == two
    assert one.groups and one.numbers


def test_certain_numbers_leave_no_doubt() -> None:
    """Watched for a billion years, with chances worth a billion falls and known prices, the kit is best throughout."""
    scenario = small(1)
    scenario = replace(scenario, falls=tuple(replace(fall, watched_years=1e12) for fall in scenario.falls))
    question = replace(asked(scenario), gap=1e-3)
    beliefs = Beliefs(weight=1e12, price_doubt=0.0)
    found = sureness(scenario, sample_of(scenario), question, beliefs=beliefs, draws=DRAWS)
    assert (found.best_share, found.worst_regret, found.evpi) == (1.0, 0.0, 0.0)
    assert {guard for guard, share in found.guards if share == 1.0} == set(question.kit)


Make = Callable[..., Scenario]


def either_or(make: Make, **rest: object) -> Scenario:
    """Money for one guard: one for the tank, which slides harm, or one for the lamp, which tips harm."""
    watched = float(rest.pop("watched", 1.0))  # type: ignore[arg-type]
    hold = float(rest.pop("hold", 1.0))  # type: ignore[arg-type]
    return make(
        [Part(name, name, Side.CENTRE, 100.0) for name in ("tank", "lamp")],
        [Guard(name, name, Side.CENTRE, 1000) for name in ("pad", "cage")],
        [Cover(("pad",), "tank", hold), Cover(("cage",), "lamp", hold)],
        [
            Fall("slide", 1.5, correlation=0.0, watched_years=watched),
            Fall("tip", 1.0, correlation=0.0, watched_years=watched),
        ],
        {("slide", "lamp"): 0.0, ("tip", "tank"): 0.0},
        **({"budget_cents": 1000, "falls_sampled": 10} | rest),
    )


def test_more_watching_makes_a_kit_no_less_sure(make_scenario: Make) -> None:
    """A guess of 1.5 against 1 a year is often wrong after a year, never after many."""
    shares = []
    for watched in (1.0, 1e9):
        scenario = either_or(make_scenario, watched=watched)
        question = Question(Aim.BILLS, Limits(1000), 0.1, frozenset({"pad"}), 1e-9)
        found = sureness(scenario, sample_of(scenario), question, beliefs=Beliefs(price_doubt=0.0), draws=60)
        assert found.guards == (("pad", found.best_share), ("cage", pytest.approx(1.0 - (found.best_share or 0.0))))
        shares.append(found.best_share or 0.0)
    # With gamma rates of shapes 1.5 and 1 at one scale, the share of the first is beta: P(B(1.5, 1) > 1/2) = 1 − 2^-1.5.
    assert shares[0] == pytest.approx(1.0 - 2.0**-1.5, abs=4 * math.sqrt(0.65 * 0.35 / 60))
    assert shares[0] < shares[1] == 1.0


def test_nested_simulation_of_a_choice_between_two_guards(make_scenario: Make) -> None:
    """Plain arithmetic for the costs, two nested loops for what knowing a rate or all rates is worth."""
    scenario = either_or(make_scenario)
    question = Question(Aim.BILLS, Limits(1000), 0.1, frozenset({"pad"}), 1e-9)
    found = sureness(scenario, sample_of(scenario), question, draws=120)
    rng = np.random.default_rng(5)
    slides, tips = rng.gamma(1.5, 1.0, (2, 4000)), rng.gamma(1.0, 1.0, (2, 4000))
    gain_of_cage = 100.0 * (tips[0] - slides[0])  # by which the cage is better than the pad
    evpi = float(np.maximum(gain_of_cage, 0.0).mean())
    by_rate = {
        "falls.slide.per_year": float(np.maximum(100.0 * (tips[1].mean() - slides[0]), 0.0).mean()),
        "falls.tip.per_year": float(np.maximum(100.0 * (tips[0] - slides[1].mean()), 0.0).mean()),
    }
    assert found.evpi == pytest.approx(evpi, abs=4 * (found.evpi_se or 0.0) + 2.0)
    worth = {one.number.address: one for one in found.numbers}
    for address, value in by_rate.items():
        assert worth[address].evppi == pytest.approx(value, abs=4 * worth[address].evppi_se + 1.0)
    rates = next(one for one in found.groups if one.group == "rates")
    assert rates.evppi == pytest.approx(evpi, abs=4 * rates.evppi_se + 2.0)
    assert worth["falls.slide.per_year"].flips_below == pytest.approx(1.0, abs=0.01)
    assert worth["falls.tip.per_year"].flips_above == pytest.approx(1.5, abs=0.01)


def test_nested_simulation_where_a_cap_binds(make_scenario: Make) -> None:
    """One kind of fall that harms tank and lamp for certain, capped at 250: knowing either price, by two loops."""
    scenario = make_scenario(
        [Part("tank", "tank", Side.CENTRE, 200.0), Part("lamp", "lamp", Side.CENTRE, 180.0)],
        [Guard(name, name, Side.CENTRE, 1000) for name in ("pad", "cage")],
        [Cover(("pad",), "tank", 1.0), Cover(("cage",), "lamp", 1.0)],
        [Fall("slide", 1.0, correlation=0.0, watched_years=1e9)],
        value=250.0,
        budget_cents=1000,
        falls_sampled=5,
    )
    question = Question(Aim.BILLS, Limits(1000), 0.1, frozenset({"pad"}), 1e-9)
    beliefs = Beliefs(price_doubt=0.3)
    found = sureness(scenario, sample_of(scenario), question, beliefs=beliefs, draws=120)
    spread = math.sqrt(math.log1p(0.09))
    rng = np.random.default_rng(6)
    tank, lamp = (mean * np.exp(spread * rng.standard_normal(2000) - spread**2 / 2.0) for mean in (200.0, 180.0))
    with_pad, with_cage = np.minimum(lamp, 250.0), np.minimum(tank, 250.0)
    evpi = float((with_pad - np.minimum(with_pad, with_cage)).mean())
    know_tank = float((with_pad.mean() - np.minimum(with_pad.mean(), with_cage)).mean())
    assert found.evpi == pytest.approx(evpi, abs=4 * (found.evpi_se or 0.0))
    worth = {one.number.address: one for one in found.numbers}
    assert worth["parts.tank.price"].evppi == pytest.approx(know_tank, abs=4 * worth["parts.tank.price"].evppi_se)
    assert worth["parts.tank.price"].flips_below == pytest.approx(180.0, abs=0.5)
    assert worth["parts.tank.price"].flips_above is None


@pytest.mark.parametrize("seed", [1, 2, 7])
def test_where_the_kit_flips_exhaustive_search_finds_another_kit(seed: int) -> None:
    """The chosen kit is the best just before the value, another just behind it; where there is none, at the end too."""
    scenario = small(seed)
    question = asked(scenario)
    pricer = KitPricer(scenario, sample_of(scenario), Aim.BILLS, 0.1)
    finder = FlipFinder(pricer, question, scenario, [], Deadline())

    def behind(number: Doubtful, value: float) -> float:
        value = max(value, 1e-6)  # the mix of falls is not defined where nothing ever falls
        every = every_kit(scenario_with(scenario, [number], np.array([value])))
        least = every.least(Aim.BILLS, question.limits)
        assert least is not None
        return every.of(Aim.BILLS, question.kit) - least

    numbers = doubtful_numbers(scenario, Beliefs())
    for number in [*[one for one in numbers if one.number.kind is Kind.HOLD][:2], numbers[0]]:
        for flip, end in ((finder.below(number), 0.0), (finder.above(number), 1.0)):
            if flip is None:
                if end == 0.0 or number.number.kind.is_chance:
                    assert behind(number, end) <= CLOSE * 2000.0
                continue
            inside = flip.value + 0.002 * (number.guess - flip.value)
            assert behind(number, flip.value) > 0.0
            assert behind(number, inside) <= CLOSE * 2000.0


def test_one_draw_has_no_standard_error_of_its_regret() -> None:
    """A single number has no spread."""
    scenario = small(2)
    found = sureness(scenario, sample_of(scenario), asked(scenario), draws=1)
    assert (found.draws, found.mean_regret_se, found.numbers) == (1, None, ())


@pytest.mark.parametrize("done", [0, 1, 5])
def test_a_short_time_gives_fewer_draws_and_says_so(done: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The draws made in time are the first of those a longer time would make."""
    scenario = small(3)
    question, sample = asked(scenario), sample_of(scenario)
    counted: list[int] = []
    true_answer = best_kits.best_kit

    def slow(*args: object) -> object:
        counted.append(1)
        return None if len(counted) > done else true_answer(*args)  # type: ignore[arg-type]

    monkeypatch.setattr("guardopt.doubt.worlds.best_kit", slow)
    found = sureness(scenario, sample, question, draws=DRAWS)
    monkeypatch.undo()
    assert (found.draws, found.draws_asked) == (done, DRAWS)
    if done == 0:
        assert found == Sureness(DRAWS, 0)
        assert found.to_json()["best_share"] is None
    else:
        fewer = sureness(scenario, sample, question, draws=done)
        assert (found.worst_regret, found.mean_regret) == (fewer.worst_regret, fewer.mean_regret)


def test_nothing_is_tried_when_the_time_is_over() -> None:
    """The answer says so: no draws, and no share."""
    scenario = small(4)
    over = Deadline(time.monotonic() - 1.0)
    assert sureness(scenario, sample_of(scenario), asked(scenario), draws=50, deadline=over) == Sureness(50, 0)


def test_a_plan_passes_on_what_it_was_asked() -> None:
    """Weight and doubt about prices change the answer; what rests on more than a guess does as well."""
    scenario = small(2)
    light, heavy = (plan(scenario, sure=12, weight=weight, reasons=False).sureness for weight in (1.0, 1e6))
    assert light is not None and heavy is not None
    assert (light.evpi or 0.0) >= (heavy.evpi or 0.0)
    with pytest.raises(InputError, match=r"(?s)weight.*above 0.*price_doubt.*from 0 to 2"):
        plan(scenario, sure=5, weight=0.0, price_doubt=3.0)


@pytest.mark.parametrize("listed", [True, False])
def test_under_other_rates_every_kit_measures_what_pricing_it_anew_says(
    listed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Facts found under the guessed rates serve others, whether kits are listed or left to the program."""
    if not listed:
        monkeypatch.setattr("guardopt.cuts.kit_lists.MOST_KITS", 0)
    scenario = small(3)
    planner, limits = Planner(scenario, sample_of(scenario)), Limits(scenario.budget_cents)
    planner.best(Aim.BILLS, limits)
    for factor in (0.3, 4.0):
        rates: Sequence[float] = [fall.per_year * factor ** (row + 1) for row, fall in enumerate(scenario.falls)]
        falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(scenario.falls, rates, strict=True))
        every = every_kit(replace(scenario, falls=falls))
        other = planner.with_rates(rates)
        for aim in AIMS.values():
            for kit in every.kits[::5]:
                assert other.measure(aim.measures[0], kit) == pytest.approx(every.of(aim, kit), rel=1e-9, abs=1e-7)
            least, best = every.least(aim, limits), other.best_or_none(aim, limits)
            assert best is not None
            assert best.objective == pytest.approx(least, rel=2e-6, abs=1e-6)


@pytest.mark.parametrize("aim", [Aim.BILLS, Aim.WORST])
def test_draws_shared_among_processes_come_out_the_same(aim: Aim) -> None:
    """To the last digit, and progress is told from all of them."""
    scenario, told = small(5), list[str]()
    question, sample = asked(scenario, aim), sample_of(scenario)
    alone = sureness(scenario, sample, question, draws=24, falls=30)
    shared = sureness(scenario, sample, question, draws=24, falls=30, workers=2, progress=told.append)
    assert shared == alone
    assert alone.draws == 24
    assert "trying other numbers (24 of 24)" in told
