"""Pages in a real browser: what a reader sees, hears and does, with a mouse, with keys, on a telephone and on paper."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unicodedata import normalize

import pytest
from browser import DESK, TELEPHONE, Opened, Opener, barriers, why_not, windows
from made_pages import MadePage, page_of
from shipped import NAMES

from guardopt.model.pieces import Kit
from guardopt.optimization.benders import TIE
from guardopt.questions.bench import Bench
from guardopt.reports.plots import spoken
from guardopt.words import exact_money, money

pytestmark = pytest.mark.skipif(bool(why_not()), reason=f"not installed: {why_not()}")

DRAWN, PLAIN = "courier", "small_twin"
"""A page with the drawing of a motorcycle, and one without."""

SCREEN = 740
"""Height of a telephone's window in pixels."""

A4 = (595.28, 841.89)
"""Width and height in points: 210 mm by 297 mm (ISO 216)."""

KIT = "[...document.querySelectorAll('#kit-rows tr')].map(row => row.dataset.id)"
SEEN = "['chosen-budget', 'chosen-summary'].map(id => document.getElementById(id).innerText.replaceAll('\\u00a0', ' '))"
REASONS = "[...document.querySelectorAll('.guards tbody tr')].map(row => [row.dataset.id, row.querySelector('.why').textContent])"


@pytest.fixture
def opens(browser: Any) -> Iterator[Opener]:
    """Opens a file in a window of its own."""
    with windows(browser) as opened:
        yield opened


@pytest.fixture(scope="session")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages on disk, by name of their scenario."""
    folder = tmp_path_factory.mktemp("pages")
    paths = {name: folder / f"{name}.html" for name in (DRAWN, PLAIN)}
    for name, path in paths.items():
        path.write_text(page_of(name).html, encoding="utf-8")
    return paths


def shown_kit(shown: Opened) -> Kit:
    """The guards in the table of the kit."""
    return frozenset(shown.value(KIT))


def is_best(made: MadePage, kit: Kit, budget_cents: int) -> bool:
    """Whether a kit is the one of the curve, or, at the plan's own budget, that of the plan, which may tie with it."""
    step = made.curve.at(budget_cents)
    assert step is not None
    own = made.curve.steps[-1] if made.plan.budget_cents is None else made.curve.at(made.plan.budget_cents)
    ties = abs(made.plan.best.objective - step.best.objective) <= TIE * max(1.0, abs(step.best.objective))
    return kit == step.best.kit or (step == own and ties and kit == made.plan.kit)


def on_fresh_falls(made: MadePage, cost_over_years: float) -> float:
    """What is said of a kit: its cost on the planning falls, moved so that the plan's kit costs what it does on fresh ones."""
    plan = made.plan
    planned = Bench(plan.scenario).planner.measure("cost", plan.kit) - plan.scenario.dislike(plan.kit)
    return cost_over_years + plan.fitted.cost_over_years - planned


def check_shown(made: MadePage, shown: Opened, budget_cents: int) -> None:
    """The budget, the kit, its spend, its cost and a reason for every guard are those of the curve at this budget."""
    step = made.curve.at(budget_cents)
    assert step is not None
    cost = on_fresh_falls(made, step.cost_over_years)
    currency = made.plan.scenario.currency
    kit = shown_kit(shown)
    assert is_best(made, kit, budget_cents)
    budget, summary = shown.value(SEEN)
    assert budget == exact_money(budget_cents, currency)
    spend = exact_money(step.budget_cents, currency)
    assert spend in summary if kit - made.plan.scenario.stock else "Buy nothing." in summary
    assert f"Falls then cost {currency} {cost:,.{0 if cost >= 99.995 else 2}f}" in summary
    reasons = dict(shown.value(REASONS))
    assert reasons.keys() == {guard.id for guard in made.plan.scenario.guards}
    assert all(reasons.values())


def own_budget(made: MadePage) -> int:
    """The budget at which the page starts, in cents."""
    last = made.curve.steps[-1].budget_cents
    return last if made.plan.budget_cents is None else min(last, made.plan.budget_cents)


@pytest.mark.parametrize("name", [DRAWN, PLAIN])
def test_arrow_keys_go_through_every_step_of_the_curve(name: str, files: dict[str, Path], opens: Opener) -> None:
    """From the least budget to the most, each press shows the next kit of the curve, and at the end nothing more."""
    made, shown = page_of(name), opens(files[name])
    slider = shown.page.locator("#slider")
    slider.press("Home")
    for step in made.curve.steps:
        check_shown(made, shown, step.budget_cents)
        slider.press("ArrowRight")
    check_shown(made, shown, made.curve.steps[-1].budget_cents)
    slider.press("ArrowLeft")
    check_shown(made, shown, made.curve.steps[-2].budget_cents)
    assert shown.errors == []


