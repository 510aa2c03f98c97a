"""Reports for a terminal on quotes and ready-made kits."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from guardopt.model.aims import Aim
from guardopt.reports.layout import cautions, table
from guardopt.shop.assortment_result import ReadyKits
from guardopt.shop.quote_columns import Totals
from guardopt.spelling import escaped, listed
from guardopt.words import exact_money, money, number, percent, wrapped


def _riders(count: int) -> str:
    return f"{count:,} rider{'' if count == 1 else 's'}"


def quote_text(totals: Totals, aim: Aim, currencies: Collection[str], out: Path) -> str:
    """What a number of quotes come to; bikes with different currencies have no sum."""
    lines = wrapped(f"Quoted {_riders(totals.quoted)} of {totals.riders:,}; the quotes are in {escaped(str(out))}.")
    if totals.quoted:
        text = f"{totals.buying:,} of them have something to buy"
        if len(currencies) == 1:
            (currency,) = currencies
            text += (
                f": {exact_money(totals.spend_cents, currency)} in all, which saves "
                f"{exact_money(totals.saving_cents, currency)} over the years the bikes are kept (on fresh falls)"
            )
        lines += wrapped(f"{text}.")
    if totals.losing:
        text = (
            f"{totals.losing:,} {'kit saves' if totals.losing == 1 else 'kits save'} less than the guards cost, what "
            "they fetch at the end counted; the column note has them."
        )
        hint = " --aim outlay quotes only what pays for itself." if not aim.counts_price else ""
        lines += wrapped(f"{text}{hint}")
    if totals.no_kit:
        lines += wrapped(f"For {_riders(totals.no_kit)} no kit within the budget has what is forced in.")
    if totals.wrong:
        lines += wrapped(f"{totals.wrong:,} row{'' if totals.wrong == 1 else 's'} could not be read and got no quote.")
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
    for kit in said["kits"]:
        name = f"{kit['bike']}: " if kit["bike"] else ""
        lines += ["", f"Kit {kit['kit']}, {currency} {kit['price']:,.2f}"]
        lines += wrapped(name + listed(kit["guards"], last="and"), "  ")
        lines += wrapped(f"{_riders(kit['riders'])}; saves {money(kit['saving_over_years'], currency)}.", "  ")
    if said["without"]:
        lines += ["", *wrapped(f"{_riders(said['without'])} cannot afford any of these, or gain nothing from one.")]
    if said["losing"]:
        hint = "; --aim outlay counts what kits cost as well" if not found.aim.counts_price else " on fresh falls"
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
