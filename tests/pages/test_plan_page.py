"""Pages without a browser: what is in them, what is kept out of them, and how they get their place on disk."""

from __future__ import annotations

import re
from dataclasses import replace
from html import escape, unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from folders import edited, write_folder
from made_pages import page_of
from shipped import NAMES

from guardopt.errors import OutOfTimeError
from guardopt.loading.load import load
from guardopt.model.scenario import Scenario
from guardopt.optimization.benders import Planner
from guardopt.questions.bench import Bench
from guardopt.questions.budgets import budgets
from guardopt.questions.plan import plan
from guardopt.words import money

pytest.importorskip("jinja2")
pytest.importorskip("matplotlib")

from guardopt.pages.page_steps import on_fresh_falls, steps_in_words
from guardopt.pages.plan_page import plan_page

PAGES = [*NAMES, "small_twin"]

VOID = {"meta", "input", "link", "br", "img", "hr"}
"""Elements of HTML that have no end."""

ADDRESSES = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
"""Names of the languages that drawings are written in; nobody fetches them."""


class Nesting(HTMLParser):
    """Follows the nesting of elements, and keeps every id, reference and address."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.referred: list[str] = []
        self.addresses: list[str] = []
        self.tags: set[str] = set()
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Open an element."""
        self.tags.add(tag)
        for name, value in attrs:
            assert not name.startswith("on"), f"{name} runs a script"
            if name == "id":
                self.ids.append(value or "")
            elif name in ("for", "aria-labelledby", "aria-describedby"):
                self.referred += (value or "").split()
            elif name in ("href", "xlink:href", "src", "action", "data"):
                self.addresses.append(value or "")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Open and close an element at once."""
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        """Close the element that was opened last, and no other."""
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag


def bench_of(folder: Path, **overrides: str) -> Bench:
    """The tiny scenario, varied, on a bench."""
    return Bench(load(write_folder(folder, **overrides)))


def page_for(bench: Bench, **options: Any) -> str:
    """The page of a plan without more ado."""
    return plan_page(bench, plan(bench, **options))


def text_of(html: str) -> str:
    """The words of a page, one blank between them."""
    body = re.sub(r"<(script|style)\b.*?</\1>|<[^>]*>", " ", html[html.index("<body>") :], flags=re.DOTALL)
    return " ".join(unescape(body).split())


@pytest.mark.parametrize("name", PAGES)
def test_it_is_well_formed(name: str) -> None:
    """Every element is closed in its turn, no id comes twice, and what refers to an id finds it."""
    page = Nesting(page_of(name).html)
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    assert set(page.referred) <= set(page.ids)
    assert {"main", "h1", "table", "svg", "output"} <= page.tags


@pytest.mark.parametrize("name", PAGES)
def test_it_can_be_sent_by_mail_and_read_without_a_network(name: str) -> None:
    """It is below a megabyte and a half, and no address in it is that of anything outside."""
    html = page_of(name).html
    assert len(html.encode()) < 1_500_000
    page = Nesting(html)
    assert all(address.startswith("#") and address[1:] in page.ids for address in page.addresses)
    assert set(re.findall(r"https?://[^\s\"'<>)]*", html)) <= ADDRESSES
    assert not re.search(r"url\((?!#)|@import", html)
    assert not page.tags & {"iframe", "object", "embed", "base", "form", "img", "link"}


def test_it_says_the_same_every_time() -> None:
    """Two people who make the page of the same plan hold the same page."""
    made = page_of("small_twin")
    assert plan_page(Bench(made.plan.scenario), made.plan) == made.html


@pytest.mark.parametrize("name", NAMES)
def test_whose_data_it_is_stands_at_its_top(name: str) -> None:
    """A shipped scenario is invented, and its page says so; every page says that the data are the owner's."""
    words = text_of(page_of(name).html)
    assert "(invented" in words[:200]
    assert "are what was entered" in words[:400]


def test_cautions_are_on_it() -> None:
    """Guards are for the machine; brakes and steering are for a mechanic; rules, maker and insurer come first."""
    words = text_of(page_of("courier").html)
    for caution in ("Guards protect the machine, not the rider", "qualified mechanic", "vehicle rules", "estimates"):
        assert caution in words


def test_it_says_which_guards_lose_and_why_there_is_no_drawing() -> None:
    """A guard of the kit that saves less than it costs is named; parts without places are no mystery."""
    tourer, twin = page_of("tourer"), page_of("small_twin")
    assert len(tourer.plan.losing) == 2
    said = "save less than they cost over the years: leave them out if every guard"
    assert said in text_of(tourer.html)
    assert all(name.split(".")[0].replace("_", " ") in text_of(tourer.html).lower() for name in tourer.plan.losing)
    assert f"{tourer.plan.ahead:,.0f} of it left once the guards are paid" in text_of(tourer.html)
    assert "give them places in the columns x and y of parts.csv" in text_of(twin.html)
    assert "give them places" not in text_of(tourer.html)