def test_buttons_go_from_kit_to_kit_and_back_to_the_own_budget(files: dict[str, Path], opens: Opener) -> None:
    """Less and more money are the neighbouring steps of the curve; the plan's budget is always one press away."""
    made, shown = page_of(DRAWN), opens(files[DRAWN])
    budgets = [step.budget_cents for step in made.curve.steps]
    own = own_budget(made)
    row = max(row for row, budget in enumerate(budgets) if budget <= own)
    check_shown(made, shown, own)
    before = shown.value(REASONS)
    shown.page.click("#more")
    check_shown(made, shown, budgets[row + 1])
    shown.page.click("#less")
    shown.page.click("#less")
    check_shown(made, shown, budgets[row - 1])
    shown.page.click("#own")
    check_shown(made, shown, own)
    assert sorted(shown.value(REASONS)) == sorted(before)


def test_buttons_at_the_ends_stay_in_reach_of_the_keyboard(files: dict[str, Path], opens: Opener) -> None:
    """Who presses a button until the curve ends does not lose their place on the page."""
    made, shown = page_of(PLAIN), opens(files[PLAIN])
    shown.page.focus("#less")
    for _ in range(len(made.curve.steps) + 1):
        shown.page.keyboard.press("Enter")
    check_shown(made, shown, made.curve.steps[0].budget_cents)
    assert shown.value("document.activeElement.id") == "less"
    assert shown.page.locator("#less").get_attribute("aria-disabled") == "true"
    shown.page.keyboard.press("Tab")
    shown.page.keyboard.press("Tab")
    shown.page.keyboard.press("Enter")
    check_shown(made, shown, made.curve.steps[1].budget_cents)
    assert shown.page.locator("#less").get_attribute("aria-disabled") == "false"


@pytest.mark.parametrize("width", [DESK, TELEPHONE])
def test_the_slider_shows_the_kit_of_the_budget_under_the_pointer(
    width: int, files: dict[str, Path], opens: Opener
) -> None:
    """Wherever it is pressed, the kit is the curve's there, and the mark on the curve stands above the pointer."""
    made, shown = page_of(DRAWN), opens(files[DRAWN], width)
    shown.page.locator("#slider").scroll_into_view_if_needed()
    box = shown.page.locator("#slider").bounding_box()
    assert box is not None
    for share in (0.1, 0.37, 0.5, 0.81):
        across = box["x"] + share * box["width"]
        shown.page.mouse.click(across, box["y"] + box["height"] / 2)
        budget = int(shown.page.locator("#slider").input_value())
        check_shown(made, shown, budget)
        line = shown.value(
            f"(() => {{ const box = document.getElementById('curve-{'wide' if width == DESK else 'narrow'}-now-line')"
            ".getBoundingClientRect(); return box.x + box.width / 2; })()"
        )
        assert line == pytest.approx(across, abs=4.0)


def test_the_slider_says_money_to_those_who_hear_the_page(files: dict[str, Path], opens: Opener) -> None:
    """A screen reader says the budget as an amount, not as a number of cents, and reads out the kit when it changes."""
    made, shown = page_of(DRAWN), opens(files[DRAWN])
    slider = shown.page.locator("#slider")
    slider.press("PageDown")
    heard = slider.get_attribute("aria-valuetext")
    assert heard == shown.text("#chosen-budget")
    assert heard != exact_money(own_budget(made), made.plan.scenario.currency)
    assert shown.page.locator("#chosen").get_attribute("aria-live") == "polite"


