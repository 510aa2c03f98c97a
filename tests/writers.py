"""Everything that writes, as jobs for the kit of faults: how it is called, what it makes, and how it is done again."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from faults import Answer, command
from folders import write_folder
from logs import Rider, simulated_log
from shops import some_riders, write_riders, write_shop

from guardopt.errors import InputError
from guardopt.files.whole_file import write_file
from guardopt.learning.learn import learn
from guardopt.learning.learned_folder import write_learned
from guardopt.loading.load import load
from guardopt.pages.plan_page import MARK, write_page
from guardopt.shop import executors
from guardopt.writing.starter import copy_scenario, write_starter

RIDERS = 12
PAGE = f'<!DOCTYPE html>\n{MARK} 1">\n<p>{"a page " * 400}</p>\n'


@dataclass(frozen=True)
class Job:
    """Something that writes.

    Attributes
    ----------
    product
        The name of what it makes.
    run
        Make it in a folder; what is wrong is raised as an `InputError` or told in the answer of a command.
    again
        The same after an interruption.
    """

    name: str
    product: str
    run: Callable[[Path], Answer | None]
    again: Callable[[Path], Answer | None]


@cache
def shop_at(root: Path) -> Path:
    """A small shop with a short book of riders."""
    shop = write_shop(root / "shop")
    write_riders(shop / "riders.csv", some_riders(RIDERS))
    return shop


@contextmanager
def jobs_remembered() -> Iterator[None]:
    """Kits are found once for all runs: what is tested is what happens on disk."""
    real, known = executors.run_on, dict[bytes, Any]()

    def run_on(
        client: Any, function: Callable[[Any], Any], jobs: Sequence[Any], done: Callable[..., None] = lambda *_: None
    ) -> list[Any]:
        found = []
        for row, job in enumerate(jobs):
            key = pickle.dumps((function.__name__, job))
            if key not in known:
                known[key] = real(client, function, [job])[0]
            found.append(known[key])
            done(row, known[key])
        return found

    executors.run_on = run_on
    try:
        yield
    finally:
        executors.run_on = real


def writers(root: Path) -> list[Job]:
    """Every way of writing."""
    shop, twin = shop_at(root), write_folder(root / "twin")
    before = load(twin)
    learned = learn(before, simulated_log(before, [Rider("red", 900)], seed=3))

    def quote(ending: str, *options: str) -> Callable[[Path], Answer]:
        asked = ("quote", shop, shop / "riders.csv", "--chunk", 5, "--falls", 20, *options)
        return lambda folder: command(*asked, "-o", folder / f"q.{ending}")

    def planned(option: str, product: str) -> Callable[[Path], Answer]:
        return lambda folder: command("plan", twin, "--no-reasons", "--falls", 20, option, folder / product)

    def plain(name: str, product: str, write: Callable[[Path], object]) -> Job:
        def run(folder: Path) -> None:
            write(folder / product)

        return Job(name, product, run, run)

    return [
        plain("a starter", "mine", write_starter),
        plain("a copy", "copy", lambda path: copy_scenario(twin, path)),
        plain("a page", "bike.html", lambda path: write_page(path, PAGE)),
        plain("what was learned", "learned", lambda path: write_learned(twin, learned, {}, path)),
        plain("a workbook to fill in", "mine.xlsx", write_starter),
        plain("a copy as a workbook", "copy.xlsx", lambda path: copy_scenario(twin, path)),
        plain("what was learned, as a workbook", "learned.xlsx", lambda path: write_learned(twin, learned, {}, path)),
        Job("a proof", "why.json", planned("--proof", "why.json"), planned("--proof", "why.json")),
        Job("a shopping list", "buy.csv", planned("--list", "buy.csv"), planned("--list", "buy.csv")),
        Job("a shopping list as a workbook", "buy.xlsx", planned("--list", "buy.xlsx"), planned("--list", "buy.xlsx")),
        plain("a list", "who.csv", lambda path: write_file((b"a,b\n" * 900 for _ in range(9)), path, str(path))),
        Job("quotes", "q.csv", quote("csv"), quote("csv", "--resume")),
        Job("quotes in Parquet", "q.parquet", quote("parquet"), quote("parquet", "--resume")),
    ]


def problem_of(job: Callable[[Path], Answer | None], folder: Path) -> list[str]:
    """What a job says is wrong, line by line; nothing if all went well."""
    try:
        answer = job(folder)
    except InputError as error:
        return str(error).splitlines()
    if answer is None or answer.status == 0:
        return []
    lines = answer.err.splitlines()
    assert lines, "it failed without a word"
    assert all(line.startswith(("error: ", "warning: ")) for line in lines), answer.err
    return [line for line in lines if line.startswith("error: ")]
