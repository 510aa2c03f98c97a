"""Where answers go: closed, full or read no further, narrow terminals, and encodings that lack letters."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from folders import write_folder

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a shell and the file system /dev")


@pytest.fixture(scope="module")
def twin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small twin."""
    return write_folder(tmp_path_factory.mktemp("twin"))


def shell(twin: Path, line: str) -> tuple[int, str, str]:
    """Run a line of the shell in which $G is the command and $T the twin."""
    environment = {**os.environ, "G": f"{sys.executable} -m guardopt", "T": str(twin), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(  # noqa: S603
        ["/bin/sh", "-c", line], env=environment, capture_output=True, text=True, timeout=120, check=False
    )
    return done.returncode, done.stdout, done.stderr


CLOSED = "error: standard output is closed, so nobody could read the answer\n"
NO_SPACE = "error: no space left on device\n"


@pytest.mark.parametrize(
    ("line", "status", "err"),
    [
        ("$G check $T >&-", 1, CLOSED),
        ("$G check $T >&- <&-", 1, CLOSED),
        ("$G --help >&-", 1, CLOSED),
        ("$G check $T >&- 2>&-", 1, ""),
        ("$G check $T >/dev/full", 1, NO_SPACE),
        ("$G --help >/dev/full", 1, NO_SPACE),
        ("$G check $T >/dev/full 2>/dev/full", 1, ""),
        ("$G check nowhere 2>/dev/full", 2, ""),
        ("$G check nowhere 2>&-", 2, ""),
        ("($G check $T; echo $? >&2) | true", 0, "1\n"),
        ("$G check $T 2>&- >/dev/null", 0, ""),
        ("$G check $T <&- >/dev/null", 0, ""),
    ],
)
def test_a_stream_that_takes_nothing_ends_in_a_line_at_most(twin: Path, line: str, status: int, err: str) -> None:
    """No traceback, no half answer at exit status 0."""
    found = shell(twin, line)
    assert (found[0], found[2]) == (status, err)


def test_nothing_is_written_into_a_file_that_takes_the_place_of_a_closed_stream(twin: Path, tmp_path: Path) -> None:
    """With the streams closed, the first file opened would have the number of one."""
    status, _, _ = shell(twin, f"$G new {tmp_path}/mine <&- 2>&-")
    assert status == 0
    assert (tmp_path / "mine" / "parts.csv").read_text().startswith("part,side,price")
    assert shell(twin, f"$G check {tmp_path}/mine")[0] == 0


@pytest.mark.parametrize("size", [(0, 0), (1, 1), (3, 10), (50, 400)])
def test_terminals_of_any_size_show_progress_and_answer(twin: Path, size: tuple[int, int]) -> None:
    """Rows and columns of a terminal; one that tells no size, and one with room for a letter."""
    import fcntl
    import pty
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", *size, 0, 0))
    command = [sys.executable, "-m", "guardopt", "bill", str(twin), "--falls", "20"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    running = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment)  # noqa: S603
    os.close(theirs)
    pieces = []
    while True:
        try:
            piece = os.read(ours, 65_536)
        except OSError:
            break
        if not piece:
            break
        pieces.append(piece)
    os.close(ours)
    assert running.wait(timeout=60) == 0
    text = b"".join(pieces).decode()
    assert "Small twin (invented)" in text
    assert "Traceback" not in text
