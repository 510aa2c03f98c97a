"""Draws simulated falls: which parts are struck, which break, which covers hold, which blows pass on.

Falls are drawn apart for each kind of fall *f* and each set of sides struck (a stratum), since those chances are known.
Every chance thing has a random stream of its own, named by what it is about. So the same seed gives the same numbers
on any machine, and changing a price, a chance or the list of guards leaves all other draws as they were: two
scenarios are compared on the same falls.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from statistics import NormalDist

import numpy as np

from guardopt.arrays import Bools, Floats
from guardopt.pieces import Fall, Guard, Kit, Part, Side
from guardopt.scenario import Scenario


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
    """

    fall: int
    sides: frozenset[Side]
    share: float
    struck: Bools
    breaks: Bools
    passes: Bools
    holds: Bools
    serves: Bools

    @property
    def falls(self) -> int:
        """How many falls were drawn."""
        return int(self.struck.shape[1])


def draw(scenario: Scenario, falls: int, seed: int, purpose: str, guards: Kit | None = None) -> Iterator[Stratum]:
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
    """
    wanted = frozenset(scenario.guard) if guards is None else guards
    names = [
        name if wanted.issuperset(cover.guards) else None
        for cover, name in zip(scenario.covers, hold_names(scenario), strict=True)
    ]
    for index, fall in enumerate(scenario.falls):
        for sides, share in fall.side_shares().items():
            streams = _Streams(falls, f"{seed}/{purpose}/{fall.id}/{'+'.join(sorted(sides))}")
            yield _draw_stratum(scenario, index, sides, share, names, streams)


@dataclass(frozen=True)
class _Streams:
    """Random numbers by name: the same name gives the same numbers."""

    falls: int
    root: str

    def _generator(self, name: str) -> np.random.Generator:
        digest = blake2b(f"{self.root}/{name}".encode(), digest_size=16).digest()
        return np.random.Generator(np.random.PCG64(int.from_bytes(digest, "big")))

    def normal(self, name: str) -> Floats:
        return self._generator(name).standard_normal(self.falls)

    def happens(self, chance: float, name: str) -> Bools:
        """``(falls,)``: an event of this chance; nothing is drawn where it is certain or impossible."""
        if chance <= 0.0 or chance >= 1.0:
            return np.full(self.falls, chance >= 1.0)
        return self._generator(name).random(self.falls) < chance


def _draw_stratum(
    scenario: Scenario, index: int, sides: frozenset[Side], share: float, names: Sequence[str | None], streams: _Streams
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
    serves = np.array(
        [cover.fall in (None, fall.id) and (cover.side is None or cover.side in sides) for cover in scenario.covers],
        dtype=bool,
    )
    holds = np.zeros((len(scenario.covers), streams.falls), dtype=bool)
    rows = {part.id: row for row, part in enumerate(scenario.parts)}
    for row, (cover, name) in enumerate(zip(scenario.covers, names, strict=True)):
        if name is not None and serves[row] and exposed[cover.part]:
            holds[row] = streams.happens(cover.holds, name) & struck[rows[cover.part]]
    return Stratum(index, sides, share, struck, breaks, passes, holds, serves)


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
