"""The best kit over a grid of what-ifs.

A fall costs the same whatever guards are sold for and however often it comes. So points of the grid that differ only
in such terms share one sample and all facts found on it; where falls themselves differ, a new sample is drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Any

from guardopt.deadline import EFFORT, Deadline
from guardopt.errors import InputError, NoKitError, Problem
from guardopt.model.aims import TIME_LIMIT, Aim, Limits, aim_named, status_of
from guardopt.model.scenario import Scenario
from guardopt.optimization.measures import COST
from guardopt.questions.arguments import budget_cents, wrong_aim, wrong_budget, wrong_effort, wrong_time_limit
from guardopt.questions.bench import Bench, on_bench
from guardopt.questions.bill import forced_guards, in_order

if TYPE_CHECKING:
    import pandas as pd

BUDGET = "scenario.owner.budget"


def try_values(
    subject: Scenario | Bench,
    changes: Mapping[str, Sequence[object]],
    *,
    budget: float | None = None,
    aim: str = "bills",
    must: Iterable[str] = (),
    never: Iterable[str] = (),
    effort: int = EFFORT,
    time_limit: float | None = TIME_LIMIT,
) -> pd.DataFrame:
    """Find the best kit at every point of a grid of what-ifs.

    Parameters
    ----------
    subject
        A scenario read from a folder, or a bench that holds one.
    changes
        ``FILE.ID.COLUMN`` to the values to try, as text or as numbers; the grid is every combination of them.
    budget
        Most to spend at every point, in units of the currency; None takes each scenario's, `NO_LIMIT` lifts it.
    aim
        ``bills``, ``outlay`` or ``worst``.
    must, never
        Guards forced in and out at every point; an id without a side stands for all its sides.
    effort
        Nodes that the search at each point may look at.
    time_limit
        Seconds for the search at each point; the best kit found by then is taken. None lifts the limit.

    Returns
    -------
    DataFrame
        One row for each point, the last of the changes going round fastest:

        - the values, under their addresses;
        - ``kit``, the ids of the guards on the bike, owned ones included, and ``spend``;
        - ``yearly_cost``, ``cost_over_years`` and ``saving_over_years`` against the bike as it stands. They are on
          the planning sample, so that points which share it can be compared to the cent; `plan` reprices its kit on
          fresh falls, which gives slightly other numbers;
        - ``added`` and ``dropped``, the guards by which the kit differs from that of the first row;
        - ``status``, as that of a plan;
        - ``reused``, whether the falls and facts of an earlier row served (or those of the bench given).

    Raises
    ------
    InputError
        Something is wrong at some point; every problem found is listed before anything is computed.
    NoKitError
        At some point no kit satisfies the budget, the weight limit and what is forced.
    OutOfTimeError
        The time was too short to find any kit at some point.

    Examples
    --------
    >>> import tempfile, guardopt
    >>> from guardopt.writing.starter import write_starter
    >>> folder = tempfile.TemporaryDirectory()
    >>> write_starter(folder.name)
    >>> scenario = guardopt.load(folder.name, {"scenario.sampling.falls": 500})
    >>> table = guardopt.try_values(scenario, {"scenario.owner.years": [1, 4], "scenario.owner.budget": [60, 350]})
    >>> table[["scenario.owner.years", "scenario.owner.budget", "spend", "reused"]]
       scenario.owner.years  scenario.owner.budget  spend  reused
    0                     1                     60   48.0   False
    1                     1                    350  262.0    True
    2                     4                     60   48.0    True
    3                     4                    350  313.0    True
    >>> folder.cleanup()
    """
    bench = on_bench(subject)
    problems = [
        *_wrong_options(changes, budget, aim),
        *wrong_effort(effort, "effort"),
        *wrong_time_limit(time_limit, "time_limit"),
    ]
    points = [] if problems else [dict(zip(changes, values, strict=True)) for values in product(*changes.values())]
    scenarios, limits = _checked(bench.scenario, points, budget, (must, never), problems)
    rows: dict[int, dict[str, Any]] = {}
    # One sample after the other, so that no more than one, and the one that was given, is held at a time.
    waiting = list(range(len(points)))
    current, is_new = bench, isinstance(subject, Scenario)
    while waiting:
        here = [row for row in waiting if same_falls(scenarios[row], current.scenario)]
        for row in here:
            at_point = current.with_terms(scenarios[row])
            deadline = Deadline.after(time_limit, effort)
            rows[row] = {**points[row], **_answer(at_point, aim_named(aim), limits[row], points[row], deadline)}
            rows[row]["reused"] = not is_new
            is_new = False
        waiting = [row for row in waiting if row not in here]
        if waiting:
            current, is_new = replace(bench, scenario=scenarios[waiting[0]]), True
    return _table([rows[row] for row in range(len(points))])


def same_falls(one: Scenario, other: Scenario) -> bool:
    """Whether the simulated falls of two scenarios are the same and cost the same with every kit, renewals aside.

    Rates, years, the discount rate, budget and offers may differ, and of guards what they cost, fetch and how long they
    last, whether they are owned and what their looks are worth.
    """
    return _falls_alone(one) == _falls_alone(other)


def _falls_alone(scenario: Scenario) -> Scenario:
    """A scenario with everything blanked that its falls do not hang on; what is not named here counts."""
    return replace(
        scenario,
        title="",
        currency="",
        years=1.0,
        discount_rate=0.0,
        budget_cents=None,
        falls=tuple(replace(fall, per_year=0.0, watched_years=1.0) for fall in scenario.falls),
        guards=tuple(
            replace(
                guard,
                price_cents=0,
                fit_cents=0,
                fit_hours=0.0,
                wear_per_fall=0.0,
                owned=False,
                dislike=0.0,
                resale_share=0.0,
                sells_cents=0,
                renews_at_price=False,
                lasts_falls=None,
            )
            for guard in scenario.guards
        ),
        offers=(),
        warnings=(),
        ridings={},
    )


def _wrong_options(changes: Mapping[str, Sequence[object]], budget: float | None, aim: str) -> list[Problem]:
    problems = []
    for address, values in changes.items():
        if isinstance(values, str) or not isinstance(values, Iterable):
            problems.append(Problem(address, f"found {values!r}, expected a list of values to try"))
        elif not len(values):
            problems.append(Problem(address, "found no values, expected at least one to try"))
    problems += wrong_budget(budget, "budget")
    if budget is not None and BUDGET in ("".join(address.split()) for address in changes):
        problems.append(Problem("budget", f"would leave {BUDGET} without effect; expected one of the two"))
    return [*problems, *wrong_aim(aim, "aim")]


def _checked(
    scenario: Scenario,
    points: Sequence[Mapping[str, object]],
    budget: float | None,
    forced: tuple[Iterable[str], Iterable[str]],
    problems: list[Problem],
) -> tuple[list[Scenario], list[Limits]]:
    """The scenario and the limits at every point.

    Raises
    ------
    InputError
        Something was wrong already, or is at some point; a problem that several points share is told once.
    """
    must, never = list(forced[0]), list(forced[1])
    scenarios, limits, found = [], [], dict.fromkeys(problems)
    for point in points:
        try:
            changed = scenario.change(point)
            kits = forced_guards(changed, must, never)
        except InputError as error:
            found |= dict.fromkeys(error.problems)
            continue
        scenarios.append(changed)
        limits.append(Limits(budget_cents(changed, budget), *kits))
    if found:
        raise InputError(list(found))
    return scenarios, limits


def _answer(bench: Bench, aim: Aim, limits: Limits, point: Mapping[str, object], deadline: Deadline) -> dict[str, Any]:
    """The best kit at one point, and what it costs on the planning sample."""
    scenario, planner = bench.scenario, bench.planner
    try:
        best = planner.best(aim, limits, deadline=deadline)
    except NoKitError as error:
        where = ", ".join(f"{address}={value}" for address, value in point.items())
        raise NoKitError(f"{error} (at {where})" if where else str(error)) from None
    before, after = (planner.measure(COST, kit) - scenario.dislike(kit) for kit in (scenario.stock, best.kit))
    return {
        "kit": in_order(scenario, best.kit),
        "spend": scenario.spend_cents(best.kit) / 100,
        "yearly_cost": after / scenario.annuity,
        "cost_over_years": after,
        "saving_over_years": before - after,
        "status": status_of(best.proven).value,
    }


def _table(rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    import pandas as pd

    table = pd.DataFrame(rows)
    first = rows[0]["kit"]
    differences = {
        "added": [[guard for guard in row["kit"] if guard not in first] for row in rows],
        "dropped": [[guard for guard in first if guard not in row["kit"]] for row in rows],
    }
    before = list(table.columns).index("status")
    for column, guards in reversed(differences.items()):
        table.insert(before, column, guards)
    return table
