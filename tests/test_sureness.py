"""How sure a kit is when fall rates are doubted: shares, regrets, their standard errors and what a short time leaves."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from random_scenarios import price_every_kit, random_scenario, sample_of

from guardopt.aims import Aim, Limits
from guardopt.pieces import Cover, Fall, Guard, Part, Side
from guardopt.planner import Planner
from guardopt.plans import plan
from guardopt.scenario import Scenario
from guardopt.sureness import Sureness, draw_rates, sureness
from guardopt.workbench import Workbench

DRAWS = 24


def doubted(seed: int, aim: Aim = Aim.BILLS, draws: int = DRAWS) -> tuple[Scenario, Planner, frozenset[str], Sureness]:
    """A random scenario, its best kit and how sure that is."""
    scenario = replace(random_scenario(seed, guards=5), falls_sampled=40)
    planner, limits = Planner(scenario, sample_of(scenario)), Limits(scenario.budget_cents)
    kit = planner.best(aim, limits).kit
    return scenario, planner, kit, sureness(planner, aim, limits, kit, draws=draws)


@pytest.mark.parametrize("seed", range(1, 5))
@pytest.mark.parametrize("aim", [Aim.BILLS, Aim.OUTLAY])
def test_guards_shares_are_those_of_the_best_kits(seed: int, aim: Aim) -> None:
    """Where one kit is clearly best under every draw, each guard's share is how often the clear winner has it."""
    scenario, _, kit, found = doubted(seed, aim)
    limits = Limits(scenario.budget_cents)
    counts = dict.fromkeys((guard.id for guard in scenario.guards), 0)
    still_best = 0
    for rates in draw_rates(scenario, DRAWS, np.random.Generator(np.random.PCG64(scenario.seed))):
        falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(scenario.falls, rates.tolist(), strict=True))
        every = price_every_kit(replace(scenario, falls=falls), sample_of(scenario))
        value = np.where(every.allowed(limits), every.measured[aim], np.inf)
        near = [every.kits[row] for row in np.flatnonzero(value <= value.min() + 2e-6 * max(1.0, abs(value.min())))]
        best = kit if kit in near else near[0]
        assert len(near) == 1 or kit in near
        still_best += kit in near
        for guard in best:
            counts[guard] += 1
    assert found.best_share == still_best / DRAWS
    assert dict(found.guards) == {guard: count / DRAWS for guard, count in counts.items()}


@pytest.mark.parametrize("seed", range(4))
def test_the_same_seed_draws_the_same_rates(seed: int) -> None:
    """Asked twice the answer is the same, and another seed doubts other rates."""
    scenario, planner, kit, found = doubted(seed)
    limits = Limits(scenario.budget_cents)
    assert sureness(planner, Aim.BILLS, limits, kit, draws=DRAWS) == found
    one, two = (draw_rates(scenario, 3, np.random.Generator(np.random.PCG64(s))) for s in (seed, seed + 1))
    assert not np.array_equal(one, two)


def test_a_rate_of_nought_stays_nought() -> None:
    """What never happens is not doubted."""
    scenario = random_scenario(1)
    falls = tuple(replace(fall, per_year=0.0) for fall in scenario.falls)
    assert not draw_rates(replace(scenario, falls=falls), 50, np.random.default_rng(1)).any()


def test_more_watching_makes_a_kit_no_less_sure(make_scenario: Callable[..., Scenario]) -> None:
    """Two kinds of fall, money for one guard: a guess of 1.5 against 1 is often wrong after a year, never after many."""
    shares = []
    for watched in (1.0, 10.0, 1e6):
        scenario = make_scenario(
            [Part(name, name, Side.CENTRE, 100.0) for name in ("tank", "lamp")],
            [Guard(name, name, Side.CENTRE, 1000) for name in ("pad", "cage")],
            [Cover(("pad",), "tank", 1.0), Cover(("cage",), "lamp", 1.0)],
            [Fall("slide", 1.5, correlation=0.0, watched_years=watched), Fall("tip", 1.0, watched_years=watched)],
            {("slide", "lamp"): 0.0, ("tip", "tank"): 0.0},
            budget_cents=1000,
            falls_sampled=10,
        )
        bench = Workbench(scenario)
        found = sureness(bench.planner, Aim.BILLS, Limits(1000), frozenset({"pad"}), draws=400)
        assert found.guards == (("pad", found.best_share), ("cage", pytest.approx(1.0 - (found.best_share or 0.0))))
        shares.append(found.best_share)
    # With gamma rates of shapes 1.5 and 1 at one scale, the share of the first is beta: P(B(1.5, 1) > 1/2) = 1 − 2^-1.5.
    assert shares[0] == pytest.approx(1.0 - 2.0**-1.5, abs=4 * math.sqrt(0.65 * 0.35 / 400))
    assert shares[0] < shares[1] < shares[2] == 1.0