def hostile(scenario: Scenario, bad: str) -> Scenario:
    """The scenario with a title, currency and ids that would be markup if they were let."""
    names = {name: f"{bad}{name}" for name in ("tank", "radiator", "tip_over", "radiator_grille", "crash_bar")}

    def new(name: str) -> str:
        return names.get(name, name)

    def renamed(one: Any, *fields: str) -> Any:
        return replace(one, **{field: new(getattr(one, field)) for field in fields if getattr(one, field)})

    return replace(
        scenario,
        title=f"{bad} {scenario.title}",
        parts=tuple(replace(renamed(one, "id", "row"), note=f"{bad} noted") for one in scenario.parts),
        guards=tuple(renamed(one, "id", "row") for one in scenario.guards),
        falls=tuple(renamed(one, "id") for one in scenario.falls),
        covers=tuple(
            replace(renamed(one, "part", "fall"), guards=tuple(map(new, one.guards))) for one in scenario.covers
        ),
        hits={(new(fall), new(part)): chance for (fall, part), chance in scenario.hits.items()},
        knock_ons=tuple(renamed(one, "part", "takes") for one in scenario.knock_ons),
        offers=tuple(replace(one, guards=frozenset(map(new, one.guards))) for one in scenario.offers),
    )


@pytest.mark.parametrize("placed", [False, True])
def test_ids_and_titles_are_text_and_nothing_else(placed: bool, tmp_path: Path) -> None:
    """Whatever a scenario's words hold, they are read as words: in tables, sentences, figures, drawing and data."""
    bad = "</script><script>alert(1)</script></title></style><img src=x onerror=a()>\" onfocus='a()' &lt;b {{ 7 * 7 }} $x$ <!--"
    scenario = hostile(load(write_folder(tmp_path)), bad)
    if placed:
        scenario = replace(scenario, parts=tuple(replace(part, x=500.0, y=500.0) for part in scenario.parts))
    html = page_for(Bench(scenario))
    page = Nesting(html)
    assert page.open == []
    assert "img" not in page.tags
    assert html.count("<script") == page_of("small_twin").html.count("<script")
    plain = html.replace("&#34;", '"').replace("&#39;", "'")
    assert f"<h1>{escape(scenario.title, quote=False)}</h1>" in plain
    assert plain.count(f"<small>{escape(bad, quote=False)} noted</small>") == len(scenario.parts)
    assert len(page.ids) == len(set(page.ids))


def test_forced_guards_are_told_as_wishes(tmp_path: Path) -> None:
    """At every budget of the page, what was asked for is in and what was ruled out is out, by the owner's word."""
    bench = bench_of(tmp_path)
    forced = {"must": ["radiator_grille"], "never": ["case_cover"]}
    made = plan(bench, **forced)
    words = steps_in_words(
        bench.planner, made, budgets(bench, **forced), frozenset({"radiator_grille"}), frozenset({"case_cover"})
    )
    order = [guard.id for guard in bench.scenario.guards]
    for step in words[:-1]:
        if step.kit != made.kit:
            assert "In because you asked for it" in step.reasons[order.index("radiator_grille")]
            assert step.reasons[order.index("case_cover")].startswith("Out because you ruled it out.")
    assert Nesting(plan_page(bench, made, **forced)).open == []


@pytest.mark.parametrize("name", ["courier", "track_day"])
def test_every_step_says_what_its_kit_does(name: str) -> None:
    """The cost of each step is that of its kit on the planning falls, and each saving is the difference it makes."""
    made = page_of(name)
    scenario = made.plan.scenario
    planner = Bench(scenario).planner
    words = steps_in_words(planner, made.plan, on_fresh_falls(planner, made.plan, made.curve), frozenset(), frozenset())
    more = made.plan.fitted.cost_over_years - cost_of(planner, scenario, made.plan.kit)
    assert [step.budget_cents for step in words] == [step.budget_cents for step in made.curve.steps]
    checked = 0
    for step in words:
        cost = cost_of(planner, scenario, step.kit)
        assert step.cost_over_years == pytest.approx(cost + more)
        for guard, reason in zip(scenario.guards, step.reasons, strict=True):
            said = re.match(rf"Costs [^;]+; saves {scenario.currency} ([\d,.]+) over ", reason)
            if guard.id in step.kit and said and "This counts" not in reason:
                saved = cost_of(planner, scenario, step.kit - {guard.id}) - cost
                assert float(said[1].replace(",", "")) == pytest.approx(saved, abs=0.5 if saved > 99.0 else 0.005)
                checked += 1
    assert checked > len(words)


def cost_of(planner: Planner, scenario: Scenario, kit: frozenset[str]) -> float:
    """What falls cost over the years on the planning falls, no dislike counted."""
    return planner.measure("cost", kit) - scenario.dislike(kit)


