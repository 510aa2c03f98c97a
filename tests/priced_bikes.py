"""Random bikes with their falls, and what every kit truly costs on each: what cuts and reduced falls are held to."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from random_scenarios import all_kits, random_scenario, sample_of

from guardopt.arrays import Floats
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import cost_at_once
from guardopt.simulation.pricing import price
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.sampling import Stratum

GUARDS = 6
TAIL = 0.15


class Case:
    """A random bike with its falls, and what every kit that can be fitted truly costs on them."""

    def __init__(self, seed: int) -> None:
        self.scenario: Scenario = random_scenario(seed, guards=GUARDS, falls_sampled=25)
        self.sample: list[Stratum] = sample_of(self.scenario)
        self.bike = Bike(self.scenario)
        kits = all_kits(self.scenario)
        self.kits = np.array([self.bike.kit_array(kit) for kit in kits], dtype=float)
        bills = price(self.bike, self.sample, kits).bills
        self.cost = np.array([bill.owner_cost + bill.off_road for bill in bills])
        self.noted = np.array([bill.noted for bill in bills])
        rates = np.array([fall.per_year for fall in self.scenario.falls])
        self.chance = np.concatenate(
            [np.full(one.falls, rates[one.fall] / rates.sum() * one.share / one.falls) for one in self.sample]
        )

    def costs(self, kit: Floats) -> Floats:
        """``(falls,)``: what each simulated fall costs the owner with a kit."""
        return np.concatenate([cost_at_once(self.bike, one, kit.astype(bool)) for one in self.sample])

    def tail_mean(self, kit: Floats) -> float:
        """Mean cost of the worst falls with a kit."""
        return worst_mean(self.costs(kit), self.chance, TAIL)


@lru_cache(maxsize=64)
def case(seed: int) -> Case:
    """The random bike of a seed."""
    return Case(seed)


def close(one: Floats, other: Floats) -> bool:
    """Equal but for rounding."""
    return bool(np.allclose(one, other, rtol=1e-9, atol=1e-7))
