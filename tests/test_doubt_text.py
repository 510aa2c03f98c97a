"""Doubts about a plan in words: how sure a kit is, and from how many falls on a guard is worth its price."""

from __future__ import annotations

from dataclasses import replace

import pytest
from folders import write_folder

import guardopt
from guardopt.break_even import BreakEven
from guardopt.planned import Plan
from guardopt.plans import plan
from guardopt.question_text import break_even_lines, sureness_lines, sureness_sentences
from guardopt.scenario import Scenario
from guardopt.sureness import Sureness
from guardopt.workbench import Workbench


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


def in_one_line(text: str) -> str:
    """A report as one line, so that sentences can be looked for wherever they were wrapped."""
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("sureness", "told"),
    [
        (Sureness(50, 0), "the time ran out before the kit was tried under any other."),
        (Sureness(1, 1, 1.0, 0.0, 0.0, None, 0.0), "Of 1 other set of rates, drawn as doubtful as watched_years says,"),
        (Sureness(50, 50, 1.0, 0.0, 0.0, 0.0, 0.0), "this kit stays the best under every one."),
        (Sureness(50, 7, 1.0, 0.0, 0.0, 0.0, 0.0), "The time ran out after 7 of 50 sets. Of 7 other sets"),
        (
            Sureness(50, 50, 0.9, 0.0424, 1.5, 0.4, 33.3),
            "stays the best under 90 % (± 4 %). Where it does not, the best kit is better by EUR 33.30 at most, and by "
            "EUR 1.50 on average over all sets.",
        ),
    ],
)
def test_sureness_in_sentences(sureness: Sureness, told: str, twin: Scenario) -> None:
    """Fewer draws than asked for are said to be fewer, and no draws are no answer."""
    assert told in sureness_sentences(twin, sureness)
    assert told in in_one_line("\n".join(sureness_lines(twin, sureness)))
    assert ("time ran out" in told) == ("time ran out" in sureness_sentences(twin, sureness))


def test_guards_of_the_best_kits_are_listed_by_how_often(twin: Scenario) -> None:
    """Those in no best kit are left out."""
    found = Sureness(10, 10, 0.5, 0.1, 1.0, 0.1, 3.0, (("case_cover", 0.2), ("crash_bar", 0.0), ("lever_guard", 1.0)))
    lines = [line.split() for line in sureness_lines(twin, found)[-3:]]
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
        "crash_bar": ["never"],
        "case_cover": ["unknown", "unknown"],
        "radiator_grille": ["0.50", "x", "2.00", "x"],
    }
    assert "The time ran out before those marked unknown were found out." in in_one_line("\n".join(lines))


def test_a_page_tells_doubts_as_the_text_does(twin: Scenario) -> None:
    """The same sentences and the same words for what is not known."""
    pytest.importorskip("jinja2")
    pytest.importorskip("matplotlib")
    from guardopt.page import plan_page

    made = plan(twin, reasons=False, sure=5, break_even=True)
    assert made.break_even is not None
    late: Plan = replace(
        made,
        sureness=Sureness(5, 0),
        break_even=dict.fromkeys(made.break_even, BreakEven(None, None, is_known=False)),
    )
    page = plan_page(Workbench(twin), late, must=(), never=())
    assert sureness_sentences(twin, Sureness(5, 0)) in page
    assert "unknown" in page
