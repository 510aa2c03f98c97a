"""Figures of a plan and of what else can be asked, for pages and notebooks. One function a figure.

Colours are those of M. Okabe and K. Ito, "Color Universal Design", 2002 (vermilion and blue), which eyes of every kind
can tell apart. Bars and lines differ in more than colour all the same, since a page may be printed in black.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from guardopt.doubt.sureness_result import Sureness
from guardopt.questions.budgets import BudgetCurve
from guardopt.questions.forecast import Forecast, Outlook
from guardopt.questions.plan_result import Plan
from guardopt.questions.schedule_result import BuyingOrder, Purchase
from guardopt.reports.layout import shortened
from guardopt.reports.sureness_text import worth_rows
from guardopt.simulation.pricing import Bill
from guardopt.words import number, percent, years

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BARE: Final = "#D55E00"
FITTED: Final = "#0072B2"
INK: Final = "#222222"
PALE: Final = "#FBE3D3"
GREY: Final = "#C4C4C4"

PARTS_SHOWN = 10
"""Parts in the figure of parts: the dearest on the bare bike."""

LEAST_CHANCE = 0.005
"""The figure of a forecast ends where less than this chance is left."""

POINTS = 240
"""Points of each line of a forecast: more than a page can show, and far fewer than its grid has."""

LONGEST_NAME = 22

NAMESPACES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'

STYLE: Final[Any] = {
    "font.family": "sans-serif",
    "font.size": 10.5,
    "text.color": INK,
    "text.parse_math": False,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "guardopt",
}


def spoken(name: str) -> str:
    """An id as it is said aloud.

    >>> spoken("engine_case.left"), spoken("tank")
    ('engine case, left', 'tank')
    """
    stem, point, side = name.rpartition(".")
    words = (stem if point else name).replace("_", " ").strip() or name
    return f"{words}, {side}" if point else words


def budget_curve(curve: BudgetCurve, ax: Axes | None = None, *, now: float | None = None) -> Axes:
    """Draw what falls cost over the years at every budget.

    Parameters
    ----------
    curve
        The best kit for every budget.
    ax
        Where to draw. Default: a new figure.
    now
        A budget to mark, with a line and a dot whose groups are called ``now-line`` and ``now-dot``.
    """
    with _style():
        ax = _axes(ax)
        currency, steps = curve.scenario.currency, curve.steps
        budgets = [step.budget_cents / 100 for step in steps]
        costs = [step.cost_over_years for step in steps]
        # A little beyond the last step, so that it can be seen.
        end = budgets[-1] + (0.03 * (budgets[-1] - budgets[0]) or 1.0)
        ax.step([*budgets, end], [*costs, costs[-1]], where="post", color=FITTED, linewidth=1.8)
        pays = curve.pays_until
        ax.axvline(pays, color=INK, linewidth=0.8, linestyle=(0, (2, 3)))
        is_left = pays > (budgets[0] + end) / 2
        for words, height in ((f"beyond {number(pays)}", 28), ("more money", 16), ("stops paying", 4)):
            ax.annotate(
                words,
                (pays, 0.0),
                xycoords=("data", "axes fraction"),
                xytext=(-5 if is_left else 5, height),
                textcoords="offset points",
                ha="right" if is_left else "left",
                va="bottom",
                fontsize="small",
            )
        ax.set_xlim(budgets[0], end)
        ax.set_ylim(0.0, 1.06 * max(costs) or 1.0)
        ax.set_xlabel(f"budget ({currency})")
        ax.set_ylabel(f"falls cost over\n{years(curve.scenario.years)} ({currency})")
        if now is not None:
            at = curve.at(round(now * 100)) or steps[0]
            line = ax.axvline(now, color=BARE, linewidth=1.2, clip_on=False)
            line.set_gid("now-line")
            (dot,) = ax.plot([now], [at.cost_over_years], "o", color=BARE, markersize=8, clip_on=False, zorder=5)
            dot.set_gid("now-dot")
        _plain_ticks(ax, "both")
        return ax


def falls(plan: Plan, ax: Axes | None = None) -> Axes:
    """Draw what falls of each kind cost their owner a year, renewals counted: bare, as the bike stands and fitted."""
    with _style():
        ax = _axes(ax)
        names = [fall.id for fall in plan.scenario.falls]
        rates = np.array([fall.per_year for fall in plan.scenario.falls])
        costs = [(label, rates * (one.owner_cost + one.renewals), look) for label, one, look in _bikes(plan)]
        _bars(ax, names, costs)
        ax.set_xlabel(f"such falls cost you a year ({plan.scenario.currency})")
        return ax


def parts(plan: Plan, ax: Axes | None = None) -> Axes:
    """Draw what the repair of the dearest parts costs a year: bare, as the bike stands and fitted."""
    with _style():
        ax = _axes(ax)
        order = np.argsort(-plan.bare.part_bill_per_year, kind="stable")[:PARTS_SHOWN]
        names = [plan.scenario.parts[row].id for row in order]
        _bars(ax, names, [(label, one.part_bill_per_year[order], look) for label, one, look in _bikes(plan)])
        ax.set_xlabel(f"repair bills a year ({plan.scenario.currency})")
        return ax


def forecast(forecast: Forecast, ax: Axes | None = None) -> Axes:
    """Draw the chance that falls cost more than any amount over the years, as the bike stands and fitted."""
    with _style():
        ax = _axes(ax)
        scenario = forecast.scenario
        ends = [_beyond(forecast.stock, LEAST_CHANCE), _beyond(forecast.fitted, LEAST_CHANCE)]
        amounts = np.linspace(0.0, max(*ends, 1.0), POINTS)
        before = "now" if scenario.stock else "bare"
        looks = ((before, forecast.stock, BARE, (0, (5, 2))), ("with the kit", forecast.fitted, FITTED, "-"))
        for label, outlook, colour, dashes in looks:
            chances = _chance_of_more(outlook, amounts)
            ax.plot(amounts, chances, color=colour, linestyle=dashes, linewidth=1.8, label=label)
        ax.set_xlim(0.0, amounts[-1])
        ax.set_ylim(0.0, 1.0)
        ax.yaxis.set_major_formatter(lambda share, _: percent(float(share)))
        ax.set_xlabel(f"amount over {years(scenario.years)} ({scenario.currency})")
        ax.set_ylabel("chance of paying more")
        _legend_above(ax)
        _plain_ticks(ax, "x")
        return ax


def sureness(sureness: Sureness, ax: Axes | None = None) -> Axes:
    """Draw the share of drawn worlds in whose best kit each guard is; guards in none are left out."""
    with _style():
        ax = _axes(ax)
        shares = sorted((one for one in sureness.guards if one[1] > 0.0), key=lambda one: -one[1])
        places = np.arange(len(shares))
        bars = ax.barh(places, [share for _, share in shares], 0.7, facecolor=FITTED, edgecolor=FITTED)
        ax.bar_label(bars, [percent(share) for _, share in shares], padding=3, fontsize="small")
        ax.set_yticks(places, [shortened(spoken(name), LONGEST_NAME) for name, _ in shares])
        ax.invert_yaxis()
        ax.tick_params(axis="y", length=0)
        ax.set_xlim(0.0, 1.12)
        ax.xaxis.set_major_formatter(lambda share, _: percent(float(share)) if share <= 1.0 else "")
        ax.set_xlabel(f"in the best kit of {sureness.draws} worlds that fit the guesses")
        return ax


def worth_knowing(plan: Plan, ax: Axes | None = None) -> Axes:
    """Draw what it would be worth to know groups of numbers, and the single ones most worth knowing, with errors.

    Parameters
    ----------
    plan
        One that was asked how sure it is.
    ax
        Where to draw. Default: a new figure.
    """
    with _style():
        ax = _axes(ax)
        rows = worth_rows(plan.scenario, plan.sureness) if plan.sureness is not None else []
        places = np.arange(len(rows))
        values, errors = [row.worth for row in rows], [row.error for row in rows]
        colours = [FITTED if row.is_group else GREY for row in rows]
        ax.barh(places, values, 0.6, color=colours, xerr=errors, error_kw={"ecolor": INK, "elinewidth": 1.0})
        ax.set_yticks(places, [shortened(row.name, LONGEST_NAME) for row in rows])
        ax.invert_yaxis()
        ax.tick_params(axis="y", length=0)
        ax.set_xlim(0.0, 1.1 * max((row.worth + row.error for row in rows), default=0.0) or 1.0)
        ax.set_xlabel(f"worth knowing before you buy ({plan.scenario.currency})")
        _plain_ticks(ax, "x")
        return ax


def order(order: BuyingOrder, ax: Axes | None = None) -> Axes:
    """Draw what falls cost a year after each purchase, on the planning sample; the first purchase on top."""
    with _style():
        ax = _axes(ax)
        places = np.arange(len(order.steps))
        costs = [step.yearly_cost for step in order.steps]
        bars = ax.barh(places, costs, 0.6, facecolor=FITTED, edgecolor=FITTED)
        ax.bar_label(bars, [number(cost) for cost in costs], padding=3, fontsize="small")
        ax.set_yticks(places, [_purchase(step) for step in order.steps])
        ax.invert_yaxis()
        ax.tick_params(axis="y", length=0)
        ax.set_xlim(0.0, 1.15 * max(costs, default=0.0) or 1.0)
        ax.set_xlabel(f"falls cost a year from then on ({order.scenario.currency})")
        _plain_ticks(ax, "x")
        return ax


def _purchase(step: Purchase) -> str:
    """When something is bought, and what, on a line each."""
    bought = "\n".join(shortened(spoken(guard), LONGEST_NAME) for guard in step.buy)
    return f"{'now' if step.month == 0 else f'month {step.month}'}:\n{bought}"


def svg(draw: Callable[[Axes], object], name: str, title: str, width: float, height: float) -> str:
    """Draw a figure as a piece of SVG to be put into a page: no fixed size, every id behind a name of its own.

    Parameters
    ----------
    draw
        Draws the figure on the axes it is given.
    name
        What its ids begin with, so that several figures can be on one page.
    title
        What it shows, for those who cannot see it; plain text without markup.
    width, height
        Size in inches at which lettering is ten points high.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(STYLE), warnings.catch_warnings():
        # The page's own font draws the letters, so it does not matter which of them are in the font used to measure.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure = Figure(figsize=(width, height), layout="constrained")
        draw(figure.subplots())
        figure.patch.set_visible(False)
        for one in figure.axes:
            one.patch.set_visible(False)
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return _placeable(buffer.getvalue(), name, title)


