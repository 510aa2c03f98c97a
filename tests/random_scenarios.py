"""Small random scenarios that use every feature, made straight from domain objects; all invented.

Also the slow and plain way to know the best kit of one: price every kit there is, each by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.aims import Aim, Limits
from guardopt.model.pieces import Cover, Exposure, Fall, Guard, Insurance, Kit, KnockOn, Offer, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import cost_at_once
from guardopt.simulation.pricing import price
from guardopt.simulation.risk import worst_mean
from guardopt.simulation.sampling import Stratum, draw

SIDES = (Side.LEFT, Side.RIGHT, Side.CENTRE)


def random_scenario(
    seed: int, *, guards: int = 8, parts: int = 7, falls_sampled: int = 60, own_costs: bool = True
) -> Scenario:
    """A scenario with up to `guards` guards; slots, needs, not-withs, offers, wear, a cap and knock-ons included.

    So are, unless `own_costs` is False, damage that waits, days without the bike, guards that can be sold and guards
    that do harm; each of them is in some scenarios and not in others.
    """
    rng = np.random.default_rng(seed)
    all_parts = tuple(
        Part(
            id=f"part{row}",
            row=f"part{row}",
            side=SIDES[rng.integers(3)],
            price=float(rng.integers(10, 400)),
            hours=float(rng.choice([0.0, 0.5, 1.25])),
            break_chance=float(rng.choice([1.0, 0.6, 0.0])),
            touch_up=float(rng.integers(0, 60)),
            strip_down=str(rng.choice(["fairing", "tank"])) if rng.random() < 0.5 else None,
        )
        for row in range(parts)
    )
    falls = tuple(
        Fall(
            id=f"fall{row}",
            per_year=float(rng.uniform(0.1, 2.0)),
            left_share=float(rng.choice([0.0, 0.4, 0.7, 1.0])),
            tumble=float(rng.choice([0.0, 0.3])),
            correlation=float(rng.choice([0.0, 0.5, 0.95])),
        )
        for row in range(rng.integers(1, 4))
    )
    hits = {(fall.id, part.id): float(rng.choice([0.0, 0.2, 0.5, 0.8, 1.0])) for fall in falls for part in all_parts}
    knock_ons = tuple(
        KnockOn(f"part{a}", f"part{b}", float(rng.choice([0.4, 1.0])))
        for a, b in combinations(range(parts), 2)
        if rng.random() < 0.2
    )
    all_guards = tuple(_random_guard(rng, row) for row in range(guards))
    covers = tuple(_random_covers(rng, all_guards, all_parts, falls))
    offers = tuple(
        Offer(f"offer{row}", frozenset(f"guard{i}" for i in rng.choice(guards, size=2, replace=False)), 3000 + 10 * row)
        for row in range(rng.integers(0, 3))
    )
    insured = Insurance(float(rng.integers(100, 500)), 50.0, 0.7) if rng.random() < 0.5 else None
    scenario = Scenario(
        title="random (invented)",
        currency="EUR",
        value=float(rng.integers(300, 3000)),
        salvage=float(rng.integers(0, 250)),
        years=float(rng.integers(1, 6)),
        discount_rate=float(rng.choice([0.0, 0.05])),
        budget_cents=int(rng.integers(2000, 30000)),
        max_weight_kg=float(rng.uniform(3, 10)) if rng.random() < 0.4 else None,
        repair_rate=40.0,
        insurance=insured,
        strip_down={"fairing": 0.8, "tank": 1.5},
        falls_sampled=falls_sampled,
        seed=seed,
        parts=all_parts,
        falls=falls,
        hits=hits,
        knock_ons=knock_ons,
        guards=all_guards,
        covers=covers,
        offers=offers,
    )
    if scenario.clashes(scenario.stock):
        return random_scenario(
            seed + 10_000, guards=guards, parts=parts, falls_sampled=falls_sampled, own_costs=own_costs
        )
    rarer = _with_rarer_features(scenario, np.random.default_rng([seed, 1]))
    return _with_own_costs(rarer, np.random.default_rng([seed, 3])) if own_costs else rarer


def _with_rarer_features(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """The scenario with second covers for one kind of fall, alternatives in needs, and a kind of fall that is rare."""
    taken = {(cover.guards, cover.part, cover.fall) for cover in scenario.covers}
    second = [
        replace(cover, fall=str(rng.choice([fall.id for fall in scenario.falls])), holds=0.5)
        for cover in scenario.covers
        if cover.fall is None and rng.random() < 0.15
    ]
    second = [cover for cover in second if (cover.guards, cover.part, cover.fall) not in taken]
    names = [guard.id for guard in scenario.guards]
    guards = tuple(
        replace(guard, needs=tuple(needed | {str(rng.choice(names))} - {guard.id} for needed in guard.needs))
        if rng.random() < 0.5
        else guard
        for guard in scenario.guards
    )
    first, *others = scenario.falls
    falls = (replace(first, per_year=0.0), *others) if others and rng.random() < 0.1 else scenario.falls
    return replace(scenario, covers=scenario.covers + tuple(second), guards=guards, falls=falls)


def _with_own_costs(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """The scenario with some of: parts that wait, days, money for time without the bike, resale, guards that do harm."""
    share = float(rng.choice([0.0, 0.5, 0.9]))
    parts = tuple(
        replace(
            part,
            waits=bool(rng.random() < share),
            days=float(rng.choice([0.0, 1.0, 3.0, 10.0])),
            touch_up=min(part.touch_up, part.price),
        )
        for part in scenario.parts
    )
    guards = tuple(
        replace(guard, sells_cents=int(rng.integers(0, 6000))) if guard.owned and rng.random() < 0.6 else guard
        for guard in scenario.guards
    )
    exposures: dict[tuple[tuple[str, ...], str], Exposure] = {}
    for _ in range(int(rng.choice([0, 2, 4]))):
        guard, part = scenario.guards[rng.integers(len(guards))], scenario.parts[rng.integers(len(parts))]
        team = [guard]
        other = scenario.guards[rng.integers(len(guards))]
        if rng.random() < 0.3 and other.id != guard.id and other.side.goes_with(guard.side):
            team.append(other)
        sides = [one.side for one in team if one.side.is_sided]
        if all(side.goes_with(part.side) for side in sides):
            names = tuple(sorted(one.id for one in team))
            fall = str(rng.choice([fall.id for fall in scenario.falls])) if rng.random() < 0.3 else None
            chance = float(rng.choice([0.3, 0.7, 1.0]))
            exposures[names, part.id] = Exposure(names, part.id, chance, fall, sides[0] if sides else None)
    return replace(
        scenario,
        parts=parts,
        guards=guards,
        exposures=tuple(exposures.values()),
        repair_every=float(rng.choice([0.25, 1.0, 3.0])),
        day_without=float(rng.choice([0.0, 12.0])),
        recovery=float(rng.choice([0.0, 45.0])),
    )


def _random_guard(rng: np.random.Generator, row: int) -> Guard:
    side = Side(rng.choice(["left", "right", "centre", "pair"]))
    price = int(rng.integers(500, 12000))
    return Guard(
        id=f"guard{row}",
        row=f"guard{row}",
        side=side,
        price_cents=price,
        fit_cents=int(rng.choice([0, 1375])),
        slot=str(rng.choice(["a", "b"])) if rng.random() < 0.5 else None,
        wear_per_fall=price / 100 / float(rng.choice([1, 3])) if rng.random() < 0.4 else 0.0,
        needs=(frozenset({f"guard{int(rng.integers(row))}"}),) if row and rng.random() < 0.2 else (),
        not_with=frozenset({f"guard{int(rng.integers(row))}"}) if row and rng.random() < 0.2 else frozenset(),
        owned=bool(rng.random() < 0.15),
        weight_kg=float(rng.uniform(0.1, 3.0)),
        dislike=float(rng.choice([0.0, 0.0, 25.0])),
        resale_share=float(rng.choice([0.0, 0.4])),
    )


def _random_covers(
    rng: np.random.Generator, guards: tuple[Guard, ...], parts: tuple[Part, ...], falls: tuple[Fall, ...]
) -> list[Cover]:
    covers: dict[tuple[tuple[str, ...], str, str | None], Cover] = {}
    for part in parts:
        for guard in guards:
            if rng.random() > 0.4 or not guard.side.goes_with(part.side):
                continue
            team = [guard]
            if rng.random() < 0.25:
                other = guards[int(rng.integers(len(guards)))]
                if other.id != guard.id and other.side.goes_with(guard.side) and other.side.goes_with(part.side):
                    team.append(other)
            sides = [one.side for one in team if one.side.is_sided]
            names = tuple(sorted(one.id for one in team))
            fall = falls[int(rng.integers(len(falls)))].id if rng.random() < 0.25 else None
            holds = float(rng.choice([0.3, 0.8, 1.0]))
            covers[names, part.id, fall] = Cover(names, part.id, holds, fall, sides[0] if sides else None)
    return list(covers.values())


def all_kits(scenario: Scenario) -> list[Kit]:
    """Every kit that slots, needs, not-withs and the weight limit allow."""
    names = [guard.id for guard in scenario.guards]
    kits = chain.from_iterable(combinations(names, size) for size in range(len(names) + 1))
    return [kit for kit in map(frozenset, kits) if not scenario.clashes(kit) and scenario.is_within_weight(kit)]


def random_limits(scenario: Scenario, seed: int) -> Limits:
    """A budget, perhaps none, and a guard or two forced in or out, whether or not any kit satisfies them."""
    rng = np.random.default_rng([seed, 2])
    forced = rng.permutation([guard.id for guard in scenario.guards]).tolist()
    must, never = int(rng.choice([0, 0, 1, 2])), int(rng.choice([0, 1, 2]))
    return Limits(
        budget_cents=None if rng.random() < 0.2 else int(rng.integers(0, 40_000)),
        must=frozenset(forced[:must]),
        never=frozenset(forced[must : must + never]),
    )


def sample_of(scenario: Scenario) -> list[Stratum]:
    """The falls a scenario is planned on."""
    return list(draw(scenario, scenario.falls_sampled, scenario.seed, "plan"))


@dataclass(frozen=True)
class EveryKit:
    """Every kit that can be fitted, priced one by one on the same falls; arrays are ``(kits,)``."""

    kits: list[Kit]
    spend_cents: Ints
    measured: dict[Aim, Floats]

    def allowed(self, limits: Limits) -> Bools:
        """Which kits are within limits."""
        forced = np.array([limits.must <= kit and not limits.never & kit for kit in self.kits], dtype=bool)
        return forced & (limits.budget_cents is None or self.spend_cents <= limits.budget_cents)

    def least(self, aim: Aim, limits: Limits) -> float | None:
        """The least that a kit within limits measures; None if there is none."""
        allowed = self.allowed(limits)
        return float(self.measured[aim][allowed].min()) if allowed.any() else None

    def of(self, aim: Aim, kit: Kit) -> float:
        """What one kit measures."""
        return float(self.measured[aim][self.kits.index(kit)])


def price_every_kit(scenario: Scenario, sample: Sequence[Stratum], tail: float = 0.1) -> EveryKit:
    """Measure every kit by each aim, with nothing but `guardopt.simulation.pricing` and the scenario's own arithmetic."""
    bike, kits = Bike(scenario), all_kits(scenario)
    bills = price(bike, sample, kits).bills
    spend = np.array([scenario.spend_cents(kit) for kit in kits])
    cost = np.array([bill.cost_over_years + scenario.dislike(bill.kit) for bill in bills])
    outlay = cost + spend / 100 - np.array([scenario.resale_value(kit) for kit in kits])
    rates = np.array([fall.per_year for fall in scenario.falls])
    chance = np.concatenate(
        [np.full(one.falls, rates[one.fall] / rates.sum() * one.share / one.falls) for one in sample]
    )
    worst = [
        worst_mean(np.concatenate([cost_at_once(bike, one, bike.kit_array(kit)) for one in sample]), chance, tail)
        for kit in kits
    ]
    return EveryKit(kits, spend, {Aim.BILLS: cost, Aim.OUTLAY: outlay, Aim.WORST: np.array(worst)})
