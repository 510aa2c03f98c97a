"""Whatever stands in a file, reading it ends soon and in plain lines."""

from __future__ import annotations

import itertools
import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest
from faults import command
from hypothesis import HealthCheck, given, settings
from reader_inputs import (
    FILES,
    MOST_MEGABYTES,
    MOST_SECONDS,
    bounded_time,
    inputs,
    megabytes_at_most,
    reads,
    sound,
    write,
)

from guardopt.errors import InputError

EVERYDAY, THOROUGH = 300, 5_000

BOUNDED = settings(
    max_examples=EVERYDAY,
    database=None,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def fuzzed(root: Path, count: int) -> int:
    """Read so many inputs; how many there were."""
    bike, numbers = sound(root), itertools.count()
    before = megabytes_at_most()

    @settings(BOUNDED, max_examples=count)
    @given(inputs)
    def read(changed: dict[str, bytes]) -> None:
        next(numbers)
        reads(root / "read", bike, changed)

    read()
    assert megabytes_at_most() - before < MOST_MEGABYTES
    return next(numbers)


def test_any_input_is_read_or_refused_in_plain_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Bytes, rows and settings that nobody should write: some on an ordinary day."""
    count = fuzzed(tmp_path, EVERYDAY)
    with capsys.disabled():
        print(f"\ninputs read: {count}, none with a traceback, longer than {MOST_SECONDS} s or {MOST_MEGABYTES} MB")
    assert count >= EVERYDAY


@pytest.mark.slow
def test_thousands_of_inputs_are_read_or_refused_in_plain_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Many more of them."""
    count = fuzzed(tmp_path, THOROUGH)
    with capsys.disabled():
        print(f"\ninputs read: {count}, none with a traceback, longer than {MOST_SECONDS} s or {MOST_MEGABYTES} MB")
    assert count >= THOROUGH


TWO_SIDED = "guard,side,price\n" + "".join(f"g{one},both,1\n" for one in range(34))
CHAIN = 3_000


def chain(length: int) -> dict[str, bytes]:
    """Parts of which each takes the next along."""
    parts = "part,side,price\n" + "".join(f"p{one},centre,10\n" for one in range(length))
    hits = "part,tip_over,low_side\n" + "".join(f"p{one},0.1,0.1\n" for one in range(length))
    knock_on = "part,takes,chance\n" + "".join(f"p{one},p{one + 1},0.5\n" for one in range(length - 1))
    found = {"parts.csv": parts, "hits.csv": hits, "knock_on.csv": knock_on, "points.csv": "id,forward,out,up\n"}
    found |= {"covers.csv": "guard,part,holds\ncrash_bar,p0,0.5\n", "exposes.csv": "guard,part,chance\n"}
    return {name: text.encode() for name, text in found.items()}


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"guards.csv": TWO_SIDED.encode(), "covers.csv": b"guard,part,holds\n" + b"+".join(b"g%d" % one for one in range(34)) + b",lever,0.5\n"}, "covers.csv, line 2, column guard: found "),
        ({"parts.csv": ("part," + ",".join(f"c{one}" for one in range(100_000))).encode()}, "parts.csv, line 1: has more than 200 columns"),
        ({"parts.csv": b"part" + b"x" * 3_900_000}, "a cell has more than 131,072 characters"),
        ({"parts.csv": FILES["parts.csv"].encode() + b"tank2,centre,1,,,,\n" * 600}, "parts.csv: has more than 500 rows"),
        ({"parts.csv": FILES["parts.csv"].encode() + b"x" + b"," * 3_900_000 + b"x"}, "parts.csv, line 6: found 3900001 cells, expected 7"),
        ({"parts.csv": b"part,side,price\n" * 300_000}, "parts.csv: cannot be read: it is longer than 4,000,000 bytes"),
        ({"covers.csv": b"guard,part,holds\n" + b"x,y,z\n" * 4_900}, "too many mistakes: only the first 1,000 are told"),
        ({"hits.csv": b"part,tip_over,low_side\n" + b"\n" * 3_900_000}, "hits.csv: has a line of column names but no rows"),
        (chain(CHAIN), "parts.csv: has more than 500 rows"),
        (chain(400), "knock_on.csv: 400 parts would break one after the other, expected at most 50"),
        ({"guards.csv": FILES["guards.csv"].replace("12,,,", f"12,{' '.join(f'g{one}' for one in range(101))},,").encode()}, "more than 100 ids"),
        ({"scenario.toml": ("a." * 100_000 + "a = 1").encode()}, "scenario.toml, line 1: cannot be read: more than 10 names are joined by points"),
        ({"scenario.toml": b"a = " + b"[" * 5_000 + b"]" * 5_000}, "scenario.toml, line 1: cannot be read: brackets stand more than 10 deep"),
        ({"scenario.toml": b"a = " + b"9" * 5_000}, "scenario.toml: cannot be read: a value in it is too large or too deep"),
        ({"scenario.toml": b'a = """' + b'\\"""' * 60_000}, "scenario.toml"),
        ({"scenario.toml": b'a = "' + b'\\"' * 120_000}, "scenario.toml"),
        ({"scenario.toml": b"a" * 240_000}, "scenario.toml"),
        ({"scenario.toml": b"#" * 300_000}, "scenario.toml: cannot be read: it is longer than 250,000 bytes"),
        ({"shop.toml": b"valid_days = " + b"9" * 5_000}, "shop.toml: cannot be read: a value in it is too large or too deep"),
        ({"shop.toml": b"valid_days = " + b"[" * 5_000}, "shop.toml, line 1: cannot be read: brackets stand more than 10 deep"),
        ({"shop.toml": ("a." * 100_000 + "a = 1").encode()}, "shop.toml, line 1: cannot be read: more than 10 names are joined by points"),
        ({"shop.toml": b"name = 12,50"}, "shop.toml, line 1: cannot be read: it has a decimal comma"),
        ({"riders.csv": b"rider" + b"x" * 100_000_000}, "riders.csv, line 1: has more than 1,000,000 characters"),
        ({"riders.csv": b"rider" + b",x" * 100_000}, "riders.csv, line 1: has more than 200 columns"),
        ({"riders.csv": b"rider\n" + b"a" * 200_000 + b"\n"}, "riders.csv, line 2: a cell has more than 131,072 characters"),
        ({"riders.csv": b'rider\n"' + b"a\n" * 2_000_000}, "a cell has more than 131,072 characters"),
        ({"log.csv": FILES["log.csv"].encode() + b"2025-03-02,red\n" * 25_000}, "log.csv: has more than 20,000 rows"),
    ],
    ids=itertools.count(),
)  # fmt: skip
def test_what_is_too_large_is_told_as_what_it_is(changed: dict[str, bytes], told: str, tmp_path: Path) -> None:
    """Before any work begins: one plain line, little time, little memory."""
    from reader_inputs import readers

    folder, bike = write(tmp_path / "large", changed), sound(tmp_path)
    before = megabytes_at_most()
    name = next(iter(changed))
    read = readers(folder, bike).get(name, readers(folder, bike)["scenario.toml"])
    with bounded_time(), pytest.raises(InputError) as caught:
        read()
    lines = str(caught.value).splitlines()
    assert any(told in line for line in lines), [line[:200] for line in lines[:5]]
    assert all(len(line) < 2_000 for line in lines)
    assert megabytes_at_most() - before < MOST_MEGABYTES


