"""The report on what a log of real falls teaches, for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guardopt.learning.copula_fit import ENOUGH_FALLS
from guardopt.learning.kit_change import Effect
from guardopt.learning.learn import Learned
from guardopt.learning.overdispersion import Dispersion
from guardopt.learning.posterior import Estimate
from guardopt.model.numbers import Kind
from guardopt.model.pieces import Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.plan_headline import guards_named
from guardopt.reports.layout import cautions, table, title
from guardopt.spelling import listed
from guardopt.words import exact_money, money, number, percent, wrapped, years

MOST_ROWS = 5
"""Rows of a table of chances, of bikes or of doubts, unless all are asked for."""

LIGHT_GUESS = 0.5
"""Falls that a guessed rate amounts to; with fewer, a short log without such a fall changes it beyond recognition."""

ADDRESS_TAILS = (f".{Kind.BREAK}", f".{Kind.HOLD}", f".{Kind.LEFT_SHARE}", f".{Kind.TUMBLE}", f".{Kind.CORRELATION}")


def learn_text(learned: Learned, effect: Effect, *, show_all: bool = False) -> str:
    """What was learned as text.

    Parameters
    ----------
    learned, effect
        The numbers, and what they do to the best kit.
    show_all
        Show every number with news, not only those that moved most, and what unlike riders do to the intervals.
    """
    lines = [*title(learned.scenario), *_headline(learned, effect)]
    lines += _rates(learned)
    lines += _paid_off(learned)
    lines += _watch_next(learned.scenario, effect, show_all)
    lines += _spread(learned, show_all)
    lines += _chances(learned, show_all)
    return "\n".join([*lines, *cautions()])


def _headline(learned: Learned, effect: Effect) -> list[str]:
    scenario, log = learned.scenario, learned.log
    currency = scenario.currency
    lines = [] if log.watched else wrapped("Nothing was watched, so nothing changes.")
    budget = "" if effect.budget_cents is None else f" for {exact_money(effect.budget_cents, currency)}"
    if effect.kit_changes and not effect.change_is_clear:
        lines += wrapped(
            f"No reason to change the kit{budget}. With the numbers as learned "
            f"{_change(scenario, effect.before, effect.after)} comes out best, but what it gains, "
            f"{money(effect.gain, currency)} a year, is within what the numbers leave in doubt of it: "
            f"{money(effect.gain_sd, currency)} (one standard deviation)."
        )
    elif effect.kit_changes:
        lost = effect.gain
        lines += wrapped(
            f"The best kit{budget} changes: {_change(scenario, effect.before, effect.after)}. With the numbers as "
            f"learned, falls cost about {money(effect.yearly_after, currency)} a year with it, and "
            f"{money(abs(lost), currency)} {'more' if lost >= 0.0 else 'less'} with the kit that was best before."
        )
    else:
        kit = guards_named(scenario, effect.after) or "no guard"
        lines += wrapped(
            f"The best kit{budget} stays what it was: {kit}. With the numbers as learned, falls cost about "
            f"{money(effect.yearly_after, currency)} a year with it, instead of "
            f"{money(effect.yearly_before, currency)}."
        )
    if not effect.proven:
        lines += wrapped(
            "The time ran out before both kits were proven best; another may be better by "
            f"{percent(effect.gap)} at most."
        )
    if log.watched:
        bikes, falls = _count(len(log.years_of), "bike"), _count(len(log.falls), "fall")
        lines += wrapped(f"This rests on {falls} of {bikes} watched for {years(log.years)} in all.")
    doubt = money(effect.yearly_cost_sd, currency)
    lines += _seasons(learned)
    return lines + wrapped(f"The numbers leave the yearly cost itself in doubt by {doubt} (one standard deviation).")


MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def _seasons(learned: Learned) -> list[str]:
    """That a log does not cover the whole year, where it does not."""
    missing = learned.log.unwatched_months
    if not missing or not learned.log.watched:
        return []
    months = listed([MONTHS[month - 1] for month in missing], last="or")
    return wrapped(
        f"No bike was watched in {months}: if falls are rarer or more frequent then than in the rest of the year, the "
        "rates a year are off."
    )


def _count(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"


def _change(scenario: Scenario, before: Kit, after: Kit) -> str:
    new, gone = guards_named(scenario, after - before), guards_named(scenario, before - after)
    if new and gone:
        return f"{new} instead of {gone}"
    return f"{new} as well" if new else f"without {gone}"


def _rates(learned: Learned) -> list[str]:
    rates = [one for one in learned.estimates if one.number.kind is Kind.RATE]
    rows = [
        (
            str(one.number.fall),
            _figures(one.guess.mean),
            _figures(one.now.mean),
            _span(one.interval),
            f"{one.seen.count:g}",
            "" if one.alone is None else _span(one.alone),
        )
        for one in rates
    ]
    return [
        "",
        "How often (falls a year)",
        *wrapped("now = (guess x watched_years + falls) / (watched_years + years in the log)", "  "),
        *table(("fall", "guess", "now", "90 % interval", "falls", "log alone"), rows),
        *wrapped(
            "(90 %: the rate is in the interval with nine chances in ten. Log alone: the exact interval with no guess "
            "in it. Of a rare fall the interval may end below the mean: most likely none, once in a while many.)",
            "  ",
        ),
        *_light_guesses(rates),
    ]


def _light_guesses(rates: Sequence[Estimate]) -> list[str]:
    """A word on rates that a log without such a fall has moved far, since their guess was given too few years."""
    light = [str(one.number.fall) for one in rates if one.seen.count == 0 and 0.0 < one.guess.count < LIGHT_GUESS]
    if not light:
        return []
    return wrapped(
        f"(The guess for {listed(light, last='and')} has too few watched_years to stand up to a log without such a "
        "fall. If you are surer of it, put at least 1 / per_year there and learn again from the old scenario.)",
        "  ",
    )


def _figures(value: float) -> str:
    """Three figures, so that small chances and large rates both say something."""
    return f"{value:.3g}" if value >= 0.001 or value == 0.0 else "<0.001"


def _span(interval: tuple[float, float]) -> str:
    return f"{_figures(interval[0])} to {_figures(interval[1])}"


def _spread(learned: Learned, show_all: bool) -> list[str]:
    lines = ["", "Do all bikes fall alike?"]
    if not learned.spread:
        return [*lines, *wrapped("That takes two bikes and a fall.", "  ")]
    whole = learned.spread[0]
    if not whole.is_uneven:
        lines += wrapped(
            f"As far as this log can tell: the falls are spread over the bikes as chance alone would spread them "
            f"(index of dispersion {whole.index:.2f}, where 1 is chance; chance alone is at least as uneven "
            f"{percent(whole.chance)} of the time).",
            "  ",
        )
    else:
        lines += _uneven(learned, whole, show_all)
    apart = [str(one.fall) for one in learned.spread[1:] if one.is_uneven]
    if apart:
        lines += wrapped(f"Kind by kind, uneven is: {listed(apart, last='and')}.", "  ")
    return lines


def _uneven(learned: Learned, whole: Dispersion, show_all: bool) -> list[str]:
    own = sorted(whole.own_rates.items(), key=lambda pair: -pair[1])
    lines = wrapped(
        f"No: some riders fall more than others (index of dispersion {whole.index:.2f}, where 1 is chance; chance "
        f"alone is as uneven {percent(whole.chance)} of the time). The rates are right for a rider picked at random, "
        "but less sure than above, and wrong for any one rider.",
        "  ",
    )
    if show_all:
        rates = [one for one in learned.estimates if one.number.kind is Kind.RATE]
        rows = [(str(one.number.fall), _span(one.interval), _span(whole.widened(one.guess, one.seen))) for one in rates]
        lines += table(("fall", "90 % interval", "allowing for that"), rows)
    if whole.shape is not None:
        spread = whole.shape**-0.5
        lines += wrapped(f"Riders' own rates differ by about {percent(spread)} of their mean (gamma mixture).", "  ")
        count_of = dict(zip(whole.bikes, whole.counts.tolist(), strict=True))
        lines += table(
            ("bike", "falls", "years", "its own rate a year"),
            [
                (bike, f"{count_of[bike]:g}", f"{learned.log.years_of[bike]:.2f}", _figures(rate))
                for bike, rate in (own if show_all else own[:MOST_ROWS])
            ],
        )
    return lines


CHANCES = (
    (Kind.LEFT_SHARE, "To the left (of falls on one side)", "left"),
    (Kind.TUMBLE, "Onto the other side as well", "yes"),
    (Kind.STRIKE, "Struck if exposed", "struck"),
    (Kind.BREAK, "Breaks if harmed", "broken"),
    (Kind.HOLD, "The guard holds", "held"),
)


def _chances(learned: Learned, show_all: bool) -> list[str]:
    lines = ["", "Chances", *wrapped("now = (guess x weight + yes) / (weight + falls)", "  ")]
    for kind, heading, yes in CHANCES:
        news = [one for one in learned.estimates if one.number.kind is kind and one.has_news]
        if not news:
            continue
        moved = sorted(news, key=lambda one: -abs(one.now.mean - one.guess.mean))
        shown = moved if show_all else moved[:MOST_ROWS]
        rest = len(moved) - len(shown)
        title_ = f"  {heading}" + (f": the {len(shown)} of {len(moved)} that moved most (--all)" if rest else "")
        lines += ["", title_, *_chance_table(shown, yes)]
        if any(one.hidden for one in shown):
            lines += wrapped(
                "(+ n: strikes in which several guards were fitted or a broken part struck too, so that it cannot be "
                "seen which held; shared out by expectation and maximisation.)",
                "  ",
            )
    return lines + _struck_by_guards(learned) + _correlation(learned)


def _struck_by_guards(learned: Learned) -> list[str]:
    """Which parts' chances of being struck do not count all falls, since a guard may have been what struck them."""
    scenario, falls = learned.scenario, learned.log.falls
    parts = [
        part.id
        for part in scenario.parts
        if any(fall.exposes(part) and not fall.tells_strikes_of(scenario, part) for fall in falls)
    ]
    if not parts:
        return []
    return wrapped(
        f"(Falls with a guard on that may itself strike {listed(parts, last='or')} do not count for how often it is "
        "struck on the bare bike. What such a guard does, the chances of exposes.csv, is left as it was.)",
        "  ",
    )


