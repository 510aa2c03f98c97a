"""One rider's quote as a page to hand over: prices, fitting time and total, from whom, and until when it holds."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from guardopt.errors import InputError, Problem
from guardopt.page import plan_page
from guardopt.page_steps import named
from guardopt.planned import Plan
from guardopt.plans import plan
from guardopt.rider_sheets import Sheet
from guardopt.riders import NO_LIMIT, Reader
from guardopt.shop import Shop, Wish
from guardopt.spelling import advice, escaped, shown
from guardopt.wording import exact_money
from guardopt.workbench import Workbench

DETAILS_FILE = "shop.toml"

KNOWN = ("name", "note", "valid_days")


@dataclass(frozen=True)
class Details:
    """Who quotes: what ``shop.toml`` says. A quote holds for `valid_days` days."""

    name: str = ""
    note: str = ""
    valid_days: int = 30


@dataclass(frozen=True)
class Request:
    """What one rider asks for, with the budget in cents (None: no limit) and the multiple of the fall rates."""

    rider: str
    wish: Wish
    budget_cents: int | None
    times: float


def read_details(folder: Path) -> Details:
    """What the shop's file says, or nothing where there is none.

    Raises
    ------
    InputError
        The file cannot be read or something in it is wrong; every problem is listed.
    """
    path = folder / DETAILS_FILE
    if not path.exists():
        return Details()
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError([Problem(DETAILS_FILE, f"cannot be read: {error}")]) from error
    problems = [
        Problem(f"{DETAILS_FILE}, {escaped(key)}", f"unknown key{advice(key, KNOWN)}")
        for key in found
        if key not in KNOWN
    ]
    problems += [
        Problem(f"{DETAILS_FILE}, {key}", f"found {shown(str(found[key]))}, expected text in quotes")
        for key in ("name", "note")
        if not isinstance(found.get(key, ""), str)
    ]
    days = found.get("valid_days", Details.valid_days)
    if not isinstance(days, int) or isinstance(days, bool) or not 1 <= days <= 3650:
        where = f"{DETAILS_FILE}, valid_days"
        problems.append(Problem(where, f"found {shown(str(days))}, expected a whole number of days from 1 to 3650"))
    if problems:
        raise InputError(problems)
    return Details(**{key: found[key] for key in KNOWN if key in found})


def request_of(rider: str, shop: Shop, sheets: Iterable[Sheet]) -> Request:
    """What the rider of this name asks for.

    Raises
    ------
    InputError
        No rider or several have that name, or the rider's row is wrong.
    """
    reader = Reader(shop)
    found: list[Request] = []
    places: list[str] = []
    for sheet in sheets:
        rows = [row for row, name in enumerate(sheet.cells["rider"]) if name.strip() == rider]
        if not rows:
            continue
        read = reader.read(sheet)
        problems = [problem for row in rows for problem in read.problems.get(row, [])]
        if problems:
            raise InputError(problems)
        places += [sheet.place(row) for row in rows]
        for row in rows:
            cents = int(read.budget_cents[row])
            budget = None if cents == NO_LIMIT else cents
            found.append(Request(rider, reader.wishes[int(read.wish[row])], budget, float(read.times[row])))
    if len(found) != 1:
        what = f"found on {', '.join(places)}, expected one" if found else f"no rider is called {shown(rider)}"
        raise InputError([Problem("--rider", what)])
    return found[0]


def quote_page(
    shop: Shop,
    details: Details,
    request: Request,
    today: date,
    *,
    aim: str = "bills",
    progress: Callable[[str], None] = lambda _: None,
) -> str:
    """The page of one rider's quote: that of the plan for this rider, with the offer on top.

    Parameters
    ----------
    shop, details
        The bikes, and who quotes for them.
    request
        What the rider asks for.
    today
        The date of the quote.
    aim
        What is to be least, as for a plan.
    progress
        Told what is being worked on.

    Raises
    ------
    NoKitError
        No kit within the budget has what is forced in.
    """
    scenario = shop.scenario_for(request.wish)
    falls = tuple(replace(fall, per_year=request.times * fall.per_year) for fall in scenario.falls)
    bench = Workbench(replace(scenario, falls=falls))
    budget = math.inf if request.budget_cents is None else request.budget_cents / 100
    must, never = request.wish.must, request.wish.never
    made = plan(bench, budget=budget, aim=aim, must=must, never=never, progress=progress)
    progress("drawing the page")
    return plan_page(bench, made, must=must, never=never, quote=_offer(made, details, request, today))


def _offer(made: Plan, details: Details, request: Request, today: date) -> dict[str, Any]:
    """What is offered, line by line, with what fitting takes and costs."""
    scenario = made.scenario
    bought = [scenario.guard[name] for name in made.bought]
    singly = sum(guard.spend_cents for guard in bought)
    spend = scenario.spend_cents(made.kit)
    return {
        "shop": details.name,
        "note": details.note,
        "rider": request.rider,
        "bike": request.wish.bike or scenario.title,
        "date": today.isoformat(),
        "until": (today + timedelta(days=details.valid_days)).isoformat(),
        "lines": [
            (
                named(scenario, [guard.id])[0],
                exact_money(guard.price_cents, scenario.currency),
                f"{guard.fit_hours:g} h",
                exact_money(guard.fit_cents, scenario.currency),
            )
            for guard in bought
        ],
        "offers": f"−{exact_money(singly - spend, scenario.currency)}" if singly > spend else "",
        "price": exact_money(sum(guard.price_cents for guard in bought), scenario.currency),
        "hours": f"{sum(guard.fit_hours for guard in bought):g} h",
        "fitting": exact_money(sum(guard.fit_cents for guard in bought), scenario.currency),
        "total": exact_money(spend, scenario.currency),
    }
