"""Draws simulated falls: which parts are struck, which break, which covers hold, which blows pass on.

Falls are drawn apart for each kind of fall *f* and each set of sides struck (a stratum), since those chances are known.
Every chance thing has a random stream of its own, named by what it is about. So the same seed gives the same numbers
on any machine, and changing a price, a chance or the list of guards leaves all other draws as they were: two
scenarios are compared on the same falls.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from statistics import NormalDist

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.model.pieces import Cover, Exposure, Fall, Guard, Kit, Part, Side
from guardopt.model.scenario import Scenario


@dataclass(frozen=True)
class Stratum:
    """`falls` simulated falls of one kind that strike the same sides.

    Attributes
    ----------
    fall
        Index of the kind of fall in ``scenario.falls``.
    sides
        The sides struck.
    share
        The chance that a fall of this kind strikes just these sides.
    struck
        ``(parts, falls)``: the part is struck from the road on the bare bike.
    breaks
        ``(parts, falls)``: if harmed, the part has to be replaced.
    passes
        ``(knock_ons, falls)``: a break would be passed on, and what it would strike is exposed.
    holds
        ``(covers, falls)``: the cover serves in this fall and would spare its struck part.
    serves
        ``(covers,)``: the cover counts in this kind of fall and its guards serve when these sides are struck.
    exposes
        ``(exposures, falls)``: with the guards of the exposure on, its part is struck although it is not on the bare
        bike.
    """

    fall: int
    sides: frozenset[Side]
    share: float
    struck: Bools
    breaks: Bools
    passes: Bools
    holds: Bools
    serves: Bools
    exposes: Bools = field(default_factory=lambda: np.zeros((0, 0), dtype=bool))

    @property
    def falls(self) -> int:
        """How many falls were drawn."""
        return int(self.struck.shape[1])


def draw(
    scenario: Scenario,
    falls: int,
    seed: int,
    purpose: str,
    guards: Kit | None = None,
    memory: dict[str, Floats] | None = None,
) -> Iterator[Stratum]:
    """Draw `falls` simulated falls for each kind of fall and set of sides that can be struck, one stratum at a time.

    Parameters
    ----------
    scenario
        The bike, its falls and the guards on offer.
    falls
        Number of falls in each stratum.
    seed
        Seed of all random streams.
    purpose
        What the sample is for. Samples for different purposes are independent of each other.
    guards
        Guards that the sample is to serve; the covers of others are not drawn and never hold. Kits of these guards
        alone are struck as in the whole sample. Default: all guards.
    memory
        Where random numbers are kept by name, so that the same falls under other chances cost no new ones. It serves
        one number of falls.
    """
    wanted = frozenset(scenario.guard) if guards is None else guards
    names = _Names(
        [
            name if wanted.issuperset(cover.guards) else None
            for cover, name in zip(scenario.covers, hold_names(scenario), strict=True)
        ],
        [
            f"expose/{one.part}/{'+'.join(sorted(one.guards))}/{one.fall}" if wanted.issuperset(one.guards) else None
            for one in scenario.exposures
        ],
    )
    for index, fall in enumerate(scenario.falls):
        for sides, share in fall.side_shares().items():
            streams = _Streams(falls, f"{seed}/{purpose}/{fall.id}/{'+'.join(sorted(sides))}", memory)
            yield _draw_stratum(scenario, index, sides, share, names, streams)


def side_by_side(strata: Sequence[Stratum]) -> Stratum:
    """The falls of all strata as one, as far as harm and bills go: a cover that does not serve never holds.

    What wears, and what a fall counts, is told by the strata alone.
    """
    first = strata[0]
    return Stratum(
        first.fall,
        first.sides,
        1.0,
        np.concatenate([one.struck for one in strata], axis=1),
        np.concatenate([one.breaks for one in strata], axis=1),
        np.concatenate([one.passes for one in strata], axis=1),
        np.concatenate([one.holds for one in strata], axis=1),
        np.ones_like(first.serves),
        np.concatenate([one.exposes for one in strata], axis=1),
    )


def named_generator(name: str) -> np.random.Generator:
    """A random stream of this name: the same name gives the same numbers on any machine."""
    digest = blake2b(name.encode(), digest_size=16).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest, "big")))


@dataclass(frozen=True)
class _Names:
    """The random stream of each cover's hold and of each exposure; None for those that are not drawn."""

    holds: Sequence[str | None]
    exposes: Sequence[str | None]