def test_standard_errors_are_those_of_shares_and_means() -> None:
    """√(p(1−p)/n), and the spread of the regrets over √n: as wide as the results are from seed to seed."""
    runs = []
    for seed in range(25):
        scenario = replace(random_scenario(5, guards=4), falls_sampled=30)
        planner, limits = Planner(scenario, sample_of(scenario)), Limits(scenario.budget_cents)
        kit = planner.best(Aim.BILLS, Limits(1500)).kit
        planner.scenario = replace(planner.scenario, seed=seed)
        runs.append(sureness(planner, Aim.BILLS, limits, kit, draws=40))
    regrets = np.array([run.mean_regret for run in runs], dtype=float)
    said = math.sqrt(np.mean([(run.mean_regret_se or 0.0) ** 2 for run in runs]))
    assert 0.5 < regrets.std(ddof=1) / said < 2.0
    for run in runs:
        assert run.best_share is not None
        assert run.best_share_se == pytest.approx(math.sqrt(run.best_share * (1.0 - run.best_share) / 40))


def test_one_draw_has_no_standard_error_of_its_regret() -> None:
    """A single number has no spread."""
    assert doubted(2, draws=1)[3].mean_regret_se is None


@pytest.mark.parametrize("done", [0, 1, 7])
def test_a_short_time_gives_fewer_draws_and_says_so(done: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The draws made in time are the first of those a longer time would make."""
    scenario, planner, kit, _ = doubted(3, draws=1)
    limits = Limits(scenario.budget_cents)
    answers = []
    true_answer = Planner.best_untied

    def slow(self: Planner, *args: object, **options: object) -> object:
        answers.append(1)
        if len(answers) > done:
            monkeypatch.setattr(time, "monotonic", lambda: math.inf)
        return true_answer(self, *args, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(Planner, "best_untied", slow)
    found = sureness(planner, Aim.BILLS, limits, kit, draws=DRAWS, end=time.monotonic() + 1e9)
    monkeypatch.undo()
    assert (found.draws, found.draws_asked) == (done, DRAWS)
    if done == 0:
        assert found == Sureness(DRAWS, 0)
        assert found.to_json()["best_share"] is None
    else:
        rates = draw_rates(scenario, DRAWS, np.random.Generator(np.random.PCG64(scenario.seed)))[:done]
        regrets = []
        for one in rates.tolist():
            other = planner.with_rates(one)
            best = other.best_untied(Aim.BILLS, limits)
            assert best is not None
            regrets.append(other.measure(Aim.BILLS.measures[0], kit) - best.objective)
        assert found.worst_regret == pytest.approx(max(regrets), abs=1e-3)
        assert found.mean_regret == pytest.approx(np.mean(regrets), abs=1e-3)


def test_doubts_end_with_the_time_of_the_plan() -> None:
    """A plan that has used up its time still comes back, its doubts left open."""
    made = plan(replace(random_scenario(4), falls_sampled=40), time_limit=1e-9, sure=50, break_even=True)
    assert made.sureness == Sureness(50, 0)
    assert made.break_even is not None
    assert not any(worth.is_known for worth in made.break_even.values())
    assert made.to_json()["sureness"]["draws"] == 0


def test_the_worst_falls_are_doubted_as_well() -> None:
    """With the aim worst each draw weighs the worst falls anew; a kit is never better than the best."""
    scenario, _, kit, found = doubted(7, Aim.WORST, draws=8)
    rates = draw_rates(scenario, 8, np.random.Generator(np.random.PCG64(scenario.seed)))
    regrets = []
    for one in rates.tolist():
        falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(scenario.falls, one, strict=True))
        every = price_every_kit(replace(scenario, falls=falls), sample_of(scenario))
        least = every.least(Aim.WORST, Limits(scenario.budget_cents))
        assert least is not None
        regrets.append(every.of(Aim.WORST, kit) - least)
    assert found.worst_regret == pytest.approx(max(regrets), abs=1e-3)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("listed", [True, False])
def test_under_other_rates_every_kit_measures_what_pricing_it_anew_says(
    seed: int, listed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Facts found under the guessed rates serve others, whether kits are listed or left to the program."""
    if not listed:
        monkeypatch.setattr("guardopt.kit_table.MOST_KITS", 0)
    scenario = replace(random_scenario(seed, guards=5), falls_sampled=30)
    planner, limits = Planner(scenario, sample_of(scenario)), Limits(scenario.budget_cents)
    planner.best(Aim.BILLS, limits)
    for factor in (0.3, 4.0):
        rates = [fall.per_year * factor ** (row + 1) for row, fall in enumerate(scenario.falls)]
        falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(scenario.falls, rates, strict=True))
        every = price_every_kit(replace(scenario, falls=falls), sample_of(scenario))
        other = planner.with_rates(rates)
        for aim in Aim:
            for kit in every.kits[::5]:
                assert other.measure(aim.measures[0], kit) == pytest.approx(every.of(aim, kit), rel=1e-9, abs=1e-7)
            least, best = every.least(aim, limits), other.best_untied(aim, limits)
            assert best is not None
            assert best.objective == pytest.approx(least, rel=2e-6, abs=1e-6)
    again = price_every_kit(scenario, sample_of(scenario))
    assert planner.best(Aim.BILLS, limits).objective == pytest.approx(
        again.least(Aim.BILLS, limits), rel=2e-6, abs=1e-6
    )
