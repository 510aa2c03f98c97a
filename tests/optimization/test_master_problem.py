"""The integer program: solved by hand where that can be done, by another solver where there is one, and quietly."""

from __future__ import annotations

import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from program_by_hand import BY_HAND, CONSTANTS, SLOPES, TANK, TERMS, MakeScenario, hand_scenario
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.errors import NoKitError, SolverError
from guardopt.model.aims import Aim, Limits
from guardopt.model.pieces import Guard, Offer, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.optimization.formulation import Terms, columns_of
from guardopt.optimization.master_problem import Answer, Program
from guardopt.optimization.measures import MEASURES

CENTRE = Side.CENTRE


class Stated(Program):
    """A program that is asked for measures by name."""

    def __init__(self, scenario: Scenario, terms: Terms, solver: str) -> None:
        super().__init__(scenario, terms, solver)
        self._asker = SimpleNamespace(scenario=scenario, terms=terms, columns=columns_of(scenario, terms.floor.size))

    def least_of(self, name: str, limits: Limits) -> Answer:
        """The least of a measure, as `second_opinion` asks for it."""
        return self.solve(*MEASURES[name].linear(self._asker), limits)  # type: ignore[arg-type]


def nothing(guards: int) -> Terms:
    """Terms of a bike that never falls."""
    return Terms(np.zeros((0, 0)), np.zeros(0), np.zeros(0), np.zeros(guards), 0.0)


def by_hand(make_scenario: MakeScenario, **changes: object) -> Stated:
    """The program of `program_by_hand` with its two cuts."""
    program = Stated(hand_scenario(make_scenario, **changes), TERMS, "HiGHS")
    program.add_bundle_cuts(np.array([0, 1]), CONSTANTS, SLOPES)
    return program


@pytest.mark.parametrize(("budget", "kit", "cost"), BY_HAND)
def test_program_solved_by_hand(make_scenario: MakeScenario, budget: int, kit: list[int], cost: float) -> None:
    """At each budget the program finds the kit and the cost that a sheet of paper does."""
    answer = by_hand(make_scenario).least_of("cost", Limits(budget_cents=budget))
    assert answer.kit is not None
    assert answer.kit.tolist() == kit
    assert answer.bound == pytest.approx(cost)


def test_outlay_solved_by_hand(make_scenario: MakeScenario) -> None:
    """The cage gets half its 20 back: all three cost 52 + 55 − 10 in all, without the bar 62 + 45 − 10, others more."""
    answer = by_hand(make_scenario).least_of("outlay", Limits())
    assert answer.kit is not None
    assert answer.kit.tolist() in ([0, 1, 1], [1, 1, 1])
    assert answer.bound == pytest.approx(62.0 + 45.0 - 10.0)


def test_tail_cuts_bound_the_tail(make_scenario: MakeScenario) -> None:
    """Of two cuts about the worst falls the one that says more counts, kit by kit."""
    program = by_hand(make_scenario)
    program.add_tail_cuts(np.array([90.0, 60.0]), np.array([[50.0, 20.0, 0.0], [0.0, 0.0, 25.0]]))
    for must, tail in ((set(), 35.0), ({"cage"}, 35.0), ({"bar"}, 35.0)):
        assert program.least_of("tail", Limits(must=frozenset(must))).bound == pytest.approx(tail)
    without_bar = Limits(never=frozenset({"bar"}))
    assert program.least_of("tail", without_bar).bound == pytest.approx(70.0)
    without_pad = Limits(never=frozenset({"pad"}))
    assert program.least_of("tail", without_pad).bound == pytest.approx(60.0)


def test_every_kit_costs_what_the_sheet_says(make_scenario: MakeScenario) -> None:
    """Each of the eight kits in turn, forced in whole, and the program forgets what it was told for the one before."""
    program = by_hand(make_scenario)
    names = ("bar", "cage", "pad")
    costs = {0: 157.0, 1: 97.0, 2: 92.0, 3: 82.0, 4: 127.0, 5: 67.0, 6: 62.0, 7: 52.0}
    for number, cost in costs.items():
        kit = frozenset(name for bit, name in enumerate(names) if number >> bit & 1)
        answer = program.least_of("cost", Limits(must=kit, never=frozenset(names) - kit))
        assert answer.bound == pytest.approx(cost)
    assert program.least_of("cost", Limits()).bound == pytest.approx(52.0)


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
        program.least_of("cost", Limits(**forced))
    assert program.least_of("cost", Limits()).kit is not None


@pytest.mark.parametrize("seed", range(12))
def test_program_spends_what_the_kit_costs(seed: int) -> None:
    """Offers, slots and needs are the same to the program as to the scenario's own arithmetic, kit by kit."""
    scenario = random_scenario(seed, guards=6)
    program = Stated(scenario, nothing(6), "HiGHS")
    kits = all_kits(scenario)
    for row in range(2**6):
        kit = frozenset(guard.id for bit, guard in enumerate(scenario.guards) if row >> bit & 1)
        limits = Limits(must=kit, never=frozenset(scenario.guard) - kit)
        if kit in kits:
            assert program.least_of("spend", limits).bound == pytest.approx(scenario.spend_cents(kit), abs=0.1)
        else:
            with pytest.raises(NoKitError):
                program.least_of("spend", limits)


def test_overlapping_offers_are_not_both_taken(make_scenario: MakeScenario) -> None:
    """Two offers that share the cage save 8 together if both could be had; one alone saves 5 at most."""
    offers = (Offer("one", frozenset({"bar", "cage"}), 2500), Offer("other", frozenset({"cage", "pad"}), 4200))
    program = by_hand(make_scenario, offers=offers)
    everything = Limits(must=frozenset({"bar", "cage", "pad"}))
    assert program.least_of("spend", everything).bound == pytest.approx(5000.0)


def test_unknown_solver_is_told_with_those_there_are(make_scenario: MakeScenario) -> None:
    """A solver that is not installed is an error that names the solvers found."""
    program = Stated(make_scenario([TANK]), nothing(0), "abacus")
    with pytest.raises(SolverError, match=r"abacus.*HiGHS"):
        program.least_of("cost", Limits())


def test_solving_says_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    """Neither the program nor its solver writes to standard output or standard error."""
    scenario = random_scenario(1, guards=6)
    Planner(scenario, sample_of(scenario)).best(Aim.BILLS)
    assert capfd.readouterr() == ("", "")


def test_the_first_solve_of_a_process_says_nothing() -> None:
    """The banner that HiGHS prints once a process does not reach standard output, where JSON may be expected."""
    code = (
        "import pulp; from guardopt.optimization.solver import run\n"
        "problem = pulp.LpProblem('one', pulp.LpMinimize)\n"
        "problem.setObjective(problem.add_variable('x', 1, 2, pulp.LpInteger) + 0)\n"
        "run(problem, 'HiGHS')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)  # noqa: S603
    assert (done.stdout, done.stderr) == ("", "")