def is_pipe(path: Path) -> None:
    """Nobody writes into it."""
    os.mkfifo(path)


def is_device(path: Path) -> None:
    """Zeros without end."""
    path.symlink_to("/dev/zero")


def is_socket(path: Path) -> None:
    """A place where a program waits for calls."""
    with socket.socket(socket.AF_UNIX) as waiting:
        here = Path.cwd()
        os.chdir(path.parent)
        try:
            waiting.bind(path.name)
        finally:
            os.chdir(here)


@pytest.mark.parametrize("name", ["scenario.toml", "parts.csv", "riding.csv", "riders.csv", "shop.toml", "log.csv"])
@pytest.mark.parametrize(("make", "kind"), [(is_pipe, "pipe"), (is_device, "device"), (is_socket, "socket")])
def test_what_is_no_file_is_not_waited_for(make: Callable[[Path], None], kind: str, name: str, tmp_path: Path) -> None:
    """A pipe, a device or a socket in the place of a table is named as such."""
    from reader_inputs import readers

    folder, bike = write(tmp_path / "odd", {}), sound(tmp_path)
    (folder / name).unlink()
    make(folder / name)
    read = readers(folder, bike).get(name, readers(folder, bike)["scenario.toml"])
    with bounded_time(), pytest.raises(InputError, match=f"cannot be read: it is a {kind}, expected a file"):
        read()


