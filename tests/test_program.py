"""The integer program: solved by hand where that can be done, by another solver where there is one, and quietly."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

import numpy as np
import pulp
import pytest
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.aims import Aim, Limits, Measure
from guardopt.errors import NoKitError, SolverError
from guardopt.pieces import Guard, Offer, Part, Side
from guardopt.planner import Planner
from guardopt.program import Program, Terms
from guardopt.scenario import Scenario

CENTRE = Side.CENTRE
TANK = Part("tank", "tank", CENTRE, 1.0)
OTHER_SOLVERS = [name for name in pulp.listSolvers(onlyAvailable=True) if name not in ("HiGHS", "HiGHS_CMD")]

MakeScenario = Callable[..., Scenario]


def by_hand(make_scenario: MakeScenario, **changes: object) -> Program:
    """Three guards at 10, 20 and 25 and two facts about what falls cost.

    θ₀ ≥ 100 − 60 x₀ − 70 x₁ and θ₁ ≥ 50 − 30 x₂, with 5 a guard x₁ for renewals and 7 that no guard changes.
    """
    plain = {
        "parts": [TANK],
        "guards": [
            Guard("bar", "bar", CENTRE, 1000),
            Guard("cage", "cage", CENTRE, 2000, resale_share=0.5),
            Guard("pad", "pad", CENTRE, 2500),
        ],
    }
    program = Program(make_scenario(**(plain | changes)), Terms(np.array([20.0, 0.0]), np.array([0.0, 5.0, 0.0]), 7.0))
    program.add_bundle_facts(np.array([0, 1]), np.array([100.0, 50.0]), np.array([[60.0, 70.0, 0.0], [0.0, 0.0, 30.0]]))
    return program


# Budget in cents, the best kit as noughts and ones, its cost: the sum of the two θ, renewals and 7.
BY_HAND = [
    (0, [0, 0, 0], 157.0),
    (1999, [1, 0, 0], 97.0),
    (2000, [0, 1, 0], 92.0),
    (3000, [1, 1, 0], 82.0),
    (3499, [1, 1, 0], 82.0),
    (3500, [1, 0, 1], 67.0),
    (4500, [0, 1, 1], 62.0),
    (5500, [1, 1, 1], 52.0),
]


@pytest.mark.parametrize(("budget", "kit", "cost"), BY_HAND)
def test_program_solved_by_hand(make_scenario: MakeScenario, budget: int, kit: list[int], cost: float) -> None:
    """At each budget the program finds the kit and the cost that a sheet of paper does."""
    answer = by_hand(make_scenario).solve(Measure.COST, Limits(budget_cents=budget))
    assert answer.kit is not None
    assert answer.kit.tolist() == kit
    assert answer.bound == pytest.approx(cost)


def test_outlay_solved_by_hand(make_scenario: MakeScenario) -> None:
    """The cage gets half its 20 back: all three cost 52 + 55 − 10 in all, without the bar 62 + 45 − 10, others more."""
    answer = by_hand(make_scenario).solve(Measure.OUTLAY, Limits())
    assert answer.kit is not None
    assert answer.kit.tolist() in ([0, 1, 1], [1, 1, 1])
    assert answer.bound == pytest.approx(62.0 + 45.0 - 10.0)


def test_relaxed_program_is_a_bound(make_scenario: MakeScenario) -> None:
    """In part, 22.50 buys the bar, 2/7 of the cage, which is all that θ₀ ≥ 20 makes worth while, and pad for the rest."""
    program = by_hand(make_scenario)
    relaxed = program.solve(Measure.COST, Limits(budget_cents=2250), whole=False)
    whole = program.solve(Measure.COST, Limits(budget_cents=2250))
    assert relaxed.kit is not None
    assert relaxed.kit == pytest.approx([1.0, 2 / 7, (12.5 - 40 / 7) / 25], abs=1e-3)
    assert relaxed.bound == pytest.approx(492 / 7, abs=0.01)
    assert whole.bound == pytest.approx(92.0)


def test_a_cap_on_one_measure_while_another_is_least(make_scenario: MakeScenario) -> None:
    """The least spend that keeps the cost to 70 is 35, for the bar and the pad."""
    answer = by_hand(make_scenario).solve(Measure.SPEND, Limits(at_most={Measure.COST: 70.0}))
    assert answer.kit is not None
    assert answer.kit.tolist() == [1, 0, 1]
    assert answer.bound == pytest.approx(35.0)


def test_tail_facts_bound_the_tail(make_scenario: MakeScenario) -> None:
    """Of two facts about the worst falls the one that says more counts, kit by kit."""
    program = by_hand(make_scenario)
    program.add_tail_facts(np.array([90.0, 60.0]), np.array([[50.0, 20.0, 0.0], [0.0, 0.0, 25.0]]))
    for must, tail in ((set(), 35.0), ({"cage"}, 35.0), ({"bar"}, 35.0)):
        assert program.solve(Measure.TAIL, Limits(must=frozenset(must))).bound == pytest.approx(tail)
    without_bar = Limits(never=frozenset({"bar"}))
    assert program.solve(Measure.TAIL, without_bar).bound == pytest.approx(70.0)
    without_pad = Limits(never=frozenset({"pad"}))
    assert program.solve(Measure.TAIL, without_pad).bound == pytest.approx(60.0)


def test_an_excluded_kit_is_not_found_again(make_scenario: MakeScenario) -> None:
    """Kits excluded one after another come in the order of their costs, and then there is none."""
    program = by_hand(make_scenario)
    bounds = []
    for _ in range(8):
        answer = program.solve(Measure.COST, Limits())
        assert answer.kit is not None
        bounds.append(answer.bound)
        program.exclude(answer.kit)
    assert bounds == pytest.approx([52.0, 62.0, 67.0, 82.0, 92.0, 97.0, 127.0, 157.0])
    with pytest.raises(NoKitError):
        program.solve(Measure.COST, Limits())


IMPOSSIBLE = [
    ({}, {"must": {"bar", "pad"}, "budget_cents": 3499}),
    ({}, {"must": {"bar"}, "never": {"bar"}}),
    (
        {"guards": [Guard(name, name, CENTRE, 1, slot="front") for name in ("bar", "cage", "pad")]},
        {"must": {"bar", "pad"}},
    ),
    (
        {
            "guards": [Guard(name, name, CENTRE, 1, weight_kg=3.0) for name in ("bar", "cage", "pad")],
            "max_weight_kg": 5.9,
        },
        {"must": {"bar", "pad"}},
    ),
    (
        {
            "guards": [
                Guard("bar", "bar", CENTRE, 1, needs=(frozenset({"cage"}),)),
                Guard("cage", "cage", CENTRE, 1),
                Guard("pad", "pad", CENTRE, 1),
            ]
        },
        {"must": {"bar"}, "never": {"cage"}},
    ),
    (
        {
            "guards": [
                Guard("bar", "bar", CENTRE, 1, needs=(frozenset(),)),
                Guard("cage", "cage", CENTRE, 1),
                Guard("pad", "pad", CENTRE, 1),
            ]
        },
        {"must": {"bar"}},
    ),
    (
        {
            "guards": [
                Guard("bar", "bar", CENTRE, 1),
                Guard("cage", "cage", CENTRE, 1, not_with=frozenset({"bar"})),
                Guard("pad", "pad", CENTRE, 1),
            ]
        },
        {"must": {"bar", "cage"}},
    ),
]


@pytest.mark.parametrize(
    ("changes", "limits"), IMPOSSIBLE, ids=["budget", "barred", "slot", "weight", "needs", "no such need", "not with"]
)
def test_what_cannot_be_is_told(
    make_scenario: MakeScenario, changes: dict[str, object], limits: dict[str, object]
) -> None:
    """Where no kit satisfies what is forced, that is an error and not a kit that nearly does."""
    program = by_hand(make_scenario, **changes)
    forced = {name: frozenset(value) if isinstance(value, set) else value for name, value in limits.items()}
    with pytest.raises(NoKitError, match="no kit satisfies"):
        program.solve(Measure.COST, Limits(**forced))
    assert program.solve(Measure.COST, Limits()).kit is not None


@pytest.mark.parametrize("seed", range(12))
def test_program_spends_what_the_kit_costs(seed: int) -> None:
    """Offers, slots and needs are the same to the program as to the scenario's own arithmetic, kit by kit."""
    scenario = random_scenario(seed, guards=6)
    program = Program(scenario, Terms(np.zeros(0), np.zeros(6), 0.0))
    kits = all_kits(scenario)
    for row in range(2**6):
        kit = frozenset(guard.id for bit, guard in enumerate(scenario.guards) if row >> bit & 1)
        limits = Limits(must=kit, never=frozenset(scenario.guard) - kit)
        if kit in kits:
            assert program.solve(Measure.SPEND, limits).bound == pytest.approx(
                scenario.spend_cents(kit) / 100, abs=0.001
            )
        else:
            with pytest.raises(NoKitError):
                program.solve(Measure.SPEND, limits)


