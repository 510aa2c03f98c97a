"""How sure a kit is: fall rates are guesses, and another guess may make another kit best.

Rates are drawn from Gamma(per_year × watched_years, watched_years), whose mean is the guess and whose spread is that of
a guess that rests on so many years of riding; for each draw the best kit is found anew on the same facts.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from guardopt.falls import Floats
from guardopt.planner import GAP, Aim, Planner
from guardopt.program import Limits
from guardopt.scenario import Kit, Scenario

DRAWS = 200


@dataclass(frozen=True)
class Sureness:
    """How a kit fares when fall rates are doubted.

    Attributes
    ----------
    draws
        Number of sets of rates drawn.
    best_share
        Share of them under which the kit is still best, to within the gap.
    best_share_se
        Standard error of that share, √(p(1−p)/draws).
    mean_regret, mean_regret_se, worst_regret
        How much worse than the best kit it is, in the aim's measure, over the draws.
    guards
        Share of the best kits that each guard is in, guards in the order of the scenario.
    """

    draws: int
    best_share: float
    best_share_se: float
    mean_regret: float
    mean_regret_se: float
    worst_regret: float
    guards: tuple[tuple[str, float], ...]

    def to_json(self) -> dict[str, Any]:
        """The record as ``plan --json`` prints it."""
        return {
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


def sureness(planner: Planner, aim: Aim, limits: Limits, kit: Kit, *, draws: int = DRAWS, gap: float = GAP) -> Sureness:
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
    """
    rng = np.random.Generator(np.random.PCG64(planner.scenario.seed))
    measure = aim.measures[0]
    regrets = np.zeros(draws)
    counts: Counter[str] = Counter()
    for draw, rates in enumerate(draw_rates(planner.scenario, draws, rng)):
        doubted = planner.with_rates(rates.tolist())
        best = doubted.best_untied(aim, limits, gap=gap)
        ours = doubted.measure(measure, kit)
        if best is None or ours <= best.objective + gap * max(1.0, abs(best.objective)):
            counts.update(kit)
        else:
            regrets[draw] = ours - best.objective
            counts.update(best.kit)
    share = float(np.mean(regrets == 0.0))
    return Sureness(
        draws=draws,
        best_share=share,
        best_share_se=float(np.sqrt(share * (1.0 - share) / draws)),
        mean_regret=float(regrets.mean()),
        mean_regret_se=float(regrets.std(ddof=1) / np.sqrt(draws)) if draws > 1 else 0.0,
        worst_regret=float(regrets.max(initial=0.0)),
        guards=tuple((guard.id, counts[guard.id] / draws) for guard in planner.scenario.guards),
    )
