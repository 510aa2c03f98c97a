"""Runs jobs that know nothing of each other: here, in processes of this machine, or on a running cluster, by Dask.

Every job comes out the same wherever it runs, so the ways differ in time only. A job whose worker was lost is run again
by another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from guardopt.errors import GuardoptError, InputError, OutOfTimeError, Parameter, Problem, missing_packages
from guardopt.processes import LOST_WORKERS, Processes
from guardopt.spelling import printable

Job = TypeVar("Job")
Found = TypeVar("Found")

PATIENCE = "30s"
"""How long to wait for a scheduler to answer."""


def run_here(function: Callable[[Job], Found], jobs: Sequence[Job]) -> list[Found]:
    """Do jobs in this process, one after the other."""
    return [function(job) for job in jobs]


@contextmanager
def cluster(
    workers: int | None, address: str | None, warn: Callable[[str], None] = lambda _: None
) -> Iterator[Any | None]:
    """What jobs are run on: processes of this machine, a running cluster, or None for neither.

    Parameters
    ----------
    workers
        Number of processes on this machine.
    address
        Where the scheduler of a running cluster listens, such as ``tls://10.0.0.1:8786``.
    warn
        Told, where the cluster is not secured, who can run programs then.

    Raises
    ------
    InputError
        Dask is not installed, or nothing answers at the address.
    """
    if workers is not None and address is not None:
        raise InputError([Problem(Parameter("cluster"), "cannot go with workers: a running cluster has its own")])
    if workers is not None:
        processes = Processes(workers)
        try:
            yield processes
        finally:
            processes.stop()
    elif address is not None:
        with _client(address, warn) as client:
            yield client
    else:
        yield None


@contextmanager
def _client(address: str, warn: Callable[[str], None]) -> Iterator[Any]:
    """A client of a running Dask cluster."""
    try:
        import dask
        from distributed import Client
    except ImportError as error:
        raise missing_packages(Parameter("cluster"), "dask", "cluster") from error
    if not address.lower().startswith("tls://"):
        warn(
            f"the cluster at {printable(address)} is not secured by TLS: whoever can reach that address, or pretend to "
            "be it, can run programs on its machines and on this one"
        )
    settings = {
        "distributed.scheduler.allowed-failures": LOST_WORKERS,
        "distributed.admin.log-format": "%(message)s",
        "distributed.logging": dict.fromkeys(("distributed", "tornado", "asyncio"), "critical"),
    }
    with dask.config.set(settings):
        try:
            client = Client(address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            message = f"no scheduler answers at {printable(address)}"
            raise InputError([Problem(Parameter("cluster"), message)]) from error
        with client:
            yield client


def run_on(
    client: Any | None,
    function: Callable[[Job], Found],
    jobs: Sequence[Job],
    done: Callable[[int, Found], None] = lambda _row, _found: None,
) -> list[Found]:
    """Do jobs, by processes or on a cluster if there is one.

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
    if isinstance(client, Processes):
        return client.run(function, jobs, done)
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
