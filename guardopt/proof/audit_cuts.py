"""What falls cost at least, worked out again fall by fall in whole numbers, to check the cuts of a proof.

For any choice of one root r_k for each item (`audit_falls`), and of one entry of z = (x, 1 − x) of each cover that
holds against it, every kit has

    bill(x) ≥ L(x) = Σ_k c_k (1 − Σ_{entries against r_k} z_e)                                               (1)

The choice at a point x̄: of each cover the entry with the least z̄ (the first such); of the roots the first with the
largest 1 − Σ_covers z̄, and one without covers if there is one; an item whose largest is not above 0 is left out.

Falls whose bill with all harm done reaches the cap (above 1 − 10⁻⁹ of it) are *kept apart*. With b = L's constant and m
no more than any bill within the cut's budget, their bill costs at least min(bill, cap) ≥ cap − s (b − L(x)), s = (cap −
m) / (b − m), if b reaches the cap, and L(x) otherwise. All other bills cost the sum of their items.

Points are in whole multiples of 1 / POINT and slopes of chords of 1 / CHORD, rounded up, which only weakens a cut.
Nothing here is shared with the search for the plan.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor

from guardopt.proof.audit_falls import FallClass, Falls, Item

POINT = 1024
CHORD = 2**40


@dataclass(frozen=True)
class Line:
    """constant − Σ slope_g x_g."""

    constant: Fraction
    slope: Mapping[int, Fraction]

    @property
    def most(self) -> Fraction:
        """The most it says of any 0 ≤ x ≤ 1."""
        return self.constant - sum(min(value, Fraction(0)) for value in self.slope.values())

    def says_no_less_than(self, other: Line) -> bool:
        """Whether the other one is nowhere above it with 0 ≤ x ≤ 1."""
        guards = self.slope.keys() | other.slope.keys()
        nothing = Fraction(0)
        more = (self.slope.get(one, nothing) - other.slope.get(one, nothing) for one in guards)
        return self.constant - other.constant >= sum(max(one, nothing) for one in more)


@dataclass
class Cut:
    """constant − Σ slope_e z_e, both in multiples of 1 / CHORD."""

    constant: int = 0
    slope: Counter[int] = field(default_factory=Counter)

    def add(self, other: Cut, times: int) -> None:
        """Add so many times another cut."""
        self.constant += times * other.constant
        for entry, slope in other.slope.items():
            self.slope[entry] += times * slope

    def at(self, z: Sequence[int]) -> int:
        """What it says at a point, in multiples of 1 / (CHORD · POINT)."""
        return self.constant * POINT - sum(slope * z[entry] for entry, slope in self.slope.items())

    def scaled(self, unit: Fraction, guards: int) -> Line:
        """The same in x, in multiples of a unit: a (1 − x) taken off is a taken off and a x added."""
        constant, slope = Fraction(self.constant), dict.fromkeys(range(guards), 0)
        for entry, value in self.slope.items():
            constant -= value if entry >= guards else 0
            slope[entry % guards] += -value if entry >= guards else value
        unit /= CHORD
        return Line(constant * unit, {guard: value * unit for guard, value in slope.items() if value})


class Choice:
    """The entry of each cover and the root of each item, chosen at a point of multiples of 1 / POINT."""

    def __init__(self, covers: Sequence[tuple[int, ...]], point: Sequence[int]) -> None:
        self.z = z = [*point, *(POINT - one for one in point)]
        self._entry = [min(entries, key=z.__getitem__) for entries in covers]
        self._known: dict[Item, tuple[int, ...] | None] = {}

    def against(self, item: Item) -> tuple[int, ...] | None:
        """The entries against the item's chosen root; None if the item is left out."""
        if not item.can_be_spared:
            return ()
        if item not in self._known:
            root = max(item.roots, key=self._unspared)
            chosen = None if self._unspared(root) <= 0 else tuple(sorted({self._entry[row] for row in root}))
            self._known[item] = chosen
        return self._known[item]

    def _unspared(self, root: tuple[int, ...]) -> int:
        return POINT - sum(self.z[self._entry[row]] for row in root)


