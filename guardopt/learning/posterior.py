"""Guesses brought up to date by what a log holds: every number with what is believed of it before and after.

Every guess is worth so many years or falls, and what was seen is added to it:

    rate   = (per_year · w + falls) / (w + years)        w = watched_years               Gamma-Poisson
    chance = (guess · weight + yes) / (weight + falls)   weight = 4 unless told          Beta-Binomial

(Gelman et al., Bayesian Data Analysis, 3rd edition 2013, sections 2.4 and 2.6). A strike counts only falls that exposed
the part, with no guard on that may have struck it; a part harmed by a knock-on alone was not struck. Chances that
guards hold are `noisy_or_em`, the correlation is `copula_fit`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from guardopt.learning.conjugate import Belief, Seen
from guardopt.learning.copula_fit import Correlation, learn_correlation
from guardopt.learning.fall_log import Log, LoggedFall
from guardopt.learning.noisy_or_em import learn_holds, plain_counts, strikes_of
from guardopt.model.numbers import Kind, Number, numbers_of, value_of
from guardopt.model.pieces import Side
from guardopt.model.scenario import Scenario


@dataclass(frozen=True)
class Estimate:
    """One number before and after a log.

    Attributes
    ----------
    guess
        The belief before.
    seen
        What the log holds. For a guard's hold: strikes in which it can be told what held.
    now
        The belief after.
    interval
        90 % credible interval after.
    hidden
        For a guard's hold: strikes in which it cannot be told which of several held.
    """

    number: Number
    guess: Belief
    seen: Seen
    now: Belief
    interval: tuple[float, float]
    hidden: int = 0

    @property
    def has_news(self) -> bool:
        """True if the log says anything about it."""
        return self.seen.out_of > 0.0 or self.hidden > 0

    @property
    def alone(self) -> tuple[float, float] | None:
        """Exact 90 % interval from the log alone; None if there is none."""
        if self.hidden or self.number.kind is Kind.CORRELATION:
            return None
        return self.seen.interval(is_rate=self.guess.is_rate)

    @property
    def formula(self) -> str:
        """How the number came about, with its numbers."""
        guess, seen = self.guess, self.seen
        if not self.has_news:
            return "as guessed"
        if self.number.kind is Kind.CORRELATION:
            return f"posterior mean on a grid, pairs of parts in {seen.out_of:g} falls"
        top = f"({guess.mean:.4g} x {guess.out_of:.4g} + {seen.count:g}"
        bottom = f"({guess.out_of:.4g} + {seen.out_of:.4g}"
        if self.hidden:
            return f"{top} + E) / {bottom} + {self.hidden}), E expected holds in {self.hidden} strikes"
        return f"{top}) / {bottom})"

    def to_json(self) -> dict[str, Any]:
        """The record as ``learn --json`` prints it."""
        alone = self.alone
        return {
            "number": self.number.address,
            "kind": self.number.kind.value,
            "guess": self.guess.mean,
            "guess_worth": self.guess.out_of,
            "seen": self.seen.count,
            "out_of": self.seen.out_of,
            "hidden": self.hidden,
            "now": self.now.mean,
            "now_worth": self.now.out_of,
            "sd": self.now.sd,
            "low": self.interval[0],
            "high": self.interval[1],
            "alone_low": None if alone is None else alone[0],
            "alone_high": None if alone is None else alone[1],
            "formula": self.formula,
        }


def update(
    scenario: Scenario, log: Log, weight: float, earlier: Mapping[str, Belief]
) -> tuple[list[Estimate], dict[str, Correlation]]:
    """Every number that a log can teach, before and after; and what was found of each kind of fall's correlation.

    Parameters
    ----------
    scenario, log
        The bike with its numbers as guessed, and its falls.
    weight
        How many falls a guessed chance is worth.
    earlier
        Beliefs by address that are worth more than a guess.
    """
    numbers = numbers_of(scenario)
    guesses = {number: _guess(scenario, number, weight, earlier) for number in numbers}
    seen = {number: _seen(scenario, number, log) for number in numbers if number.kind is not Kind.HOLD}
    now = {number: guesses[number] + counted for number, counted in seen.items()}
    hidden = _add_holds(scenario, numbers, guesses, log.falls, seen, now)
    correlations = _correlations(scenario, numbers, guesses, now, log.falls)
    estimates = [
        _estimate(number, guesses[number], seen[number], now[number], hidden.get(number, 0), correlations)
        for number in numbers
    ]
    return estimates, correlations


def _guess(scenario: Scenario, number: Number, weight: float, earlier: Mapping[str, Belief]) -> Belief:
    value = value_of(scenario, number)
    belief = earlier.get(number.address)
    # Files hold numbers to seven figures; what differs by more has been changed by hand since.
    if belief is not None and math.isclose(belief.mean, value, rel_tol=1e-6):
        return belief
    if number.kind is Kind.RATE:
        watched = next(fall.watched_years for fall in scenario.falls if fall.id == number.fall)
        return Belief(value * watched, watched, is_rate=True)
    return Belief(value * weight, weight, is_rate=False)


def _seen(scenario: Scenario, number: Number, log: Log) -> Seen:
    """What a log holds on a rate, a share of sides, a strike or a break."""
    falls = [fall for fall in log.falls if number.fall in (None, fall.fall)]
    if number.kind is Kind.RATE:
        return Seen(float(len(falls)), log.years)
    if number.kind is Kind.TUMBLE:
        return _counted([len(fall.sides) == 2 for fall in falls])
    if number.kind is Kind.LEFT_SHARE:
        return _counted([Side.LEFT in fall.sides for fall in falls if len(fall.sides) == 1])
    if number.kind is Kind.CORRELATION:
        return Seen(0.0, 0.0)
    parts = [part for part in scenario.parts if part.id in number.parts]
    if number.kind is Kind.STRIKE:
        telling = [(fall, part) for fall in falls for part in parts if fall.tells_strikes_of(scenario, part)]
        return _counted([part.id in fall.struck for fall, part in telling])
    return _counted([part.id in fall.broken for fall in falls for part in parts if part.id in fall.harmed])


def _counted(answers: Sequence[bool]) -> Seen:
    return Seen(float(sum(answers)), float(len(answers)))


def _add_holds(
    scenario: Scenario,
    numbers: Sequence[Number],
    guesses: Mapping[Number, Belief],
    falls: Sequence[LoggedFall],
    seen: dict[Number, Seen],
    now: dict[Number, Belief],
) -> dict[Number, int]:
    """Add counts and beliefs of holds to those of the other numbers; how many strikes hide which cover held."""
    holds = {number: guesses[number] for number in numbers if number.kind is Kind.HOLD}
    strikes = strikes_of(scenario, numbers, falls)
    counts = plain_counts(strikes)
    now.update(learn_holds(holds, strikes))
    hidden: dict[Number, int] = {}
    for strike, times in strikes.items():
        for number, covers in strike.covers:
            if strike.passed or sum(count for _, count in strike.covers) > 1:
                hidden[number] = hidden.get(number, 0) + times * covers
    seen.update({number: counts.get(number, Seen(0.0, 0.0)) for number in holds})
    return hidden


def _correlations(
    scenario: Scenario,
    numbers: Sequence[Number],
    guesses: Mapping[Number, Belief],
    now: Mapping[Number, Belief],
    falls: Sequence[LoggedFall],
) -> dict[str, Correlation]:
    found: dict[str, Correlation] = {}
    for fall in scenario.falls:
        chances = {
            part: now[number].mean
            for number in numbers
            if number.kind is Kind.STRIKE and number.fall == fall.id
            for part in number.parts
        }
        guess = next(guesses[one] for one in numbers if one.kind is Kind.CORRELATION and one.fall == fall.id)
        found[fall.id] = learn_correlation(scenario, [one for one in falls if one.fall == fall.id], chances, guess)
    return found


def _estimate(
    number: Number,
    guess: Belief,
    seen: Seen,
    now: Belief,
    hidden: int,
    correlations: Mapping[str, Correlation],
) -> Estimate:
    learned = correlations[str(number.fall)] if number.kind is Kind.CORRELATION else None
    if learned is not None and learned.belief is not None and learned.interval is not None:
        falls = float(learned.falls)
        return Estimate(number, guess, Seen(falls, falls), learned.belief, learned.interval)
    return Estimate(number, guess, seen, now, now.interval(), hidden)
