"""The bikes that a shop quotes for, and what a rider wants, looked up in them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from guardopt.errors import InputError, Problem
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.spelling import advice, shown

ONE_BIKE = ""
"""Name of the bike where a shop quotes for one scenario only."""

NOTHING = "none"
"""What a rider's table says for no guard, or for a budget without limit."""


class Wish(NamedTuple):
    """What decides on a rider's kits, budget and number of falls aside.

    Attributes
    ----------
    bike
        Its name in the shop.
    riding
        A way of riding of that bike; None for the fall rates of the scenario.
    owned
        The guards on the bike now.
    must, never
        Guards that have to be, and must not be, on it.
    """

    bike: str
    riding: str | None
    owned: Kit
    must: Kit
    never: Kit

    @property
    def sorting(self) -> tuple[str, str, tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
        """A key that puts wishes into the same order on every machine."""
        owned, must, never = (tuple(sorted(ids)) for ids in (self.owned, self.must, self.never))
        return self.bike, self.riding or "", owned, must, never


@dataclass(frozen=True)
class Shop:
    """Bikes by name, each loaded when it is first asked for.

    Parameters
    ----------
    names
        The bikes there are; only `ONE_BIKE` where the shop quotes for one scenario.
    load
        Loads a bike by name.
    alias
        Another name under which the one bike may be asked for: that of its folder.
    """

    names: tuple[str, ...]
    load: Callable[[str], Scenario]
    alias: str = ONE_BIKE

    @classmethod
    def of(cls, bikes: Scenario | Mapping[str, Scenario]) -> Shop:
        """A shop of one scenario, or of several by name."""
        known = {ONE_BIKE: bikes} if isinstance(bikes, Scenario) else dict(bikes)
        return cls(tuple(known), known.__getitem__)

    def bike_named(self, text: str) -> str | None:
        """The name of the bike that a rider's table means; None if there is none."""
        if self.names == (ONE_BIKE,):
            return ONE_BIKE if text in (ONE_BIKE, self.alias) else None
        return text if text in self.names else None

    def scenario_for(self, wish: Wish) -> Scenario:
        """The bike as it is for such a rider: with the rider's falls a year, and the rider's guards on it."""
        scenario = self.load(wish.bike)
        guards = tuple(replace(guard, owned=guard.id in wish.owned) for guard in scenario.guards)
        return replace(ridden(scenario, wish.riding), guards=guards, warnings=())


def ridden(scenario: Scenario, riding: str | None) -> Scenario:
    """The scenario with the falls a year of a way of riding."""
    if riding is None:
        return scenario
    rates = scenario.ridings[riding]
    falls = tuple(replace(fall, per_year=rate) for fall, rate in zip(scenario.falls, rates, strict=True))
    return replace(scenario, falls=falls)


def wish_of(shop: Shop, cells: Mapping[str, str]) -> Wish | list[tuple[str, str]]:
    """Look up what a rider asks for; if something is not there, the columns at fault and what is wrong with each.

    Parameters
    ----------
    shop
        The bikes.
    cells
        The rider's ``bike``, ``riding``, ``owned``, ``must`` and ``never`` as written.
    """
    faults: list[tuple[str, str]] = []
    bike = shop.bike_named(cells["bike"])
    if bike is None:
        return [("bike", _no_such_bike(shop, cells["bike"]))]
    scenario = shop.load(bike)
    riding = cells["riding"] or None
    if riding is not None and riding not in scenario.ridings:
        known = scenario.ridings
        wanted = f"expected a way of riding of riding.csv{advice(riding, known)}" if known else "there is no riding.csv"
        faults.append(("riding", f"found {shown(riding)}, {wanted}"))
    sets: dict[str, Kit] = {}
    for column in ("owned", "must", "never"):
        ids = cells[column].split()
        names = {guard.id for guard in scenario.guards} | {guard.row for guard in scenario.guards}
        if ids == [NOTHING] and NOTHING not in names:
            sets[column] = frozenset()
            continue
        unknown = [name for name in ids if name not in names]
        faults += [
            (column, f"found {shown(name)}, expected a guard of guards.csv{advice(name, sorted(names))}")
            for name in unknown
        ]
        sets[column] = frozenset() if unknown else scenario.expand(ids)
    owned = sets["owned"] if cells["owned"] else scenario.stock
    faults += [("owned", clash) for clash in scenario.clashes(owned)] if cells["owned"] else []
    return faults or Wish(bike, riding, owned, sets["must"], sets["never"])


def _no_such_bike(shop: Shop, name: str) -> str:
    if shop.names == (ONE_BIKE,):
        other = f" or {shop.alias}" if shop.alias else ""
        return f"found {shown(name)}, but quotes are for one bike; expected nothing{other}"
    if not name:
        return "nothing found, expected the folder of a bike"
    return f"found {shown(name)}, expected the folder of a bike{advice(name, shop.names)}"


def in_bike(error: InputError, bike: str) -> InputError:
    """The same problems, said to be those of one bike among several."""
    return InputError([Problem(f"{bike}/{one.where}" if bike else one.where, one.message) for one in error.problems])
