"""Reports for a terminal: the answer first, eighty plain columns, the cautions at the end, and the numbers of the JSON."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from folders import SMALL_TWIN, write_folder
from shipped import MEASURED, NAMES, shipped, shipped_plan

import guardopt
from guardopt.model.pieces import Cover, Guard, Insurance, Part, Side
from guardopt.model.scenario import Scenario
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.reports.bill_text import bill_text
from guardopt.reports.check_text import check_text
from guardopt.reports.layout import table
from guardopt.reports.plan_answer import answer_text, why_text
from guardopt.reports.plan_text import plan_text
from guardopt.writing.starter import write_starter

CAUTIONS = (
    "Guards protect the machine, not the rider",
    "evidence on rider injury is",
    "a qualified mechanic",
    "come first.",
    "numbers are estimates",
)


@pytest.fixture(scope="module")
def starter(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The starter, on few falls."""
    folder = tmp_path_factory.mktemp("starter") / "mine"
    write_starter(folder)
    return guardopt.load(folder, {"scenario.sampling.falls": 200})


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The small twin."""
    return guardopt.load(write_folder(tmp_path_factory.mktemp("twin")))


def one_paragraph(text: str) -> str:
    """A report without its line breaks."""
    return " ".join(text.split())


def is_fit_for_a_terminal(text: str) -> bool:
    """At most eighty columns, no character that a terminal acts on, no blanks at line ends, cautions included."""
    said = one_paragraph(text)
    return (
        all(len(line) <= 80 and line == line.rstrip() for line in text.split("\n"))
        and text.replace("\n", "").isprintable()
        and all(caution in said for caution in CAUTIONS)
    )


def rows_below(text: str, heading: str) -> list[list[str]]:
    """The rows of the table below a heading, header lines included, as words; notes in brackets left out."""
    lines = text.split("\n")
    start = next(row for row, line in enumerate(lines) if line.startswith(heading)) + 1
    end = next(row for row in range(start, len(lines)) if not lines[row])
    rows = [re.split(r"\s{2,}", line.strip()) for line in lines[start:end]]
    return [row for row in rows if len(row) > 2]


def says(word: str, amount: float) -> bool:
    """Whether a number in a table is this amount, rounded."""
    decimals = len(word.partition(".")[2])
    return abs(float(word.replace(",", "")) - amount) <= 0.5 * 10.0**-decimals + 1e-9


def says_chance(word: str, chance: float) -> bool:
    """Whether a percentage is this chance, rounded, but never to none or all."""
    if word == "under 1 %":
        return 0.0 < chance < 0.01
    if word == "over 99 %":
        return 0.99 < chance < 1.0
    return abs(int(word.removesuffix(" %")) - 100 * chance) <= 0.5 + 1e-9


@pytest.mark.parametrize("name", NAMES)
def test_reports_on_shipped_scenarios_fit_a_terminal(name: str) -> None:
    """Check, bill and plan."""
    made = shipped_plan(name)
    assert is_fit_for_a_terminal(check_text(shipped(name)))
    assert is_fit_for_a_terminal(bill_text(guardopt.bill(replace(shipped(name), falls_sampled=50))))
    assert is_fit_for_a_terminal(plan_text(made))


def test_reports_on_the_starter_fit_a_terminal(starter: Scenario) -> None:
    """So does what a beginner sees first."""
    assert is_fit_for_a_terminal(check_text(starter))
    assert is_fit_for_a_terminal(bill_text(guardopt.bill(starter, [])))
    assert is_fit_for_a_terminal(plan_text(plan(starter)))


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_begins_with_the_answer(name: str) -> None:
    """What to buy, for how much of the budget, what falls cost before and after, and what is still at risk."""
    made = shipped_plan(name)
    said = made.to_json()
    short, whole = (text.partition("\n\n")[0] for text in (answer_text(made), plan_text(made)))
    assert short == whole
    assert 8 <= len(short.splitlines()) - 2 <= 15
    answer = one_paragraph(short)
    currency = said["currency"]
    assert answer.startswith(f"{said['scenario']} {'=' * len(said['scenario'])} Buy {said['buy'][0].partition('.')[0]}")
    assert all(guard.partition(".")[0] in answer for guard in said["buy"])
    assert f"{currency} {said['spend']:.2f} of a budget of {currency} {said['budget']:.2f}." in answer
    before, after = (f"{currency} {said[bike]['yearly_cost']:,.0f}" for bike in ("stock", "fitted"))
    assert f"Falls then cost least, {after} a year instead of {before}: " in answer
    assert f"{currency} {said['saving_over_years']:,.0f} less over" in answer
    assert f"Still at risk: {currency} {said['fitted']['cost_over_years']:,.0f} over" in answer
    assert f"Check first how well {said['check_first']} holds: " in answer


@pytest.mark.parametrize("name", [*NAMES, MEASURED, "shop/roadster", "shop/dual_purpose"])
def test_an_answer_is_forty_five_lines_of_eighty_columns(name: str) -> None:
    """For about twenty guards; tables, cautions and all."""
    lines = answer_text(shipped_plan(name)).splitlines()
    assert len(lines) <= 45
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("name", NAMES)
def test_rows_of_the_answer_say_what_its_json_says(name: str) -> None:
    """Prices, savings, what is left, and the budget or the price at which a guard is in."""
    made = shipped_plan(name)
    records = {record["guard"]: record for record in made.to_json()["guards"]}
    picked, left_out = ([one for one, _ in made.verdicts if one.picked is is_in] for is_in in (True, False))
    rows = rows_below(answer_text(made), "  in the kit")
    for words, one in zip(rows, picked, strict=True):
        record = records[one.guard]
        assert words[1] == ("yours" if record["reason"] == "owned" else f"{record['spend']:,.2f}")
        assert says(words[2], record["loss_if_dropped"])
        if record["reason"] != "owned":
            assert says(words[3], record["left_once_paid"])
    rows = rows_below(answer_text(made), "  left out")
    for words, one in zip(rows, left_out, strict=True):
        record = records[one.guard]
        assert words[2] == ("yours" if made.scenario.guard[one.guard].owned else f"{record['spend']:,.2f}")
        assert says(words[3], record["would_save"])
        budget, price = record["next_entry_budget"], record["enters_at_price"]
        expected = [f"budget {budget:,.2f}"] if budget else [f"price {price:,.2f}"] if price else []
        assert words[4:] == ([] if one.would_not_pay else expected)


@pytest.mark.parametrize("name", NAMES)
def test_why_tells_one_guards_story_alone(name: str) -> None:
    """The sentence of the JSON, and of no other guard."""
    made = shipped_plan(name)
    for verdict, text in made.verdicts:
        said = one_paragraph(why_text(made, [verdict.guard]))
        assert text in said
        assert f"{verdict.guard}: " in said
        assert not any(f" {other.guard}: " in said for other, _ in made.verdicts if other is not verdict)


def test_the_closest_call_is_where_a_kit_without_the_guard_does_as_well(make_scenario: Callable[..., Scenario]) -> None:
    """By hand: a bar spares 100 and a pad in the same slot 94, so the bar may save 6 % less before the pad is as good."""
    tank, seat = Part("tank", "tank", Side.CENTRE, 100.0), Part("seat", "seat", Side.CENTRE, 94.0)
    guards = [Guard(name, name, Side.CENTRE, 2000, slot="side") for name in ("bar", "pad")]
    covers = [Cover(("bar",), "tank", 1.0), Cover(("pad",), "seat", 1.0)]
    made = plan(make_scenario([tank, seat], guards, covers))
    assert made.closest_call is not None
    assert made.closest_call.guard == "bar"
    assert made.closest_call.least_shortfall == pytest.approx(0.06)
    assert "Check first how well bar holds: if it saves 6 % less, pad is as good." in headline(made)


@pytest.mark.parametrize("name", NAMES)
def test_every_guard_has_its_sentence(name: str) -> None:
    """Under the kit those picked, under the left-out ones the others with their reason."""
    made = shipped_plan(name)
    kit, _, left_out = plan_text(made).partition("\nLeft out\n")
    for record in made.to_json()["guards"]:
        label = record["reason"].replace("_", " ")
        head = record["guard"] if record["picked"] else f"{record['guard']} ({label})"
        said = one_paragraph(kit if record["picked"] else left_out)
        assert f"{head} {record['text']}" in said


@pytest.mark.parametrize("name", NAMES)
def test_tables_of_a_plan_say_what_its_json_says(name: str) -> None:
    """Bills, payments and chances of being written off, with the bike as it stands and with the kit."""
    made = shipped_plan(name)
    _, header, *rows = rows_below(plan_text(made), "One fall of each kind")
    before = "now" if made.scenario.stock else "bare"
    assert header == ["fall", "a year", *(before, "with kit") * 3]
    for words, record in zip(rows, made.to_json()["falls"], strict=True):
        bikes = record["stock"], record["fitted"]
        assert words[:2] == [record["fall"], f"{record['per_year']:g}"]
        assert all(says(word, bike["repair_bill"]) for word, bike in zip(words[2:4], bikes, strict=True))
        paid = [bike["owner_cost"] + bike["renewals"] + bike.get("off_road", 0.0) for bike in bikes]
        assert all(says(word, amount) for word, amount in zip(words[4:6], paid, strict=True))
        assert all(says_chance(word, bike["write_off_chance"]) for word, bike in zip(words[6:], bikes, strict=True))
    _, *rows = rows_below(plan_text(made), "Parts that still cost most")
    for words, record in zip(rows, made.parts.to_dict("records")[:8], strict=True):
        assert words[0] == record["part"]
        assert says(words[1], record["bill_per_year_stock"])
        assert says(words[2], record["bill_per_year_fitted"])
        assert says(words[4], record["harmed_per_year_fitted"])


def test_tables_of_a_bill_say_what_its_json_says(twin: Scenario) -> None:
    """Falls, and parts with the dearest first."""
    report = guardopt.bill(twin, ["crash_bar", "lever_guard"])
    said, text = report.to_json(), bill_text(report)
    _, *rows = rows_below(text, "One fall of each kind")
    for words, record in zip(rows, said["falls"], strict=True):
        assert words[:2] == [record["fall"], f"{record['per_year']:g}"]
        assert all(
            says(word, record[key])
            for word, key in zip(words[2:5], ("repair_bill", "owner_cost", "renewals"), strict=True)
        )
        assert says_chance(words[5], record["write_off_chance"])
    _, *rows = rows_below(text, "What the parts cost a year")
    dearest_first = sorted(said["parts"], key=lambda record: -record["bill_per_year"])
    for words, record in zip(rows, dearest_first, strict=True):
        assert words[0] == record["part"]
        assert says(words[1], record["harmed_per_year"])
        assert says(words[2], record["bill_per_year"])


def test_a_bill_goes_part_by_part_in_the_order_of_contact(twin: Scenario) -> None:
    """The order is that of the commonest fall, and each kind of fall has a column."""
    report = guardopt.bill(twin, [])
    header, *rows = rows_below(bill_text(report), "Part by part")
    assert header == ["part", "tip_over", "low_side"]
    assert [row[0] for row in rows] == ["lever.left", "lever.right", "engine_case", "tank", "radiator"]
    for row in rows:
        bills = [part["bill"] for fall in report.to_json()["falls"] for part in fall["parts"] if part["part"] == row[0]]
        assert all(says(word, bill) for word, bill in zip(row[1:], bills, strict=True))


def test_a_bill_says_what_is_on_the_bike(twin: Scenario) -> None:
    """The kit, or that there is none."""
    assert "The bike, bare, costs about EUR" in bill_text(guardopt.bill(twin, []))
    fitted = one_paragraph(bill_text(guardopt.bill(twin, ["lever_guard"])))
    assert "The bike, fitted with lever_guard.left and lever_guard.right, costs about EUR" in fitted


def test_a_check_says_what_the_scenario_holds(twin: Scenario) -> None:
    """Counts with both sides counted, the falls, what one can cost at most, the years and the budget."""
    said = one_paragraph(check_text(twin))
    for fact in (
        "The scenario is sound.",
        "Parts: 5, guards: 5 (0 owned), covers: 7, offers: 1, knock-ons: 1; both sides are counted.",
        "tip_over 0.6, low_side 0.2",
        "not insured against own damage; the repairs after one fall cost you at most EUR 3,200",
        "Kept for 3 years; budget for guards: EUR 300.00.",
    ):
        assert fact in said


def test_a_check_says_what_owned_guards_fetch(tmp_path: Path) -> None:
    """The number of a row is for each side, so it is told for both as well."""
    guards = SMALL_TWIN["guards"].replace("resale_share\n", "resale_share,sells_for\n")
    guards = guards.replace("12,,,,0.1,,\n", "12,,,yes,0.1,,,30\n").replace("no,4,20,0.3\n", "yes,4,20,0.3,80\n")
    said = one_paragraph(check_text(guardopt.load(write_folder(tmp_path, guards=guards))))
    sold = "lever_guard (left and right) EUR 60.00 together, crash_bar EUR 80.00"
    assert f"Guards you own that can be sold if they come off: {sold}." in said


def headline(made: Plan) -> str:
    """The lines before the first blank one, title left out."""
    return one_paragraph(plan_text(made).partition("\n\n")[0]).partition("= ")[2]


def test_nothing_to_buy_is_said_plainly(twin: Scenario) -> None:
    """Neither a saving of nothing nor a better bike is claimed."""
    made = plan(twin, budget=5)
    assert headline(made).startswith(
        "Buy nothing: within EUR 5.00 no guard improves on the bike as it is now. Falls cost about EUR "
    )
    assert "less over" not in headline(made)
    assert "\nThe kit\n  No guard.\n\nLeft out\n" in plan_text(made)
    assert "\nThe kit\n  No guard.\n\nOne fall" in plan_text(plan(twin, budget=5, reasons=False))


def test_a_budget_without_limit_is_said_to_have_none(twin: Scenario) -> None:
    """There is no amount to be of."""
    assert "with no limit to the budget. Falls then" in headline(plan(twin, budget=guardopt.NO_LIMIT))


def test_a_kit_that_costs_more_in_falls_says_so(make_scenario: Callable[..., Scenario]) -> None:
    """A forced guard that wears out faster than it saves makes falls dearer, and is not sold as a saving."""
    part, guard = Part("tank", "tank", Side.CENTRE, 100.0), Guard("bar", "bar", Side.CENTRE, 2000, wear_per_fall=150.0)
    scenario = make_scenario([part], [guard], [Cover(("bar",), "tank", 1.0)])
    assert "Falls then cost about EUR 150 a year instead of EUR 100: EUR 50.00 more over 1 year." in headline(
        plan(scenario, must=["bar"])
    )


def test_a_kit_that_saves_less_than_it_costs_comes_with_a_warning(make_scenario: Callable[..., Scenario]) -> None:
    """The aim bills spends the budget on whatever makes falls cheaper; whoever wants it to pay is told how to ask."""
    part, cover = Part("tank", "tank", Side.CENTRE, 100.0), Cover(("bar",), "tank", 1.0)

    def told(price: int, resale_share: float = 0.0, aim: str = "bills") -> str:
        bar = Guard("bar", "bar", Side.CENTRE, 100 * price, resale_share=resale_share)
        return headline(plan(make_scenario([part], [bar], [cover]), aim=aim))

    warning = "EUR 100 less over 1 year. The guards cost more than that; to have most money left in the end (aim outlay), buy nothing."
    assert warning in told(101)
    assert "EUR 100 less over 1 year, and EUR 1.00 of it is left once the guards are paid. Still" in told(99)
    assert "and EUR 12.00 of it is left once the guards are paid, resale counted." in told(110, resale_share=0.2)
    assert "The guards cost more than that, resale taken off; to have most money left in the end (aim outlay)," in told(
        150, resale_share=0.2
    )
    assert "The guards cost more" not in told(99, aim="outlay")


def test_a_guard_that_loses_in_a_kit_that_gains_is_named(make_scenario: Callable[..., Scenario]) -> None:
    """By hand: a bar of 30 spares 100 a year, a pad of 25 spares 20; the kit gains 65, the pad by itself loses 5."""
    parts = [Part("tank", "tank", Side.CENTRE, 100.0), Part("seat", "seat", Side.CENTRE, 20.0)]
    guards = [Guard("bar", "bar", Side.CENTRE, 3000), Guard("pad", "pad", Side.CENTRE, 2500)]
    covers = [Cover(("bar",), "tank", 1.0), Cover(("pad",), "seat", 1.0)]
    scenario = make_scenario(parts, guards, covers)
    made = plan(scenario)
    assert made.ahead == pytest.approx(65.0)
    assert made.losing == ["pad"]
    told = headline(made)
    assert "EUR 120 less over 1 year, and EUR 65.00 of it is left once the guards are paid." in told
    assert (
        "But pad saves less than it costs; to have most money left in the end (aim outlay), leave it out and spend EUR 30.00."
        in told
    )
    assert "saves less" not in headline(plan(scenario, aim="outlay"))
    assert "saves less" not in headline(plan(scenario, must=["pad"]))
    resold = replace(scenario, guards=(guards[0], replace(guards[1], resale_share=0.3)))
    assert plan(resold).losing == []


def test_guards_to_take_off_are_named(make_scenario: Callable[..., Scenario]) -> None:
    """An owned guard that costs more than it saves comes off, with or without anything to buy."""
    part, guard = Part("tank", "tank", Side.CENTRE, 100.0), Guard("bar", "bar", Side.CENTRE, 2000, wear_per_fall=150.0)
    scenario = make_scenario([part], [replace(guard, owned=True)], [Cover(("bar",), "tank", 1.0)])
    assert headline(plan(scenario)).startswith(
        "Buy nothing. Take off bar, which you own: renewing it costs more than it saves. Falls then cost least, EUR 100"
    )


def test_the_aim_worst_says_what_the_worst_falls_cost(twin: Scenario) -> None:
    """What was asked for is in the answer."""
    made = plan(twin, aim="worst", tail=0.2)
    assert f"The worst 20 % of falls then cost EUR {made.best.objective:,.0f} each on average." in headline(made)


def test_an_unproven_plan_says_so_in_the_answer(twin: Scenario) -> None:
    """With how much better another kit may be at most."""
    made = plan(twin, reasons=False)
    unproven = replace(made, best=replace(made.best, bound=0.9 * made.best.objective, proven=False))
    assert "another kit may be better by 10 % at most" in headline(unproven)
    assert "no allowed kit is better: that is proven" in one_paragraph(plan_text(made))
    assert "no allowed kit is better by more than EUR" in one_paragraph(plan_text(unproven))


def with_long_names(length: int) -> dict[str, str]:
    """The small twin with every id made long; left and right still differ at the end only."""
    names = ("lever_guard", "crash_bar", "case_cover", "radiator_grille", "engine_case", "tip_over", "low_side")
    names += ("radiator", "tank", "lever")
    files = {}
    for name, text in SMALL_TWIN.items():
        if name != "scenario":
            for short in names:
                text = re.sub(rf"\b{short}\b", (short + "_") * (length // len(short)), text)
        files[name] = text
    return files


@pytest.mark.parametrize("length", [24, 40, 90])
def test_long_ids_do_not_break_the_tables(tmp_path: Path, length: int) -> None:
    """Columns stay lined up and within eighty, and names are whole."""
    scenario = guardopt.load(write_folder(tmp_path, **with_long_names(length)))
    report, made = guardopt.bill(scenario), plan(scenario)
    for text in (check_text(scenario), bill_text(report), plan_text(made)):
        assert is_fit_for_a_terminal(text)
    for text, heading in ((bill_text(report), "What the parts cost"), (plan_text(made), "Parts that still")):
        rows = [line for line in text.partition(heading)[2].partition("\n\n")[0].split("\n")[1:] if "(" not in line]
        assert sum(".left" in row for row in rows) == sum(".right" in row for row in rows) == 1
    name = scenario.parts[0].id
    header, *lines = table(("part", "cost"), [(name, "1.00"), ("tank", "200")])
    assert {len(line) for line in lines if line.endswith(("1.00", "200"))} == {len(header)}
    assert "".join(line.removesuffix("1.00").strip() for line in lines[:-1]) == name


def test_what_was_noted_beside_a_part_stands_below_the_parts(tmp_path: Path) -> None:
    """Once for both sides, and only where there are notes; it is text and no more."""
    noted = SMALL_TWIN["parts"].replace("touch_up,strip_down", "touch_up,strip_down,note")
    noted = noted.replace("0.6,5,", "0.6,5,,quoted in May").replace("0.5,90,", "0.5,90,,second-hand")
    with_notes = guardopt.load(write_folder(tmp_path / "noted", parts=noted))
    without = guardopt.load(write_folder(tmp_path / "twin"))
    for report in (lambda one: bill_text(guardopt.bill(one)), lambda one: plan_text(plan(one))):
        note = "(Your notes: tank: second-hand; lever: quoted in May)"
        assert note in one_paragraph(report(with_notes))
        assert one_paragraph(report(with_notes)).replace(f" {note}", "") == one_paragraph(report(without))


def test_a_long_title_is_wrapped(twin: Scenario) -> None:
    """And underlined no wider than the page."""
    titled = replace(twin, title="A twin with a long story " * 8)
    assert is_fit_for_a_terminal(check_text(titled))
    assert check_text(titled).split("\n")[3] == "=" * 80


def test_a_bike_that_stays_bare_is_not_compared_with_a_bare_one(make_scenario: Callable[..., Scenario]) -> None:
    """With no guard on offer the days off the road are told by themselves."""
    made = plan(make_scenario([Part("tank", "tank", Side.CENTRE, 100.0, days=2.0)]))
    assert "Off the road 2 days a year." in headline(made)


@pytest.mark.parametrize(
    ("policy", "told"),
    [
        (
            Insurance(500.0),
            "an excess of EUR 500, premiums taken not to rise after a claim; the repairs after one fall",
        ),
        (Insurance(500.0, 150.0), "an excess of EUR 500, premiums dearer by EUR 150 in all after a claim; the repairs"),
    ],
)
def test_a_check_says_what_a_claim_is_taken_to_cost(policy: Insurance, told: str, twin: Scenario) -> None:
    """A blank premium rise is easily overlooked, and is hardly ever true."""
    assert told in one_paragraph(check_text(replace(twin, insurance=policy)))
