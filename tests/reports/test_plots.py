"""Figures: they draw where they are told, what they draw are the plan's own numbers, and they can be put on a page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from made_pages import MadePage, page_of
from shipped import shipped_plan

from guardopt import plots
from guardopt.doubt.sureness_result import Sureness
from guardopt.questions.bench import Bench
from guardopt.questions.forecast import Forecast
from guardopt.questions.forecast import forecast as forecast_of
from guardopt.questions.plan import plan as plan_of
from guardopt.questions.purchase_schedule import order as order_of
from guardopt.questions.schedule_result import BuyingOrder
from guardopt.reports.sureness_text import worth_rows
from guardopt.words import number

pytest.importorskip("jinja2")
matplotlib = pytest.importorskip("matplotlib")

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@cache
def twin() -> MadePage:
    """The small twin with its plan and curve."""
    return page_of("small_twin")


@cache
def ahead() -> Forecast:
    """The forecast of the small twin's plan."""
    return forecast_of(Bench(twin().plan.scenario), twin().plan.kit)


@pytest.fixture
def ax() -> Axes:
    """Axes of a figure that no window will ever show."""
    from matplotlib.figure import Figure

    return Figure().subplots()


@pytest.fixture
def no_window() -> Iterator[None]:
    """Figures that a function makes for itself are drawn in memory, and closed afterwards."""
    from matplotlib import pyplot

    pyplot.switch_backend("agg")
    yield
    pyplot.close("all")


def drawn_by(name: str, ax: Axes | None) -> Axes:
    """Draw a figure by the name of its function."""
    others = {"budget_curve": lambda: twin().curve, "forecast": ahead, "sureness": doubted, "order": saved_up}
    subject: Any = others.get(name, lambda: twin().plan)()
    return getattr(plots, name)(subject, ax)


@cache
def doubted() -> Sureness:
    """How sure the small twin's plan is."""
    found = plan_of(twin().plan.scenario, reasons=False, sure=20).sureness
    assert found is not None
    return found


@cache
def saved_up() -> BuyingOrder:
    """A course of buying for the small twin."""
    return order_of(twin().plan.scenario, 30.0, months=10)


FIGURES = ["budget_curve", "falls", "parts", "forecast", "sureness", "order"]


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_draws_on_the_axes_it_is_given(name: str, ax: Axes) -> None:
    """So that it can stand among others in a notebook; it gives the axes back for more to be done to them."""
    assert drawn_by(name, ax) is ax
    assert ax.lines or ax.patches
    assert ax.get_xlabel()
    assert "EUR" in ax.get_xlabel() or name == "sureness"


@pytest.mark.usefixtures("no_window")
@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_can_be_had_by_itself(name: str) -> None:
    """Without axes it makes its own, and settings of the caller's other figures stay as they were."""
    before = dict(matplotlib.rcParams)
    assert drawn_by(name, None).figure is not None
    assert dict(matplotlib.rcParams) == before


