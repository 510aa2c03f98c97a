"""Invented catalogues of any size to measure planners on: slots × options × kinds of fall × falls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from guardopt.model.pieces import Cover, Fall, Guard, KnockOn, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.simulation.compiled import Bike
from guardopt.simulation.outcomes import outcome
from guardopt.simulation.sampling import draw


def catalogue(
    *,
    slots: int,
    options: int,
    kinds: int = 7,
    falls: int = 1000,
    parts: int = 30,
    capped_share: float = 0.0,
    joint_share: float = 0.1,
    knock_ons: int = 4,
    seed: int = 1,
) -> Scenario:
    """A catalogue of `slots` × `options` guards, each option of a slot covering the same parts better or worse.

    Parameters
    ----------
    slots, options
        Mounting places, and guards on offer for each.
    kinds, falls
        Kinds of fall, and simulated falls for each; all strike one side only, so that a kind is one stratum.
    parts
        Parts of the bike.
    capped_share
        Share of falls whose bill on the bare bike is above the most a fall can cost.
    joint_share
        Share of covers that hold only together with a guard of another slot.
    knock_ons
        Parts whose breaking breaks the next one.
    seed
        Of the catalogue and of the falls.
    """
    rng = np.random.default_rng(seed)
    bike_parts = tuple(
        Part(
            f"part{i}", f"part{i}", Side.CENTRE, float(rng.integers(30, 600)), 0.5, float(rng.choice([1.0, 0.6])), 20.0
        )
        for i in range(parts)
    )
    kinds_of_fall = tuple(
        Fall(f"fall{f}", float(rng.uniform(0.1, 1.0)), left_share=1.0, correlation=0.5) for f in range(kinds)
    )
    hits = {(fall.id, part.id): float(rng.uniform(0.05, 0.7)) for fall in kinds_of_fall for part in bike_parts}
    guards: list[Guard] = []
    covers: list[Cover] = []
    for slot in range(slots):
        covered = rng.choice(parts, size=int(rng.integers(2, 5)), replace=False)
        for option in range(options):
            quality = (option + 1) / (options + 1)
            price = int(2000 * quality * rng.uniform(0.7, 1.6) * len(covered))
            name = f"guard{slot}_{option}"
            guards.append(Guard(name, name, Side.CENTRE, price, slot=f"slot{slot}"))
            for part in covered.tolist():
                holds = float(np.clip(quality * rng.uniform(0.7, 1.2), 0.05, 0.97))
                team = (name,)
                if slot and rng.random() < joint_share:
                    team = (name, f"guard{int(rng.integers(slot))}_{int(rng.integers(options))}")
                covers.append(Cover(team, f"part{part}", holds))
    links = tuple(KnockOn(f"part{i}", f"part{i + 1}", 0.3) for i in range(knock_ons))
    scenario = Scenario(
        title="benchmark catalogue (invented)",
        currency="EUR",
        value=1e9,
        salvage=0.0,
        years=3.0,
        discount_rate=0.03,
        budget_cents=None,
        max_weight_kg=None,
        repair_rate=50.0,
        insurance=None,
        strip_down={},
        falls_sampled=falls,
        seed=seed,
        parts=bike_parts,
        falls=kinds_of_fall,
        hits=hits,
        knock_ons=links,
        guards=tuple(guards),
        covers=tuple(covers),
    )
    if not capped_share:
        return scenario
    bare = np.zeros(len(guards), dtype=bool)
    bike = Bike(scenario)
    bills = np.concatenate([outcome(bike, one, bare).repair_bill for one in draw(scenario, falls, seed, "plan")])
    return replace(scenario, value=float(np.quantile(bills, 1.0 - capped_share)))


def mean_cost_cents(scenario: Scenario, slots: int) -> int:
    """What a catalogue costs with one mean guard in each slot, in cents."""
    return int(sum(guard.price_cents for guard in scenario.guards) * slots / len(scenario.guards))
