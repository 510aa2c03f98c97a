"""Reduces simulated falls to items (`roots`): what is left of a fall when only the kit is still to be chosen.

Items that no guard can spare are constants. Where a cap may bind, the items of the bill have to be kept together; those
of falls that stay below it whatever is fitted are merged with equal ones, since there the bill is their sum. So are
what is paid on top of the cap, and what waits, in all falls.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import Items, Pile
from guardopt.simulation.items import Kind
from guardopt.simulation.roots import items_of, repeating_covers
from guardopt.simulation.sampling import Stratum, side_by_side

FEW_FALLS = 1000
"""Falls of one kind, on all sides, up to which they are reduced together."""

AT_CAP = 1e-9
"""Relative distance below the cap at which a bill counts as reaching it, so that rounding never decides which do."""


def reaches(bill: Floats, cap: float) -> Bools:
    """Which bills are above the cap, or so little below it that sums in another order might be."""
    return bill > cap * (1.0 - AT_CAP)


@dataclass(frozen=True)
class KeptFalls:
    """Falls whose bills are kept together, because the cap may bind or the worst of them are asked for.

    Attributes
    ----------
    base
        ``(falls,)``: the part of the bill that no guard can spare, so the least the bill can be, or the cap if less.
    bare
        ``(falls,)``: the bill on the bare bike.
    most
        ``(falls,)``: the bill with all harm done, more than any kit leaves.
    fall
        ``(falls,)``: the kind of fall.
    weight
        ``(falls,)``: chance of this fall given its kind.
    on_top_base, on_top_most
        ``(falls,)``: what is paid on top of the cap whatever is fitted, and with all harm done; 0 unless every fall is
        kept.
    """

    base: Floats
    bare: Floats
    most: Floats
    fall: Ints
    weight: Floats
    on_top_base: Floats
    on_top_most: Floats


@dataclass(frozen=True)
class Reduced:
    """A sample reduced to what a kit can still change.

    Attributes
    ----------
    merged
        Items that are merged. One group for each kind of fall and item of the list of costs, numbered in that nested
        order; of what waits, a group's cost is the chance that it comes about.
    merged_groups
        How many such groups there are.
    kept, kept_items
        Falls kept apart, and the items of their bills.
    kept_on_top
        Items paid on top of the cap, by fall; none unless every fall is kept.
    fixed_cost
        ``(kinds of fall,)``: what no kit changes and is not kept, in the mean cost of one fall.
    fixed_noted
        ``(kinds of fall, items of the list)``: chance that what waits comes about whatever is fitted; 0 for the others.
    """

    merged: Items
    merged_groups: int
    kept: KeptFalls
    kept_items: Items
    kept_on_top: Items
    fixed_cost: Floats
    fixed_noted: Floats


def reduce_falls(bike: Bike, strata: Sequence[Stratum], *, keep_all: bool = False) -> Reduced:
    """Reduce a sample to items.

    Parameters
    ----------
    bike
        The scenario as arrays.
    strata
        The sample.
    keep_all
        Keep the items of every fall together, also where the cap cannot bind, and put what waits right at once.
    """
    cap, kinds, names = bike.scenario.cap, len(bike.scenario.falls), len(bike.costs.items)
    merged, kept_items, kept_on_top, blocks = Pile(), Pile(), Pile(), []
    fixed_cost, fixed_noted = np.zeros(kinds), np.zeros((kinds, names))
    falls_kept = 0
    for stratum, weight in _blocks(strata):
        found = dict(enumerate(items_of(bike, stratum, at_once=keep_all)))
        bills = [found[name] for name in bike.costs.of_kind(Kind.BILL)]
        base = _total([one.cost_when(one.reached & ~one.sparable) for one in bills])
        most = _total([one.cost_when(one.reached) for one in bills])
        may_change = np.logical_or.reduce([one.sparable for one in bills]) & ~reaches(base, cap)
        apart = may_change & (keep_all | reaches(most, cap))
        kept = np.full(stratum.falls, True) if keep_all else apart
        number = falls_kept + np.cumsum(kept) - 1
        tops = [found[name] for name in bike.costs.of_kind(Kind.ON_TOP)] if keep_all else []
        for name, one in found.items():
            group, kind = stratum.fall * names + name, bike.costs.items[name].kind
            if kind is Kind.BILL:
                one.pile_falls(kept_items, one.sparable & apart, number)
                one.pile_merged(merged, one.sparable & may_change & ~apart, group, weight)
            elif keep_all:
                one.pile_falls(kept_on_top, one.sparable, number)
            else:
                one.pile_merged(merged, one.sparable, group, weight)
                fixed = float(weight @ one.cost_when(one.reached & ~one.sparable))
                if kind is Kind.WAITS:
                    fixed_noted[stratum.fall, name] += fixed
                else:
                    fixed_cost[stratum.fall] += fixed
        fixed_cost[stratum.fall] += float(weight[~kept] @ np.minimum(base, cap)[~kept])
        falls_kept += int(kept.sum())
        columns = (
            np.minimum(base, cap),
            _total([one.cost_when(one.bare) for one in bills]),
            most,
            np.full(stratum.falls, stratum.fall),
            weight,
            _total([np.zeros(stratum.falls), *(one.cost_when(one.reached & ~one.sparable) for one in tops)]),
            _total([np.zeros(stratum.falls), *(one.cost_when(one.reached) for one in tops)]),
        )
        blocks.append([column[kept] for column in columns])
    kept_falls = KeptFalls(*(np.concatenate(column) for column in zip(*blocks, strict=True)))
    repeating = repeating_covers(bike)
    return Reduced(
        merged.items(repeating),
        kinds * names,
        kept_falls,
        kept_items.items(repeating),
        kept_on_top.items(repeating),
        fixed_cost,
        fixed_noted,
    )


def _blocks(strata: Sequence[Stratum]) -> Iterator[tuple[Stratum, Floats]]:
    """The sample by kind of fall and sides, and what each fall counts in its kind.

    Where falls are few, those of one kind come together: what takes time is then the number of steps.
    """
    for _, some in groupby(strata, key=lambda one: one.fall):
        alike = list(some)
        weights = [np.full(one.falls, one.share / one.falls) for one in alike]
        if len(alike) > 1 and sum(one.falls for one in alike) <= FEW_FALLS:
            yield side_by_side(alike), np.concatenate(weights)
        else:
            yield from zip(alike, weights, strict=True)


def _total(costs: Sequence[Floats]) -> Floats:
    total: Floats = np.sum(costs, axis=0)
    return total