NUMBERS = (
    "1_000",
    "٣",
    "１２",
    "1e400",
    "nan",
    "inf",
    "0x10",
    "1,5",
    "1-",
    "½",
    "",
    "9" * 5_000,
    "1" + "0" * 400,
    "1e13",
)


@pytest.mark.parametrize(
    "option",
    [
        *(("plan", one) for one in ("--budget", "--tail", "--gap", "--time-limit", "--effort", "--sure", "--seed", "--falls")),
        *(("budgets", one) for one in ("--upto", "--step")),
        *(("order", one) for one in ("--put-by", "--in-hand", "--months")),
        *(("quote", one) for one in ("--workers", "--chunk")),
        *(("kits", one) for one in ("--count", "--time-limit")),
        ("learn", "--weight"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_the_command_line_reads_numbers_as_files_do(option: tuple[str, str], tmp_path: Path) -> None:
    """What a file would not take for a number, no option does; it is named, quoted and short."""
    name, flag = option
    folder = write(tmp_path / "bike", {})
    behind: list[object] = {
        "quote": [folder / "riders.csv", "-o", tmp_path / "q.csv"],
        "kits": [folder / "riders.csv", *([] if flag == "--count" else ["--count", 1])],
        "learn": [folder, "--into", tmp_path / "new"],
        "order": [] if flag == "--put-by" else ["--put-by", 5],
    }.get(name, [])
    for text in NUMBERS:
        if text == "inf" and flag == "--budget":
            continue
        answer = command(name, folder, *behind, f"{flag}={text}")
        assert (answer.status, answer.out) == (2, ""), (text[:20], answer)
        (line,) = [line for line in answer.err.splitlines() if not line.startswith("warning")]
        assert line.startswith(f"error: {flag}: found '"), line
        assert len(line) < 300


@pytest.mark.parametrize(
    "text", ["crash_bar=" + "9" * 400, "crash_bar=1_0", "crash_bar=٣", "crash_bar=", "=3", "9" * 5_000]
)
def test_counts_of_guards_are_numbers_as_well(text: str, tmp_path: Path) -> None:
    """Of nine digits at most."""
    folder = write(tmp_path / "bike", {})
    answer = command("kits", folder, folder / "riders.csv", "--count", 1, "--on-shelf", text)
    assert (answer.status, answer.out) == (2, "")
    assert "error: --on-shelf: found '" in answer.err
    assert answer.err.strip().endswith("expected GUARD=N with at most 9 digits")


def test_more_kits_than_there_are_cost_nothing(tmp_path: Path) -> None:
    """As many as are allowed, from a handful; more are refused."""
    folder = write(tmp_path / "bike", {})
    with bounded_time():
        many = command("kits", folder, folder / "riders.csv", "--count", 1000, "--falls", 20)
    assert many.status == 0
    refused = command("kits", folder, folder / "riders.csv", "--count", 1_000_000)
    assert refused.err.endswith("error: --count: found '1000000', expected a whole number from 1 to 1000\n")
    refused = command("plan", folder, "--sure", 10**12)
    assert refused.err.endswith("error: --sure: found '1000000000000', expected a whole number from 1 to 100000\n")
