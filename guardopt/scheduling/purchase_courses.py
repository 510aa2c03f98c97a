"""The best course of buying while saving up, over every set of guards that may have been bought.

A course is a row of lots, one guard or one offer each. With rest(t) = Σ_{s≥t} w_s, what is left of the years from
month t on, and f(B) the least cost over the years of a kit of guards that are in hand, the cost of a course is

    f(stock) + Σ_k [ −rest(t_k) (f(B_{k−1}) − f(B_k)) + v(t_k) price_k ] − resale of all that is bought             (1)

since lot k makes falls cheaper from its month t_k on. Each term is linear in time between two lots: where a lot is
worth having, the sooner the better, so it is bought in the first month whose purse pays for it and for all before it;
where it is not (it may be worth it only together with a later one, or is forced in), the later the better. A month of
one's own choice, the first or the last, for each lot by itself

    G(B) = min over the last lot k of  G(B∖k) + min over t ∈ {first, last} of its term in (1)                       (2)

is therefore no more than the cost of any course, and is that of the best where every lot is bought in its first month.
(2) is dynamic programming over subsets (M. Held and R. M. Karp, A dynamic programming approach to sequencing problems,
Journal of SIAM 10(1), 1962): one number for each set of guards bought and set of offers taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.scheduling.lots import ROUNDING, TIE, Dated, Lot, Saving, Solved, State, disjoint_offers


@dataclass(frozen=True)
class _Family:
    """All sets of guards in hand with the same offers taken.

    Attributes
    ----------
    offers
        The numbers of the offers taken.
    singly
        The guards, as numbers of bits, that may be bought singly beside them; they are the bits of a state's number.
    sets, month
        ``(states,)``: guards in hand as bits, ascending, and the first month in which all are paid; the number of
        months where they never are.
    layers
        The states that can be paid for, by how many guards were bought singly.
    """

    offers: frozenset[int]
    singly: list[int]
    sets: Ints
    month: Ints
    layers: list[Ints]


class CourseProgram:
    """Every set of guards in hand, with the months in which it is paid.

    Parameters
    ----------
    singles, offers
        The guards that can be bought, lot i being bit i, and offers of several of them.
    resale
        ``(guards,)``: the present value of what each guard fetches in the end; 0 where only falls count.
    saving
        How money comes in.
    ends
        ``(sets,)``: the sets of guards in hand that a course may end with. Default: all.
    """

    def __init__(
        self, singles: Sequence[Lot], offers: Sequence[Lot], resale: Floats, saving: Saving, ends: Bools | None = None
    ) -> None:
        self._singles, self._offers, self._resale, self.saving = list(singles), list(offers), resale, saving
        self._ends = ends
        self._families = {taken: self._family(taken) for taken in disjoint_offers(offers)}

    def _family(self, taken: frozenset[int]) -> _Family:
        lots = [self._offers[number] for number in sorted(taken)]
        base = sum(lot.guards for lot in lots)
        sets = np.array([base], dtype=np.int64)
        cents = np.array([sum(lot.cents for lot in lots)], dtype=np.int64)
        count = np.zeros(1, dtype=np.int8)
        singly = [number for number, lot in enumerate(self._singles) if not lot.guards & base]
        for number in singly:
            lot = self._singles[number]
            sets = np.concatenate([sets, sets | lot.guards])
            cents = np.concatenate([cents, cents + lot.cents])
            count = np.concatenate([count, count + 1])
        month = np.searchsorted(self.saving.purse, cents)
        paid = np.flatnonzero(month < self.saving.purse.size)
        in_turn = paid[np.argsort(count[paid], kind="stable")]
        cuts = np.searchsorted(count[in_turn], np.arange(1, len(singly) + 1))
        return _Family(taken, singly, sets, month, np.split(in_turn, cuts))

    def may_end_with(self, guards: int) -> bool:
        """Whether a course may end with these guards in hand."""
        return self._ends is None or bool(self._ends[guards])

    def solve(self, cost: Floats) -> Solved | None:
        """The best course by (2); None if there is none.

        Parameters
        ----------
        cost
            ``(sets,)``: f, or what is at least known of it, for every set of guards in hand.
        """
        values = self._reached(cost)
        ends = [(taken, *self._last(family, values[taken])) for taken, family in self._families.items()]
        least = min(total for _, _, total, _ in ends)
        if np.isinf(least):
            return None
        tied = [one for one in ends if one[2] <= least + TIE * max(1.0, abs(least))]
        taken, state, _, _ = min(tied, key=lambda one: (one[3], sorted(one[0])))
        return Solved(self._back(taken, state, cost, values), least - self.rounding(cost))

    @property
    def lots(self) -> list[Lot]:
        """The guards singly, then the offers."""
        return [*self._singles, *self._offers]

    def with_lot(self, state: State, number: int) -> State:
        """What one more of `lots` leads to."""
        offers, guards = state
        more = number - len(self._singles)
        return offers | {more} if more >= 0 else offers, guards | self.lots[number].guards

    def resale_of(self, guards: int) -> float:
        """The present value of what guards fetch in the end."""
        return float(sum(back for number, back in enumerate(self._resale.tolist()) if guards >> number & 1))

    def rounding(self, cost: Floats) -> float:
        """By how much a bound is lowered, so that it holds however sums are rounded."""
        size = np.abs(cost[[0, -1]]).max() + self._resale.sum() + self.saving.purse[-1] / 100
        return ROUNDING * float(size)

    def leading_below(self, cost: Floats, below: float) -> dict[State, int]:
        """The states that a course of less than this may lead through by (2), with the month in which each is paid."""
        reached, left = self._reached(cost), self._left(cost)
        found: dict[State, int] = {}
        for taken, family in self._families.items():
            states = np.sort(np.concatenate(family.layers))
            states = states[reached[taken][states] + left[taken][states] <= below + self.rounding(cost)]
            months = family.month[states].tolist()
            found |= {
                (taken, guards): month for guards, month in zip(family.sets[states].tolist(), months, strict=True)
            }
        return found

    def _reached(self, cost: Floats) -> dict[frozenset[int], Floats]:
        """G (2) of every state."""
        values: dict[frozenset[int], Floats] = {}
        for taken, family in self._families.items():
            values[taken] = self._forward(family, cost, values)
        return values

    def _left(self, cost: Floats) -> dict[frozenset[int], Floats]:
        """What the lots to come and resale add to G at least, of every state: (2) from the other end."""
        values: dict[frozenset[int], Floats] = {}
        for taken, family in reversed(self._families.items()):
            value = np.zeros(family.sets.size)
            for number, back in enumerate(self._resale.tolist()):
                if back:
                    value -= np.where(family.sets >> number & 1, back, 0.0)
            paid = np.concatenate(family.layers)
            for after, lot in self._more_offers(family):
                states = paid[family.sets[paid] & lot.guards == 0]
                leads_to = np.searchsorted(after.sets, family.sets[states] | lot.guards)
                in_time = after.month[leads_to] < self.saving.purse.size
                states, leads_to = states[in_time], leads_to[in_time]
                term = self._term(lot, cost[family.sets[states]] - cost[after.sets[leads_to]], after.month[leads_to])
                value[states] = np.minimum(value[states], values[after.offers][leads_to] + term)
            for layer in reversed(family.layers):
                for bit, number in enumerate(family.singly):
                    states = layer[(layer >> bit & 1) == 0]
                    leads_to = states | (1 << bit)
                    in_time = family.month[leads_to] < self.saving.purse.size
                    states, leads_to = states[in_time], leads_to[in_time]
                    drop = cost[family.sets[states]] - cost[family.sets[leads_to]]
                    term = self._term(self._singles[number], drop, family.month[leads_to])
                    value[states] = np.minimum(value[states], value[leads_to] + term)
            values[taken] = value
        return values

    def _more_offers(self, family: _Family) -> list[tuple[_Family, Lot]]:
        """The families with one more offer taken, and that offer."""
        return [
            (self._families[family.offers | {number}], lot)
            for number, lot in enumerate(self._offers)
            if number not in family.offers and family.offers | {number} in self._families
        ]

    def _forward(self, family: _Family, cost: Floats, values: dict[frozenset[int], Floats]) -> Floats:
        value = np.full(family.sets.size, np.inf)
        if not family.offers:
            value[0] = cost[0]
        for number in sorted(family.offers):
            lot, before = self._offers[number], self._families[family.offers - {number}]
            states = np.concatenate(family.layers)
            come_from = np.searchsorted(before.sets, family.sets[states] ^ lot.guards)
            term = self._term(lot, cost[before.sets[come_from]] - cost[family.sets[states]], family.month[states])
            value[states] = np.minimum(value[states], values[before.offers][come_from] + term)
        for layer in family.layers[1:]:
            for bit, number in enumerate(family.singly):
                states = layer[(layer >> bit & 1).astype(bool)]
                come_from = states ^ (1 << bit)
                drop = cost[family.sets[come_from]] - cost[family.sets[states]]
                term = self._term(self._singles[number], drop, family.month[states])
                value[states] = np.minimum(value[states], value[come_from] + term)
        return value

    def _term(self, lot: Lot, drop: Floats, month: Ints) -> Floats:
        """What a lot adds to (1), in its first month or in the last, whichever is less."""
        rest, price = self.saving.rest, self.saving.worth * (lot.cents / 100)
        first: Floats = price[month] - rest[month] * drop
        last: Floats = price[-1] - rest[-1] * drop
        return np.minimum(first, last)

    def _last(self, family: _Family, value: Floats) -> tuple[int, float, tuple[int, int]]:
        """The best set to end with, its value with resale taken off, and what ties go by: money, then guards."""
        paid = np.concatenate(family.layers)
        if self._ends is not None:
            paid = paid[self._ends[family.sets[paid]]]
        if not paid.size:
            return 0, np.inf, (0, 0)
        total = value[paid].copy()
        for number, back in enumerate(self._resale.tolist()):
            if back:
                total[(family.sets[paid] >> number & 1).astype(bool)] -= back
        least = float(total.min())
        tied = paid[total <= least + TIE * max(1.0, abs(least))]
        cents = self._cents(family, family.sets[tied])
        guards = np.array([int(one).bit_count() for one in family.sets[tied]])
        best = int(np.lexsort([tied, guards, cents])[0])
        return int(tied[best]), least, (int(cents[best]), int(guards[best]))

    def _cents(self, family: _Family, sets: Ints) -> Ints:
        cents = np.full(sets.size, sum(self._offers[number].cents for number in family.offers), dtype=np.int64)
        for number in family.singly:
            cents += np.where(sets >> number & 1, self._singles[number].cents, 0)
        return cents

    def _back(
        self, taken: frozenset[int], state: int, cost: Floats, values: dict[frozenset[int], Floats]
    ) -> tuple[Dated, ...]:
        """The lots that led to a set, from the first to the last."""
        found: list[Dated] = []
        while True:
            family = self._families[taken]
            steps = [
                (self._singles[number], taken, state ^ (1 << bit))
                for bit, number in enumerate(family.singly)
                if state >> bit & 1
            ]
            for number in sorted(taken):
                before = self._families[taken - {number}]
                come_from = np.searchsorted(before.sets, family.sets[state] ^ self._offers[number].guards)
                steps.append((self._offers[number], before.offers, int(come_from)))
            if not steps:
                return tuple(reversed(found))
            here, month = float(cost[family.sets[state]]), family.month[[state]]
            reached = [
                values[offers][come_from]
                + float(self._term(lot, np.array([cost[self._families[offers].sets[come_from]] - here]), month)[0])
                for lot, offers, come_from in steps
            ]
            lot, taken, state = steps[int(np.argmin(reached))]
            found.append(Dated(int(month[0]), lot))
