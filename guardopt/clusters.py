"""Runs jobs that know nothing of each other: here, in processes of this machine, or on a cluster, by Dask.

Every job comes out the same wherever it runs, so the ways differ in time only. A job whose worker was lost is run again
by another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from guardopt.errors import GuardoptError, InputError, OutOfTimeError, Problem, missing_packages

Job = TypeVar("Job")
Found = TypeVar("Found")

LOST_WORKERS = 20
"""A job is given up when it took so many workers with it: then it is the job that kills them."""

PATIENCE = "30s"
"""How long to wait for a scheduler to answer."""


def run_here(function: Callable[[Job], Found], jobs: Sequence[Job]) -> list[Found]:
    """Do jobs in this process, one after the other."""
    return [function(job) for job in jobs]


@contextmanager
def cluster(workers: int | None, address: str | None) -> Iterator[Any | None]:
    """A client of the cluster asked for: of a new one on this machine, of a running one, or None for neither.

    Parameters
    ----------
    workers
        Number of processes on this machine.
    address
        Where the scheduler of a running cluster listens, such as ``tcp://10.0.0.1:8786``.

    Raises
    ------
    InputError
        Dask is not installed, or nothing answers at the address.
    """
    if workers is None and address is None:
        yield None
        return
    if workers is not None and address is not None:
        raise InputError([Problem("--cluster", "cannot go with --workers: a running cluster has its own")])
    try:
        import dask
        from distributed import Client, LocalCluster
    except ImportError as error:
        option = "--workers" if address is None else "--cluster"
        raise missing_packages(option, "dask", "cluster") from error
    settings = {
        "distributed.scheduler.allowed-failures": LOST_WORKERS,
        "distributed.admin.log-format": "%(message)s",
        "distributed.logging": dict.fromkeys(("distributed", "tornado", "asyncio"), "critical"),
    }
    with dask.config.set(settings):
        if address is not None:
            try:
                client = Client(address, timeout=PATIENCE, set_as_default=False)
            except (OSError, ValueError) as error:
                message = f"no scheduler answers at {address}"
                raise InputError([Problem("--cluster", message)]) from error
            with client:
                yield client
            return
        with (
            LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                processes=True,
                dashboard_address=None,
                silence_logs=50,
            ) as local,
            Client(local, set_as_default=False) as client,
        ):
            yield client


def run_on(
    client: Any | None,
    function: Callable[[Job], Found],
    jobs: Sequence[Job],
    done: Callable[[int, Found], None] = lambda _row, _found: None,
) -> list[Found]:
    """Do jobs, on a cluster if there is one.

    Parameters
    ----------
    client
        From `cluster`.
    function
        What is done with each job; it must be importable by its name.
    jobs
        The jobs.
    done
        Told of each job that is done, in any order: its row, and what came out.

    Raises
    ------
    OutOfTimeError
        A job lost its worker again and again.
    """
    found: dict[int, Found] = {}
    if client is None:
        for row, job in enumerate(jobs):
            found[row] = function(job)
            done(row, found[row])
        return list(found.values())
    from distributed import KilledWorker, as_completed

    futures = [client.submit(function, job, pure=False) for job in jobs]
    rows = {future.key: row for row, future in enumerate(futures)}
    try:
        for future in as_completed(futures, loop=client.loop):
            row = rows[future.key]
            found[row] = future.result()
            done(row, found[row])
    except KilledWorker as error:
        raise OutOfTimeError(f"a job lost {LOST_WORKERS} workers, one after the other, and was given up") from error
    except GuardoptError:
        raise
    finally:
        client.cancel(futures)
    return [found[row] for row in range(len(jobs))]
