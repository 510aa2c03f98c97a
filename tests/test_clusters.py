"""Where curves are found makes no difference to quotes, nor does losing a worker in the middle."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from shops import some_riders, write_riders, write_shop

from guardopt.cli import main
from guardopt.clusters import cluster, run_here, run_on
from guardopt.errors import InputError


def negated(number: int) -> int:
    """Something to do."""
    return -number


def dies_once(job: tuple[str, int]) -> int:
    """Kill the process that does it, the first time."""
    marker, number = job
    if number == 2 and not Path(marker).exists():
        Path(marker).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small shop with a book of riders."""
    root = write_shop(tmp_path_factory.mktemp("shop"))
    write_riders(root / "riders.csv", some_riders(40))
    return root


def quoted(shop: Path, out: Path, *options: str) -> bytes:
    """What the command writes."""
    found = CliRunner().invoke(main, ["quote", str(shop), str(shop / "riders.csv"), "-o", str(out), *options])
    assert found.exit_code == 0, found.exception
    return out.read_bytes()


def test_jobs_are_answered_in_their_order_here() -> None:
    """Each is told of as it is done."""
    told: list[tuple[int, int]] = []
    assert run_on(None, negated, [3, 1, 2], lambda row, found: told.append((row, found))) == [-3, -1, -2]
    assert told == [(0, -3), (1, -1), (2, -2)]
    assert run_here(negated, [3, 1, 2]) == [-3, -1, -2]


def test_a_cluster_is_either_new_or_running(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both at once makes no sense; without Dask the advice says what to install."""
    with pytest.raises(InputError, match="cannot go with --workers"), cluster(2, "tcp://127.0.0.1:1"):
        pass
    monkeypatch.setitem(__import__("sys").modules, "dask", None)
    with pytest.raises(InputError, match=r"pip install '\.\[cluster\]'"), cluster(2, None):
        pass
    with cluster(None, None) as client:
        assert client is None


def distributed() -> Any:
    """Dask's scheduler, or a reason to skip."""
    return pytest.importorskip("distributed", reason="needs dask, the extra `cluster`")


# Dask leaves sockets and processes to the collector when workers are killed; that is not what is tested here.
@pytest.mark.filterwarnings("ignore")
def test_workers_write_the_same_bytes(shop: Path, tmp_path: Path) -> None:
    """To the last digit."""
    distributed()
    assert quoted(shop, tmp_path / "two.csv", "--workers", "2") == quoted(shop, tmp_path / "here.csv")


@pytest.mark.filterwarnings("ignore")
def test_a_worker_killed_in_the_middle_costs_time_only(shop: Path, tmp_path: Path) -> None:
    """A running cluster loses a process while it is at work; the file is the same."""
    distributed_ = distributed()
    expected = quoted(shop, tmp_path / "here.csv")
    with (
        distributed_.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as local,
        distributed_.Client(local, set_as_default=False) as watcher,
    ):
        killed: list[int] = []

        def kill_one() -> None:
            while not killed:
                busy = [worker for worker, jobs in watcher.processing().items() if jobs]
                if busy:
                    pids = watcher.run(os.getpid, workers=busy[:1])
                    os.kill(next(iter(pids.values())), signal.SIGKILL)
                    killed.extend(pids.values())
                time.sleep(0.02)

        killer = threading.Thread(target=kill_one, daemon=True)
        killer.start()
        found = quoted(shop, tmp_path / "cluster.csv", "--cluster", local.scheduler_address)
        killed.append(0)
        killer.join(timeout=30)
    assert killed[0] != 0
    assert found == expected


@pytest.mark.filterwarnings("ignore")
def test_a_job_whose_worker_dies_under_it_is_done_again(tmp_path: Path) -> None:
    """The worker is replaced, the job repeated, and every answer stands in its place."""
    distributed()
    marker = str(tmp_path / "died")
    with cluster(2, None) as client:
        found = run_on(client, dies_once, [(marker, number) for number in range(6)])
    assert found == [0, 1, 4, 9, 16, 25]
    assert Path(marker).exists()


@pytest.mark.filterwarnings("ignore")
def test_an_address_where_nothing_listens_is_refused() -> None:
    """With its address, instead of a wait without end."""
    distributed()
    import guardopt.clusters

    patience, guardopt.clusters.PATIENCE = guardopt.clusters.PATIENCE, "1s"
    try:
        with pytest.raises(InputError, match="no scheduler answers at"), cluster(None, "tcp://127.0.0.1:9"):
            pass
    finally:
        guardopt.clusters.PATIENCE = patience
