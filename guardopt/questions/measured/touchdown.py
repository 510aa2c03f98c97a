"""How the bike comes to lie: on what it rests, how far everything else stays clear, and what falls then strike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from guardopt.errors import InputError, Parameter, Problem
from guardopt.model.pieces import Fall, Kit, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import in_order, known_guards, legal_kit
from guardopt.shape.points import measured_bike
from guardopt.shape.rest import Rest, rest
from guardopt.shape.rocking import Ground, Rocking, draw_rocking, slide_metres, strikes
from guardopt.shape.wear import Wear, ground_down, wear_of
from guardopt.simulation.sampling import named_generator
from guardopt.spelling import shown

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class WornThrough:
    """What happens when something that touches the road has been ground off.

    Attributes
    ----------
    wear
        What it is, and how far it slides.
    then
        Where the bike comes to rest without what was ground off of it and of all that was through before.
    """

    wear: Wear
    then: Rest


@dataclass(frozen=True)
class Touchdown:
    """A bike on one side, with one kit.

    Attributes
    ----------
    scenario
        The bike and its falls.
    kit
        The guards on it; those that were not measured take no part.
    side
        The side it fell to.
    lying
        Where it comes to rest.
    bare
        Where it comes to rest without any guard.
    """

    scenario: Scenario
    kit: Kit
    side: Side
    lying: Rest
    bare: Rest

    @cached_property
    def clearances(self) -> dict[str, float]:
        """Millimetres by which each thing stays clear, the nearest to the road first."""
        return _by_clearance(self.lying)

    @cached_property
    def bare_clearances(self) -> dict[str, float]:
        """The same for the bare bike."""
        return _by_clearance(self.bare)

    @cached_property
    def chances(self) -> list[dict[str, Any]]:
        """The chance of each measured part being struck in each kind of fall to this side that has a bite."""
        parts = [part.id for part in self.scenario.parts if part.id in self.lying.body.row]
        rows: list[dict[str, Any]] = []
        for fall in self.scenario.falls:
            if fall.bite is not None:
                struck = strikes(self.lying, ground_of(fall, fall.bite), rocking_of(self.scenario, fall))
                shares = struck.mean(axis=1)
                rows += [
                    {"fall": fall.id, "part": part, "struck": float(shares[self.lying.body.row[part]])}
                    for part in parts
                ]
        return rows

    @cached_property
    def wear(self) -> tuple[WornThrough, ...]:
        """What is ground off as the bike slides, the first to be through first."""
        gone: list[str] = []
        found: list[WornThrough] = []
        for one in wear_of(self.lying):
            gone.append(one.id)
            found.append(WornThrough(one, ground_down(self.lying, gone)))
        return tuple(found)

    @property
    def table(self) -> pd.DataFrame:
        """One row for each thing that was measured: how far it stays clear, bare and with the kit."""
        import pandas as pd

        rows = [
            {"id": name, "mm": clear, "bare_mm": self.bare_clearances.get(name)}
            for name, clear in self.clearances.items()
        ]
        return pd.DataFrame(rows)

    def to_json(self) -> dict[str, Any]:
        """The answer as ``touchdown --json`` prints it."""
        return {
            "scenario": self.scenario.title,
            "kit": in_order(self.scenario, self.kit),
            "side": self.side.value,
            "rests_on": list(self.lying.rests_on),
            "roll_degrees": self.lying.roll_degrees,
            "clearances": [{"id": name, "mm": clear} for name, clear in self.clearances.items()],
            "chances": self.chances,
            "slides": [
                {"fall": fall.id, "metres": slide_metres(fall.speed, fall.drag)}
                for fall in self.scenario.falls
                if fall.bite is not None and fall.speed
            ],
            "wear": [
                {
                    "id": one.wear.id,
                    "thick_mm": one.wear.thick,
                    "lasts_metres": one.wear.metres,
                    "then_rests_on": list(one.then.rests_on),
                }
                for one in self.wear
            ],
        }

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def _by_clearance(lying: Rest) -> dict[str, float]:
    clear = zip(lying.body.ids, lying.clearances().tolist(), strict=True)
    return dict(sorted(clear, key=lambda pair: pair[1]))


def ground_of(fall: Fall, bite: float) -> Ground:
    """What a kind of fall of this bite does to the bike."""
    return Ground(bite, fall.bite_spread, fall.tilt, slide_metres(fall.speed, fall.drag))


def rocking_of(scenario: Scenario, fall: Fall, purpose: str = "rocking") -> Rocking:
    """The falls of one kind as drawn: the same for all kits, and on both sides."""
    return draw_rocking(scenario.falls_sampled, named_generator(f"{scenario.seed}/{purpose}/{fall.id}"))


def touchdown(scenario: Scenario, fit: Iterable[str] | None = None, side: str = "left") -> Touchdown:
    """How the bike comes to lie.

    Parameters
    ----------
    scenario
        A bike of which points were measured.
    fit
        Ids of the guards on the bike, and no others; an id without a side stands for all its sides. None: the bike as
        it stands, with the guards its owner has. An empty list is the bare bike.
    side
        The side it falls to, ``left`` or ``right``.

    Raises
    ------
    InputError
        Nothing was measured, an id or the side is unknown, or the guards cannot all be on the bike.
    """
    if side not in (Side.LEFT, Side.RIGHT):
        raise InputError([Problem(Parameter("side"), f"found {shown(side)}, expected left or right")])
    kit = scenario.stock if fit is None else legal_kit(scenario, known_guards(scenario, fit, Parameter("fit")))
    is_left = side == Side.LEFT
    lying, bare = (rest(measured_bike(scenario, one), is_left=is_left) for one in (kit, frozenset[str]()))
    return Touchdown(scenario, kit, Side(side), lying, bare)
