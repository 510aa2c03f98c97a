"""Measure the contenders side by side: time, proven gap, peak memory, and how far each is from the best kit found.

Run from the folder of the tests: ``python -m bench.compare`` (``--only medium`` for one table). Every contender runs in a
process of its own, one after the other, on the same falls; time is that of planning, the falls drawn beforehand.
"""

from __future__ import annotations

import argparse
import multiprocessing
import platform
import resource
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import numpy as np
from bench.catalogue import catalogue, mean_cost_cents
from bench.contenders import CONTENDERS, Case, Outcome

LIMIT = 400.0
"""Seconds after which a contender is stopped from outside; the solvers' own limit is below this."""


@dataclass(frozen=True)
class Size:
    """A catalogue, the budgets as shares of what one mean guard in every slot costs, and who takes part."""

    slots: int
    options: int
    falls: int
    capped_share: float
    budgets: tuple[float, ...]
    contenders: tuple[str, ...]
    parts: int = 30

    def __str__(self) -> str:
        capped = f"{self.capped_share:.0%} capped" if self.capped_share else "no cap"
        return f"{self.slots * self.options} guards in {self.slots} slots, 7 × {self.falls:,} falls, {capped}"


HEURISTICS = ("greedy", "greedy with swaps")
SIZES = {
    "small": Size(7, 2, 1000, 1 / 3, (0.4,), tuple(CONTENDERS)),
    "medium": Size(10, 6, 5000, 1 / 3, (0.2, 0.4, 0.6), ("tree", "tree to 0.1 %", *HEURISTICS)),
    "large": Size(20, 8, 5000, 0.0, (0.2, 0.4, 0.6), ("tree", *HEURISTICS), parts=60),
    "many falls": Size(10, 6, 20000, 1 / 3, (0.4,), ("tree", "tree to 0.1 %")),
}


def run(name: str, case: Case, answer: Any) -> None:
    """Run one contender in this process, and tell what came out and what it took."""
    case.sample  # noqa: B018 - drawn before the clock starts
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.monotonic()
    outcome = CONTENDERS[name](case)
    seconds = time.monotonic() - start
    peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    answer.send((outcome, seconds, before // 1024, peak // 1024))


def measured(name: str, case: Case) -> tuple[Outcome | None, float, int, int] | None:
    """Run one contender in a process of its own; None if it had to be stopped."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=run, args=(name, case, there))
    process.start()
    there.close()
    found = None
    if here.poll(LIMIT):
        try:
            found = here.recv()
        except EOFError:
            found = None
    process.kill()
    process.join()
    return found


def compare(size: Size) -> None:
    """Print a table of one size."""
    print(f"\n{size}\n")
    print("| budget | contender | time | proven gap | worse than best | peak memory |")
    print("|---|---|---|---|---|---|")
    scenario = catalogue(
        slots=size.slots,
        options=size.options,
        falls=size.falls,
        capped_share=size.capped_share,
        parts=size.parts,
    )
    for share in size.budgets:
        case = Case(scenario, int(share * mean_cost_cents(scenario, size.slots)))
        rows = [(name, measured(name, case)) for name in size.contenders]
        best = min((row[0].cost for _, row in rows if row is not None and row[0] is not None), default=0.0)
        for name, row in rows:
            print(f"| {share:.0%} | {name} | {_cells(row, best)} |", flush=True)


def pricing() -> None:
    """Print how the time to price a kit grows with the falls, beside that of reading the sample's arrays once."""
    print("\nPricing a kit (its facts found on the way), 60 guards, a third of the falls capped\n")
    print("| falls | arrays | pricing | reading the arrays once | ratio |")
    print("|---|---|---|---|---|")
    for falls in (2500, 5000, 10000, 20000):
        case = Case(catalogue(slots=10, options=6, falls=falls, capped_share=1 / 3), 0)
        finder = case.finder
        arrays = list(finder.arrays)
        kit = np.zeros(len(case.scenario.guards))
        kit[::7] = 1.0
        price = _median_seconds(lambda: finder.at(kit))  # noqa: B023 - called at once
        read = _median_seconds(lambda: [one.sum() for one in arrays])  # noqa: B023 - called at once
        size = sum(one.nbytes for one in arrays) / 1e6
        print(f"| 7 × {falls:,} | {size:.0f} MB | {1e3 * price:.1f} ms | {1e3 * read:.1f} ms | {price / read:.1f} |")


def _median_seconds(work: Callable[[], object], times: int = 9) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return sorted(taken)[times // 2]


def _cells(row: tuple[Outcome | None, float, int, int] | None, best: float) -> str:
    if row is None:
        return f"stopped after {LIMIT:.0f} s | | |"
    outcome, seconds, _, peak = row
    if outcome is None:
        return f"{seconds:.1f} s | no kit found | | {peak} MB"
    gap = f"{outcome.gap:.1e}" if outcome.gap < 1e3 else "none"
    return f"{seconds:.2f} s | {gap} | {outcome.cost / best - 1.0:.3%} | {peak} MB"


def main() -> None:
    """Print where this was measured, then a table for each size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=[*SIZES, "pricing"], help="one table only")
    chosen = parser.parse_args().only
    packages = ", ".join(f"{name} {version(name)}" for name in ("pulp", "highspy", "numpy"))
    print(
        f"{time.strftime('%Y-%m-%d')}, {multiprocessing.cpu_count()} cores, Python {platform.python_version()}, {packages}"
    )
    for name, size in SIZES.items():
        if chosen in (None, name):
            compare(size)
    if chosen in (None, "pricing"):
        pricing()


if __name__ == "__main__":
    main()
