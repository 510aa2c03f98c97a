"""Where curves are found makes no difference to quotes, nor does losing a worker in the middle."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from shops import some_riders, write_riders, write_shop

from guardopt import processes as processes_
from guardopt.cli.commands import main
from guardopt.errors import InputError, OutOfTimeError
from guardopt.shop import executors
from guardopt.shop.executors import cluster, run_here, run_on

ROOT = Path(__file__).parents[2]


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
    with pytest.raises(InputError, match="cannot go with workers"), cluster(2, "tcp://127.0.0.1:1"):
        pass
    monkeypatch.setitem(__import__("sys").modules, "dask", None)
    with pytest.raises(InputError, match=r"pip install '\.\[cluster\]'"), cluster(None, "tcp://127.0.0.1:1"):
        pass
    with cluster(None, None) as client:
        assert client is None


def listening(_: object = None) -> list[str]:
    """Sockets of this process on which it waits for others to call: TCP, UDP and those of the file system."""
    held = set()
    for entry in Path("/proc/self/fd").iterdir():
        with suppress(OSError):
            held.add(str(entry.readlink()))
    waiting = []
    for kind, state, inode in (("tcp", 3, 9), ("tcp6", 3, 9), ("unix", 3, 6), ("udp", 3, 9), ("udp6", 3, 9)):
        for line in Path(f"/proc/net/{kind}").read_text().splitlines()[1:]:
            cells = line.split()
            waits = cells[state] == "00010000" if kind == "unix" else cells[state] in ("0A", "07")
            if waits and f"socket:[{cells[inode]}]" in held:
                waiting.append(line)
    return waiting


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="needs the file system /proc")
def test_workers_of_this_machine_open_no_door() -> None:
    """Neither they nor the process that started them listen anywhere, so no other user can call."""
    with socket.create_server(("127.0.0.1", 0)):
        assert len(listening()) == 1
    with cluster(2, None) as processes:
        assert run_on(processes, listening, [None] * 4) == [[]] * 4
        assert listening() == []


def answers_slowly(seconds: float) -> int:
    """Tell which process it is, after a while."""
    time.sleep(seconds)
    return os.getpid()


@pytest.mark.skipif(not Path("/proc").exists(), reason="needs the file system /proc")
def test_workers_end_with_the_process_that_started_them(tmp_path: Path) -> None:
    """Killed without a chance to say goodbye, it leaves none of them behind."""
    told = tmp_path / "told"
    script = (
        "import sys, test_executors as own\n"
        "from pathlib import Path\n"
        "if __name__ == '__main__':\n"
        "    with own.cluster(2, None) as processes:\n"
        "        pids = own.run_on(processes, own.answers_slowly, [0.2] * 4)\n"
        f"        Path({str(told)!r}).write_text(' '.join(map(str, pids)))\n"
        "        own.run_on(processes, own.answers_slowly, [60.0] * 2)\n"
    )
    (tmp_path / "owner.py").write_text(script)
    search = os.pathsep.join([str(Path(__file__).parent), str(Path(__file__).parents[1]), str(ROOT)])
    owner = subprocess.Popen(  # noqa: S603
        [sys.executable, str(tmp_path / "owner.py")], env={**os.environ, "PYTHONPATH": search}
    )
    try:
        while not (told.exists() and told.read_text()):
            assert owner.poll() is None
            time.sleep(0.05)
    finally:
        owner.kill()
        owner.wait()
    workers = {int(pid) for pid in told.read_text().split()}
    end = time.monotonic() + 30
    while any(Path(f"/proc/{pid}").exists() and not is_ended(pid) for pid in workers):
        assert time.monotonic() < end
        time.sleep(0.05)


def is_ended(pid: int) -> bool:
    """Whether a process is only waiting to be counted off."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def test_an_unsecured_cluster_is_told_once_and_plainly() -> None:
    """Who reaches the address can run programs; with TLS nothing is said."""
    distributed()
    for address, count in (("tcp://127.0.0.1:9", 1), ("127.0.0.1:9", 1), ("tls://127.0.0.1:9", 0)):
        told: list[str] = []
        with pytest.raises(InputError), patience("10ms"), cluster(None, address, told.append):
            pass
        assert len(told) == count
        assert all("can run programs on its machines and on this one" in one for one in told)


@contextmanager
def patience(wait: str) -> Iterator[None]:
    """Wait so long for a scheduler."""
    before, executors.PATIENCE = executors.PATIENCE, wait
    try:
        yield
    finally:
        executors.PATIENCE = before


def distributed() -> Any:
    """Dask's scheduler, or a reason to skip."""
    return pytest.importorskip("distributed", reason="needs dask, the extra `cluster`")


def test_workers_write_the_same_bytes(shop: Path, tmp_path: Path) -> None:
    """To the last digit."""
    assert quoted(shop, tmp_path / "two.csv", "--workers", "2") == quoted(shop, tmp_path / "here.csv")


# Dask leaves sockets and processes to the collector when workers are killed; that is not what is tested here.
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


def always_dies(_: object) -> None:
    """Kill the process that does it."""
    os.kill(os.getpid(), signal.SIGKILL)


def test_a_job_that_kills_every_worker_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Instead of going on for ever."""
    monkeypatch.setattr(processes_, "LOST_WORKERS", 3)
    with pytest.raises(OutOfTimeError, match="a job lost 3 workers"), cluster(1, None) as client:
        run_on(client, always_dies, [None])


def test_a_job_whose_worker_dies_under_it_is_done_again(tmp_path: Path) -> None:
    """The worker is replaced, the job repeated, and every answer stands in its place."""
    marker = str(tmp_path / "died")
    with cluster(2, None) as client:
        found = run_on(client, dies_once, [(marker, number) for number in range(6)])
    assert found == [0, 1, 4, 9, 16, 25]
    assert Path(marker).exists()


@pytest.mark.filterwarnings("ignore")
def test_an_address_where_nothing_listens_is_refused() -> None:
    """With its address, instead of a wait without end."""
    distributed()
    refused = pytest.raises(InputError, match="no scheduler answers at")
    with refused, patience("1s"), cluster(None, "tcp://127.0.0.1:9"):
        pass