@dataclass(frozen=True)
class _Streams:
    """Random numbers by name: the same name gives the same numbers."""

    falls: int
    root: str
    memory: dict[str, Floats] | None = None

    def normal(self, name: str) -> Floats:
        return self._kept(name, lambda rng: rng.standard_normal(self.falls))

    def _kept(self, name: str, make: Callable[[np.random.Generator], Floats]) -> Floats:
        """The numbers of this name, from memory if they are there."""
        whole = f"{self.root}/{name}"
        if self.memory is None:
            return make(named_generator(whole))
        if whole not in self.memory:
            self.memory[whole] = make(named_generator(whole))
        return self.memory[whole]

    def happens(self, chance: float, name: str) -> Bools:
        """``(falls,)``: an event of this chance; nothing is drawn where it is certain or impossible."""
        if chance <= 0.0 or chance >= 1.0:
            return np.full(self.falls, chance >= 1.0)
        return self._kept(name, lambda rng: rng.random(self.falls)) < chance


def _draw_stratum(
    scenario: Scenario, index: int, sides: frozenset[Side], share: float, names: _Names, streams: _Streams
) -> Stratum:
    fall = scenario.falls[index]
    exposed = {part.id: not part.side.is_sided or part.side in sides for part in scenario.parts}
    struck = np.zeros((len(scenario.parts), streams.falls), dtype=bool)
    breaks = np.zeros_like(struck)
    hardness = streams.normal("hardness")
    for row, part in enumerate(scenario.parts):
        if exposed[part.id]:
            struck[row] = _strikes(fall, part, scenario.hits[fall.id, part.id], hardness, streams)
            breaks[row] = streams.happens(part.break_chance, f"break/{part.id}")
    passes = np.zeros((len(scenario.knock_ons), streams.falls), dtype=bool)
    for row, knock_on in enumerate(scenario.knock_ons):
        if exposed[knock_on.takes]:
            passes[row] = streams.happens(knock_on.chance, f"pass/{knock_on.part}/{knock_on.takes}")
    rows = {part.id: row for row, part in enumerate(scenario.parts)}
    exposes = np.zeros((len(scenario.exposures), streams.falls), dtype=bool)
    may_be_struck = struck.copy()
    for row, (exposure, name) in enumerate(zip(scenario.exposures, names.exposes, strict=True)):
        if name is not None and exposed[exposure.part] and counts(exposure, fall, sides):
            exposes[row] = streams.happens(exposure.chance, name) & ~struck[rows[exposure.part]]
            may_be_struck[rows[exposure.part]] |= exposes[row]
    serves = np.array([counts(cover, fall, sides) for cover in scenario.covers], dtype=bool)
    holds = np.zeros((len(scenario.covers), streams.falls), dtype=bool)
    for row, (cover, name) in enumerate(zip(scenario.covers, names.holds, strict=True)):
        if name is not None and serves[row] and exposed[cover.part]:
            holds[row] = streams.happens(cover.holds, name) & may_be_struck[rows[cover.part]]
    return Stratum(index, sides, share, struck, breaks, passes, holds, serves, exposes)


def counts(one: Cover | Exposure, fall: Fall, sides: frozenset[Side]) -> bool:
    """Whether a cover or an exposure is about this kind of fall and its guards serve when these sides are struck."""
    return one.fall in (None, fall.id) and (one.side is None or one.side in sides)


def _strikes(fall: Fall, part: Part, chance: float, hardness: Floats, streams: _Streams) -> Bools:
    """``(falls,)``: the exposed part is struck.

    One-factor Gaussian copula (Vasicek 2002): √ρ·S + √(1−ρ)·ε_i < Φ⁻¹(p_fi), with S shared by all parts of a fall.
    """
    if chance <= 0.0 or chance >= 1.0:
        return np.full(streams.falls, chance >= 1.0)
    rho = fall.correlation
    own = streams.normal(f"strike/{part.id}")
    struck: Bools = np.sqrt(rho) * hardness + np.sqrt(1.0 - rho) * own < NormalDist().inv_cdf(chance)
    return struck


def hold_names(scenario: Scenario) -> list[str]:
    """The random stream that each cover's hold is drawn from, covers in order.

    Covers of one part by guards for the same mounting place share a stream, so that the better guard holds whenever
    the lesser would. Only one of these guards can be on the bike, so every expectation is what it would be with
    streams of their own; the difference between two of them has less noise.
    """
    part_sides = {part.id: part.side for part in scenario.parts}
    earlier: Counter[tuple[tuple[str, ...], str]] = Counter()
    names: list[str] = []
    for cover in scenario.covers:
        guard = scenario.guard[cover.guards[0]]
        base = f"hold/{cover.part}/" + (
            _place_name(guard, part_sides[cover.part])
            if len(cover.guards) == 1 and guard.places
            else "guards " + "+".join(sorted(cover.guards))
        )
        # A guard's second cover of the same part (one for all falls, one for this kind) is a chance of its own.
        names.append(f"{base}/{earlier[cover.guards, cover.part]}")
        earlier[cover.guards, cover.part] += 1
    return names


def _place_name(guard: Guard, part_side: Side) -> str:
    """The mounting place from which a guard covers a part; a pair reaches a centre part from its left one."""
    sides = [side for _, side in guard.places]
    side = part_side if part_side in sides else sides[0]
    return f"slot {guard.slot} {side}"
