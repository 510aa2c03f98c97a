"""A plan as one HTML file that needs nothing else: for a customer, or the kitchen table.

It opens from disk, prints on A4, and can be read without a mouse, on a telephone, and without scripts. Everything that
comes from the scenario is escaped, and the page forbids itself to load anything.
"""

from __future__ import annotations

import base64
import hashlib
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict

from guardopt import __version__
from guardopt.errors import InputError, OutOfTimeError, Parameter, Problem, missing_packages
from guardopt.files.tables import READING_ORDER
from guardopt.files.whole_file import write_file
from guardopt.model.chance_words import told as told_words
from guardopt.pages.bike_drawing import bike_svg, states
from guardopt.pages.page_doubts import doubts, forecast_table
from guardopt.pages.page_steps import StepWords, on_fresh_falls, planned_step, step_table, steps_in_words
from guardopt.pages.page_tables import answer, fall_table, guard_rows, part_table
from guardopt.questions.bench import Bench
from guardopt.questions.bill import forced_guards
from guardopt.questions.budgets import BudgetCurve, budgets
from guardopt.questions.forecast import Forecast, forecast
from guardopt.questions.plan_result import Plan
from guardopt.reports.layout import CAUTIONS
from guardopt.reports.plots import PARTS_SHOWN, budget_curve, falls, parts, svg, worth_knowing
from guardopt.reports.plots import forecast as forecast_figure
from guardopt.reports.sureness_text import worth_rows
from guardopt.spelling import escaped
from guardopt.words import glued

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARK = '<meta name="generator" content="guardopt'
"""What a page of ours has near its beginning."""

LOOKED_AT = 2000
"""How far into a file the mark is looked for."""

SIZES = (("wide", 7.2), ("narrow", 3.6))
"""Widths of figures in inches: for a desk or paper, and for a telephone."""

CURVE_HEIGHT = 2.4

POINTS_AN_INCH = 72.0


class Cursor(TypedDict):
    """How the mark of the chosen budget moves on a drawing of the curve, in the drawing's own units."""

    size: str
    left: float
    width: float
    across: float
    up: float


def need_packages() -> None:
    """Refuse early, with advice, where what draws pages is not installed.

    Raises
    ------
    InputError
        A package is missing.
    """
    missing = [name for name in ("jinja2", "matplotlib") if find_spec(name) is None]
    if missing:
        raise missing_packages(Parameter("page"), " and ".join(missing), "page")


def check_target(path: str | os.PathLike[str]) -> Path:
    """Where a page is to go, if it may go there.

    Raises
    ------
    InputError
        It is a file of a scenario, a link, or anything but a page of ours, or there is no such folder.
    """
    target = Path(path).resolve()
    name = escaped(str(path))
    problem = None
    if target.name.casefold() in READING_ORDER:
        problem = "is the name of a file of a scenario, expected another"
    elif target.is_dir():
        problem = "is a folder, expected a file"
    elif not target.parent.is_dir():
        problem = "its folder does not exist"
    elif Path(path).is_symlink():
        problem = "is a link, expected a file; name the file itself"
    elif target.exists() and not _is_ours(target):
        problem = "is there already and is not a page of guardopt; remove it or choose another name"
    if problem:
        raise InputError([Problem(name, problem)])
    return target


def _is_ours(target: Path) -> bool:
    if not target.is_file():
        return False
    try:
        with target.open(encoding="utf-8", errors="replace") as file:
            return MARK in file.read(LOOKED_AT)
    except OSError:
        return False


def write_page(path: str | os.PathLike[str], html: str) -> None:
    """Write a page whole and then give it its place, so that an interruption leaves nothing half written.

    Raises
    ------
    InputError
        The place is taken by something that is no page of ours, or cannot be written.
    """
    target = check_target(path)
    write_file(html.encode(), target, escaped(str(path)), replace=True)