def _chance_table(shown: Sequence[Estimate], yes: str) -> list[str]:
    rows = [
        (
            _short(one),
            _figures(one.guess.mean),
            _figures(one.now.mean),
            _span(one.interval),
            f"{one.seen.count:g} of {one.seen.out_of:g}" + (f" + {one.hidden}" if one.hidden else ""),
        )
        for one in shown
    ]
    return table(("", "guess", "now", "90 % interval", yes), rows)


def _short(one: Estimate) -> str:
    """An address without the names of file and column."""
    name = one.number.address.partition(".")[2]
    for tail in ADDRESS_TAILS:
        name = name.removesuffix(tail)
    return name


def _correlation(learned: Learned) -> list[str]:
    found = [one for one in learned.estimates if one.number.kind is Kind.CORRELATION]
    news = [one for one in found if one.has_news]
    lines = ["", "  How far strikes go together (correlation)"]
    if news:
        lines += _chance_table(news, "falls")
    alone = [str(one.number.fall) for one in found if not one.has_news]
    if alone:
        lines += wrapped(f"Left alone, for want of {ENOUGH_FALLS} falls: {listed(alone, last='and')}.", "  ")
    return lines


def _paid_off(learned: Learned) -> list[str]:
    paid, currency = learned.paid_off, learned.scenario.currency
    lines = ["", "Did the guards pay?"]
    if not paid.guards_cost and not paid.strikes_spared:
        return [*lines, *wrapped("No guard was fitted in any fall of this log.", "  ")]
    costs = paid.guards_cost + paid.renewals
    verdict = f"So far they are {money(abs(paid.balance), currency)} {'ahead' if paid.balance >= 0.0 else 'behind'}"
    lines += wrapped(
        f"{verdict} ({number(paid.saved_low - costs)} to {number(paid.saved_high - costs)}, nine chances in ten). They "
        f"spared {_count(paid.strikes_spared, 'strike')}; what happened in spite of them cost "
        f"{money(paid.paid, currency)}.",
        "  ",
    )
    lines += table(
        ("", currency, "90 % interval"),
        [
            (
                "spared in repairs",
                number(paid.saved),
                f"{number(paid.saved_low)} to {number(paid.saved_high)}",
            ),
            ("the guards, fitting included", number(-paid.guards_cost), ""),
            ("their renewals", number(-paid.renewals), ""),
        ],
    )
    if paid.bikes_seen < paid.bikes:
        unseen = paid.bikes - paid.bikes_seen
        lines += wrapped(
            f"(The log shows the guards of a bike only when it falls; {_count(unseen, 'bike')} did not, and guards on "
            "it are not counted here.)"
            if unseen == 1
            else f"(The log shows the guards of a bike only when it falls; {unseen} bikes did not, and guards on them "
            "are not counted here.)",
            "  ",
        )
    return lines


def _watch_next(scenario: Scenario, effect: Effect, show_all: bool) -> list[str]:
    shown = effect.doubts if show_all else effect.doubts[:MOST_ROWS]
    if not shown:
        return []
    rows: Iterable[Sequence[str]] = [
        (doubt.number.address, _figures(doubt.sd), number(doubt.slope), number(doubt.cost)) for doubt in shown
    ]
    return [
        "",
        "What to watch next",
        *wrapped(
            "The numbers whose doubt matters most for the yearly cost with the best kit "
            f"({scenario.currency}): slope times standard deviation.",
            "  ",
        ),
        *table(("number", "its doubt", "cost of 1 more", "cost in doubt"), rows),
    ]
