"""How sure a kit is: fall rates are guesses, and another guess may make another kit best.

Rates are drawn from Gamma(per_year × watched_years, watched_years), whose mean is the guess and whose spread is that of
a guess that rests on so many years of riding; for each draw the best kit is found anew on the same facts.
"""

from __future__ import annotations

import math
import time
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from guardopt.aims import GAP, Aim, Limits
from guardopt.arrays import Floats
from guardopt.pieces import Kit
from guardopt.planner import Planner
from guardopt.scenario import Scenario

DRAWS = 200


@dataclass(frozen=True)
class Sureness:
    """How a kit fares when fall rates are doubted.

    Attributes
    ----------
    draws_asked, draws
        Number of sets of rates asked for, and how many of them were tried in the time allowed. Where none was, the
        other numbers are None and there are no guards.
    best_share
        Share of those tried under which the kit is still best, to within the gap.
    best_share_se
        Standard error of that share, √(p(1−p)/draws).
    mean_regret, worst_regret
        How much worse than the best kit it is, in the aim's measure, over the draws.
    mean_regret_se
        Standard error of the mean regret; None for a single draw.
    guards
        Share of the best kits that each guard is in, guards in the order of the scenario.
    """

    draws_asked: int
    draws: int
    best_share: float | None = None
    best_share_se: float | None = None
    mean_regret: float | None = None
    mean_regret_se: float | None = None
    worst_regret: float | None = None
    guards: tuple[tuple[str, float], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The record as ``plan --json`` prints it."""
        return {
            "draws_asked": self.draws_asked,
            "draws": self.draws,
            "best_share": self.best_share,
            "best_share_se": self.best_share_se,
            "mean_regret": self.mean_regret,
            "mean_regret_se": self.mean_regret_se,
            "worst_regret": self.worst_regret,
            "guards": [{"guard": guard, "share": share} for guard, share in self.guards],
        }


def draw_rates(scenario: Scenario, draws: int, rng: np.random.Generator) -> Floats:
    """``(draws, kinds of fall)``: rates a year from Gamma(λ_f w_f, w_f), w_f being the years watched."""
    guess = np.array([fall.per_year for fall in scenario.falls])
    watched = np.array([fall.watched_years for fall in scenario.falls])
    return rng.gamma(guess * watched, 1.0 / watched, size=(draws, guess.size))


def sureness(
    planner: Planner,
    aim: Aim,
    limits: Limits,
    kit: Kit,
    *,
    draws: int = DRAWS,
    gap: float = GAP,
    end: float | None = None,
) -> Sureness:
    """Plan anew under each of many sets of rates and compare.

    Parameters
    ----------
    planner
        The planner that found the kit; its facts serve every draw.
    aim, limits, kit
        What was asked, and the kit that was best under the guessed rates.
    draws
        How many sets of rates to draw.
    gap
        Relative gap within which two kits are equally good.
    end
        Time, on the monotonic clock, at which to stop with the draws tried so far.
    """
    rng = np.random.Generator(np.random.PCG64(planner.scenario.seed))
    measure = aim.measures[0]
    regrets: list[float] = []
    counts: Counter[str] = Counter()
    for rates in draw_rates(planner.scenario, draws, rng):
        doubted = planner.with_rates(rates.tolist())
        best = doubted.best_untied(aim, limits, gap=gap, end=end)
        if (best is None or not best.proven) and end is not None and time.monotonic() >= end:
            break
        ours = doubted.measure(measure, kit)
        if best is None or ours <= best.objective + gap * max(1.0, abs(best.objective)):
            regrets.append(0.0)
            counts.update(kit)
        else:
            regrets.append(ours - best.objective)
            counts.update(best.kit)
    if not regrets:
        return Sureness(draws, 0)
    tried = len(regrets)
    share = regrets.count(0.0) / tried
    return Sureness(
        draws_asked=draws,
        draws=tried,
        best_share=share,
        best_share_se=math.sqrt(share * (1.0 - share) / tried),
        mean_regret=float(np.mean(regrets)),
        mean_regret_se=float(np.std(regrets, ddof=1)) / math.sqrt(tried) if tried > 1 else None,
        worst_regret=max(regrets),
        guards=tuple((guard.id, counts[guard.id] / tried) for guard in planner.scenario.guards),
    )
