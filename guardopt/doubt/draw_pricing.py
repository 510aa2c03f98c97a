"""What a few dozen kits cost when all numbers are others, on a sample small enough to be drawn hundreds of times.

Every draw of the numbers meets the same falls: the same normal draws under other thresholds, the same uniform draws
under other chances. The falls of all kinds and sides are priced side by side, since with so few of them what takes
time is the number of steps, not the number of falls.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from guardopt.arrays import Floats, Ints
from guardopt.model.aims import Aim
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.simulation.batch_pricing import MeanCosts, mean_costs, mean_renewals
from guardopt.simulation.compiled import Bike
from guardopt.simulation.items import Kind as ItemKind
from guardopt.simulation.outcomes import cost_at_once, outcome, whole_falls
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.sampling import Stratum, draw, side_by_side

FALLS = 200
"""Simulated falls of each kind and side under every draw of the numbers."""


class KitPricer:
    """Prices kits for one aim under any values of the doubtful numbers.

    Kits are measured on the first few falls of the planning sample, and by how much those few mislead under the
    guesses is taken off everywhere (a control variate: Glasserman, Monte Carlo Methods in Financial Engineering, 2004,
    section 4.1, with coefficient 1): so under the guesses themselves each kit measures what it does on the whole
    sample. For aims that add up this is done for each kind of fall, so that rates weigh on what is exact.

    Parameters
    ----------
    scenario
        The bike with its numbers as guessed.
    sample
        The planning sample.
    aim, tail
        What is measured.
    falls
        Falls of each kind and side, at most as many as the planning sample has.
    """

    def __init__(
        self, scenario: Scenario, sample: Sequence[Stratum], aim: Aim, tail: float, falls: int = FALLS
    ) -> None:
        self._scenario, self._sample, self._aim, self._tail = scenario, sample, aim, tail
        self._falls = min(falls, scenario.falls_sampled)
        self._memory: dict[str, Floats] = {}
        self._first = self.strata(scenario)
        self._misled: dict[Kit, Floats] = {}

    def strata(self, scenario: Scenario) -> list[Stratum]:
        """The falls under other numbers."""
        return list(draw(scenario, self._falls, scenario.seed, "plan", memory=self._memory))

    def measures(self, scenario: Scenario, kits: Sequence[Kit], strata: Sequence[Stratum] | None = None) -> Floats:
        """``(kits,)``: the aim's objective under other numbers, by how much the small sample misleads taken off.

        Parameters
        ----------
        scenario
            The bike with other numbers; budget, guards and their prices are those of the guesses.
        kits
            Guards on the bike, each a set of ids.
        strata
            The falls under these numbers, if they have been drawn.
        """
        self.learn(kits)
        costs = self._costs(scenario, self.strata(scenario) if strata is None else strata, kits)
        return self._objective(scenario, costs + np.array([self._misled[kit] for kit in kits]), kits)

    def as_met(self, scenario: Scenario, kits: Sequence[Kit], strata: Sequence[Stratum]) -> Floats:
        """``(kits,)``: the objective on the small sample as it is, as a planner on that sample has it."""
        return self._objective(scenario, self._costs(scenario, strata, kits), kits)

    def learn(self, kits: Sequence[Kit]) -> None:
        """Price kits on the whole planning sample under the guesses, to know by how much the few falls mislead.

        Kits that are measured later are best learned together: the whole sample takes as long for one as for many.
        """
        kits = [kit for kit in dict.fromkeys(kits) if kit not in self._misled]
        if not kits:
            return
        few = self._costs(self._scenario, self._first, kits)
        if self._falls == self._scenario.falls_sampled:
            whole = few
        elif self._aim.adds_up:
            bike = Bike(self._scenario)
            whole = _in_slots(bike, mean_costs(bike, self._sample, kits))
        else:
            whole = self._costs(self._scenario, self._sample, kits)
        self._misled |= dict(zip(kits, whole - few, strict=True))

    def _costs(self, scenario: Scenario, strata: Sequence[Stratum], kits: Sequence[Kit]) -> Floats:
        """``(kits, kinds of fall, 1 + slots)``: mean cost of one fall, and how often what waits comes about in it.

        For the worst falls ``(kits, 1, 1)``: their mean cost.
        """
        bike, pooled = Bike(scenario), side_by_side(strata)
        fitted = [bike.kit_array(kit) for kit in kits]
        if not self._aim.adds_up:
            rates = np.array([fall.per_year for fall in scenario.falls])
            mix = rates / rates.sum() if rates.any() else rates
            weights = np.concatenate([np.full(one.falls, mix[one.fall] * one.share / one.falls) for one in strata])
            at_once = [cost_at_once(bike, pooled, kit) for kit in fitted]
            return np.array([[[worst_mean(one, weights, self._tail)]] for one in at_once])
        by_stratum = np.zeros((len(scenario.falls), len(strata)))
        for row, one in enumerate(strata):
            by_stratum[one.fall, row] = one.share / one.falls
        starts = np.cumsum([0, *(one.falls for one in strata[:-1])])
        whole, found = whole_falls(bike, pooled), []
        for kit in fitted:
            with_kit = outcome(bike, pooled, kit, whole)
            columns = np.zeros((1 + _slots(bike).size, pooled.falls))
            columns[0] = with_kit.owner_cost + with_kit.off_road
            columns[1 + _filled(bike)] = with_kit.noted
            found.append(by_stratum @ np.add.reduceat(columns, starts, axis=1).T)
        costs = np.array(found)
        costs[:, :, 0] += np.array(fitted) @ mean_renewals(bike, strata).T
        return costs

    def _objective(self, scenario: Scenario, costs: Floats, kits: Sequence[Kit]) -> Floats:
        if not self._aim.adds_up:
            return costs[:, 0, 0]
        rates = np.array([fall.per_year for fall in scenario.falls])
        amounts = _slots(Bike(scenario))
        chances = np.clip(costs[:, :, 1:], 0.0, 1.0)
        yearly = MeanCosts(costs[:, :, 0], chances, amounts, scenario.repair_every).yearly(rates)
        extra = [scenario.dislike(kit) + (scenario.laid_out(kit) if self._aim.counts_price else 0.0) for kit in kits]
        total: Floats = scenario.annuity * yearly + np.array(extra)
        return total


def _filled(bike: Bike) -> Ints:
    """``(items that wait,)``: the slot of each: two for every part, if broken and if only harmed, and one for a group.

    Which items there are hangs on the numbers, the slots do not.
    """
    costs, parts = bike.costs, len(bike.scenario.parts)
    items = [costs.items[row] for row in costs.of_kind(ItemKind.WAITS)]
    return np.array(
        [
            2 * part + int(item.scuffed > 0.0) if part >= 0 else 2 * parts + group
            for item, part, group in zip(items, costs.of_part, costs.of_group, strict=True)
        ],
        dtype=np.int64,
    )


def _slots(bike: Bike) -> Floats:
    """``(slots,)``: what is paid when that which waits is put right; 0 in slots without an item."""
    amounts = np.zeros(2 * len(bike.scenario.parts) + len(bike.costs.groups))
    if not bike.scenario.waits:
        return amounts[:0]
    amounts[_filled(bike)] = [bike.costs.items[row].amount for row in bike.costs.of_kind(ItemKind.WAITS)]
    return amounts


def _in_slots(bike: Bike, costs: MeanCosts) -> Floats:
    """``(kits, kinds of fall, 1 + slots)``."""
    found = np.zeros((*costs.of_fall.shape, 1 + _slots(bike).size))
    found[:, :, 0] = costs.of_fall
    found[:, :, 1 + _filled(bike)] = costs.noted
    return found