@pytest.mark.usefixtures("no_window")
@pytest.mark.parametrize("is_shown", [True, False])
def test_a_notebook_goes_on_showing_figures(is_shown: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """A notebook is told to show figures when its first one is made, be it by these functions, and stays told."""
    from matplotlib import pyplot

    make = pyplot.subplots

    def first_figure(*args: Any, **options: Any) -> Any:
        matplotlib.interactive(is_shown)
        return make(*args, **options)

    before = matplotlib.is_interactive()
    monkeypatch.setattr(pyplot, "subplots", first_figure)
    try:
        plots.falls(twin().plan)
        assert matplotlib.is_interactive() is is_shown
    finally:
        matplotlib.interactive(before)


def test_the_curve_is_a_staircase_through_every_step(ax: Axes) -> None:
    """From each budget on the cost is that of its step, up to the next; the dot stands on the curve."""
    curve = twin().curve
    plots.budget_curve(curve, ax, now=100.0)
    line = ax.lines[0]
    assert line.get_drawstyle() == "steps-post"
    steps = [(step.budget_cents / 100, step.cost_over_years) for step in curve.steps]
    assert list(zip(line.get_xdata(), line.get_ydata(), strict=True))[: len(steps)] == steps
    assert line.get_xdata()[-1] > steps[-1][0]
    assert line.get_ydata()[-1] == steps[-1][1]
    marked = {one.get_gid(): one for one in ax.lines}
    step = curve.at(10000)
    assert step is not None
    assert (marked["now-dot"].get_xdata()[0], marked["now-dot"].get_ydata()[0]) == (100.0, step.cost_over_years)
    assert set(marked["now-line"].get_xdata()) == {100.0}
    assert any(set(one.get_xdata()) == {curve.pays_until} for one in ax.lines)
    assert ax.get_ylim()[0] == 0.0


def widths(ax: Axes) -> dict[str, list[float]]:
    """Lengths of bars by what the legend calls them."""
    return {bars.get_label(): [bar.get_width() for bar in bars] for bars in ax.containers}


def test_bars_of_falls_are_what_they_cost_in_a_year(ax: Axes) -> None:
    """Rate times what one costs, renewals counted: the bars of a bike add up to its yearly cost."""
    plan = twin().plan
    bars = widths(plots.falls(plan, ax))
    assert list(bars) == ["bare", "with the kit"]
    for label, bill in (("bare", plan.bare), ("with the kit", plan.fitted)):
        each = [
            fall.per_year * (paid + worn)
            for fall, paid, worn in zip(plan.scenario.falls, bill.owner_cost, bill.renewals, strict=True)
        ]
        assert bars[label] == pytest.approx(each)
        assert sum(bars[label]) == pytest.approx(bill.yearly_cost)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["tip over", "low side"]
    written = {text.get_text() for text in ax.texts}
    assert {number(width) for each in bars.values() for width in each} <= written


def test_bars_of_parts_are_the_dearest_ones(ax: Axes) -> None:
    """Sorted by the bill on the bare bike, and each as long as its bill."""
    plan = shipped_plan("courier")
    bars = widths(plots.parts(plan, ax))
    order = np.argsort(-plan.bare.part_bill_per_year, kind="stable")[: plots.PARTS_SHOWN]
    assert bars["bare"] == pytest.approx(sorted(plan.bare.part_bill_per_year, reverse=True)[: plots.PARTS_SHOWN])
    assert bars["with the kit"] == pytest.approx(list(plan.fitted.part_bill_per_year[order]))
    names = [plots.spoken(plan.scenario.parts[row].id) for row in order]
    assert [label.get_text() for label in ax.get_yticklabels()] == names


def test_the_forecast_meets_its_own_quantiles(ax: Axes) -> None:
    """Where the table says that nine times in ten it is no more, a tenth is left in the figure."""
    forecast = ahead()
    lines = {line.get_label(): line for line in plots.forecast(forecast, ax).lines}
    for label, outlook in (("bare", forecast.stock), ("with the kit", forecast.fitted)):
        amounts, chances = (np.asarray(data) for data in lines[label].get_data())
        assert (np.diff(chances) <= 0.0).all()
        assert chances[0] == pytest.approx(1.0 - outlook.chance_of_nothing, abs=1e-3)
        for level in (0.5, 0.9):
            reached = amounts[int(np.argmax(chances <= 1.0 - level))]
            assert reached == pytest.approx(outlook.quantiles[level], abs=2.0 * float(np.diff(amounts)[0]))


def test_guards_are_ranked_by_how_often_the_best_kit_has_them(ax: Axes) -> None:
    """The longest bar is on top, in percent; a guard that no best kit has is not shown."""
    shares = sorted((share for _, share in doubted().guards if share), reverse=True)
    plots.sureness(doubted(), ax)
    assert [bar.get_width() for bar in ax.containers[0]] == shares
    assert ax.yaxis_inverted()
    assert f"{doubted().draws} worlds" in ax.get_xlabel()
    assert [text.get_text() for text in ax.texts] == [f"{100 * share:.0f} %" for share in shares]


def test_what_is_worth_knowing_is_drawn_as_it_is_told(ax: Axes) -> None:
    """Groups, then numbers, each as long as it is worth, with one standard error either way."""
    from matplotlib.container import BarContainer

    made = plan_of(twin().plan.scenario, reasons=False, sure=80)
    assert made.sureness is not None
    rows = worth_rows(made.scenario, made.sureness)
    assert len(rows) > 2
    plots.worth_knowing(made, ax)
    bars = next(one for one in ax.containers if isinstance(one, BarContainer))
    assert [bar.get_width() for bar in bars] == [row.worth for row in rows]
    (lines,) = bars.errorbar.lines[2]
    ends = [tuple(line[:, 0]) for line in lines.get_segments()]
    assert ends == [pytest.approx((row.worth - row.error, row.worth + row.error)) for row in rows]
    plots.worth_knowing(replace(made, sureness=None), ax)


def test_purchases_stand_in_the_order_of_buying(ax: Axes) -> None:
    """Each says when and what, and its bar is what falls cost a year from then on."""
    course = saved_up()
    plots.order(course, ax)
    assert len(course.steps) > 1
    assert [bar.get_width() for bar in ax.containers[0]] == [step.yearly_cost for step in course.steps]
    for label, step in zip(ax.get_yticklabels(), course.steps, strict=True):
        when, *bought = label.get_text().splitlines()
        assert when == ("now:" if step.month == 0 else f"month {step.month}:")
        assert bought == [plots.spoken(guard) for guard in step.buy]


def test_the_bike_as_it_stands_is_a_third_one_only_if_it_has_guards(ax: Axes) -> None:
    """A bare bike is not shown twice."""
    owner = next(
        name for name in ("track_day", "riding_school", "tourer", "courier") if shipped_plan(name).scenario.stock
    )
    assert list(widths(plots.falls(shipped_plan(owner), ax))) == ["bare", "now", "with the kit"]


def test_bikes_differ_in_more_than_colour(ax: Axes) -> None:
    """Bars and lines can be told apart on a black-and-white print."""
    plots.falls(twin().plan, ax)
    assert len({bars[0].get_hatch() for bars in ax.containers}) == len(ax.containers)
    ax.clear()
    plots.forecast(ahead(), ax)
    assert len({line.get_linestyle() for line in ax.lines}) == 2


def luminance(colour: str) -> float:
    """Relative luminance of a colour as WCAG 2.2 defines it."""
    from matplotlib.colors import to_rgb

    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in to_rgb(colour)]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


