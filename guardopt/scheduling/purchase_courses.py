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

To sell an owned guard is a lot like any other, of a price below 0 and with a bit of its own, that makes falls dearer.
No month in which something is sold may leave falls dearer than they were, so it is sold by itself only where f is no
greater without it, and otherwise in one move with the first of the lots that make up for it. A move is left out where f
after it is known to be greater than before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from guardopt.arrays import Bools, Floats, Ints
from guardopt.scheduling.lots import (
    ROUNDING,
    TIE,
    Dated,
    Known,
    Lot,
    Move,
    Saving,
    Solved,
    State,
    disjoint_offers,
    is_barred,
)


@dataclass(frozen=True)
class _Family:
    """All sets of guards in hand with the same offers taken.

    Attributes
    ----------
    offers
        The numbers of the offers taken.
    moves
        The moves that take no offer, each with its lots as bits of a state's number.
    sets, month
        ``(states,)``: guards in hand as bits, ascending, and the first month in which all are paid; the number of
        months where they never are.
    layers
        The states that can be paid for, by how many lots were taken singly.
    """

    offers: frozenset[int]
    moves: list[tuple[int, Move]]
    sets: Ints
    month: Ints
    layers: list[Ints]


class CourseProgram:
    """Every set of guards in hand, with the months in which it is paid.

    Parameters
    ----------
    singles, offers
        What can be bought or sold by itself, lot i being bit i, and offers of several guards.
    resale
        ``(singles,)``: the present value of what each guard fetches in the end, taken off for one that is sold; 0 where
        only falls count.
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
        sold = [lot for lot in singles if lot.is_sale]
        self._sales = [some for size in range(len(sold) + 1) for some in combinations(sold, size)]
        self._families = {taken: self._family(taken) for taken in disjoint_offers(offers)}

    def _family(self, taken: frozenset[int]) -> _Family:
        lots = [self._offers[number] for number in sorted(taken)]
        base = sum(lot.guards for lot in lots)
        sets = np.array([base], dtype=np.int64)
        cents = np.array([sum(lot.cents for lot in lots)], dtype=np.int64)
        count = np.zeros(1, dtype=np.int8)
        singly = [lot for lot in self._singles if not lot.guards & base]
        for lot in singly:
            sets = np.concatenate([sets, sets | lot.guards])
            cents = np.concatenate([cents, cents + lot.cents])
            count = np.concatenate([count, count + 1])
        month = np.searchsorted(self.saving.purse, cents)
        paid = np.flatnonzero(month < self.saving.purse.size)
        in_turn = paid[np.argsort(count[paid], kind="stable")]
        cuts = np.searchsorted(count[in_turn], np.arange(1, len(singly) + 1))
        bit = {lot.guards: 1 << number for number, lot in enumerate(singly)}
        moves = [(sum(bit[one.guards] for one in move), move) for lot in singly for move in self._moves(lot)]
        return _Family(taken, moves, sets, month, np.split(in_turn, cuts))

    def _moves(self, lot: Lot) -> list[Move]:
        """A lot by itself, and if it is bought with what may be sold for it."""
        return [(lot,)] if lot.is_sale else [(*sold, lot) for sold in self._sales]

    def may_end_with(self, guards: int) -> bool:
        """Whether a course may end with these guards in hand."""
        return self._ends is None or bool(self._ends[guards])

    def solve(self, known: Known) -> Solved | None:
        """The best course by (2); None if there is none."""
        values = self._reached(known)
        ends = [(taken, *self._last(family, values[taken])) for taken, family in self._families.items()]
        least = min(total for _, _, total, _ in ends)
        if np.isinf(least):
            return None
        tied = [one for one in ends if one[2] <= least + TIE * max(1.0, abs(least))]
        taken, state, _, _ = min(tied, key=lambda one: (one[3], sorted(one[0])))
        return Solved(self._back(taken, state, known, values), least - self.rounding(known))

    @property
    def moves(self) -> list[tuple[frozenset[int], Move]]:
        """Every move, with the number of the offer that it takes."""
        singly = [(frozenset[int](), move) for lot in self._singles for move in self._moves(lot)]
        offers = [(frozenset({number}), move) for number, lot in enumerate(self._offers) for move in self._moves(lot)]
        return singly + offers

    def resale_of(self, guards: int) -> float:
        """The present value of what guards fetch in the end."""
        return float(sum(back for number, back in enumerate(self._resale.tolist()) if guards >> number & 1))

    def rounding(self, known: Known) -> float:
        """By how much a bound is lowered, so that it holds however sums are rounded."""
        moved = sum(abs(lot.cents) for lot in (*self._singles, *self._offers)) + self.saving.purse[-1]
        size = np.abs(known.least[[0, -1]]).max() + np.abs(self._resale).sum() + moved / 100
        return ROUNDING * float(size)

    def leading_below(self, known: Known, below: float) -> dict[State, int]:
        """The states that a course of less than this may lead through by (2), with the month in which each is paid."""
        reached, left = self._reached(known), self._left(known)
        found: dict[State, int] = {}
        for taken, family in self._families.items():
            states = np.sort(np.concatenate(family.layers))
            states = states[reached[taken][states] + left[taken][states] <= below + self.rounding(known)]
            months = family.month[states].tolist()
            found |= {
                (taken, guards): month for guards, month in zip(family.sets[states].tolist(), months, strict=True)
            }
        return found

    def _reached(self, known: Known) -> dict[frozenset[int], Floats]:
        """G (2) of every state."""
        values: dict[frozenset[int], Floats] = {}
        for taken, family in self._families.items():
            value = np.full(family.sets.size, np.inf)
            if not taken:
                value[0] = known.least[0]
            values[taken] = value
            states = np.concatenate(family.layers)
            for number in sorted(taken):
                before = self._families[taken - {number}]
                for move in self._moves(self._offers[number]):
                    guards = sum(lot.guards for lot in move)
                    after = states[family.sets[states] & guards == guards]
                    come_from = np.searchsorted(before.sets, family.sets[after] ^ guards)
                    term = self._term(known, move, (before, come_from), (family, after))
                    value[after] = np.minimum(value[after], values[before.offers][come_from] + term)
            for layer in family.layers[1:]:
                for bits, move in family.moves:
                    after = layer[layer & bits == bits]
                    term = self._term(known, move, (family, after ^ bits), (family, after))
                    value[after] = np.minimum(value[after], value[after ^ bits] + term)
        return values

    def _left(self, known: Known) -> dict[frozenset[int], Floats]:
        """What the lots to come and resale add to G at least, of every state: (2) from the other end."""
        values: dict[frozenset[int], Floats] = {}
        for taken, family in reversed(self._families.items()):
            value = np.zeros(family.sets.size)
            for number, back in enumerate(self._resale.tolist()):
                if back:
                    value -= np.where(family.sets >> number & 1, back, 0.0)
            paid = np.concatenate(family.layers)
            for later, move in self._more_offers(family):
                guards = sum(lot.guards for lot in move)
                before = paid[family.sets[paid] & guards == 0]
                leads_to = np.searchsorted(later.sets, family.sets[before] | guards)
                term = self._term(known, move, (family, before), (later, leads_to))
                value[before] = np.minimum(value[before], values[later.offers][leads_to] + term)
            for layer in reversed(family.layers):
                for bits, move in family.moves:
                    before = layer[layer & bits == 0]
                    term = self._term(known, move, (family, before), (family, before | bits))
                    value[before] = np.minimum(value[before], value[before | bits] + term)
            values[taken] = value
        return values

    def _more_offers(self, family: _Family) -> Iterator[tuple[_Family, Move]]:
        """The families with one more offer taken, and the moves that take it."""
        for number, lot in enumerate(self._offers):
            more = family.offers | {number}
            if number not in family.offers and more in self._families:
                for move in self._moves(lot):
                    yield self._families[more], move

    def _term(self, known: Known, move: Move, before: tuple[_Family, Ints], after: tuple[_Family, Ints]) -> Floats:
        """What a move between states adds to (1), in its first month or in the last, whichever is less.

        Infinite where it is never paid for, or known to sell what makes falls dearer.
        """
        held, had = after[0].sets[after[1]], before[0].sets[before[1]]
        drop = known.least[had] - known.least[held]
        rest, price = self.saving.rest, self.saving.worth * (sum(lot.cents for lot in move) / 100)
        month = np.maximum(before[0].month[before[1]], after[0].month[after[1]])
        paid = np.minimum(month, rest.size - 1)
        term: Floats = np.minimum(price[paid] - rest[paid] * drop, price[-1] - rest[-1] * drop)
        term[month == rest.size] = np.inf
        if move[0].is_sale:
            term[is_barred(known, had, held)] = np.inf
        return term

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
        offers = [self._offers[number] for number in family.offers]
        base = sum(lot.guards for lot in offers)
        cents = np.full(sets.size, sum(lot.cents for lot in offers), dtype=np.int64)
        for lot in self._singles:
            cents += np.where(sets & lot.guards & ~base, lot.cents, 0)
        return cents

    def _back(
        self, taken: frozenset[int], state: int, known: Known, values: dict[frozenset[int], Floats]
    ) -> tuple[Dated, ...]:
        """The lots that led to a set, from the first to the last."""
        found: list[Dated] = []
        while True:
            family = self._families[taken]
            steps: list[tuple[Move, _Family, int]] = [
                (move, family, state ^ bits) for bits, move in family.moves if state & bits == bits
            ]
            for number in sorted(taken):
                before = self._families[taken - {number}]
                for move in self._moves(self._offers[number]):
                    guards = sum(lot.guards for lot in move)
                    if family.sets[state] & guards == guards:
                        come_from = np.searchsorted(before.sets, family.sets[state] ^ guards)
                        steps.append((move, before, int(come_from)))
            if not steps:
                return tuple(reversed(found))
            here = (family, np.array([state]))
            reached = [
                values[before.offers][come_from] + self._term(known, move, (before, np.array([come_from])), here)[0]
                for move, before, come_from in steps
            ]
            month = int(family.month[state])
            move, family, state = steps[int(np.argmin(reached))]
            taken = family.offers
            found += [Dated(month, lot) for lot in reversed(move)]