@pytest.mark.parametrize(("name", "width"), [(DRAWN, DESK), (DRAWN, TELEPHONE), (PLAIN, TELEPHONE)])
def test_nobody_is_kept_from_reading_it(name: str, width: int, files: dict[str, Path], opens: Opener) -> None:
    """No rule of WCAG 2.2 AA that a machine can check is broken, before and after the slider has moved."""
    shown = opens(files[name], width)
    assert barriers(shown) == []
    shown.page.locator("#slider").press("Home")
    shown.value("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert barriers(shown) == []


@pytest.mark.parametrize("name", [DRAWN, PLAIN])
def test_a_telephone_never_scrolls_sideways(name: str, files: dict[str, Path], opens: Opener) -> None:
    """At 360 pixels everything fits, all along the curve and with all that was folded opened."""
    made, shown = page_of(name), opens(files[name], TELEPHONE, has_touch=True, is_mobile=True)
    shown.value("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    shown.page.locator("#slider").press("Home")
    for _ in range(0, len(made.curve.steps) + 10, 10):
        assert shown.value("document.documentElement.scrollWidth") <= TELEPHONE
        shown.page.locator("#slider").press("PageUp")


def test_the_page_asks_the_network_for_nothing(files: dict[str, Path], opens: Opener) -> None:
    """Opened from disk and used, it has asked for itself and for nothing else, and reported no error."""
    shown = opens(files[DRAWN])
    for key in ("Home", "ArrowRight", "End"):
        shown.page.locator("#slider").press(key)
    shown.value("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    shown.page.wait_for_load_state("networkidle")
    assert shown.asked == [files[DRAWN].as_uri()]
    assert shown.errors == []


def test_a_script_or_picture_smuggled_in_is_refused(files: dict[str, Path], opens: Opener) -> None:
    """Were text of a scenario ever to become markup, the page's own policy would still not let it run or load."""
    shown = opens(files[PLAIN])
    refused = shown.value(
        """new Promise(done => {
            const refused = [];
            document.addEventListener("securitypolicyviolation", event => {
                refused.push(event.effectiveDirective);
                if (refused.length === 2) done(refused.sort());
            });
            const script = document.createElement("script");
            script.textContent = "window.taken = true";
            document.body.append(script);
            const picture = document.createElement("img");
            picture.src = "http://127.0.0.1:9/picture.png";
            document.body.append(picture);
        })"""
    )
    assert refused == ["img-src", "script-src-elem"]
    assert shown.value("window.taken") is None


def test_without_scripts_it_shows_the_planned_budget(files: dict[str, Path], opens: Opener) -> None:
    """The kit and every reason are there; what could not work is not."""
    made, shown = page_of(DRAWN), opens(files[DRAWN], java_script_enabled=False)
    page = shown.page
    kit = [row.get_attribute("data-id") for row in page.locator("#kit-rows tr").all()]
    assert set(kit) == made.plan.kit
    assert shown.text("#chosen-budget") == exact_money(own_budget(made), made.plan.scenario.currency)
    page.click("text=Why each guard is in or out")
    for row in page.locator(".guards tbody tr").all():
        assert row.locator(".why").is_visible()
        assert row.locator(".why").inner_text()
    for control in page.locator("button, input[type=range]").all():
        assert not control.is_visible()
    page.click("text=The budgets as a table")
    assert page.locator(".steps tbody tr").first.is_visible()


@pytest.mark.parametrize("name", [DRAWN, PLAIN])
def test_numbers_are_those_of_the_plan(name: str, files: dict[str, Path], opens: Opener) -> None:
    """What the page says at its top is what `plan --json` prints."""
    made, shown = page_of(name), opens(files[name])
    plan = made.plan.to_json()
    values = shown.value("Object.fromEntries([...document.querySelectorAll('data')].map(one => [one.id, +one.value]))")
    assert values == {
        "spend": plan["spend"],
        "yearly_cost": plan["fitted"]["yearly_cost"],
        "saving_over_years": plan["saving_over_years"],
        "cost_over_years": plan["fitted"]["cost_over_years"],
    }
    assert shown_kit(shown) == set(plan["kit"])
    for name_, value in values.items():
        seen = float(re.sub(r"[^\d.]", "", shown.text(f"#{name_}")))
        assert seen == pytest.approx(abs(value), abs=0.5 if value >= 99.995 and name_ != "spend" else 0.005)


@pytest.fixture(scope="session")
def shipped_pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages of all shipped bikes on disk."""
    folder = tmp_path_factory.mktemp("shipped")
    paths = {name: folder / f"{name}.html" for name in NAMES}
    for name, path in paths.items():
        path.write_text(page_of(name).html, encoding="utf-8")
    return paths


@pytest.mark.parametrize("name", NAMES)
def test_it_prints_on_four_sheets_of_a4(name: str, shipped_pages: dict[str, Path], opens: Opener) -> None:
    """A sheet is 210 mm by 297 mm; the kit, what is left out and the cautions are on them, what is folded is not."""
    from pypdf import PdfReader

    shown, made = opens(shipped_pages[name]), page_of(name)
    sheets = PdfReader(io.BytesIO(shown.page.pdf(prefer_css_page_size=True))).pages
    assert len(sheets) <= 4
    for sheet in sheets:
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx(A4, abs=1.0)
    # Letters that are joined in print count as the letters they are.
    printed = normalize("NFKC", "".join("".join(sheet.extract_text().split()) for sheet in sheets))
    for guard in made.plan.scenario.guards:
        assert "".join(spoken(guard.id).split()) in printed
    assert "Guardsprotectthemachine,nottherider" in printed
    assert "openthepageonascreen" in printed
    reasons = dict(shown.value(REASONS))
    assert not any("".join(reason.split()) in printed for reason in reasons.values())


@pytest.mark.parametrize("name", NAMES)
def test_four_screens_of_a_telephone_come_before_the_rest(
    name: str, shipped_pages: dict[str, Path], opens: Opener
) -> None:
    """The answer, the drawing, the slider, the falls and what to check; then what is left out, and what is folded."""
    shown = opens(shipped_pages[name], TELEPHONE, has_touch=True, is_mobile=True)
    assert shown.value("document.getElementById('details').getBoundingClientRect().top + scrollY") <= 4 * SCREEN
    assert shown.value("document.documentElement.scrollWidth") <= TELEPHONE


def test_what_is_said_of_a_part_stands_below_its_name(files: dict[str, Path], opens: Opener) -> None:
    """Run together, they would read as another part."""
    shown = opens(files[DRAWN])
    words = "[...document.querySelectorAll('.parts tbody th')].filter(one => one.querySelector('small'))"
    shown.value("document.querySelectorAll('details').forEach(one => { one.open = true })")
    told = shown.value(f"{words}.map(one => one.innerText)")
    assert told
    assert all(re.fullmatch(r"[^\n]+\nwaits", one) for one in told), told


def test_the_drawing_shows_the_bike_bare_now_and_with_the_kit(shipped_pages: dict[str, Path], opens: Opener) -> None:
    """One state at a time, with the rings of the bare bike throughout; a bike without guards has two states."""
    shown = opens(shipped_pages["riding_school"])
    assert seen_marks(shown) == {"bare", "fitted"}
    for state, marks in (("now", {"bare", "now"}), ("bare", {"bare"}), ("fitted", {"bare", "fitted"})):
        shown.page.check(f"#state-{state}")
        assert seen_marks(shown) == marks
    shown = opens(shipped_pages["courier"])
    assert shown.page.locator(".states input").count() == 2
    assert shown.page.locator("label[for=state-bare]").inner_text() == "bare, as it is now"


def seen_marks(shown: Opened) -> set[str]:
    """The states whose marks can be seen in the drawing."""
    return set(
        shown.value(
            "[...document.querySelectorAll('svg.bike g > path[class]')]"
            ".filter(one => getComputedStyle(one).display !== 'none' && !one.closest('.machine'))"
            ".map(one => one.getAttribute('class'))"
        )
    )


@pytest.mark.parametrize("name", NAMES)
def test_one_kit_has_one_cost_and_one_saving(name: str, shipped_pages: dict[str, Path], opens: Opener) -> None:
    """The answer, the slider at the plan's budget and the years ahead say the same of the kit; the proof says its own."""
    made, shown = page_of(name), opens(shipped_pages[name])
    plan, currency = made.plan, made.plan.scenario.currency
    summary = shown.text("#chosen-summary")
    assert f"Falls then cost {money(plan.fitted.cost_over_years, currency)} over" in summary
    if plan.saving_over_years > 0.005:
        assert f"{money(plan.saving_over_years, currency)} less than now" in summary
    assert shown.text("#cost_over_years") == money(plan.fitted.cost_over_years, currency)
    assert shown.text("#saving_over_years") == money(abs(plan.saving_over_years), currency)


def test_paper_shows_no_buttons_and_loses_nothing_at_its_edge(files: dict[str, Path], opens: Opener) -> None:
    """What cannot be pressed is not printed, and what is printed is as wide as the sheet between its margins."""
    between_margins = round((210 - 2 * 16) / 25.4 * 96)
    shown = opens(files[DRAWN], between_margins)
    shown.page.emulate_media(media="print")
    for control in shown.page.locator("button, input, summary, label").all():
        assert not control.is_visible()
    assert shown.value("document.documentElement.scrollWidth") <= between_margins


def test_the_sheet_of_another_budget_can_be_printed(files: dict[str, Path], opens: Opener) -> None:
    """Whoever has chosen another budget prints that kit, and the sheet says for which budget it is."""
    from pypdf import PdfReader

    made, shown = page_of(PLAIN), opens(files[PLAIN])
    shown.page.locator("#slider").press("End")
    sheets = PdfReader(io.BytesIO(shown.page.pdf(prefer_css_page_size=True))).pages
    # Letters that are joined in print count as the letters they are.
    printed = normalize("NFKC", "".join("".join(sheet.extract_text().split()) for sheet in sheets))
    assert "".join(shown.text("#chosen-summary").split()) in printed
    check_shown(made, shown, made.curve.steps[-1].budget_cents)