def _placeable(text: str, name: str, title: str) -> str:
    """An SVG document without its preamble and metadata, and with ids that no other figure has."""
    body = re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg ") :], flags=re.DOTALL)
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = re.sub(r"url\(#", f"url(#{name}-", body)
    body = re.sub(r'href="#', f'href="#{name}-', body)
    box = re.search(r'viewBox="[^"]*"', body)
    escaped = title.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    start = f'{NAMESPACES} {box[0] if box else ""} class="{name}" role="img" aria-label="{escaped}"'
    return f"<svg {start}>{body[body.index('>') + 1 :]}"


@contextmanager
def _style() -> Iterator[None]:
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        yield
        # The first figure of a notebook loads what shows figures in it; that must go on showing them.
        is_interactive = mpl.is_interactive()
    mpl.interactive(is_interactive)


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    from matplotlib import pyplot

    return pyplot.subplots(layout="constrained")[1]


def _plain_ticks(ax: Axes, axis: str) -> None:
    from matplotlib.ticker import MaxNLocator, StrMethodFormatter

    for one in (ax.xaxis, ax.yaxis) if axis == "both" else (ax.xaxis,):
        one.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
        one.set_major_formatter(StrMethodFormatter("{x:,.0f}" if one.get_view_interval()[1] >= 20 else "{x:g}"))


