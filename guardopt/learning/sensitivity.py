"""How the yearly cost of a kit changes with each number of a scenario, on common simulated falls.

The yearly cost is Σ_f λ_f Σ_s w_fs m_fs, with w_fs the share of falls that strike the sides s and m_fs their mean cost.

Damage that waits is counted at what a little more of it costs: φ′(Λ) for each time that it comes about
(`repair_interval`), which makes the slopes below those of the yearly cost.

- Rates: the slope is the mean cost of such a fall.
- Shares of sides: a central difference of the shares w, the means being what they are.
- Breaks and holds: every chance thing of this kind is independent of all else, so the cost is a straight line in its
  chance, and the slope is the cost when it always happens less that when it never does; likewise how often a year
  something comes about that waits.
- Strikes and correlations: a central difference over one standard deviation each way, on the same random numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from guardopt.model.numbers import Kind, Number, value_of, with_values
from guardopt.model.pieces import Fall, Kit
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome
from guardopt.simulation.pricing import price
from guardopt.simulation.sampling import Stratum, draw

FALLS = 1_000
"""Simulated falls of each kind and side: enough to put numbers in order."""

PURPOSE = "slope"


class Slopes:
    """Slopes of the yearly cost of one kit.

    Parameters
    ----------
    scenario
        The bike, its falls and guards.
    kit
        Ids of the guards on the bike.
    """

    def __init__(self, scenario: Scenario, kit: Kit) -> None:
        self._scenario = scenario
        self._bike = Bike(scenario)
        self._fitted = self._bike.kit_array(kit)
        self._falls = min(FALLS, scenario.falls_sampled)
        self._strata = list(draw(scenario, self._falls, scenario.seed, PURPOSE))
        (bill,) = price(self._bike, self._strata, [kit], errors=False).bills
        self._put_right_slope = bill.put_right_slope
        self._means = [self._mean(stratum) for stratum in self._strata]
        self._part_row = {part.id: row for row, part in enumerate(scenario.parts)}

    def of(self, number: Number, sd: float) -> float:
        """∂(yearly cost)/∂number; `sd` is how far to go each way where a step is needed, if the number has the room."""
        if number.kind is Kind.RATE:
            return sum(share for _, share in self._shares(number))
        if number.kind is Kind.BREAK:
            return sum(self._break_slope(self._part_row[part]) for part in number.parts)
        if number.kind is Kind.HOLD:
            return sum(self._hold_slope(row) for row in number.covers)
        here = value_of(self._scenario, number)
        step = min(sd, min(here, 1.0 - here) * (1.0 - 1e-9))
        if step <= 0.0:
            return 0.0
        up, down = (self._cost_with(number, here + way * step) for way in (1.0, -1.0))
        return (up - down) / (2.0 * step)

    def _mean(self, stratum: Stratum) -> float:
        """Mean cost of one fall of a stratum, with all that is paid for it and what it adds to what waits."""
        found = outcome(self._bike, stratum, self._fitted)
        return float((found.paid + self._put_right_slope @ found.noted).mean())

    def _shares(self, number: Number) -> Iterator[tuple[Stratum, float]]:
        """The strata of a number's kind of fall, each with its part of the mean cost of such a fall."""
        for stratum, mean in zip(self._strata, self._means, strict=True):
            if self._fall(stratum).id == number.fall:
                yield stratum, stratum.share * mean

    def _fall(self, stratum: Stratum) -> Fall:
        return self._scenario.falls[stratum.fall]

    def _break_slope(self, row: int) -> float:
        """Slope in the break chance of one part: always broken if harmed, less never."""
        slope = 0.0
        for stratum in self._strata:
            part, per_year = self._scenario.parts[row], self._fall(stratum).per_year * stratum.share
            if per_year and (not part.side.is_sided or part.side in stratum.sides):
                slope += per_year * (
                    self._mean(_breaking(stratum, row, True)) - self._mean(_breaking(stratum, row, False))
                )
        return slope

    def _hold_slope(self, row: int) -> float:
        """Slope in the hold of one cover, whose guards may not be on the bike: always holding, less never."""
        part, guards = self._bike.covers[row]
        if not self._fitted[list(guards)].all():
            return 0.0
        slope, exposures = 0.0, [number for number, (exposed, _) in enumerate(self._bike.exposures) if exposed == part]
        for stratum in self._strata:
            per_year = self._fall(stratum).per_year * stratum.share
            may_be_struck = stratum.struck[part].any() or stratum.exposes[exposures].any()
            if per_year and stratum.serves[row] and may_be_struck:
                always, never = (_holding(stratum, exposures, row, one) for one in (part, None))
                slope += per_year * (self._mean(always) - self._mean(never))
        return slope

    def _cost_with(self, number: Number, value: float) -> float:
        """What the falls of one kind cost a year with another share of sides, strike or correlation."""
        changed = with_values(self._scenario, {number: value})
        fall = next(one for one in changed.falls if one.id == number.fall)
        if number.kind is Kind.STRIKE:
            means = {stratum.sides: self._mean(stratum) for stratum in self._struck_anew(changed, number, fall)}
        elif number.kind is Kind.CORRELATION:
            drawn = draw(replace(changed, falls=(fall,)), self._falls, changed.seed, PURPOSE)
            row = changed.falls.index(fall)
            means = {stratum.sides: self._mean(replace(stratum, fall=row)) for stratum in drawn}
        else:
            means = {stratum.sides: share / stratum.share for stratum, share in self._shares(number)}
        return fall.per_year * sum(share * means[sides] for sides, share in fall.side_shares().items())

    def _struck_anew(self, changed: Scenario, number: Number, fall: Fall) -> Iterator[Stratum]:
        """The strata of one kind of fall with the strikes of some parts drawn again, all else as it was.

        Only these parts and their covers are drawn: random streams go by name, so they are what they would be in a
        draw of everything.
        """
        covers = [row for row, cover in enumerate(changed.covers) if cover.part in number.parts]
        exposures = [row for row, one in enumerate(changed.exposures) if one.part in number.parts]
        small = replace(
            changed,
            falls=(fall,),
            parts=tuple(part for part in changed.parts if part.id in number.parts),
            covers=tuple(changed.covers[row] for row in covers),
            exposures=tuple(changed.exposures[row] for row in exposures),
            knock_ons=(),
        )
        rows = [self._part_row[part.id] for part in small.parts]
        olds = [stratum for stratum in self._strata if self._fall(stratum).id == fall.id]
        for old, new in zip(olds, draw(small, self._falls, changed.seed, PURPOSE), strict=True):
            struck, holds, exposes = old.struck.copy(), old.holds.copy(), old.exposes.copy()
            struck[rows], holds[covers], exposes[exposures] = new.struck, new.holds, new.exposes
            yield replace(old, struck=struck, holds=holds, exposes=exposes)


def _breaking(stratum: Stratum, row: int, always: bool) -> Stratum:
    breaks = stratum.breaks.copy()
    breaks[row] = always
    return replace(stratum, breaks=breaks)


def _holding(stratum: Stratum, exposures: Sequence[int], row: int, part: int | None) -> Stratum:
    """The stratum with a cover that holds against every strike of its part, or against none.

    `exposures` are the rows of those of the part.
    """
    holds = stratum.holds.copy()
    if part is None:
        holds[row] = np.False_
    else:
        holds[row] = stratum.struck[part] | stratum.exposes[list(exposures)].any(axis=0)
    return replace(stratum, holds=holds)
