"""A scenario: the bike, its owner, its falls and the guards on offer, and what follows from them by rules alone.

Letters are those of the symbol table in the package docstring.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Protocol

from guardopt.errors import InputError, Problem
from guardopt.model.offers import best_lots, best_saving
from guardopt.model.pieces import Centre, Cover, Exposure, Fall, Guard, Insurance, Kit, KnockOn, Offer, Part, Point
from guardopt.model.ranges import Range


class Source(Protocol):
    """The cells that a scenario was made of, from which it can be made again."""

    def read_with(self, changes: Mapping[str, object]) -> Scenario:
        """The scenario with some cells set to other values, all of it checked anew."""


@dataclass(frozen=True)
class Scenario:
    """Everything the questions are asked about. Made by `guardopt.load`; checked before it is made.

    Attributes
    ----------
    hits
        ``(fall id, part id)`` to the chance that the part, if exposed, is struck on the bare bike.
    strip_down
        Hours to reach each group of parts.
    exposures
        What guards do harm to.
    repair_every
        T: how many years pass from one repair of what waits to the next.
    day_without, recovery
        What a day without the bike costs, and getting it home once.
    ridings
        For each way of riding that has a name, the falls a year of every kind, in the order of `falls`.
    ranges
        For each guess that was given as a range, by its address (`model.numbers`): its 5, 50 and 95 % points, the
        middle one of which is the number itself.
    points, centre
        What was measured of the bike and its guards, and its centre of mass; none and None if nothing was.
    falls_sampled
        Simulated falls for each kind of fall and side.
    warnings
        What is legal in the folder it came from but can have no effect, or looks like a slip.
    words
        The words that chances were written in, and what each was taken for.
    source
        The cells it was read from; None if it was made by hand. Two scenarios are equal whatever they came from.
    """

    title: str
    currency: str
    value: float
    salvage: float
    years: float
    discount_rate: float
    budget_cents: int | None
    max_weight_kg: float | None
    repair_rate: float
    insurance: Insurance | None
    strip_down: Mapping[str, float]
    falls_sampled: int
    seed: int
    parts: tuple[Part, ...]
    falls: tuple[Fall, ...]
    hits: Mapping[tuple[str, str], float]
    knock_ons: tuple[KnockOn, ...]
    guards: tuple[Guard, ...]
    covers: tuple[Cover, ...]
    offers: tuple[Offer, ...] = ()
    exposures: tuple[Exposure, ...] = ()
    repair_every: float = 1.0
    day_without: float = 0.0
    recovery: float = 0.0
    warnings: tuple[Problem, ...] = ()
    ridings: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    ranges: Mapping[str, Range] = field(default_factory=dict)
    words: Mapping[str, float] = field(default_factory=dict, compare=False)
    points: tuple[Point, ...] = ()
    centre: Centre | None = None
    source: Source | None = field(default=None, compare=False, repr=False)

    def change(self, changes: Mapping[str, object]) -> Scenario:
        """Ask what if: the same scenario with some of its cells set to other values, all of it checked anew.

        Parameters
        ----------
        changes
            ``FILE.ID.COLUMN`` to the value to put there, as text or as a number, as for `guardopt.load`. A blank value
            stands for the default. A scenario that was changed can be changed again.

        Raises
        ------
        InputError
            Something is wrong; every problem found is listed. Or the scenario is not as it was read from a folder.

        Examples
        --------
        >>> import tempfile, guardopt
        >>> from guardopt.writing.starter import write_starter
        >>> folder = tempfile.TemporaryDirectory()
        >>> write_starter(folder.name)
        >>> scenario = guardopt.load(folder.name)
        >>> longer = scenario.change({"scenario.owner.years": 6}).change({"falls.low_side.per_year": 0.3})
        >>> scenario.years, longer.years, longer.falls[2].per_year
        (4.0, 6.0, 0.3)
        >>> folder.cleanup()
        """
        if self.source is None:
            message = "this scenario was made by hand; only one that guardopt.load read from a folder can be changed"
            raise InputError([Problem("change", message)])
        # What was put into the object and not into its cells would be lost without a word.
        if self.source.read_with({}) != self:
            message = "this scenario is no longer as it was read; load it again and put every change here"
            raise InputError([Problem("change", message)])
        return self.source.read_with(changes)

    @cached_property
    def guard(self) -> dict[str, Guard]:
        """Guards by id."""
        return {guard.id: guard for guard in self.guards}

    @cached_property
    def exposures_of(self) -> dict[str, list[Exposure]]:
        """What guards do harm to, by part."""
        found: dict[str, list[Exposure]] = {}
        for row in self.exposures:
            found.setdefault(row.part, []).append(row)
        return found

    @cached_property
    def stock(self) -> Kit:
        """The bike as it stands: the guards its owner has."""
        return frozenset(guard.id for guard in self.guards if guard.owned)

    @cached_property
    def annuity(self) -> float:
        """Present value of one unit of money a year, paid evenly, for the years the bike is kept (ā).

        ā = (1 − (1+i)⁻ⁿ) / ln(1+i), and n where i = 0: the continuous annuity at force of interest ln(1+i).
        """
        if self.discount_rate == 0.0:
            return self.years
        force = math.log1p(self.discount_rate)
        return -math.expm1(-force * self.years) / force

    @cached_property
    def discount_at_end(self) -> float:
        """Present value of one unit of money when the bike is given up, (1+i)⁻ⁿ."""
        return float((1.0 + self.discount_rate) ** -self.years)

    @cached_property
    def cap(self) -> float:
        """The most one fall can cost the owner, renewals aside."""
        wreck = self.value - self.salvage
        if self.insurance is None:
            return wreck
        return min(wreck, self.insurance.excess + self.insurance.premium_rise)

    @cached_property
    def waits(self) -> bool:
        """Whether damage to any part waits."""
        return any(part.waits for part in self.parts)

    @cached_property
    def write_off_above(self) -> float:
        """The repair bill above which the bike is written off."""
        if self.insurance is None:
            return self.value - self.salvage
        return self.insurance.write_off_share * self.value

    def expand(self, ids: Iterable[str]) -> Kit:
        """Guards meant by a list of ids, where an id without a side stands for all its sides.

        Raises
        ------
        KeyError
            An id is unknown; its argument is that id.
        """
        rows: dict[str, set[str]] = {}
        for guard in self.guards:
            rows.setdefault(guard.row, set()).add(guard.id)
            rows.setdefault(guard.id, set()).add(guard.id)
        found: set[str] = set()
        for name in ids:
            found |= rows[name]
        return frozenset(found)

    def spend_cents(self, kit: Collection[str]) -> int:
        """What the kit costs now, fitting included, offers taken where they save most, less what is sold.

        Owned guards cost nothing; those left off are sold for what they fetch, so it may be below 0.
        """
        return self.bought_cents(kit) - self.sold_cents(kit)

    def bought_cents(self, kit: Collection[str]) -> int:
        """What the guards of a kit that are not owned cost now, fitting included, offers taken where they save most."""
        kit = frozenset(kit)
        full = sum(self.guard[name].spend_cents for name in kit)
        return full - best_saving([(self.bought_in(one), self.offer_saving_cents(one)) for one in self.offers], kit)

    def sold_cents(self, kit: Collection[str]) -> int:
        """What the owned guards that are not in the kit fetch now."""
        return sum(self.guard[name].sells_cents for name in self.stock - frozenset(kit))

    def offers_taken(self, kit: Kit) -> list[Offer]:
        """The offers that together save most on a kit, in the order of the scenario; they share no guard."""
        lots = [(self.bought_in(one), self.offer_saving_cents(one)) for one in self.offers]
        return [self.offers[number] for number in best_lots(lots, kit)]

    def bought_in(self, offer: Offer) -> Kit:
        """The guards of an offer that its owner has not got yet: these make it usable."""
        return offer.guards - self.stock

    def offer_saving_cents(self, offer: Offer) -> int:
        """What taking the offer saves against buying singly the guards of it that are not owned already."""
        singly = sum(self.guard[name].price_cents for name in self.bought_in(offer))
        return max(0, singly - offer.price_cents)

    def resale_value(self, kit: Collection[str]) -> float:
        """Present value of what the guards of a kit, owned ones included, will fetch when the bike is given up."""
        guards = (self.guard[name] for name in kit)
        return self.discount_at_end * math.fsum(guard.resale_share * guard.price for guard in guards)

    def laid_out(self, kit: Collection[str]) -> float:
        """What the kit costs to buy, less the present value of what its guards will fetch."""
        return self.spend_cents(kit) / 100 - self.resale_value(kit)

    def changed_for(self, kit: Collection[str]) -> float:
        """What going from the bike as it stands to the kit costs, what guards fetch at the end counted."""
        return self.laid_out(kit) - self.laid_out(self.stock)

    def dislike(self, kit: Collection[str]) -> float:
        """What the owner would pay not to have the kit on the bike."""
        return math.fsum(self.guard[name].dislike for name in kit)

    def weight_kg(self, kit: Collection[str]) -> float:
        """Weight the kit adds."""
        return math.fsum(self.guard[name].weight_kg for name in kit)

    def clashes(self, kit: Collection[str]) -> list[str]:
        """Why the guards of this kit cannot all be on the bike at once; empty if they can.

        Mounting places, needs and not-withs are looked at; money and weight are not.
        """
        kit = frozenset(kit)
        found: list[str] = []
        chosen = [guard for guard in self.guards if guard.id in kit]
        for guard in chosen:
            for alternatives in guard.needs:
                if not alternatives & kit:
                    wanted = " or ".join(sorted(alternatives)) or "a guard that is not on offer for its side"
                    found.append(f"{guard.id} needs {wanted}")
        found += [
            f"{guard.id} and {other.id} cannot both be fitted"
            for guard, other in combinations(chosen, 2)
            if self.exclude_each_other(guard, other)
        ]
        return found

    def supported(self, kit: Kit, keep: Kit = frozenset()) -> Kit:
        """The kit without guards that need one that is not on the bike; those of `keep` stay whatever they need."""
        unmet = {name for name in kit - keep if any(not needed & kit for needed in self.guard[name].needs)}
        return self.supported(kit - unmet, keep) if unmet else kit

    def uncovered(self) -> tuple[list[str], list[str]]:
        """Parts that no guard on offer covers: those that none helps, and those that another part breaks onto.

        The latter are spared where a guard spares the other part.
        """
        covered = {cover.part for cover in self.covers}
        beside = {one.takes for one in self.knock_ons if one.part in covered}
        parts = [part.id for part in self.parts if part.id not in covered]
        return [name for name in parts if name not in beside], [name for name in parts if name in beside]

    @staticmethod
    def exclude_each_other(guard: Guard, other: Guard) -> bool:
        """True if the two share a mounting place or one is marked as not going with the other."""
        return other.id in guard.not_with or guard.id in other.not_with or bool(set(guard.places) & set(other.places))

    def is_within_weight(self, kit: Collection[str]) -> bool:
        """True if there is no weight limit or the kit keeps it, to a tenth of a milligram."""
        return self.max_weight_kg is None or self.weight_kg(kit) <= self.max_weight_kg + 1e-7
