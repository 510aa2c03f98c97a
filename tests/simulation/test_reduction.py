"""Items lose nothing of the falls they stand for."""

from __future__ import annotations

import numpy as np
import pytest
from priced_bikes import case, close

from guardopt.arrays import Bools
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import Items
from guardopt.simulation.items import Kind
from guardopt.simulation.reduction import reaches, reduce_falls
from guardopt.simulation.roots import cover_literals, with_absence


def incurred(items: Items, bike: Bike, kit: Bools) -> Bools:
    """``(items,)``: which items a kit leaves to pay, read off the definition strike by strike."""
    spared = np.zeros(items.strike_item.size, dtype=bool)
    for strike, cover in zip(items.against_strike.tolist(), items.against_cover.tolist(), strict=True):
        spared[strike] |= with_absence(kit)[list(cover_literals(bike)[cover])].all()
    left = np.zeros(items.cost.size, dtype=bool)
    left[items.strike_item[~spared]] = True
    return left


@pytest.mark.parametrize("seed", range(25))
def test_items_kept_apart_give_the_bill_of_every_fall_back(seed: int) -> None:
    """What cannot be spared and what a kit leaves, capped, and what comes on top is the cost of each single fall."""
    one = case(seed)
    reduced = reduce_falls(one.bike, one.sample, keep_all=True)
    for kit in one.kits:
        left = incurred(reduced.kept_items, one.bike, kit.astype(bool))
        bill = reduced.kept.base + np.bincount(
            reduced.kept_items.owner, reduced.kept_items.cost * left, reduced.kept.base.size
        )
        left = incurred(reduced.kept_on_top, one.bike, kit.astype(bool))
        on_top = reduced.kept.on_top_base + np.bincount(
            reduced.kept_on_top.owner, reduced.kept_on_top.cost * left, reduced.kept.base.size
        )
        assert close(np.minimum(bill, one.scenario.cap) + on_top, one.costs(kit))


@pytest.mark.parametrize("seed", range(25))
def test_merged_items_lose_nothing_of_what_falls_cost(seed: int) -> None:
    """Fixed cost, merged items and falls kept apart add up to the mean cost of each kind of fall, for every kit."""
    one = case(seed)
    reduced = reduce_falls(one.bike, one.sample)
    kinds, kept = len(one.scenario.falls), reduced.kept
    names = reduced.merged_groups // kinds
    for kit, cost in zip(one.kits, one.cost, strict=True):
        merged = reduced.merged.cost * incurred(reduced.merged, one.bike, kit.astype(bool))
        merged[np.isin(reduced.merged.owner % names, one.bike.costs.of_kind(Kind.WAITS))] = 0.0
        apart = reduced.kept_items.cost * incurred(reduced.kept_items, one.bike, kit.astype(bool))
        bill = np.minimum(kept.base + np.bincount(reduced.kept_items.owner, apart, kept.base.size), one.scenario.cap)
        total = (
            reduced.fixed_cost
            + np.bincount(reduced.merged.owner // names, merged, kinds)
            + np.bincount(kept.fall, kept.weight * bill, kinds)
        )
        assert close(total, cost)


@pytest.mark.parametrize("seed", range(10))
def test_what_is_kept_apart_is_what_the_cap_can_touch(seed: int) -> None:
    """A fall is kept apart only if its bill reaches the cap with all harm done and stays below it with all spared."""
    one = case(seed)
    kept = reduce_falls(one.bike, one.sample).kept
    assert (reaches(kept.most, one.scenario.cap)).all()
    assert (kept.bare <= kept.most + 1e-7).all()
    assert (kept.base < one.scenario.cap).all()


def test_random_bikes_put_every_kind_of_item_to_the_test() -> None:
    """Among the random bikes are falls above the cap, joint covers, items of many roots and covers that share a guard."""
    reduced = [(case(seed), reduce_falls(case(seed).bike, case(seed).sample)) for seed in range(25)]
    assert any(one.kept.base.size for _, one in reduced)
    assert any(one.kept_items.may_repeat.any() or one.merged.may_repeat.any() for _, one in reduced)
    assert any(np.bincount(one.merged.strike_item).max(initial=0) > 1 for _, one in reduced)
    assert any(len(guards) > 1 for bike, _ in reduced for _, guards in bike.bike.covers)
