"""How sure a kit is and what would be worth knowing better, in words and as lines of a plan."""

from __future__ import annotations

from dataclasses import dataclass

from guardopt.doubt.sureness_result import NumberWorth, Sureness
from guardopt.model.numbers import Kind, Number
from guardopt.model.pieces import HALF_A_CENT, Kit
from guardopt.model.scenario import Scenario
from guardopt.questions.bill import in_order
from guardopt.reports.layout import plus_minus, table
from guardopt.spelling import listed
from guardopt.words import money, number, percent, wrapped

NUMBERS_TOLD = 5

GROUPS = {
    "rates": "how often you fall",
    "sides": "which sides are struck",
    "correlations": "how far strikes go together",
    "strikes": "what is struck",
    "breaks": "what breaks if harmed",
    "holds": "how often guards hold",
    "knock_ons": "what breaks what",
    "exposes": "what guards do harm to",
    "prices": "prices of parts and hours",
    "days": "days without the bike",
}
"""Groups of numbers in words."""


@dataclass(frozen=True, slots=True)
class WorthRow:
    """What it would be worth to know a group of numbers or a single one, as figures and pages show it."""

    name: str
    worth: float
    error: float
    is_group: bool


def worth_rows(scenario: Scenario, sureness: Sureness) -> list[WorthRow]:
    """Groups of numbers that are worth something to know, then the single numbers most worth it."""
    groups = [one for one in sureness.groups if one.evppi > HALF_A_CENT]
    return [
        *(WorthRow(GROUPS[one.group], one.evppi, one.evppi_se, True) for one in groups),
        *(
            WorthRow(spoken_number(scenario, one.number), one.evppi, one.evppi_se, False)
            for one in sureness.worth_telling(NUMBERS_TOLD)
        ),
    ]


def spoken_number(scenario: Scenario, one: Number) -> str:
    """What a number says, in words."""
    row_of = {part.id: part.row for part in scenario.parts}
    fall = str(one.fall)
    part = listed([row_of[one.parts[0]]] if len(one.parts) > 1 else list(one.parts), last="and")
    if one.covers:
        cover = scenario.covers[one.covers[0]]
        guards = [scenario.guard[name].row if len(one.covers) > 1 else name for name in cover.guards]
        covered = row_of[cover.part] if len(one.covers) > 1 else cover.part
        when = f" in a fall of the kind {cover.fall}" if cover.fall else ""
        verb = "hold" if len(guards) > 1 else "holds"
        return f"how often {listed(guards, last='and')} {verb} for {covered}{when}"
    if one.exposures:
        harm = scenario.exposures[one.exposures[0]]
        guards = list(dict.fromkeys(scenario.guard[name].row for name in harm.guards))
        verb = "bring" if len(guards) > 1 else "brings"
        return f"how often {listed(guards, last='and')} {verb} {row_of[harm.part]} to harm"
    if one.knock_ons:
        knock_on = scenario.knock_ons[one.knock_ons[0]]
        return f"how often {row_of[knock_on.part]} takes {row_of[knock_on.takes]} along when it breaks"
    return {
        Kind.RATE: f"how many falls of the kind {fall} there are a year",
        Kind.LEFT_SHARE: f"how many falls of the kind {fall} go to the left",
        Kind.TUMBLE: f"how many falls of the kind {fall} strike the other side as well",
        Kind.CORRELATION: f"how far strikes go together in a fall of the kind {fall}",
        Kind.STRIKE: f"how often {part} is struck in a fall of the kind {fall}",
        Kind.BREAK: f"how often {part} breaks if harmed",
        Kind.PRICE: f"the price of {part}",
        Kind.TOUCH_UP: f"what it costs to touch up {part}",
        Kind.HOURS: f"how many hours it takes to replace {part}",
        Kind.DAYS: f"how many days the bike is off the road when {part} breaks",
        Kind.STRIP_DOWN: f"how many hours it takes to strip down {one.group}",
    }[one.kind]


