"""Which numbers of a scenario are guesses, what is believed of each, and values drawn for all of them.

A number comes with its address, the group it is told in, and a distribution. A new kind of number joins by its way to
be read and set (`model.numbers`) and a line in `GROUP_OF`. Guards' prices, budgets and the bike's value are known; how
long a guard lasts is taken as told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Protocol

import numpy as np

from guardopt.arrays import Floats
from guardopt.doubt.distributions import Beta, Distribution, Gamma, Lognormal, Metalog
from guardopt.model.numbers import Kind, Number, addresses_of, further_numbers_of, numbers_of, value_of, with_values
from guardopt.model.scenario import Scenario
from guardopt.simulation.sampling import named_generator

WEIGHT = 4.0
"""How many falls a guessed chance is worth."""

PRICE_DOUBT = 0.1
"""Standard deviation of the price of a part and of hours, as a share of it."""

GROUP_OF: Mapping[Kind, str] = MappingProxyType(
    {
        Kind.RATE: "rates",
        Kind.LEFT_SHARE: "sides",
        Kind.TUMBLE: "sides",
        Kind.CORRELATION: "correlations",
        Kind.STRIKE: "strikes",
        Kind.BREAK: "breaks",
        Kind.HOLD: "holds",
        Kind.KNOCK_ON: "knock_ons",
        Kind.EXPOSE: "exposes",
        Kind.PRICE: "prices",
        Kind.TOUCH_UP: "prices",
        Kind.HOURS: "prices",
        Kind.STRIP_DOWN: "prices",
        Kind.DAYS: "days",
    }
)
"""The group in which each kind of number is told, in the order of the groups."""


class Counts(Protocol):
    """What a number rests on: `count` of it in `out_of` falls or years."""

    @property
    def count(self) -> float:
        """Falls in which it was so, or events."""

    @property
    def out_of(self) -> float:
        """Falls in which it could have been so, or years."""


@dataclass(frozen=True)
class Beliefs:
    """How far guesses are believed.

    Attributes
    ----------
    weight
        How many falls a guessed chance is worth; above 0.
    price_doubt
        Standard deviation of prices of parts and of hours, as a share of them; 0: they are certain.
    counts
        For chances that rest on more than a guess, by address: on what. One whose mean is not that of the scenario's
        number any more counts as a guess.
    """

    weight: float = WEIGHT
    price_doubt: float = PRICE_DOUBT
    counts: Mapping[str, Counts] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Doubtful:
    """A number that is a guess: its value in the scenario, and what is believed of it."""

    number: Number
    guess: float
    belief: Distribution

    @property
    def address(self) -> str:
        """As for ``--change``."""
        return self.number.address

    @property
    def group(self) -> str:
        """The group it is told in."""
        return GROUP_OF[self.number.kind]

    def values(self, draws: int, seed: int) -> Floats:
        """``(draws,)``: values drawn; more draws add to fewer, and other numbers do not change them."""
        uniform = named_generator(f"{seed}/doubt/{self.address}").random(draws)
        # Zero is a possible number of the stream and not of a distribution without end.
        return self.belief.quantile(np.clip(uniform, 2.0**-53, 1.0 - 2.0**-53))


def doubtful_numbers(scenario: Scenario, beliefs: Beliefs) -> list[Doubtful]:
    """Every number that is in doubt, group by group; 0, and chances of 1, are certain.

    Parameters
    ----------
    scenario
        Its numbers are the guesses.
    beliefs
        How far they are believed.
    """
    found = []
    for number in [*numbers_of(scenario), *further_numbers_of(scenario)]:
        belief = _belief(scenario, number, beliefs)
        if belief is not None:
            found.append(Doubtful(number, value_of(scenario, number), belief))
    order = list(dict.fromkeys(GROUP_OF.values()))
    return sorted(found, key=lambda one: order.index(one.group))


def _belief(scenario: Scenario, number: Number, beliefs: Beliefs) -> Distribution | None:
    """What is believed of a number; None where it is certain."""
    value = value_of(scenario, number)
    names = addresses_of(scenario, number) if scenario.ranges else []
    given = next((scenario.ranges[name] for name in names if name in scenario.ranges), None)
    if given is not None and np.isclose(given.likely, value, rtol=1e-9):
        return Metalog(given, number.kind.is_chance)
    if value <= 0.0 or (number.kind.is_chance and value >= 1.0):
        return None
    if number.kind is Kind.RATE:
        years = next(fall.watched_years for fall in scenario.falls if fall.id == number.fall)
        return Gamma(value * years, years)
    if not number.kind.is_chance:
        return Lognormal(value, beliefs.price_doubt) if beliefs.price_doubt > 0.0 else None
    counts = beliefs.counts.get(number.address)
    # Files hold numbers to seven figures; what differs by more has been changed by hand since.
    if counts is not None and np.isclose(counts.count / counts.out_of, value, rtol=1e-6):
        return Beta(counts.count, counts.out_of)
    return Beta(value * beliefs.weight, beliefs.weight)


def drawn_values(numbers: Sequence[Doubtful], draws: int, seed: int) -> Floats:
    """``(draws, numbers)``: values drawn for all numbers, independently of each other."""
    return np.array([one.values(draws, seed) for one in numbers]).reshape(len(numbers), draws).T


def scenario_with(scenario: Scenario, numbers: Sequence[Doubtful], values: Floats) -> Scenario:
    """The scenario with these values, ``(numbers,)``, in place of its guesses.

    Of a part that waits, touching up never costs more than replacing it would.
    """
    other = with_values(scenario, {one.number: float(value) for one, value in zip(numbers, values, strict=True)})
    if not scenario.waits:
        return other
    parts = [
        replace(part, touch_up=min(part.touch_up, part.price + part.hours * scenario.repair_rate))
        if part.waits
        else part
        for part in other.parts
    ]
    return replace(other, parts=tuple(parts))
