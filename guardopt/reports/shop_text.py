"""Reports for a terminal on quotes and ready-made kits."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from guardopt.model.aims import Aim
from guardopt.reports.layout import cautions, table
from guardopt.shop.assortment_result import ReadyKits
from guardopt.shop.quote_columns import Totals
from guardopt.spelling import both_sides, escaped, listed
from guardopt.words import exact_money, money, number, percent, wrapped


def _riders(count: int) -> str:
    return f"{count:,} rider{'' if count == 1 else 's'}"


def _quotes(count: int) -> str:
    return f"{count:,} quote{'' if count == 1 else 's'}"


def quote_text(totals: Totals, aim: Aim, currencies: Collection[str], out: Path) -> str:
    """What a number of quotes come to; bikes with different currencies have no sum."""
    text = f"{_quotes(totals.quoted)} in {escaped(str(out))}"
    if totals.buying and len(currencies) == 1:
        (currency,) = currencies
        text += (
            f": guards for {exact_money(totals.spend_cents, currency)} in all, which save "
            f"{exact_money(totals.saving_cents, currency)} over the years the bikes are kept (on fresh falls)"
        )
    rows = [
        ("with something to buy", totals.buying),
        ("with nothing to buy", totals.quoted - totals.buying),
        ("whose kit saves less than it costs, resale counted", totals.losing),
        ("for whom no kit within the budget has what is forced in", totals.no_kit),
        ("whose row could not be read, and who got no quote", totals.wrong),
    ]
    lines = [*wrapped(f"{text}."), ""]
    lines += table(("riders", ""), [(name, f"{count:,}") for name, count in rows if count])
    if totals.losing:
        hint = " To quote only what pays for itself, ask for the aim outlay." if not aim.counts_price else ""
        lines += ["", *wrapped(f"The column note tells whose kit saves less than it costs.{hint}")]
    return "\n".join([*lines, *cautions()])


def kits_text(found: ReadyKits, currency: str) -> str:
    """The kits to keep ready, what they save and how much of what could be saved that is."""
    said = found.to_json()
    paid = ", once the kits are paid" if found.aim.counts_price else ""
    riders = _riders(said["riders"] - said["wrong_rows"])
    saving, tailor_made = (money(said[name], currency) for name in ("saving_over_years", "tailor_made_saving"))
    lines = wrapped(
        f"Keep {len(found.boxes)} kit{'' if len(found.boxes) == 1 else 's'} ready: they save {riders} {saving} over "
        f"the years{paid}, {percent(said['share'])} of the {tailor_made} that a kit made for each would."
    )
    if not found.choice.proven:
        lines += wrapped(f"The time ran out: another choice may save up to {money(said['bound'], currency)}.")
    lines += ["", f"  {'kit':>3}  {f'price ({currency})':>11}  {'riders':>6}  {'saves':>8}  what is in it"]
    for kit in said["kits"]:
        name = f"{kit['bike']}: " if kit["bike"] else ""
        saves = number(kit["saving_over_years"])
        head = f"  {kit['kit']:>3}  {kit['price']:>11,.2f}  {kit['riders']:>6,}  {saves:>8}  "
        lines += wrapped(name + listed(both_sides(kit["guards"]), last="and"), " " * len(head), head)
    if said["without"]:
        lines += ["", *wrapped(f"{_riders(said['without'])} cannot afford any of these, or gain nothing from one.")]
    if said["losing"]:
        hint = "; the aim outlay counts what kits cost as well" if not found.aim.counts_price else " on fresh falls"
        lines += wrapped(f"{_riders(said['losing'])} would pay more for the kit than it saves{hint}.")
    rows = [
        (str(one["kits"]), number(one["saving_over_years"]), percent(one["share"]), number(one["bound"]))
        for one in said["curve"]
    ]
    lines += ["", f"How many kits to keep ({currency})"]
    lines += table(("kits", "saving", "of tailor-made", "most possible"), rows)
    fresh = said["fresh"]
    lines += [
        "",
        "How sure",
        *wrapped(
            f"The kits were chosen among {said['candidates']:,}: whatever is bought on a step of one of these riders' "
            "budget curves. Among those the choice is "
            f"{'proven best' if found.choice.proven else 'the best found in time'} on the planning sample. On fresh "
            f"falls it saves {money(fresh['saving_over_years'], currency)} of "
            f"{money(fresh['tailor_made_saving'], currency)}. What riders would pay not to have a guard on the bike is "
            "taken off these savings; quotes leave it out.",
            "  ",
        ),
    ]
    if said["wrong_rows"]:
        lines += wrapped(f"{said['wrong_rows']:,} rows could not be read and are left out.", "  ")
    return "\n".join([*lines, *cautions()])
