"""Every kit that can be fitted, where there are few enough to list, with a bound on what each costs.

A question with many answers (the kit for every budget, the kit without each guard in turn) asks for dozens of optima
that differ in a single limit. Where the kits can be listed, what the merged items cost is exact for all of them at
once, and facts bound the rest; an optimum is then found by pricing the kit of least bound until its price is no more
than the next bound. It is the same proof as that of the integer program, and each checks the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardopt.falls import Bools, Floats
from guardopt.items import Items
from guardopt.scenario import Kit, Scenario, best_saving

MOST_KITS = 400_000
"""Above this the integer program is quicker, and lists would take too much memory."""

ROWS_AT_ONCE = 4096


def legal_kits(scenario: Scenario) -> Bools | None:
    """``(kits, guards)``: every kit that may be fitted, money aside; None if there are more than `MOST_KITS`."""
    guards = scenario.guards
    kits = np.zeros((1, len(guards)), dtype=bool)
    for row, guard in enumerate(guards):
        rivals = [i for i, other in enumerate(guards[:row]) if scenario.exclude_each_other(guard, other)]
        with_it = kits[~kits[:, rivals].any(axis=1)]
        with_it[:, row] = True
        kits = np.concatenate([kits, with_it])
        if len(kits) > MOST_KITS:
            return None
    position = {guard.id: row for row, guard in enumerate(guards)}
    for row, guard in enumerate(guards):
        for alternatives in guard.needs:
            met = kits[:, [position[name] for name in alternatives]].any(axis=1)
            kits = kits[met | ~kits[:, row]]
    if scenario.max_weight_kg is not None:
        kits = kits[kits @ np.array([guard.weight_kg for guard in guards]) <= scenario.max_weight_kg + 1e-7]
    return kits


def spends(scenario: Scenario, kits: Bools) -> NDArray[np.int64]:
    """``(kits,)``: what each kit costs now, in cents, offers taken where they save most."""
    spend: NDArray[np.int64] = kits.astype(np.int64) @ np.array([guard.spend_cents for guard in scenario.guards])
    lots = [(scenario.bought_in(offer), scenario.offer_saving_cents(offer)) for offer in scenario.offers]
    lots = [(lot, saving) for lot, saving in lots if saving]
    if not lots:
        return spend
    position = {guard.id: row for row, guard in enumerate(scenario.guards)}
    usable = np.stack([kits[:, [position[name] for name in lot]].all(axis=1) for lot, _ in lots], axis=1)
    patterns, which = np.unique(usable, axis=0, return_inverse=True)
    savings = []
    for pattern in patterns:
        taken = [lot for lot, fits in zip(lots, pattern, strict=True) if fits]
        savings.append(best_saving(taken, frozenset().union(*(lot for lot, _ in taken))))
    return spend - np.array(savings, dtype=np.int64)[which.ravel()]


def merged_costs(items: Items, cover_guards: list[tuple[int, ...]], kinds: int, names: int, kits: Bools) -> Floats:
    """``(kinds of fall, kits)``: exact mean cost of the merged items in one fall of each kind, for every kit.

    What becomes of a part or strip-down hangs on the few guards that cover its roots, so it is worked out once for
    each combination of those.
    """
    total = np.zeros((kinds, len(kits)))
    if not items.cost.size:
        return total
    pair_item = items.strike_item[items.against_strike]
    pair_name = items.owner[pair_item] % names
    for name in np.unique(items.owner % names).tolist():
        mine = np.flatnonzero(items.owner % names == name)
        pairs = np.flatnonzero(pair_name == name)
        covers = np.unique(items.against_cover[pairs]).tolist()
        guards = sorted({guard for cover in covers for guard in cover_guards[cover]})
        patterns, which = _patterns(kits, guards)
        holds = np.stack(
            [patterns[:, [guards.index(one) for one in cover_guards[cover]]].all(axis=1) for cover in covers], axis=1
        )
        per_pair = holds[:, np.searchsorted(covers, items.against_cover[pairs])]
        strikes, first_pair = np.unique(items.against_strike[pairs], return_index=True)
        spared = np.logical_or.reduceat(per_pair, first_pair, axis=1)
        _, first_strike = np.unique(items.strike_item[strikes], return_index=True)
        incurred = ~np.logical_and.reduceat(spared, first_strike, axis=1)
        kind = items.owner[mine] // names
        for one in np.unique(kind).tolist():
            cost = incurred[:, kind == one] @ items.cost[mine[kind == one]]
            total[one] += cost[which]
    return total


def _patterns(kits: Bools, guards: list[int]) -> tuple[Bools, NDArray[np.int64]]:
    """The different combinations of these guards among the kits, and which of them each kit has."""
    if len(guards) <= 12:
        which = np.zeros(len(kits), dtype=np.int64)
        for bit, guard in enumerate(guards):
            which += kits[:, guard].astype(np.int64) << bit
        numbers = np.arange(1 << len(guards))
        return (numbers[:, np.newaxis] >> np.arange(len(guards)) & 1).astype(bool), which
    patterns, which = np.unique(kits[:, guards], axis=0, return_inverse=True)
    return patterns, which.ravel()


@dataclass(frozen=True)
class Facts:
    """Facts about bundles, numbered as in the floor of the table: θ ≥ constant − slope · x.

    Attributes
    ----------
    constant, slope, bundle
        ``(facts,)``, ``(facts, guards)`` and ``(facts,)``.
    """

    constant: Floats
    slope: Floats
    bundle: NDArray[np.int64]


class KitTable:
    """Bounds on the cost over the years of every kit, raised as facts are found.

    Parameters
    ----------
    scenario
        The guards on offer.
    kits
        ``(kits, guards)``, from `legal_kits`.
    exact_part
        ``(kits,)``: what is known exactly of each kit's cost over the years: merged items, renewals, dislikes.
    floor
        ``(bundles,)``: the least that each of the other bundles can cost.
    price_kit
        Prices a kit ``(guards,)``: its exact cost over the years, and the facts found there.
    """

    def __init__(
        self,
        scenario: Scenario,
        kits: Bools,
        exact_part: Floats,
        floor: Floats,
        price_kit: Callable[[Floats], tuple[float, Facts]],
    ) -> None:
        self._scenario = scenario
        self._kits = kits
        self.spend_cents = spends(scenario, kits)
        self._exact_part = exact_part
        self._price_kit = price_kit
        self._least = np.tile(floor, (len(kits), 1))
        self._bound = exact_part + floor.sum()
        self._price = np.full(len(kits), np.inf)
        self._facts = Facts(np.zeros(0), np.zeros((0, kits.shape[1])), np.zeros(0, dtype=np.int64))
        self._heeded = np.zeros(len(kits), dtype=np.int64)
        resale = np.array([scenario.resale_value([guard.id]) for guard in scenario.guards])
        self._outlay_extra = self.spend_cents / 100 - kits @ resale
        self._position = {guard.id: row for row, guard in enumerate(scenario.guards)}

    def best(
        self, budget_cents: int | None, must: Kit, never: Kit, *, outlay: bool, gap: float
    ) -> tuple[Kit, float, float] | None:
        """The best kit within limits, its cost over the years (or outlay) and a bound on that of every kit allowed.

        None if no kit is allowed.
        """
        allowed = self._allowed(budget_cents, must, never)
        if not allowed.size:
            return None
        extra = self._outlay_extra[allowed] if outlay else np.zeros(allowed.size)
        while True:
            prices = self._price[allowed] + extra
            best = int(np.argmin(prices))
            value = prices[best]
            bounds = np.where(np.isfinite(prices), prices, self._bound[allowed] + extra)
            least = int(np.argmin(bounds))
            if np.isfinite(value):
                if value - bounds[least] <= gap * max(1.0, abs(value)):
                    return self._kit(allowed[best]), float(value), float(min(bounds[least], value))
                in_play = allowed[bounds < value]
                if self._heed(in_play[np.isinf(self._price[in_play])]):
                    continue
            self._learn_price(int(allowed[least]))

    def _allowed(self, budget_cents: int | None, must: Kit, never: Kit) -> NDArray[np.int64]:
        fits = np.ones(len(self._kits), dtype=bool)
        if budget_cents is not None:
            fits &= self.spend_cents <= budget_cents
        for name in must:
            fits &= self._kits[:, self._position[name]]
        for name in never:
            fits &= ~self._kits[:, self._position[name]]
        return np.flatnonzero(fits)

    def _learn_price(self, row: int) -> None:
        """Price one kit and keep the facts found there."""
        self._price[row], found = self._price_kit(self._kits[row].astype(float))
        self._facts = Facts(
            np.concatenate([self._facts.constant, found.constant]),
            np.concatenate([self._facts.slope, found.slope]),
            np.concatenate([self._facts.bundle, found.bundle]),
        )

    def _heed(self, rows: NDArray[np.int64]) -> bool:
        """Raise the bounds of these kits by the facts they have not met; whether there were any."""
        behind = rows[self._heeded[rows] < self._facts.constant.size]
        if not behind.size:
            return False
        new = slice(int(self._heeded[behind].min()), None)
        order = np.argsort(self._facts.bundle[new], kind="stable")
        bundles, first = np.unique(self._facts.bundle[new][order], return_index=True)
        constant, slope = self._facts.constant[new][order], self._facts.slope[new][order].T
        for start in range(0, behind.size, ROWS_AT_ONCE):
            some = behind[start : start + ROWS_AT_ONCE]
            says = np.maximum.reduceat(constant - self._kits[some].astype(float) @ slope, first, axis=1)
            cell = np.ix_(some, bundles)
            self._least[cell] = np.maximum(self._least[cell], says)
            self._bound[some] = self._exact_part[some] + self._least[some].sum(axis=1)
        self._heeded[behind] = self._facts.constant.size
        return True

    def _kit(self, row: int) -> Kit:
        return frozenset(
            guard.id for guard, fitted in zip(self._scenario.guards, self._kits[row], strict=True) if fitted
        )
