"""One rider's quote as a page to hand over: prices, fitting time and total, from whom, and until when it holds."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from guardopt.errors import InputError, Parameter, Place, Problem
from guardopt.loading.rider_sheets import Sheet
from guardopt.loading.shop_details import Details
from guardopt.pages.page_names import owner_mark
from guardopt.pages.page_steps import named
from guardopt.pages.plan_page import plan_page
from guardopt.questions.bench import Bench
from guardopt.questions.plan import plan
from guardopt.questions.plan_result import Plan
from guardopt.shop.riders import NO_LIMIT, Reader
from guardopt.shop.shop import Shop, Wish
from guardopt.spelling import shown
from guardopt.words import exact_money


@dataclass(frozen=True)
class Request:
    """What one rider asks for, with the budget in cents (None: no limit) and the multiple of the fall rates."""

    rider: str
    wish: Wish
    budget_cents: int | None
    times: float


def request_of(rider: str, shop: Shop, sheets: Iterable[Sheet]) -> Request:
    """What the rider of this name asks for.

    Raises
    ------
    InputError
        No rider or several have that name, or the rider's row is wrong.
    """
    reader = Reader(shop)
    found: list[Request] = []
    places: list[Place] = []
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
        what = (
            f"found on {', '.join(map(str, places))}, expected one" if found else f"no rider is called {shown(rider)}"
        )
        raise InputError([Problem(Parameter("rider"), what)])
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
    bench = Bench(replace(scenario, falls=falls))
    budget = math.inf if request.budget_cents is None else request.budget_cents / 100
    must, never = request.wish.must, request.wish.never
    made = plan(bench, budget=budget, aim=aim, must=must, never=never, progress=progress)
    progress("drawing the page")
    return plan_page(bench, made, must=must, never=never, quote=_offer(made, details, request, today))


def _offer(made: Plan, details: Details, request: Request, today: date) -> dict[str, Any]:
    """What is offered, line by line, with what fitting takes and costs."""
    scenario = made.scenario
    bought = [scenario.guard[name] for name in made.buy]
    singly = sum(guard.spend_cents for guard in bought)
    spend = scenario.bought_cents(made.kit)
    return {
        "shop": details.name,
        "note": details.note,
        "rider": request.rider,
        "owner": owner_mark(request.rider),
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