class LeastBills:
    """m of falls kept apart: no kit within a budget, or with some guards off, leaves a smaller bill.

    A fall costs what it does on the bare bike less what guards spare, and more where they do harm. Of each item of the
    bare bike that can be spared take the root there with the fewest covers (the first such) and of each of these the
    dearest guard (the first such): what guards spare is at most Σ s_g x_g with s_g the cost of the items that g stands
    for. At most one guard fits each place, and a kit costs at least Σ p_g x_g, so for every μ ≥ 0

        Σ s_g x_g ≤ μ budget + Σ_places max(0, max_g s_g − μ p_g)

    and m is what is left at the best of μ = 0 and μ = s_g / p_g. Prices p in cents are what a guard costs less its
    share, by price and rounded up, of what the offer that saves most on it saves; an owned guard takes what it would
    fetch, and the budget is larger by what all of them would.
    """

    def __init__(self, falls: Falls) -> None:
        self._falls, scenario = falls, falls.scenario
        share = dict.fromkeys(scenario.guard, 0)
        for offer in scenario.offers:
            bought = scenario.bought_in(offer)
            singly = sum(scenario.guard[name].price_cents for name in bought)
            for name in bought if singly else ():
                saved = scenario.offer_saving_cents(offer) * scenario.guard[name].price_cents
                share[name] = max(share[name], -(-saved // singly))
        takes = [one.sells_cents if one.owned else one.price_cents + one.fit_cents for one in scenario.guards]
        self._price = [cents - share[guard.id] for cents, guard in zip(takes, scenario.guards, strict=True)]
        self._sold = sum(guard.sells_cents for guard in scenario.guards if guard.owned)
        self._place = [guard.places[0] if guard.places else number for number, guard in enumerate(scenario.guards)]
        # No absence is ever asked for: none holds against a strike on the bare bike.
        own = falls.covers[: len(scenario.covers)]
        self._dearest = [max(guards, key=self._price.__getitem__) for guards in own]
        self._known: dict[tuple[FallClass, int | None], Fraction] = {}
        self._first_off: dict[frozenset[int], list[int | None]] = {}

    def within(self, fall: FallClass, budget_cents: int | None) -> Fraction:
        """The least m within a budget; None: no limit."""
        if budget_cents is None or not self._falls.money.reaches_cap(fall.bare):
            return Fraction(fall.base)
        key = fall, budget_cents
        if key not in self._known:
            least = min(fall.bare - self._most_spared(fall, budget_cents + self._sold), Fraction(self._falls.money.cap))
            self._known[key] = max(least, Fraction(fall.base))
        return self._known[key]

    def _most_spared(self, fall: FallClass, budget: int) -> Fraction:
        spared: Counter[int] = Counter()
        for item in fall.items:
            for guard in {self._dearest[row] for row in min(item.bare_roots, key=len, default=())}:
                spared[guard] += item.cost
        guards = [guard for guard in spared if self._price[guard] <= budget]
        rates = [(0, 1), *((spared[guard], self._price[guard]) for guard in guards if self._price[guard] > 0)]
        return min(self._bound(spared, guards, budget, *rate) for rate in rates)

    def _bound(self, spared: Counter[int], guards: list[int], budget: int, over: int, under: int) -> Fraction:
        """The bound on what is spared at μ = over / under."""
        best: dict[object, int] = {}
        for guard in guards:
            place = self._place[guard]
            best[place] = max(best.get(place, 0), spared[guard] * under - over * self._price[guard])
        return Fraction(over * budget + sum(best.values()), under)

    def first_off(self, off: frozenset[int]) -> list[int | None]:
        """``(covers,)``: the first guard of each cover that is off; None if all of it can be on."""
        if off not in self._first_off:
            self._first_off[off] = [next((one for one in guards if one in off), None) for guards in self._falls.covers]
        return self._first_off[off]

    def with_off(self, fall: FallClass, off: frozenset[int]) -> int:
        """The bill with every guard on but those that are off, and no harm done by any."""
        first = self.first_off(off)
        left = (
            item.cost for item in fall.items if not all(any(first[row] is None for row in root) for root in item.roots)
        )
        return fall.base + sum(left)


def sum_of(items: Iterable[Item], choice: Choice) -> Cut:
    """What some items cost at least where no cap binds."""
    cut = Cut()
    for item in items:
        entries = choice.against(item)
        if entries is not None:
            cut.add(Cut(item.cost * CHORD, Counter(dict.fromkeys(entries, item.cost * CHORD))), 1)
    return cut


def capped_cut(
    falls: Falls, least: LeastBills, fall: FallClass, choice: Choice, budget: int | None, off: frozenset[int]
) -> Cut:
    """What the bill of one fall costs at least, the cap minded, as a cut that holds within a budget.

    With guards O off: let no cover with a guard of O hold. Then the bill is at least m, the bill with all other covers
    and all absences, and at least L without the entries of O; so the chord bounds it. Each guard of O that is on spares
    no more of it than the items for which it is the first guard of O in a cover against any of their roots.
    """
    chosen = [(item.cost, entries) for item in fall.items if (entries := choice.against(item)) is not None]
    most = fall.base + sum(cost for cost, _ in chosen)
    # Where the bill with all harm done is below the cap the chord is never needed.
    m = Fraction(fall.base)
    if falls.money.reaches_cap(fall.most):
        m = least.within(fall, budget)
        m = max(m, Fraction(least.with_off(fall, off))) if off else m
    is_over, chord = falls.money.reaches_cap(most), CHORD
    cut = Cut(min(most, falls.money.cap) * CHORD)
    if falls.money.reaches_cap(m):
        is_over, chord = True, 0
        cut.constant = floor(min(m, Fraction(falls.money.cap)) * CHORD)
    elif is_over:
        chord = min(CHORD, ceil((falls.money.cap - m) * CHORD / (most - m)))
    for cost, entries in chosen:
        for entry in entries:
            if not (is_over and entry in off):
                cut.slope[entry] += chord * cost
    first = least.first_off(off)
    for item in fall.items if is_over and off else ():
        for spared_by in {first[row] for root in item.roots for row in root}:
            if spared_by is not None:
                cut.slope[spared_by] += CHORD * item.cost
    return cut
