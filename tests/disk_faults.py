"""What a broken disk and a killed process do at each step of everything that writes."""

from __future__ import annotations

import itertools
import os
import random
import shutil
from pathlib import Path

from faults import BROKEN, FORBIDDEN, FULL, READ_ONLY, Disk, Killed, Tally, content
from writers import Job, problem_of

from guardopt.files.whole_file import write_file

BYSTANDERS = {
    "notes.txt": b"mine",
    "q.csv.journal": b"my own journal",
    "q.csv-unfinished": b"mine too",
    ".guardopt-notes": b"hidden, and mine",
    ".guardopt-0123456789abcdef/mark": b"a folder of the same kind of name, with somebody else's mark\n",
    ".guardopt-0123456789abcdee/content": b"one without any mark",
}


class Place:
    """A fresh folder with things in it that are nobody's business."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._numbers = itertools.count()

    def __call__(self) -> Path:
        """Make one."""
        folder = self._root / f"place{next(self._numbers)}"
        for name, text in BYSTANDERS.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(text)
        return folder


def others(folder: Path, product: str) -> dict[str, bytes]:
    """All files of a folder but the product."""
    found = {one.relative_to(folder): one for one in sorted(folder.rglob("*")) if one.is_file()}
    return {str(name): one.read_bytes() for name, one in found.items() if name.parts[0] != product}


def steps_of(job: Job, place: Place) -> tuple[object, list[str]]:
    """What a job makes when nothing happens, and the steps on disk it takes."""
    folder = place()
    with Disk(folder).watched() as disk:
        assert problem_of(job.run, folder) == []
    assert others(folder, job.product) == BYSTANDERS
    return content(folder / job.product), disk.steps


def survives(job: Job, folder: Path, disk: Disk, whole: object) -> None:
    """After a fault the product is whole or absent; done again it is whole, and nothing is left of the first attempt."""
    try:
        with disk.watched():
            told = problem_of(job.run, folder)
        if disk.error is not None and content(folder / job.product) is None:
            assert len(told) == 1, told
            assert os.strerror(disk.error).lower() in told[0], told
            assert str(folder) in told[0], told
    except Killed:
        assert disk.error is None
    found = content(folder / job.product)
    assert found in (None, whole), f"half written at step {disk.fails_at} of {disk.steps}"
    left = others(folder, job.product)
    assert {name: left[name] for name in BYSTANDERS} == BYSTANDERS
    told = problem_of(job.again, folder)
    assert told == [] or (found == whole and "is there already" in told[0]) or "is not empty" in told[0], told
    assert content(folder / job.product) == whole
    write_file(b"another", folder / "another.txt", "another")
    (folder / "another.txt").unlink()
    assert others(folder, job.product) == BYSTANDERS


def disk_faults(jobs: list[Job], place: Place, tally: Tally, thorough: bool) -> None:
    """Kill at every step, and fail at every step with each kind of error, for good or once."""
    kinds: list[tuple[str, int | None, bool]] = [("killed", None, True), ("full", FULL, True)]
    if thorough:
        kinds += [("read-only", READ_ONLY, True), ("broken once", BROKEN, False), ("forbidden", FORBIDDEN, True)]
    rng = random.Random(1)  # noqa: S311
    for job in jobs:
        whole, steps = steps_of(job, place)
        for kind, error, lasts in kinds:
            numbers = range(1, len(steps) + 1)
            # A kill is tried at every step; an error, which is met by one `except` wherever it comes, at every third.
            share = 1 if error is None else 3
            some = (
                numbers[::share] if thorough else sorted(rng.sample(numbers, min(len(numbers), 6 // (share + 1) + 1)))
            )
            for number in some:
                folder = place()
                disk = Disk(folder, number, error, lasts)
                name = f"{job.name}, {kind} at step {number} ({steps[number - 1]})"
                tally.survive(name, lambda j=job, f=folder, d=disk, w=whole: survives(j, f, d, w))
                shutil.rmtree(folder)