def test_a_bike_with_guards_on_is_compared_as_it_stands(tmp_path: Path) -> None:
    """What the owner has already is not bought again, and savings are counted from the bike as it stands."""
    html = page_for(bench_of(tmp_path, **edited("guards", "engine,,,,,no,4", "engine,,,,,yes,4")))
    words = text_of(html)
    assert re.search(r"instead of EUR [\d.,]+ now", words)
    assert "yours" in words
    assert "Already yours" in html


def test_money_that_buys_nothing_is_said_so(tmp_path: Path) -> None:
    """With no budget the answer is to buy nothing, and the slider starts there."""
    bench = bench_of(tmp_path, **edited("scenario", "budget = 300.0", "budget = 0.0"))
    words = text_of(page_for(bench))
    assert "The answer Buy nothing: within EUR 0.00 no guard improves on the bike as it is now." in words
    assert "With a budget of EUR 0.00" in words
    assert "EUR 0.00 nothing" in words


def test_a_curve_of_one_kit_has_no_slider(tmp_path: Path) -> None:
    """Where nothing can be bought there is nothing to slide, and the page is sound all the same."""
    bench = bench_of(tmp_path)
    everything = [guard.id for guard in bench.scenario.guards]
    html = plan_page(bench, plan(bench, never=everything), never=everything)
    page = Nesting(html)
    assert "slider" not in page.ids
    assert page.open == []
    assert "One kit is best at every budget." in text_of(html)


def test_without_time_for_the_curve_the_plan_is_told_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page has the answer and its reasons, and says what it lacks."""

    def late(*_: Any, **__: Any) -> None:
        raise OutOfTimeError("too short")

    monkeypatch.setattr("guardopt.pages.plan_page.budgets", late)
    bench = bench_of(tmp_path)
    made = replace(plan(bench), steps=())
    html = plan_page(bench, made)
    assert Nesting(html).open == []
    words = text_of(html)
    assert "There was no time to find the best kit for every budget" in words
    assert words.count("over 3 years") > len(made.kit)


@pytest.mark.parametrize(
    "options", [{"reasons": False}, {"aim": "outlay", "break_even": True}, {"aim": "worst", "sure": 20}]
)
def test_every_kind_of_plan_has_a_page(options: dict[str, Any], tmp_path: Path) -> None:
    """Whatever was asked of the plan, each guard has a reason on its page."""
    html = page_for(bench_of(tmp_path), **options)
    assert Nesting(html).open == []
    reasons = re.findall(r'class="why">([^<]*)</td>', html)
    assert len(reasons) == 5
    assert all(reasons)


def test_reasons_at_the_planned_budget_are_those_of_the_plan() -> None:
    """Each guard has the sentence of the plan with the same numbers in it; only ids are said aloud."""
    made = page_of("courier")
    said = dict(re.findall(r'data-id="([^"]*)">.*class="why">([^<]*)</td>', made.html))
    assert len(said) == len(made.plan.verdicts)
    for verdict, text in made.plan.verdicts:
        assert re.findall(r"[\d.,]*\d", said[verdict.guard]) == re.findall(r"[\d.,]*\d", text)


def test_sentences_begin_with_a_capital_letter() -> None:
    """Ids begin with a small letter; sentences on a page do not."""
    for name in ("tourer", "small_twin"):
        reasons = re.findall(r'class="why">([^<]*)</td>', page_of(name).html)
        assert reasons
        for reason in reasons:
            assert not re.search(r"^[a-z]|\. [a-z]", reason), reason


@pytest.mark.parametrize("name", PAGES)
def test_parts_that_wait_are_marked_and_how_often_they_are_put_right_is_said(name: str) -> None:
    """Every row of a part that waits says so, and no other; the small twin's parts do not wait."""
    page = page_of(name)
    waiting = {part.id for part in page.plan.scenario.parts if part.waits}
    rows = re.findall(r'<th scope="row">([^<]+)<small>waits</small></th>', page.html)
    shown = {
        part.id for part, paid in zip(page.plan.scenario.parts, page.plan.bare.part_bill_per_year, strict=True) if paid
    }
    assert len(rows) == len(waiting & shown)
    assert ("is put right " in text_of(page.html)) == bool(waiting)


@pytest.mark.parametrize("name", PAGES)
def test_bills_of_single_falls_and_what_waits_come_to_what_falls_cost_a_year(name: str) -> None:
    """The table, times how often, and the sum below it are the headline; nothing above the cap goes unexplained."""
    page = page_of(name)
    scenario, words = page.plan.scenario, text_of(page.html)
    for bill in (page.plan.bare, page.plan.fitted):
        singly = sum(
            fall.per_year * float(bill.owner_cost[row] + bill.renewals[row] + bill.off_road[row])
            for row, fall in enumerate(scenario.falls)
        )
        waited = bill.yearly_cost - singly
        assert (waited > 0.005) == scenario.waits
        if scenario.waits:
            assert (
                f"{money(waited, scenario.currency)} a year"
                in words.partition("Damage that you leave for later is not in these")[2]
            )
    beyond = page.plan.bare.off_road.any() or any(guard.lasts_falls for guard in scenario.guards)
    assert ("cost comes on top" in words) == bool(beyond)
