"""Published problems whose answers are known, put as bikes, falls and guards: the same answers come out.

Optima, and values to more digits than were printed, were computed anew by full enumeration.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise, product

import numpy as np
import pytest
from scipy.stats import expon, lomax

from guardopt.model.aims import Aim, Best, Limits
from guardopt.model.pieces import Cover, Fall, Guard, Insurance, Kit, KnockOn, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.budgets import curve
from guardopt.simulation.pricing import Prices

CENTRE = Side.CENTRE
BARE: Kit = frozenset()

MakeScenario = Callable[..., Scenario]
BestKit = Callable[..., Best]
PlannerOf = Callable[..., Planner]
PriceKits = Callable[..., Prices]

# J. Burkardt, KNAPSACK_01: Data for the 01 Knapsack Problem, data directory of Florida State University, 2014 (the year
# from memory), mostly after D. L. Kreher and D. R. Stinson, Combinatorial Algorithms, CRC Press 1999: capacity, weights, profits, optimum, the one optimal selection, profit of taking items by profit for weight.
KNAPSACKS = {
    "P01": (165, "23 31 29 44 53 38 63 85 89 82", "92 57 49 68 60 43 67 84 87 72", 309, "1111010000", 309),
    "P02": (26, "12 7 11 8 9", "24 13 23 15 16", 51, "01110", 47),
    "P03": (190, "56 59 80 64 75 17", "50 50 64 46 50 5", 150, "110010", 146),
    "P04": (50, "31 10 20 19 4 3 6", "70 20 39 37 7 5 10", 107, "1001000", 102),
    "P05": (104, "25 35 45 5 25 3 2 2", "350 400 450 20 70 8 5 5", 900, "10111011", 858),
    "P06": (170, "41 50 49 59 55 57 60", "442 525 511 593 546 564 617", 1735, "0101001", 1478),
    "P07": (
        750,
        "70 73 77 80 82 87 90 94 98 106 110 113 115 118 120",
        "135 139 149 150 156 163 173 184 192 201 210 214 221 229 240",
        1458,
        "101010111000011",
        1441,
    ),
}


@pytest.mark.parametrize("name", KNAPSACKS)
def test_knapsack(make_scenario: MakeScenario, planner_of: PlannerOf, name: str) -> None:
    """One guard an item, its price the weight, its part the profit: what the best kit saves is the optimum."""
    capacity, weights, profits, optimum, selection, greedy = KNAPSACKS[name]
    weight, profit = ([int(number) for number in text.split()] for text in (weights, profits))
    items = [f"item{row}" for row in range(len(weight))]
    scenario = make_scenario(
        parts=[Part(item, item, CENTRE, float(value)) for item, value in zip(items, profit, strict=True)],
        guards=[Guard(item, item, CENTRE, 100 * heavy) for item, heavy in zip(items, weight, strict=True)],
        covers=[Cover((item,), item, 1.0) for item in items],
    )
    limits = Limits(budget_cents=100 * capacity)
    planner = planner_of(scenario)
    for best in (planner.best(Aim.BILLS, limits), planner_of(scenario).best_or_none(Aim.BILLS, limits)):
        assert best is not None
        assert sum(profit) - best.objective == optimum
        assert best.kit == {item for item, taken in zip(items, selection, strict=True) if taken == "1"}
    taken, room = 0, capacity
    for value, heavy in sorted(zip(profit, weight, strict=True), key=lambda item: -item[0] / item[1]):
        if heavy <= room:
            taken, room = taken + value, room - heavy
    assert taken == greedy


# PySAL spopt 0.7.0 (BSD-3), spopt/tests/test_locate/data/SF_*.csv: 205 census tracts of San Francisco and 16 sites
# for stores. Tracts within 5000 of the same sites are added up: sites as bits : people : tracts.
SAN_FRANCISCO = """
2:47512:8 4:8002:2 16:17954:7 20:12599:4 88:9082:2 112:1805:1 120:14367:4 592:846:1 864:6084:2 880:2285:1
992:103279:26 1008:11585:2 1016:1777:1 2049:2451:1 2081:12564:2 2152:5045:1 2176:2234:1 2272:10110:2 2280:14817:3
2792:6871:1 2808:14632:4 3040:38765:11 3056:24976:4 3064:30909:6 3073:23610:5 5121:19395:3 6264:3775:1 7169:39693:6
7201:10049:2 7241:3980:1 7265:11797:2 7273:137:1 7288:7263:1 8196:6058:2 8212:11916:4 8220:42352:8 8284:24952:6
8312:7371:1 8316:22968:5 10360:4836:1 12316:20163:3 12380:8053:2 12412:16193:4 13320:7496:1 14456:9293:2
14460:5284:2 15368:8648:2 15369:8034:1 15388:5646:1 15432:5886:1 15448:3374:1 15452:2132:1 15464:4475:1
15465:4454:1 15480:4797:1 16384:8966:2 16386:34005:6 32768:13913:3 32770:2231:1 32772:26157:4 40964:21665:3
40980:4529:1 40988:4410:1 45060:8201:1 45076:13104:2 45084:18038:3 46084:10333:2 46092:3739:1 46108:6771:1
49152:24420:4
"""
AREAS = [tuple(map(int, row.split(":"))) for row in SAN_FRANCISCO.split()]
PEOPLE = 955_113

# R. L. Church and C. ReVelle, The maximal covering location problem, Papers of the Regional Science Association
# 32:101-118, 1974, is the model; for four sites spopt's own test asserts 21 tracts uncovered. People covered, and tracts left, with 1 to 8 sites:
COVERED = [448_255, 671_938, 791_499, 875_247, 927_402, 941_462, 950_428, 955_113]
UNCOVERED_TRACTS = [98, 55, 36, 21, 8, 4, 2, 0]
GREEDILY_COVERED = [448_255, 671_938, 788_863, 872_611, 910_944, 928_898, 946_147]


def stores(make_scenario: MakeScenario, prices: Sequence[int], holds: float = 1.0, **rest: object) -> Scenario:
    """Areas as parts, the people of each as its price, and sites as guards that save the areas near them."""
    sites = [f"site{bit}" for bit in range(16)]
    return make_scenario(
        parts=[Part(f"area{mask}", f"area{mask}", CENTRE, float(people)) for mask, people, _ in AREAS],
        guards=[Guard(site, site, CENTRE, 100 * price) for site, price in zip(sites, prices, strict=True)],
        covers=[
            Cover((site,), f"area{mask}", holds)
            for mask, _, _ in AREAS
            for bit, site in enumerate(sites)
            if mask >> bit & 1
        ],
        **rest,
    )


def test_covering_san_francisco(make_scenario: MakeScenario, planner_of: PlannerOf, best_kit: BestKit) -> None:
    """With 1 to 8 sites the plan, and the budget curve, cover as many people as can be, and leave the tracts known."""
    scenario = stores(make_scenario, [1] * 16)
    steps = curve(planner_of(scenario), Aim.BILLS, Limits())
    assert [PEOPLE - step.best.objective for step in steps] == [0, *COVERED]
    assert [step.budget_cents for step in steps] == [100 * sites for sites in range(9)]
    for sites, (covered, tracts) in enumerate(zip(COVERED, UNCOVERED_TRACTS, strict=True), start=1):
        best = best_kit(scenario, budget_cents=100 * sites)
        assert PEOPLE - best.objective == covered
        chosen = sum(1 << int(name.removeprefix("site")) for name in best.kit)
        assert sum(number for mask, _, number in AREAS if not mask & chosen) == tracts


@pytest.mark.parametrize(("budget", "covered", "bits"), [(10, 768_546, {0, 2, 5}), (20, 889_436, {0, 1, 2, 4, 6})])
def test_covering_with_sites_of_unlike_prices(
    make_scenario: MakeScenario, best_kit: BestKit, budget: int, covered: int, bits: set[int]
) -> None:
    """Site j costs j + 1; a budget of 20 cannot be settled by the relaxed program, which claims 901820."""
    best = best_kit(stores(make_scenario, range(1, 17)), budget_cents=100 * budget)
    assert PEOPLE - best.objective == covered
    assert best.kit == {f"site{bit}" for bit in bits}


def test_taking_the_best_next_guard_is_good_but_not_best(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """Greedy choice saves at least 1 − 1/e of the optimum, and less than it.

    G. L. Nemhauser, L. A. Wolsey and M. L. Fisher, An analysis of approximations for maximizing submodular set functions
    I, Mathematical Programming 14:265-294, 1978.
    """
    scenario = stores(make_scenario, [1] * 16)
    kit = BARE
    for best, greedy in zip(COVERED, GREEDILY_COVERED, strict=False):
        larger = [kit | {name} for name in scenario.guard if name not in kit]
        costs = [bill.yearly_cost for bill in price_kits(scenario, *larger).bills]
        kit = larger[int(np.argmin(costs))]
        assert PEOPLE - min(costs) == greedy
        assert (1.0 - math.exp(-1.0)) * best <= greedy <= best


# M. S. Daskin, A maximum expected covering location model, Transportation Science 17(1):48-70, 1983, is the model: an
# area near n sites is covered with chance 1 − qⁿ. Chance q that a site fails, sites, people covered, sites as bits:
EXPECTED_COVERING = [
    (0.3, 2, 487_068.8200, "2 6"),
    (0.3, 4, 670_543.0914, "2 4 6 11"),
    (0.3, 6, 777_920.5203, "1 2 4 5 6 10"),
    (0.5, 3, 464_392.5000, "2 6 11"),
    (0.5, 6, 647_803.5938, "2 4 5 6 11 12"),
]


@pytest.mark.parametrize(("fails", "sites", "covered", "bits"), EXPECTED_COVERING)
def test_covering_with_sites_that_may_fail(
    make_scenario: MakeScenario,
    price_kits: PriceKits,
    best_kit: BestKit,
    fails: float,
    sites: int,
    covered: float,
    bits: str,
) -> None:
    """Several guards on one part each hold by themselves: the optimum is met within its standard error."""
    scenario = stores(make_scenario, [1] * 16, holds=1.0 - fails, falls_sampled=1000, budget_cents=100 * sites)
    optimum = frozenset(f"site{bit}" for bit in bits.split())
    found = best_kit(scenario).kit
    prices = price_kits(scenario, optimum, found)
    error, difference = prices.standard_error(0), prices.saving_standard_error(0, 1)
    assert error is not None
    assert difference is not None
    assert abs(PEOPLE - prices.bills[0].yearly_cost - covered) < 4.0 * error
    chosen = sum(1 << int(name.removeprefix("site")) for name in found)
    truly = sum(people * (1.0 - fails ** (mask & chosen).bit_count()) for mask, people, _ in AREAS)
    assert len(found) == sites
    assert covered - 4.0 * difference - 0.001 <= truly <= covered + 0.001


def with_helpers(make_scenario: MakeScenario, fails: Sequence[Sequence[float]], parts: Sequence[Part]) -> Scenario:
    """Teams as slots and helpers as guards: team t with k helpers fails with chance ``fails[t][k]``, saving its part.

    What each team would need is a kind of fall of its own, as often as its chance says, so nothing is left to luck.
    """
    needed = [[before - after for before, after in pairwise([*chances, 0.0])] for chances in fails]
    kinds = {
        ".".join(str(k) for k in kind): kind for kind in product(*[range(1, len(chances) + 1) for chances in fails])
    }
    falls = [
        Fall(name, math.prod(chances[k - 1] for chances, k in zip(needed, kind, strict=True)), left_share=1.0)
        for name, kind in kinds.items()
    ]
    options = [(team, k) for team, chances in enumerate(fails) for k in range(1, len(chances))]
    return make_scenario(
        parts=parts,
        guards=[Guard(f"team{team}.{k}", "team", CENTRE, 100 * k, slot=f"team{team}") for team, k in options],
        covers=[
            Cover((f"team{team}.{k}",), parts[min(team, len(parts) - 1)].id, 1.0, fall=name)
            for team, k in options
            for name, kind in kinds.items()
            if k >= kind[team]
        ],
        falls=falls,
        hits={(fall.id, "project"): 0.0 for fall in falls},
        knock_ons=tuple(KnockOn(part.id, "project", 1.0) for part in parts if part.row == "task"),
    )


# Chances of failure with 0, 1, ... helpers, how many helpers there are, the least chance that all teams fail, helpers.
ALL_FAIL = [
    # F. S. Hillier and G. J. Lieberman, Introduction to Operations Research, 7th edition, McGraw-Hill 2001, chapter 11,
    # scientists for three research teams (edition and chapter from memory; the optimum is enumerated below).
    ([[0.40, 0.20, 0.15], [0.60, 0.40, 0.20], [0.80, 0.50, 0.30]], 2, 0.060, {"team0.1", "team2.1"}),
    # A larger one of the same kind, without a source to name: giving the next helper where he helps most misses the best.
    ([[0.7, 0.5, 0.4, 0.1], [0.7, 0.6, 0.4, 0.2], [0.7, 0.4, 0.3, 0.2], [0.7, 0.5, 0.4, 0.3]], 3, 0.0343, {"team0.3"}),
]


@pytest.mark.parametrize(("fails", "helpers", "least", "kit"), ALL_FAIL)
def test_helpers_for_teams_of_which_one_has_to_succeed(
    make_scenario: MakeScenario, best_kit: BestKit, fails: list[list[float]], helpers: int, least: float, kit: Kit
) -> None:
    """Guards of several slots on one part: the chances that they fail are multiplied."""
    ways = [way for way in product(range(helpers + 1), repeat=len(fails)) if sum(way) <= helpers]
    enumerated = min(math.prod(team[count] for team, count in zip(fails, way, strict=True)) for way in ways)
    best = best_kit(with_helpers(make_scenario, fails, [Part("all", "all", CENTRE, 1.0)]), budget_cents=100 * helpers)
    assert best.objective == pytest.approx(least)
    assert least == pytest.approx(enumerated)
    assert best.kit == kit


def test_workers_for_tasks_that_all_have_to_succeed(make_scenario: MakeScenario, best_kit: BestKit) -> None:
    """A part that breaks if any of three others does is spared with the product of their chances.

    A common exercise of dynamic programming, without a source to name: the optimum is enumerated.
    """
    succeeds = [[0.0, 0.5, 0.6, 0.7, 0.8, 0.85], [0.0, 0.4, 0.7, 0.8, 0.9, 0.95], [0.0, 0.3, 0.6, 0.8, 0.85, 0.85]]
    tasks = [Part(f"task{team}", "task", CENTRE, 0.0) for team in range(3)]
    fails = [[1.0 - chance for chance in chances] for chances in succeeds]
    scenario = with_helpers(make_scenario, fails, [*tasks, Part("project", "project", CENTRE, 1.0)])
    best = best_kit(scenario, budget_cents=500)
    ways = [way for way in product(range(6), repeat=3) if sum(way) <= 5]
    enumerated = max(math.prod(task[count] for task, count in zip(succeeds, way, strict=True)) for way in ways)
    assert 1.0 - best.objective == pytest.approx(0.21)
    assert enumerated == pytest.approx(0.21)
    assert best.kit == {"team0.1", "team1.2", "team2.2"}


# S. Russell and P. Norvig, Artificial Intelligence: A Modern Approach, 3rd edition, Pearson 2010, section 14.3, noisy-or
# table of causes of fever (edition and section from memory): cold, flu and malaria fail to bring it about with chances 0.6, 0.2 and 0.1.
NOISY_OR = {"": 0.0, "m": 0.9, "f": 0.8, "fm": 0.98, "c": 0.4, "cm": 0.94, "cf": 0.88, "cfm": 0.988}


def test_guards_on_one_part_are_a_noisy_or(make_scenario: MakeScenario, price_kits: PriceKits) -> None:
    """Three guards that hold with chances 0.4, 0.8 and 0.9 spare a part as often as the table says for any of them."""
    holds = {"c": 0.4, "f": 0.8, "m": 0.9}
    scenario = make_scenario(
        parts=[Part("tank", "tank", CENTRE, 1.0)],
        guards=[Guard(name, name, CENTRE, 1) for name in holds],
        covers=[Cover((name,), "tank", chance) for name, chance in holds.items()],
        falls=[Fall("fall", 1.0, left_share=1.0)],
        falls_sampled=40_000,
    )
    prices = price_kits(scenario, *[frozenset(kit) for kit in NOISY_OR])
    for number, spared in enumerate(NOISY_OR.values()):
        assert abs(1.0 - prices.bills[number].yearly_cost - spared) <= 4.0 * (prices.standard_error(number) or 0.0)


# S. A. Klugman, H. H. Panjer and G. E. Willmot, Loss Models, 4th edition, Wiley 2012, chapter 8 (edition from memory;
# the values computed again from the closed forms of that chapter): losses, what they are multiplied by, the
# excess, the mean loss and the mean that the insurer pays of a loss.
EXCESSES = [
    (lomax(3.0, scale=2000.0), 1.0, 500.0, 1000.0, 640.0),
    (lomax(3.0, scale=2000.0), 1.1, 500.0, 1100.0, 730.3155),
    (expon(scale=1000.0), 1.0, 500.0, 1000.0, 606.530660),
]


@pytest.mark.parametrize(("loss", "inflation", "excess", "mean", "paid"), EXCESSES)
def test_excess(
    make_scenario: MakeScenario,
    price_kits: PriceKits,
    loss: object,
    inflation: float,
    excess: float,
    mean: float,
    paid: float,
) -> None:
    """The owner pays min(loss, excess) and the insurer the rest.

    Losses are cut into cells, each a kind of fall that costs the cell's mean. The excess is where two cells meet, so
    it bears on all of a cell or on none of it, and the means are exact.
    """
    cuts = [0.0, 200.0, excess / inflation, 1500.0, 6000.0, math.inf]
    falls, parts, hits = [], [], {}
    for row, (low, high) in enumerate(pairwise(cuts)):
        chance = float(loss.cdf(high) - loss.cdf(low))
        price = inflation * float(loss.expect(lambda x: x, lb=low, ub=high)) / chance
        falls.append(Fall(f"cell{row}", chance))
        parts.append(Part(f"part{row}", f"part{row}", CENTRE, price))
        hits |= {(f"cell{row}", f"part{other}"): float(row == other) for other in range(len(cuts) - 1)}
    (bill,) = price_kits(make_scenario(parts, falls=falls, hits=hits, insurance=Insurance(excess)), BARE).bills
    assert bill.rates @ bill.repair_bill == pytest.approx(mean, rel=1e-6)
    assert bill.rates @ bill.repair_bill - bill.yearly_cost == pytest.approx(paid, rel=1e-6)