def _bikes(plan: Plan) -> list[tuple[str, Bill, dict[str, Any]]]:
    """The bikes that a figure compares, each with its name and look; the bike as it stands only if it is not bare."""
    looks = [
        ("bare", plan.bare, {"facecolor": PALE, "edgecolor": BARE, "hatch": "////"}),
        ("now", plan.stock, {"facecolor": GREY, "edgecolor": INK}),
        ("with the kit", plan.fitted, {"facecolor": FITTED, "edgecolor": FITTED}),
    ]
    return looks if plan.scenario.stock else [looks[0], looks[2]]


def _bars(ax: Axes, names: Sequence[str], groups: Sequence[tuple[str, Any, dict[str, Any]]]) -> None:
    """Bars side by side for each name, with their amounts behind them; the first name on top."""
    places = np.arange(len(names))
    height = 0.8 / len(groups)
    most = max((float(np.max(amounts, initial=0.0)) for _, amounts, _ in groups), default=0.0)
    for index, (label, amounts, look) in enumerate(groups):
        bars = ax.barh(places + (index - (len(groups) - 1) / 2) * height, amounts, 0.9 * height, label=label, **look)
        ax.bar_label(bars, [number(float(amount)) for amount in amounts], padding=3, fontsize="small")
    ax.set_yticks(places, [shortened(spoken(name), LONGEST_NAME) for name in names])
    ax.invert_yaxis()
    ax.tick_params(axis="y", length=0)
    ax.set_xlim(0.0, 1.22 * most or 1.0)
    _plain_ticks(ax, "x")
    _legend_above(ax)


def _legend_above(ax: Axes) -> None:
    """A legend on one line above the figure, where it hides nothing."""
    labels = ax.get_legend_handles_labels()[1]
    ax.set_title(" ")
    where: Any = {"loc": "lower left", "bbox_to_anchor": (0.0, 1.0), "borderaxespad": 0.2}
    legend = ax.legend(
        ncols=len(labels), fontsize="small", handlelength=1.3, handletextpad=0.4, columnspacing=0.9, **where
    )
    # The blank title keeps the room; were the legend to take part in the layout, a wide one would narrow the axes.
    legend.set_in_layout(False)


def _chance_of_more(outlook: Outlook, amounts: np.ndarray) -> np.ndarray:
    """The chance of paying more than each amount."""
    left = np.clip(1.0 - np.cumsum(outlook.probability), 0.0, 1.0)
    rows = np.clip(np.floor(amounts / outlook.step + 1e-9).astype(np.int64), 0, left.size - 1)
    return np.asarray(left[rows])


def _beyond(outlook: Outlook, chance: float) -> float:
    """The least amount on the grid that more than is paid with no more than this chance."""
    left = 1.0 - np.cumsum(outlook.probability)
    return float(outlook.step * int(np.argmax(left <= chance)))
