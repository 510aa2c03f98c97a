"""Doubts about a plan in words: how sure a kit is, and from how many falls on a guard is worth its price."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from folders import write_folder

import guardopt
from guardopt.doubt.doubtful_numbers import Beliefs, doubtful_numbers
from guardopt.doubt.sureness_result import GroupWorth, NumberWorth, Sureness
from guardopt.model.scenario import Scenario
from guardopt.questions.bench import Bench
from guardopt.questions.break_even import BreakEven
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.reports.question_text import break_even_lines
from guardopt.reports.sureness_text import spoken_number, sureness_lines, sureness_sentences


@cache
def made() -> Scenario:
    """The small twin."""
    with TemporaryDirectory() as folder:
        return guardopt.load(write_folder(Path(folder)))


@pytest.fixture
def twin() -> Scenario:
    """The small twin."""
    return made()


def in_one_line(text: str) -> str:
    """A report as one line, so that sentences can be looked for wherever they were wrapped."""
    return " ".join(text.split())


def worth(address: str, evppi: float, **rest: Any) -> NumberWorth:
    """What a number of the small twin is worth knowing, give or take half as much."""
    scenario = made()
    one = next(one for one in doubtful_numbers(scenario, Beliefs()) if one.address == address)
    return NumberWorth(one.number, one.guess, 0.9 * one.guess, 1.1 * one.guess, evppi, evppi / 2.0, **rest)


GRILLE_ON = frozenset({"radiator_grille"})

DOUBTED = Sureness(
    50,
    50,
    0.7,
    0.06,
    1.5,
    0.4,
    33.3,
    kit=frozenset(),
    groups=(GroupWorth("prices", 9, 0.0, 0.0), GroupWorth("holds", 4, 1.0, 0.3)),
)


@pytest.mark.parametrize(
    ("sureness", "told"),
    [
        (Sureness(50, 0), "the time ran out before the kit was tried under any others."),
        (Sureness(1, 1, 1.0, 0.0, 0.0, None, 0.0), "Your kit stays the best in the one world drawn"),
        (
            Sureness(50, 50, 1.0, 0.0, 0.0, 0.0, 0.0),
            "in all 50 worlds drawn to fit your guesses: nothing need be known",
        ),
        (Sureness(50, 7, 1.0, 0.0, 0.0, 0.0, 0.0), "The time ran out after 7 of 50 sets of other numbers. Your kit"),
        (
            DOUBTED,
            "Your kit stays the best in 35 of 50 worlds drawn to fit your guesses; in the worst of them, another is "
            "better by EUR 33.30. Knowing every number before you buy would be worth at most EUR 1.50 (± 0.40) on "
            "average. No single number stands out as worth checking.",
        ),
        (replace(DOUBTED, better_kit=GRILLE_ON, better_by=4.0, better_by_se=1.0), "radiator_grille as well would be"),
    ],
)
def test_sureness_in_sentences(sureness: Sureness, told: str, twin: Scenario) -> None:
    """Fewer draws than asked for are said to be fewer, and no draws are no answer."""
    assert told in sureness_sentences(twin, sureness)
    assert told in in_one_line("\n".join(sureness_lines(twin, sureness)))
    assert ("time ran out" in told) == ("time ran out" in sureness_sentences(twin, sureness))


def test_the_number_most_worth_checking_is_told_with_where_the_kit_flips(twin: Scenario) -> None:
    """In words, with its value and the kit behind it; what nobody need know better is said as well."""
    first = worth("covers.case_cover.engine_case.holds", 9.0, flips_below=0.62, kit_below=GRILLE_ON, is_searched=True)
    told = sureness_sentences(twin, replace(DOUBTED, numbers=(first, worth("falls.tip_over.per_year", 2.0))))
    assert "most worth checking is how often case_cover holds for engine_case, which you put at" in told
    assert "worth at most EUR 9.00 (± 4.50); below 0.62 radiator_grille as well would be better." in told
    assert "Next: how many falls of the kind tip_over there are a year (EUR 2.00)." in told
    assert "Nobody need know better prices of parts and hours." in told
    lines = in_one_line("\n".join(sureness_lines(twin, replace(DOUBTED, numbers=(first,)))))
    assert "(covers.case_cover.engine_case.holds), put at 0.6 (0.54 to 0.66, nine chances in ten): worth" in lines
    assert "below 0.62" in lines


def test_every_number_has_words(twin: Scenario) -> None:
    """No two numbers are said in the same words."""
    words = [spoken_number(twin, one.number) for one in doubtful_numbers(twin, Beliefs())]
    assert len(set(words)) == len(words)


def test_guards_of_the_best_kits_are_listed_by_how_often(twin: Scenario) -> None:
    """Those in no best kit are left out."""
    found = Sureness(10, 10, 0.5, 0.1, 1.0, 0.1, 3.0, (("case_cover", 0.2), ("crash_bar", 0.0), ("lever_guard", 1.0)))
    lines = [line.split() for line in sureness_lines(twin, found)][-3:]
    assert lines == [["guard", "in", "the", "best", "kit"], ["lever_guard", "100", "%"], ["case_cover", "20", "%"]]


def test_break_even_tells_never_from_unknown(twin: Scenario) -> None:
    """What the time did not suffice for is no "never", and is said to be for want of time."""
    found = dict.fromkeys((guard.id for guard in twin.guards), BreakEven(0.25, None))
    assert "time ran out" not in in_one_line("\n".join(break_even_lines(twin, found)))
    found |= {
        "crash_bar": BreakEven(None, None),
        "case_cover": BreakEven(None, None, is_known=False),
        "radiator_grille": BreakEven(0.5, 2.0),
    }
    lines = break_even_lines(twin, found)
    rows = {row[0]: row[1:] for row in map(str.split, lines) if row and row[0] in found}
    assert rows == {
        "lever_guard.left": ["0.25", "x"],
        "lever_guard.right": ["0.25", "x"],
        "crash_bar": ["never", "within", "the", "budget"],
        "case_cover": ["unknown", "unknown"],
        "radiator_grille": ["0.50", "x", "2.00", "x"],
    }
    assert "The time ran out before those marked unknown were found out." in in_one_line("\n".join(lines))


def test_a_page_tells_doubts_as_the_text_does(twin: Scenario) -> None:
    """The same sentences and the same words for what is not known."""
    pytest.importorskip("jinja2")
    pytest.importorskip("matplotlib")
    from guardopt.pages.plan_page import plan_page

    made = plan(twin, reasons=False, sure=5, break_even=True)
    assert made.break_even is not None
    late: Plan = replace(
        made,
        sureness=Sureness(5, 0),
        break_even=dict.fromkeys(made.break_even, BreakEven(None, None, is_known=False)),
    )
    page = plan_page(Bench(twin), late, must=(), never=())
    assert sureness_sentences(twin, Sureness(5, 0)) in page
    assert "unknown" in page
