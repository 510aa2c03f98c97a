"""What is known of simulated falls, for all who ask about the same ones."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from guardopt.cuts.cut_finder import FactFinder
from guardopt.cuts.cut_pool import CutPool
from guardopt.cuts.enumeration import KitTable
from guardopt.cuts.priced_kits import at_other_prices, kit_table
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.sampling import Stratum


@dataclass(frozen=True)
class KnownFalls:
    """The bike as arrays, where cuts about its falls come from and are kept, and the list of all its kits."""

    bike: Bike
    finder: FactFinder
    pool: CutPool
    table: Callable[[], KitTable | None]

    @staticmethod
    def of(scenario: Scenario, sample: Sequence[Stratum]) -> KnownFalls:
        """Of falls that nothing is known of yet."""
        bike = Bike(scenario)
        finder = FactFinder(bike, sample)
        return KnownFalls(bike, finder, CutPool(), cache(partial(kit_table, scenario, bike, finder)))

    def under(self, scenario: Scenario, sample: Sequence[Stratum]) -> KnownFalls:
        """What holds of it where guards cost otherwise; what they wear is worked out anew where it differs."""
        bike = Bike(scenario)
        is_worn_alike = np.array_equal(self.bike.wear, bike.wear)
        finder = self.finder.with_terms(bike, None if is_worn_alike else sample)
        same, anew = partial(at_other_prices, self.table, scenario), partial(kit_table, scenario, bike, finder)
        return KnownFalls(bike, finder, self.pool.of_every_kit(), cache(same if is_worn_alike else anew))