def plan_page(
    bench: Bench,
    plan: Plan,
    *,
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    quote: Mapping[str, Any] | None = None,
) -> str:
    """The page of a plan.

    Parameters
    ----------
    bench
        What the plan was made on.
    plan
        The plan.
    must, never
        The guards that were forced in and out of it.
    quote
        What a shop offers, to be put on top: see `quote_page`.

    Raises
    ------
    InputError
        A package is missing, or an id is unknown.
    """
    need_packages()
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    forced = forced_guards(plan.scenario, must, never)
    curve: BudgetCurve | None = None
    if plan.steps:
        curve = BudgetCurve(plan.scenario, plan.aim, plan.steps)
    elif not plan.verdicts:
        with suppress(OutOfTimeError):
            curve = budgets(bench, aim=plan.aim.name, must=forced[0], never=forced[1])
    curve = None if curve is None else on_fresh_falls(bench.planner, plan, curve)
    steps = () if curve is None else steps_in_words(bench.planner, plan, curve, *forced)
    own = 0 if curve is None else planned_step(plan, curve)
    told = None if curve is None else step_table(plan, curve, steps, own)
    now = 0 if told is None else told["budget"]
    ahead = forecast(bench, plan.kit)
    figures, cursors = _figures(plan, curve, now / 100, ahead)
    environment = Environment(
        loader=PackageLoader("guardopt"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=lambda value: glued(value) if type(value) is str else value,
    )
    source = environment.loader
    script = source.get_source(environment, "page.js")[0] if source else ""
    style = source.get_source(environment, "style.css")[0] if source else ""
    drawing = bike_svg(plan)
    return environment.get_template("page.html.j2").render(
        version=__version__,
        plan=plan,
        scenario=plan.scenario,
        policy=_policy(script),
        style=Markup(style),  # noqa: S704 - a file of the package
        script=Markup(script),  # noqa: S704 - a file of the package
        states=states(plan),
        drawing=None if drawing is None else Markup(drawing),  # noqa: S704 - escaped where it is drawn
        figures={name: Markup(figure) for name, figure in figures.items()},  # noqa: S704 - as above
        quote=quote,
        answer=answer(plan),
        guards=guard_rows(plan, steps[own] if steps else None),
        curve=told,
        cursors=cursors,
        data=_data(steps, plan, own, now, cursors),
        parts=part_table(plan, numbered=drawing is not None),
        falls=fall_table(plan),
        forecast=forecast_table(ahead),
        doubts=doubts(plan),
        words=told_words(plan.scenario.words) if plan.scenario.words else "",
        cautions=CAUTIONS,
    )


def _policy(script: str) -> str:
    """What the page may load: nothing. Its one script is known by its digest."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _figures(plan: Plan, curve: BudgetCurve | None, own: float, ahead: Forecast) -> tuple[dict[str, str], list[Cursor]]:
    """Every figure, for desks and for telephones, and how the mark moves on those of the curve."""
    scenario = plan.scenario
    bar = 0.55 if scenario.stock else 0.42
    figures: dict[str, str] = {}
    cursors: list[Cursor] = []

    def draw(name: str, title: str, height: float, figure: Callable[[Axes], object]) -> None:
        for size, width in SIZES:
            figures[f"{name}_{size}"] = svg(
                figure, f"{name}-{size}", f"{title}; the table has the numbers", width, height
            )

    draw("falls", "What falls of each kind cost a year", 0.9 + bar * len(scenario.falls), partial(falls, plan))
    draw("ahead", "The chance of paying more than any amount", 3.0, partial(forecast_figure, ahead))
    if all(part.x is None for part in scenario.parts):
        rows = min(PARTS_SHOWN, len(scenario.parts))
        draw("parts", "What the dearest parts cost a year in repairs", 0.9 + bar * rows, partial(parts, plan))
    if plan.sureness is not None and (rows := len(worth_rows(scenario, plan.sureness))):
        title = "What it would be worth to know numbers before buying"
        draw("worth", title, 0.9 + 0.36 * rows, partial(worth_knowing, plan))
    if curve is not None:
        drawn: list[Axes] = []
        draw(
            "curve",
            "What falls cost at every budget",
            CURVE_HEIGHT,
            lambda ax: drawn.append(budget_curve(curve, ax, now=own)),
        )
        span = (curve.steps[-1].budget_cents - curve.steps[0].budget_cents) / 100
        cursors = [_cursor(ax, size, width, span) for ax, (size, width) in zip(drawn, SIZES, strict=True)]
    return figures, cursors


def _cursor(ax: Axes, size: str, width: float, span: float) -> Cursor:
    """Where all budgets of the curve lie in its figure, as shares of its width, and its units to a unit of money."""
    box = ax.get_position()
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    return {
        "size": size,
        "left": round(float(box.x0), 4),
        "width": round(float(box.width * span / (right - left)), 4),
        "across": float(POINTS_AN_INCH * width * box.width / (right - left)),
        "up": float(POINTS_AN_INCH * CURVE_HEIGHT * box.height / (top - bottom)),
    }


def _data(
    steps: Sequence[StepWords], plan: Plan, own: int, now_cents: int, cursors: Sequence[Cursor]
) -> dict[str, Any]:
    """What the script needs to show any step; sentences that come again are held once."""
    rows = {guard.id: row for row, guard in enumerate(plan.scenario.guards)}
    texts: dict[str, int] = {}
    return {
        "currency": plan.scenario.currency,
        "budget": now_cents,
        "own": own,
        "cursors": list(cursors),
        "steps": [
            {
                "budget": step.budget_cents,
                "cost": round(step.cost_over_years, 2),
                "kit": sorted(rows[name] for name in step.kit),
                "summary": glued(step.summary),
                "reasons": [texts.setdefault(glued(reason), len(texts)) for reason in step.reasons],
            }
            for step in steps
        ],
        "texts": list(texts),
    }
