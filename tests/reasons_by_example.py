"""A bike for every reason why a guard is in the kit or not, small enough to see that it is the right one; all invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from guardopt.model.pieces import Cover, Guard, Part, Side
from guardopt.questions.explanation.verdicts import Reason

TANK = Part("tank", "tank", Side.CENTRE, 100.0)
SEAT = Part("seat", "seat", Side.CENTRE, 30.0)


def guard(name: str, price: int, **rest: Any) -> Guard:
    """A guard in the middle of the bike, its price in whole units."""
    return Guard(name, name, Side.CENTRE, 100 * price, **rest)


def cover(part: str, *guards: str) -> Cover:
    """Guards that, all fitted, always spare a part."""
    return Cover(guards, part, 1.0)


BAR = guard("bar", 20)
BAR_COVERS = [cover("tank", "bar")]
PAD = guard("pad", 15)
PAD_COVERS = [cover("seat", "pad")]

# What is on the bike and asked, the guard looked at, why it is in or out, and how that is put. In the one year that the
# bike is kept it falls once, and both parts are struck: 100 for the tank, 30 for the seat.
EXAMPLES: list[tuple[dict[str, Any], dict[str, Any], str, Reason, str]] = [
    (
        {"guards": [BAR], "covers": BAR_COVERS},
        {},
        "bar",
        Reason.PICKED,
        "Costs EUR 20.00; saves EUR 100 over 1 year, mostly on tank; paid back after 2 months. The best kit without "
        "it is EUR 100 worse over the years.",
    ),
    (
        {"guards": [guard("bar", 250)], "covers": BAR_COVERS},
        {},
        "bar",
        Reason.PICKED,
        "Costs EUR 250.00; saves EUR 100 over 1 year, mostly on tank; would take 2.5 years to pay back. The best kit "
        "without it is EUR 100 worse over the years.",
    ),
    (
        {"guards": [BAR, replace(PAD, needs=(frozenset({"bar"}),))], "covers": BAR_COVERS + PAD_COVERS},
        {},
        "bar",
        Reason.PICKED,
        "Costs EUR 20.00; saves EUR 130 over 1 year, mostly on tank and seat; paid back after 3 months. This "
        "counts pad too, which needs it. The best kit without it is EUR 130 worse over the years.",
    ),
    (
        {"guards": [replace(BAR, owned=True)], "covers": BAR_COVERS},
        {},
        "bar",
        Reason.OWNED,
        "Already yours, so keeping it on costs nothing; saves EUR 100 over 1 year, mostly on tank. The best kit "
        "without it is EUR 100 worse over the years.",
    ),
    (
        {"guards": [BAR]},
        {"must": ["bar"]},
        "bar",
        Reason.FORCED_IN,
        "In because you asked for it, for EUR 20.00; saves nothing over 1 year. Another kit does as well or better "
        "without it.",
    ),
    (
        {"guards": [replace(BAR, wear_per_fall=150.0)], "covers": BAR_COVERS},
        {"must": ["bar"]},
        "bar",
        Reason.FORCED_IN,
        "In because you asked for it, for EUR 20.00; costs EUR 50.00 more over 1 year than it saves. Another kit does"
        " as well or better without it.",
    ),
    (
        {"guards": [BAR, replace(PAD, needs=(frozenset({"bar"}),))], "covers": BAR_COVERS},
        {"must": ["pad"]},
        "bar",
        Reason.PICKED,
        "Costs EUR 20.00; saves EUR 100 over 1 year, mostly on tank; paid back after 4 months. This counts pad "
        "too, which needs it. No kit is possible without it.",
    ),
    (
        {"guards": [BAR], "covers": BAR_COVERS},
        {"never": ["bar"]},
        "bar",
        Reason.FORCED_OUT,
        "Out because you ruled it out. It would save EUR 100 over 1 year.",
    ),
    (
        {"guards": [BAR]},
        {"never": ["bar"]},
        "bar",
        Reason.FORCED_OUT,
        "Out because you ruled it out. It would not pay its way.",
    ),
    (
        {"guards": [replace(BAR, weight_kg=5.0)], "covers": BAR_COVERS, "max_weight_kg": 4.0},
        {},
        "bar",
        Reason.CANNOT_BE_FITTED,
        "Cannot be fitted at any budget: it weighs 5 kg and the limit is 4 kg.",
    ),
    (
        {"guards": [replace(BAR, slot="side"), replace(PAD, slot="side")], "covers": BAR_COVERS},
        {"must": ["pad"]},
        "bar",
        Reason.CANNOT_BE_FITTED,
        "Cannot be fitted at any budget: it cannot go with pad, which you asked for.",
    ),
    (
        {"guards": [replace(BAR, needs=(frozenset(),))], "covers": BAR_COVERS},
        {},
        "bar",
        Reason.CANNOT_BE_FITTED,
        "Cannot be fitted at any budget: it needs a guard that is not on offer for its side.",
    ),
    (
        {
            "guards": [replace(BAR, needs=(frozenset({"pad"}),)), replace(PAD, not_with=frozenset({"bar"}))],
            "covers": BAR_COVERS,
        },
        {},
        "bar",
        Reason.CANNOT_BE_FITTED,
        "Cannot be fitted at any budget: it needs pad, which cannot be on the bike with it.",
    ),
    (
        {
            "guards": [replace(BAR, weight_kg=3.0), replace(PAD, weight_kg=3.0)],
            "covers": BAR_COVERS,
            "max_weight_kg": 4.0,
        },
        {"must": ["pad"]},
        "bar",
        Reason.CANNOT_BE_FITTED,
        "Cannot be fitted at any budget: something that has to be on the bike rules it out.",
    ),
    (
        {"guards": [replace(BAR, wear_per_fall=150.0)], "covers": BAR_COVERS},
        {},
        "bar",
        Reason.WEARS_OUT,
        "It would save EUR 100 of damage over 1 year, but renewing it after falls costs EUR 150. With it on, the best"
        " kit is EUR 50.00 worse over the years.",
    ),
    (
        {"guards": [BAR, PAD], "covers": [*BAR_COVERS, cover("tank", "pad")]},
        {},
        "bar",
        Reason.ADDS_NOTHING,
        "With the rest of the kit on, it would save nothing in any fall.",
    ),
    (
        {"guards": [replace(BAR, needs=(frozenset({"pad"}),)), PAD], "covers": [cover("tank", "bar", "pad")]},
        {"never": ["pad"]},
        "bar",
        Reason.CANNOT_BE_FITTED,
        "Cannot be fitted at any budget: it needs pad, which cannot be on the bike with it.",
    ),
    (
        {
            "guards": [replace(BAR, slot="side"), replace(PAD, slot="side")],
            "covers": [*BAR_COVERS, cover("seat", "bar"), cover("tank", "pad")],
        },
        {},
        "pad",
        Reason.BEATEN,
        "bar does more in its place; fitted instead, it would save EUR 100 over 1 year. With it on, the best kit is "
        "EUR 30.00 worse over the years.",
    ),
    (
        {
            "guards": [BAR, guard("cushion", 15), guard("cage", 90, not_with=frozenset({"bar", "cushion"}))],
            "covers": [*BAR_COVERS, cover("seat", "cushion"), cover("tank", "cage")],
        },
        {},
        "cage",
        Reason.BEATEN,
        "bar and cushion do more in its place; fitted instead, it would save EUR 100 over 1 year. With it on, the "
        "best kit is EUR 30.00 worse over the years.",
    ),
    (
        {"guards": [BAR, PAD], "covers": BAR_COVERS + PAD_COVERS, "budget_cents": 3000},
        {},
        "pad",
        Reason.OVER_BUDGET,
        "For EUR 15.00 it would save EUR 30.00 over 1 year, mostly on seat, but the same money saves more with other "
        "guards; from a budget of EUR 35.00 it is in. With it on, the best kit is EUR 70.00 worse over the years.",
    ),
    (
        {
            "guards": [BAR, guard("cage", 90, not_with=frozenset({"bar"}))],
            "covers": [*BAR_COVERS, cover("tank", "cage"), cover("seat", "cage")],
            "budget_cents": 3000,
        },
        {},
        "cage",
        Reason.OVER_BUDGET,
        "For EUR 90.00 it would save EUR 30.00 over 1 year in place of bar, less than the change costs, mostly on "
        "seat, but the same money saves more with other guards; from a budget of EUR 90.00 it is in.",
    ),
    (
        {
            "guards": [BAR, replace(PAD, needs=(frozenset({"bar"}),))],
            "covers": [cover("seat", "bar"), cover("tank", "pad")],
            "budget_cents": 2000,
        },
        {"never": []},
        "pad",
        Reason.OVER_BUDGET,
        "For EUR 15.00 it would save EUR 100 over 1 year, mostly on tank, but the same money saves more with other "
        "guards; from a budget of EUR 35.00 it is in.",
    ),
    (
        {"guards": [replace(BAR, dislike=200.0)], "covers": BAR_COVERS},
        {},
        "bar",
        Reason.NOT_WORTH_IT,
        "For EUR 20.00 it would save EUR 100 over 1 year, mostly on tank, but you would pay EUR 200 not to have it on"
        " the bike. With it on, the best kit is EUR 100 worse over the years.",
    ),
    (
        {"guards": [guard("bar", 120)], "covers": BAR_COVERS},
        {"aim": "outlay"},
        "bar",
        Reason.NOT_WORTH_IT,
        "For EUR 120.00 it would save EUR 100 over 1 year, mostly on tank, but that is less than it costs; at a price"
        " of EUR 99.99 it would be in. With it on, the best kit is EUR 20.00 worse over the years, purchases "
        "included.",
    ),
    (
        {"guards": [guard("bar", 240, resale_share=0.5)], "covers": BAR_COVERS},
        {"aim": "outlay"},
        "bar",
        Reason.NOT_WORTH_IT,
        "For EUR 240.00 it would save EUR 100 over 1 year, mostly on tank, but that is less than it costs, resale "
        "taken off; at a price of EUR 199.99 it would be in. With it on, the best kit is EUR 20.00 worse over the "
        "years, purchases included.",
    ),
    (
        {"guards": [guard("bar", 90, dislike=15.0)], "covers": BAR_COVERS},
        {"aim": "outlay"},
        "bar",
        Reason.NOT_WORTH_IT,
        "For EUR 90.00 it would save EUR 100 over 1 year, mostly on tank, but you would pay EUR 15.00 not to have it "
        "on the bike; at a price of EUR 84.99 it would be in. With it on, the best kit is EUR 5.00 worse over the "
        "years, purchases included.",
    ),
    (
        {
            "guards": [replace(BAR, weight_kg=3.0), replace(PAD, weight_kg=3.0)],
            "covers": BAR_COVERS + PAD_COVERS,
            "max_weight_kg": 4.0,
        },
        {},
        "pad",
        Reason.NOT_WORTH_IT,
        "For EUR 15.00 it would save EUR 30.00 over 1 year, mostly on seat, but within the weight limit other guards "
        "do more. With it on, the best kit is EUR 70.00 worse over the years.",
    ),
    (
        {
            "guards": [replace(BAR, slot="side"), guard("cage", 90, slot="side", dislike=40.0)],
            "covers": [*BAR_COVERS, cover("tank", "cage"), cover("seat", "cage")],
        },
        {},
        "cage",
        Reason.BEATEN,
        "For EUR 90.00 it would save EUR 30.00 over 1 year in place of bar, less than the change costs, mostly on "
        "seat, but you would pay EUR 40.00 not to have it on the bike. With it on, the best kit is EUR 10.00 worse "
        "over the years.",
    ),
]
