"""What one fall of each kind costs with each of many kits, on one sample.

`pricing.price` walks through the falls kit by kit and can say what became of every part. Here the falls are first
reduced to items, so that hundreds of kits cost little more than one; only the sums are left to know.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.model.pieces import Kit
from guardopt.simulation.compiled import Bike
from guardopt.simulation.item_arrays import Items, sums
from guardopt.simulation.items import Kind
from guardopt.simulation.outcomes import worn_guards
from guardopt.simulation.reduction import Reduced, reduce_falls
from guardopt.simulation.repair_interval import put_right
from guardopt.simulation.roots import cover_literals, with_absence
from guardopt.simulation.sampling import Stratum

COUNTED_BITS, MOST_BITS = 20, 62
"""Guards whose combinations are counted in an array, and those that fit into one number."""

WORD_BITS, WORDS_AT_ONCE = 64, 16
"""Combinations of guards that are looked at in one word, and words at once, so that what is in hand stays small."""


@dataclass(frozen=True)
class MeanCosts:
    """What falls cost with each of several kits, for any fall rates.

    Attributes
    ----------
    of_fall
        ``(kits, kinds of fall)``: what one fall costs the owner on average, renewals and days off the road included.
    noted
        ``(kits, kinds of fall, items that wait)``: chance that it comes about in one fall, to be put right later.
    amount
        ``(items that wait,)``: what is paid when it is put right.
    repair_every
        T, in years.
    """

    of_fall: Floats
    noted: Floats
    amount: Floats
    repair_every: float

    def yearly(self, rates: Floats) -> Floats:
        """``(kits,)``: yearly cost at these rates, ``(kinds of fall,)``."""
        waited = put_right(self.amount, np.einsum("f,kfw->kw", rates, self.noted), self.repair_every)
        total: Floats = self.of_fall @ rates + waited.sum(axis=1)
        return total


def mean_costs(bike: Bike, strata: Iterable[Stratum], kits: Sequence[Kit]) -> MeanCosts:
    """What falls cost with each kit.

    Parameters
    ----------
    bike
        The scenario as arrays.
    strata
        The sample; it is gone through once, so it may be drawn on the fly.
    kits
        Guards on the bike, each a set of ids.
    """
    kinds, costs = len(bike.scenario.falls), bike.costs
    fitted = np.array([bike.kit_array(kit) for kit in kits]).reshape(len(kits), len(bike.scenario.guards))
    literals, z = cover_literals(bike), with_absence(fitted)
    holds = np.ones((len(kits), len(literals)), dtype=bool)
    for row, entries in enumerate(literals):
        holds[:, row] = z[:, list(entries)].all(axis=1)
    waits = costs.of_kind(Kind.WAITS)
    column = {name: number for number, name in enumerate(waits)}
    total, noted = np.zeros((kinds, len(kits))), np.zeros((kinds, len(waits), len(kits)))
    for stratum in strata:
        reduced = reduce_falls(bike, [stratum])
        total += reduced.fixed_cost[:, np.newaxis]
        noted += reduced.fixed_noted[:, waits, np.newaxis]
        for one in merged_costs(reduced.merged, literals, len(costs.items), fitted):
            if one.name in column:
                noted[one.kind, column[one.name]] += one.cost[one.which]
            else:
                total[one.kind] += one.cost[one.which]
        total += mean_renewals(bike, [stratum]) @ fitted.T
        total[stratum.fall] += _kept_costs(reduced, holds, bike.scenario.cap)
    amounts = np.array([costs.items[name].amount for name in waits])
    return MeanCosts(total.T, noted.transpose(2, 0, 1), amounts, bike.scenario.repair_every)


def _kept_costs(reduced: Reduced, holds: Bools, cap: float) -> Floats:
    """``(kits,)``: mean cost, in one fall of its kind, of the falls of one stratum that may reach the cap."""
    items, kept = reduced.kept_items, reduced.kept
    costs = np.zeros(len(holds))
    for row, held in enumerate(holds):
        spared = np.zeros(items.strike_item.size, dtype=bool)
        spared[items.against_strike[held[items.against_cover]]] = True
        incurred = np.zeros(items.cost.size, dtype=bool)
        incurred[items.strike_item[~spared]] = True
        bill = kept.base + sums(items.owner[incurred], items.cost[incurred], kept.base.size)
        costs[row] = kept.weight @ np.minimum(bill, cap)
    return costs


@dataclass(frozen=True)
class MergedCost:
    """What the merged items of one name cost in one kind of fall, for many kits.

    Attributes
    ----------
    name, kind
        Number of the item in the list of costs, and of the kind of fall.
    cost
        ``(patterns,)``: mean cost of one fall for each combination of the guards that matter.
    which
        ``(kits,)``: the combination that each kit has.
    """

    name: int
    kind: int
    cost: Floats
    which: Ints


def merged_costs(items: Items, literals: Sequence[tuple[int, ...]], names: int, kits: Bools) -> Iterator[MergedCost]:
    """Exact mean costs of the merged items, name by name.

    What becomes of an item hangs on the few guards that cover its roots, so it is worked out once for each combination
    of those.

    Parameters
    ----------
    items
        From `reduce_falls`.
    literals
        From `cover_literals`.
    names
        Number of items in the list of costs.
    kits
        ``(kits, guards)``.
    """
    count = kits.shape[1]
    pair_item = items.strike_item[items.against_strike]
    pair_name = items.owner[pair_item] % names
    known: dict[tuple[int, ...], tuple[Bools, Ints]] = {}
    for name in np.unique(items.owner % names).tolist():
        mine = np.flatnonzero(items.owner % names == name)
        pairs = np.flatnonzero(pair_name == name)
        covers = np.unique(items.against_cover[pairs]).tolist()
        guards = sorted({entry % count for cover in covers for entry in literals[cover]})
        if tuple(guards) not in known:
            known[tuple(guards)] = _patterns(kits, guards)
        patterns, which = known[tuple(guards)]
        z, place = with_absence(patterns), {guard: row for row, guard in enumerate(guards)}
        columns = [
            [place[entry % count] + len(guards) * (entry // count) for entry in literals[cover]] for cover in covers
        ]
        holds = np.stack([z[:, column].all(axis=1) for column in columns], axis=1)
        strikes, first_pair = np.unique(items.against_strike[pairs], return_index=True)
        _, first_strike = np.unique(items.strike_item[strikes], return_index=True)
        kinds, row = np.unique(items.owner[mine] // names, return_inverse=True)
        weights = np.zeros((len(kinds), len(mine)))
        weights[row, np.arange(len(mine))] = items.cost[mine]
        cover = np.searchsorted(covers, items.against_cover[pairs])
        costs = _incurred_costs(holds, cover, first_pair, first_strike, weights)
        for kind, cost in zip(kinds.tolist(), costs, strict=True):
            yield MergedCost(name, kind, cost, which)


def _incurred_costs(holds: Bools, cover: Ints, first_pair: Ints, first_strike: Ints, weights: Floats) -> Floats:
    """``(rows of weights, patterns)``: what the items cost that are incurred, the patterns being bits of words.

    Parameters
    ----------
    holds
        ``(patterns, covers)``: the cover counts with these guards.
    cover, first_pair
        ``(pairs,)``: a cover against a strike, strike by strike; ``(strikes,)``: the first pair of each.
    first_strike
        ``(items,)``: the first strike of each. An item is incurred if no cover counts against one of its strikes.
    weights
        ``(rows, items)``: what each item costs.
    """
    count = len(holds)
    words = -(-count // WORD_BITS)
    packed = np.zeros((holds.shape[1], words * WORD_BITS // 8), dtype=np.uint8)
    packed[:, : -(-count // 8)] = np.packbits(holds, axis=0).T
    bits = packed.view(np.uint64)
    costs = np.empty((len(weights), words * WORD_BITS))
    for first in range(0, words, WORDS_AT_ONCE):
        here = slice(first, first + WORDS_AT_ONCE)
        spared = np.bitwise_or.reduceat(bits[:, here][cover], first_pair, axis=0)
        incurred = np.bitwise_or.reduceat(~spared, first_strike, axis=0)
        columns = slice(first * WORD_BITS, (first + incurred.shape[1]) * WORD_BITS)
        costs[:, columns] = weights @ np.unpackbits(incurred.view(np.uint8), axis=1)
    return costs[:, :count]


def _patterns(kits: Bools, guards: list[int]) -> tuple[Bools, Ints]:
    """The combinations of these guards that the kits have, and which of them each kit has."""
    code = np.zeros(len(kits), dtype=np.int64)
    if len(guards) > MOST_BITS:
        patterns, which = np.unique(kits[:, guards], axis=0, return_inverse=True)
        return patterns, which.ravel()
    for bit, guard in enumerate(guards):
        code += kits[:, guard].astype(np.int64) << bit
    if len(guards) <= COUNTED_BITS:
        is_there = np.bincount(code, minlength=1 << len(guards)) > 0
        codes, which = np.flatnonzero(is_there), (np.cumsum(is_there) - 1)[code]
    else:
        codes, which = np.unique(code, return_inverse=True)
    return (codes[:, np.newaxis] >> np.arange(len(guards)) & 1).astype(bool), which


def mean_renewals(bike: Bike, strata: Sequence[Stratum]) -> Floats:
    """``(kinds of fall, guards)``: mean cost of renewing each guard after one fall, if it is fitted.

    R_f is linear in the kit: a guard is worn when it serves and covers a struck part, whatever else is fitted.
    """
    renewals = np.zeros((len(bike.scenario.falls), len(bike.scenario.guards)))
    for stratum in strata:
        worn = worn_guards(bike, stratum).mean(axis=1)
        for (guard, _), share in zip(bike.worn_by, worn, strict=True):
            renewals[stratum.fall, guard] += stratum.share * bike.wear[guard] * share
    return renewals
