"""Worker processes of this machine, reached by pipes that nobody but they and this process hold: nothing listens.

A job whose worker was lost is done again by another. Workers end with the process that started them, however it ends.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context, parent_process
from typing import TypeVar

from guardopt.errors import OutOfTimeError

Job = TypeVar("Job")
Found = TypeVar("Found")

LOST_WORKERS = 20
"""Jobs are given up when so many workers were lost and not one job was done in between: a job kills them then."""


def cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Processes:
    """A number of worker processes.

    Parameters
    ----------
    count
        How many.
    """

    def __init__(self, count: int) -> None:
        self._count = count
        self._pool: ProcessPoolExecutor | None = None

    def run(
        self, function: Callable[[Job], Found], jobs: Sequence[Job], done: Callable[[int, Found], None]
    ) -> list[Found]:
        """Do jobs; what came out, in the order of the jobs.

        Parameters
        ----------
        function
            What is done with each job; it must be importable by its name.
        jobs
            The jobs.
        done
            Told of each job that is done, in any order: its row, and what came out.

        Raises
        ------
        OutOfTimeError
            The workers were lost again and again.
        """
        found: dict[int, Found] = {}
        lost = 0
        while left := [row for row in range(len(jobs)) if row not in found]:
            before = len(found)
            try:
                futures = self._submitted(function, jobs, left)
                for future in as_completed(futures):
                    result = future.result()
                    found[futures[future]] = result
                    done(futures[future], result)
            except BrokenProcessPool as error:
                self.stop()
                lost = 1 if len(found) > before else lost + 1
                if lost >= LOST_WORKERS:
                    message = f"a job lost {LOST_WORKERS} workers, one after the other, and was given up"
                    raise OutOfTimeError(message) from error
        return [found[row] for row in range(len(jobs))]

    def _submitted(
        self, function: Callable[[Job], Found], jobs: Sequence[Job], rows: Sequence[int]
    ) -> dict[Future[Found], int]:
        with _interrupts_held_back():
            if self._pool is None:
                self._pool = ProcessPoolExecutor(self._count, get_context("spawn"), _end_with_parent)
            return {self._pool.submit(function, jobs[row]): row for row in rows}

    def stop(self) -> None:
        """End the workers; what they are at is dropped."""
        if self._pool is None:
            return
        # Without this a worker would finish its job first, which may take minutes.
        for process in list((self._pool._processes or {}).values()):
            process.kill()
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._pool = None


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Start workers deaf to the interrupt key, which is meant for this process; an interrupt comes right after."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_with_parent() -> None:
    """In a worker: end when the process that started it is gone, even if it was killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:

        def watch() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()
