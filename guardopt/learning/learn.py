"""`learn`: rates and chances of a scenario brought up to date by a log of real falls.

`posterior` says how each number is learned. Around it: whether falls come by chance alone (`overdispersion`), whether
the guards paid (`realised_saving`), and what all this does to the best kit (`kit_change`).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from guardopt.errors import InputError, Parameter, Problem
from guardopt.learning.conjugate import Belief
from guardopt.learning.copula_fit import Correlation
from guardopt.learning.fall_log import Log
from guardopt.learning.fall_log_reading import read_log
from guardopt.learning.overdispersion import Dispersion, dispersion
from guardopt.learning.posterior import Estimate, update
from guardopt.learning.realised_saving import PaidOff, paid_off
from guardopt.model.numbers import Kind, with_values
from guardopt.model.scenario import Scenario

if TYPE_CHECKING:
    import pandas as pd

    from guardopt.learning.kit_change import Effect

WEIGHT = 4.0
"""How many falls a guessed chance is worth."""


@dataclass(frozen=True)
class Learned:
    """A scenario before and after a log.

    Attributes
    ----------
    before, scenario
        The scenario as guessed, and with every number brought up to date.
    log
        The falls it learned from.
    estimates
        Every number that a log can teach, news or not.
    correlations
        By kind of fall.
    spread
        How falls of all kinds spread over bikes, and then those of each kind; empty with fewer than two bikes.
    paid_off
        The guards' account.
    """

    before: Scenario
    scenario: Scenario
    log: Log
    estimates: tuple[Estimate, ...]
    correlations: Mapping[str, Correlation]
    spread: tuple[Dispersion, ...]
    paid_off: PaidOff

    def effect(
        self,
        progress: Callable[[str], None] = lambda _: None,
        *,
        budget: float | None = None,
        must: Iterable[str] = (),
        never: Iterable[str] = (),
    ) -> Effect:
        """What learning does to the best kit, and which number to watch next; takes two plans.

        Parameters
        ----------
        progress
            Told what is being worked on.
        budget, must, never
            As for `guardopt.plan`.
        """
        from guardopt.learning.kit_change import effect_of

        sds = {one.number: one.now.sd for one in self.estimates}
        return effect_of(self.before, self.scenario, sds, progress, budget=budget, must=must, never=never)

    @property
    def beliefs(self) -> dict[str, Belief]:
        """On what each number rests now, by its address: what `learn` takes as `earlier`."""
        return {one.number.address: one.now for one in self.estimates}

    @property
    def table(self) -> pd.DataFrame:
        """One row for each number."""
        import pandas as pd

        return pd.DataFrame([one.to_json() for one in self.estimates])

    def to_json(self) -> dict[str, Any]:
        """What was learned as ``learn --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "currency": self.scenario.currency,
            "bikes": len(self.log.years_of),
            "years": self.log.years,
            "falls": len(self.log.falls),
            "unwatched_months": list(self.log.unwatched_months),
            "numbers": [one.to_json() for one in self.estimates],
            "correlations": [
                {
                    "fall": name,
                    "falls": one.falls,
                    "learned": one.belief is not None,
                    "log_alone": one.peak,
                }
                for name, one in self.correlations.items()
            ],
            "spread": [self._spread_json(one) for one in self.spread],
            "paid_off": self.paid_off.to_json(),
        }

    def _spread_json(self, spread: Dispersion) -> dict[str, Any]:
        return {
            **spread.to_json(),
            "widened": [
                {"fall": one.number.fall, "low": low, "high": high}
                for one in self.estimates
                if one.number.kind is Kind.RATE and spread.fall in (None, one.number.fall)
                for low, high in [spread.widened(one.guess, one.seen)]
            ],
        }

    def _repr_html_(self) -> str:
        news = self.table[[one.has_news for one in self.estimates]]
        return news[["number", "guess", "now", "low", "high", "seen", "out_of"]].to_html(index=False)


def learn(
    scenario: Scenario,
    log: Log | str | os.PathLike[str],
    weight: float = WEIGHT,
    *,
    earlier: Mapping[str, Belief] | None = None,
) -> Learned:
    """Bring rates and chances up to date by a log of real falls.

    Parameters
    ----------
    scenario
        The bike, with its numbers as guessed.
    log
        The log, or the folder with ``log.csv`` and ``watched.csv``.
    weight
        How many falls each guessed chance is worth; above 0.
    earlier
        `Learned.beliefs` of an earlier log, for numbers that are worth more than a guess. One whose mean is not that of
        the scenario's number any more is left out.

    Returns
    -------
    Learned
        Its ``scenario`` is the changed one, ``table`` has a row for each number.

    Raises
    ------
    InputError
        The weight is out of range, or something is wrong with the log; every problem found is listed.
    """
    if not 0.0 < weight <= 1e6:
        message = f"found {weight:g}, expected a number of falls above 0 and at most 1e6"
        raise InputError([Problem(Parameter("weight"), message)])
    if not isinstance(log, Log):
        log = read_log(log, scenario)
    estimates, correlations = update(scenario, log, weight, earlier or {})
    after = _changed(scenario, estimates, log.years)
    breaks = {part: one.now for one in estimates if one.number.kind is Kind.BREAK for part in one.number.parts}
    struck = [one for one in estimates if one.number.kind is Kind.STRIKE]
    strikes = {(one.number.fall or "", part): one.now.mean for one in struck for part in one.number.parts}
    spread = [dispersion(log, fall, scenario.seed) for fall in [None, *(fall.id for fall in scenario.falls)]]
    return Learned(
        before=scenario,
        scenario=after,
        log=log,
        estimates=tuple(estimates),
        correlations=correlations,
        spread=tuple(one for one in spread if one is not None),
        paid_off=paid_off(scenario, log, breaks, strikes),
    )


def _changed(scenario: Scenario, estimates: Sequence[Estimate], years: float) -> Scenario:
    """The scenario with numbers that the log says something about, and with the time watched added."""
    after = with_values(scenario, {one.number: one.now.mean for one in estimates if one.has_news})
    falls = tuple(replace(fall, watched_years=fall.watched_years + years) for fall in after.falls)
    return replace(after, falls=falls, warnings=())
