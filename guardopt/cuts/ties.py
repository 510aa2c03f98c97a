"""When two kits are as good as each other, and which of them then comes first."""

from __future__ import annotations

import numpy as np

from guardopt.arrays import Floats
from guardopt.model.scenario import Scenario

TIE = 1e-9
"""Relative difference below which two costs are the same; sums of the same costs in another order differ by less."""


def change_of(scenario: Scenario) -> Floats:
    """``(guards,)``: whole numbers whose sum is least for the kit that changes least about the bike.

    Of kits that cost and spend the same, the one that leaves most of the owner's guards on, then the one of fewest
    guards, then the one whose guards come first in the scenario.
    """
    guards = len(scenario.guards)
    count = guards * guards
    owned = count * (guards + 1)
    weights = [count + number - (owned if guard.owned else 0) for number, guard in enumerate(scenario.guards)]
    return np.array(weights, dtype=float)