def sureness_sentences(scenario: Scenario, sureness: Sureness) -> str:
    """How sure a kit is when all guesses are doubted, and what is worth checking, as a paragraph."""
    if sureness.best_share is None or sureness.worst_regret is None or sureness.mean_regret is None:
        return "Your numbers are guesses, but the time ran out before the kit was tried under any others."
    best = round(sureness.best_share * sureness.draws)
    text = ""
    if sureness.draws < sureness.draws_asked:
        text += f"The time ran out after {sureness.draws} of {sureness.draws_asked} sets of other numbers. "
    if best == sureness.draws:
        worlds = "the one world" if best == 1 else f"all {best} worlds"
        return f"{text}Your kit stays the best in {worlds} drawn to fit your guesses: nothing need be known better."
    currency = scenario.currency
    text += (
        f"Your kit stays the best in {best} of {sureness.draws} worlds drawn to fit your guesses; in the worst of "
        f"them, another is better by {money(sureness.worst_regret, currency)}. Knowing every number before you buy "
        f"would be worth {_worth(currency, sureness.mean_regret, sureness.mean_regret_se)} on average"
    )
    told = sureness.worth_telling(NUMBERS_TOLD)
    if not sureness.groups:
        return f"{text}. Which guesses that hangs on takes more draws to tell.{_better_kit(scenario, sureness)}"
    if not told:
        return f"{text}. No single number stands out as worth checking.{_better_kit(scenario, sureness)}"
    first, *others = told
    text += (
        f". Of single numbers, most worth checking is {spoken_number(scenario, first.number)}, which you put at "
        f"{_figures(first.guess)}: checking it before you buy is worth "
        f"{_worth(currency, first.evppi, first.evppi_se)}{_flips(scenario, sureness.kit, first)}."
    )
    if others:
        names = [
            f"{spoken_number(scenario, one.number)} ({money(one.evppi, currency)}{_flips(scenario, sureness.kit, one)})"
            for one in others[:2]
        ]
        text += f" Next: {listed(names, last='and')}."
    return text + _idle_groups(sureness, currency) + _better_kit(scenario, sureness)


def _worth(currency: str, amount: float, error: float | None) -> str:
    spread = plus_minus(error)
    return f"at most {money(amount, currency)}" + (f" ({spread})" if spread else "")


def _figures(value: float) -> str:
    return f"{value:.3g}"


def _flips(scenario: Scenario, kit: Kit, one: NumberWorth) -> str:
    """Where the kit flips, as a clause behind a colon or a comma; nothing where that is not known."""
    clauses = []
    for way, value, other in (("below", one.flips_below, one.kit_below), ("above", one.flips_above, one.kit_above)):
        if value is not None and other is not None:
            clauses.append(f"{way} {_figures(value)} {_change(scenario, kit, other)} would be better")
    return f"; {listed(clauses, last='and')}" if clauses else ""


def _change(scenario: Scenario, kit: Kit, other: Kit) -> str:
    new, gone = (listed(in_order(scenario, one), last="and") for one in (other - kit, kit - other))
    if new and gone:
        return f"{new} instead of {gone}"
    return f"{new} as well" if new else f"the kit without {gone}"


def _idle_groups(sureness: Sureness, currency: str) -> str:
    """Groups that nobody need know better."""
    idle = [one for one in sureness.groups if one.evppi <= max(one.evppi_se, HALF_A_CENT)]
    if not idle or len(idle) == len(sureness.groups):
        return ""
    return f" Nobody need know better {listed([GROUPS[one.group] for one in idle], last='or')}."


def _better_kit(scenario: Scenario, sureness: Sureness) -> str:
    if sureness.better_kit is None or sureness.better_by is None:
        return ""
    spread = plus_minus(sureness.better_by_se)
    return (
        f" Averaged over all these worlds, {_change(scenario, sureness.kit, sureness.better_kit)} would be better by "
        f"{money(sureness.better_by, scenario.currency)} ({spread}), though not under the guesses themselves."
    )


def sureness_lines(scenario: Scenario, sureness: Sureness) -> list[str]:
    """How sure a kit is when all guesses are doubted, as lines of a plan."""
    lines = ["", "If your guesses are wrong", *wrapped(sureness_sentences(scenario, sureness), "  ")]
    often = [(guard, share) for guard, share in sureness.guards if share > 0.0]
    rows = [(guard, percent(share)) for guard, share in sorted(often, key=lambda pair: -pair[1])]
    if rows:
        lines += table(("guard", "in the best kit"), rows)
    if any(one.evppi > 0.0 for one in sureness.groups):
        worth = f"worth ({scenario.currency})"
        lines += ["", *wrapped("What it would be worth to know all numbers of a group before buying:", "  ")]
        lines += table(
            ("group", worth, ""),
            [(GROUPS[one.group], number(one.evppi), plus_minus(one.evppi_se)) for one in sureness.groups],
        )
    told = sureness.worth_telling(NUMBERS_TOLD)
    if told:
        lines += ["", *wrapped("Single numbers most worth checking:", "  ")]
        for one in told:
            lines += wrapped(_number_sentence(scenario, sureness.kit, one), "    ", "  - ")
    return lines


def _number_sentence(scenario: Scenario, kit: Kit, one: NumberWorth) -> str:
    worth = f"worth {money(one.evppi, scenario.currency)} ({plus_minus(one.evppi_se)})"
    span = f"{_figures(one.low)} to {_figures(one.high)}, nine chances in ten"
    return (
        f"{spoken_number(scenario, one.number)} ({one.number.address}), put at {_figures(one.guess)} ({span}): "
        f"{worth}{_flips(scenario, kit, one)}."
    )