@pytest.mark.parametrize("colour", [plots.BARE, plots.FITTED, plots.INK])
def test_lines_stand_out_from_paper(colour: str) -> None:
    """A contrast of 3 to 1 at least: WCAG 2.2, success criterion 1.4.11."""
    paper = "#ffffff"
    assert (luminance(paper) + 0.05) / (luminance(colour) + 0.05) >= 3.0


def test_a_figure_on_a_page_keeps_its_ids_to_itself() -> None:
    """Two figures on one page share no id, and each finds its own."""
    one, other = (
        plots.svg(lambda ax: plots.falls(twin().plan, ax), name, 'A "title" & <b>', 3.6, 2.4) for name in ("a", "b")
    )
    for name, drawing in (("a", one), ("b", other)):
        ids = set(re.findall(r'\bid="([^"]*)"', drawing))
        referred = set(re.findall(r'href="#([^"]*)"|url\(#([^)]*)\)', drawing))
        assert ids
        assert all(each.startswith(f"{name}-") for each in ids)
        assert {first or second for first, second in referred} <= ids
        assert 'aria-label="A &quot;title&quot; &amp; &lt;b>"' in drawing
        assert drawing.startswith("<svg ")
        assert "<metadata>" not in drawing
    assert one.replace('id="a-', 'id="b-').replace("#a-", "#b-").replace('class="a"', 'class="b"') == other
