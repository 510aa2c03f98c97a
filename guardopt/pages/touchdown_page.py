"""How a bike comes to lie as one HTML file that needs nothing else, bare and fitted side by side."""

from __future__ import annotations

from typing import Any

from guardopt import __version__
from guardopt.pages.lying_drawing import VIEWS, lying_svg
from guardopt.pages.plan_page import need_packages
from guardopt.questions.measured.touchdown import Touchdown
from guardopt.reports.layout import CAUTIONS
from guardopt.reports.touchdown_text import headline, shown_clearances, struck_table, what_guards_do, worn_sentences
from guardopt.shape.rest import Rest

NUMBERED = 12
"""Things nearest to the road that have their number in the drawings."""


def touchdown_page(answer: Touchdown) -> str:
    """The page of one place of rest.

    Raises
    ------
    InputError
        A package is missing.
    """
    need_packages()
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("guardopt"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    source = environment.loader
    style = source.get_source(environment, "style.css")[0] if source else ""
    falls, chances = struck_table(answer)
    clear = shown_clearances(answer)
    numbers = {name: number for number, (name, _, _) in enumerate(clear, start=1)}
    return environment.get_template(
        "touchdown.html.j2"
    ).render(
        version=__version__,
        scenario=answer.scenario,
        style=Markup(style),  # noqa: S704 - a file of the package
        headline=headline(answer),
        sentences=what_guards_do(answer),
        views=[
            {
                "name": caption,
                "pictures": [
                    {"name": name, "svg": Markup(svg)}  # noqa: S704 - escaped where it is drawn
                    for name, svg in _pictures(answer, view, numbers)
                ],
            }
            for view, caption in VIEWS.items()
        ],
        columns=["fitted (mm)", "bare (mm)"] if answer.kit else ["mm"],
        rows=[
            {
                "number": numbers[name],
                "name": name,
                "cells": [f"{mm:.0f}", "" if bare is None else f"{bare:.0f}"][: 2 if answer.kit else 1],
            }
            for name, mm, bare in clear
        ],
        side=answer.side.value,
        falls=falls,
        chances=chances,
        wear=worn_sentences(answer),
        cautions=CAUTIONS,
    )


def _pictures(answer: Touchdown, view: str, numbers: dict[str, int]) -> list[tuple[str, Any]]:
    """One view of the bare bike and, if there are guards, of the bike with them."""
    poses: list[tuple[str, Rest, dict[str, float]]] = [("Bare", answer.bare, answer.bare_clearances)]
    if answer.kit:
        poses.append(("Fitted", answer.lying, answer.clearances))
    pictures = []
    for name, lying, clear in poses:
        nearest = [one for one in clear if one in numbers][:NUMBERED]
        label = f"{name}, {VIEWS[view]}; the table below has the clearances."
        chosen = {one: numbers[one] for one in nearest}
        pictures.append((name, lying_svg(lying, answer.kit, chosen, view, label)))
    return pictures