def test_overlapping_offers_are_not_both_taken(make_scenario: MakeScenario) -> None:
    """Two offers that share the cage save 8 together if both could be had; one alone saves 5 at most."""
    offers = (Offer("one", frozenset({"bar", "cage"}), 2500), Offer("other", frozenset({"cage", "pad"}), 4200))
    program = by_hand(make_scenario, offers=offers)
    everything = Limits(must=frozenset({"bar", "cage", "pad"}))
    assert program.solve(Measure.SPEND, everything).bound == pytest.approx(50.0)


def test_unknown_solver_is_told_with_those_there_are(make_scenario: MakeScenario) -> None:
    """A solver that is not installed is an error that names the solvers found."""
    program = Program(make_scenario([TANK]), Terms(np.zeros(0), np.zeros(0), 0.0), solver="abacus")
    with pytest.raises(SolverError, match=r"abacus.*HiGHS"):
        program.solve(Measure.COST, Limits())


@pytest.mark.filterwarnings("ignore:PULP_CBC_CMD is deprecated:DeprecationWarning")
@pytest.mark.skipif(not OTHER_SOLVERS, reason="PuLP finds no solver here beside HiGHS")
@pytest.mark.parametrize("aim", Aim)
@pytest.mark.parametrize("seed", range(6))
def test_another_solver_finds_kits_as_good(seed: int, aim: Aim) -> None:
    """The best kit measures the same whichever solver looked for it."""
    scenario = random_scenario(seed, guards=6)
    sample = sample_of(scenario)
    limits = Limits(budget_cents=scenario.budget_cents)
    objectives = [
        Planner(scenario, sample, solver=solver).best(aim, limits).objective for solver in ("HiGHS", OTHER_SOLVERS[0])
    ]
    assert objectives[1] == pytest.approx(objectives[0], rel=1e-5, abs=1e-5)


def test_solving_says_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    """Neither the program nor its solver writes to standard output or standard error."""
    scenario = random_scenario(1, guards=6)
    Planner(scenario, sample_of(scenario)).best(Aim.BILLS)
    assert capfd.readouterr() == ("", "")


def test_the_first_solve_of_a_process_says_nothing() -> None:
    """The banner that HiGHS prints once a process does not reach standard output, where JSON may be expected."""
    code = (
        "import pulp; from guardopt.solving import run\n"
        "problem = pulp.LpProblem('one', pulp.LpMinimize)\n"
        "problem.setObjective(problem.add_variable('x', 1, 2, pulp.LpInteger) + 0)\n"
        "run(problem, 'HiGHS')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert (done.stdout, done.stderr) == ("", "")
