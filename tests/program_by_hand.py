"""A program small enough to be solved on a sheet of paper, at any budget.

Three guards at 10, 20 and 25: θ₀ ≥ max(20, 100 − 60 x₀ − 70 x₁) and θ₁ ≥ 50 − 30 x₂, with 5 a guard x₁ for renewals
and 7 that no guard changes.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from guardopt.model.pieces import Guard, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.formulation import Terms

MakeScenario = Callable[..., Scenario]

TANK = Part("tank", "tank", Side.CENTRE, 1.0)

TERMS = Terms(
    weights=np.eye(2),
    floor=np.array([20.0, 0.0]),
    ceiling=np.array([100.0, 50.0]),
    guard_cost=np.array([0.0, 5.0, 0.0]),
    fixed_cost=7.0,
)
"""What the falls say: bundles θ₀ from 20 to 100 and θ₁ from 0 to 50, 5 a guard x₁, 7 fixed."""

CONSTANTS = np.array([100.0, 50.0])
SLOPES = np.array([[60.0, 70.0, 0.0], [0.0, 0.0, 30.0]])
"""The two cuts."""

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
"""Budget in cents, the best kit as noughts and ones, its cost: the sum of the two θ, renewals and 7."""


def hand_scenario(make_scenario: MakeScenario, **changes: object) -> Scenario:
    """The three guards, of which the second fetches half its price at the end."""
    plain = {
        "parts": [TANK],
        "guards": [
            Guard("bar", "bar", Side.CENTRE, 1000),
            Guard("cage", "cage", Side.CENTRE, 2000, resale_share=0.5),
            Guard("pad", "pad", Side.CENTRE, 2500),
        ],
    }
    return make_scenario(**(plain | changes))
