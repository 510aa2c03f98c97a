"""Quotes appear whole or not at all; what an interruption leaves is gone on with, to the last byte."""

from __future__ import annotations

import random
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from shops import some_riders, write_riders, write_shop

from guardopt.cli.commands import main
from guardopt.errors import InputError
from guardopt.files.drafts import MARK, MARK_FILE
from guardopt.shop.output.quote_output import QuoteFile
from guardopt.shop.quote_file import quote_file

ROOT = Path(__file__).parents[2]
RIDERS = 60
KILLS = 20


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small shop with a book of riders, one row of it wrong."""
    root = write_shop(tmp_path_factory.mktemp("shop"))
    lines = some_riders(RIDERS)
    lines[20] = "slip,twin,town,12,1,50,,"
    write_riders(root / "riders.csv", lines)
    return root


def quote(shop: Path, out: Path, *options: str) -> tuple[int, str, BaseException | None]:
    """Run the command in this process."""
    found = CliRunner().invoke(
        main, ["quote", str(shop), str(shop / "riders.csv"), "-o", str(out), "--chunk", "7", *options]
    )
    return found.exit_code, found.output, found.exception


@pytest.fixture(scope="module")
def whole(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """What an undisturbed run writes."""
    out = tmp_path_factory.mktemp("whole") / "quotes.csv"
    status, _, _ = quote(shop, out)
    assert status == 0
    return out.read_bytes()


def left_beside(out: Path) -> list[str]:
    """Files beside an output."""
    return sorted(path.name for path in out.parent.iterdir() if path != out)


def test_every_rider_has_one_line_in_order(shop: Path, whole: bytes) -> None:
    """The wrong row too, with its line in the table of riders and what is wrong."""
    lines = whole.decode().splitlines()
    assert len(lines) == RIDERS + 1
    assert [line.partition(",")[0] for line in lines[1:20]] == [f"rider_{number:03}" for number in range(1, 20)]
    assert "wrong_row" in lines[21]
    assert "riders.csv, line 22, column owned: found '50'" in lines[21]


def test_the_summary_has_the_currency_and_the_losers(tmp_path: Path) -> None:
    """What all quotes come to and how many kits lose money; a budget that may be thousands is not guessed at."""
    root = write_shop(tmp_path / "shop")
    write_riders(root / "riders.csv", ["a,twin,calm,none,,none,,", "b,single,town,1.200,,none,,"])
    told = CliRunner().invoke(main, ["quote", str(root), str(root / "riders.csv"), "-o", str(tmp_path / "bills.csv")])
    said = " ".join(told.stdout.split())
    assert re.search(r"1 quote in .+: guards for EUR [\d,.]+ in all, which save EUR ", said)
    assert "with something to buy 1 whose kit saves less than it costs, resale counted 1" in said
    assert "whose row could not be read, and who got no quote 1" in said
    assert "To quote only what pays for itself, ask for the aim outlay." in said
    fault = "found '1.200', a point that may divide thousands or decimals: write 1200 or 1.20"
    assert f"warning: riders.csv, line 3, column budget: {fault}" in told.stderr.splitlines()
    assert "saves less than it costs" in (tmp_path / "bills.csv").read_text().splitlines()[1]
    out = tmp_path / "outlay.csv"
    told = CliRunner().invoke(main, ["quote", str(root), str(root / "riders.csv"), "-o", str(out), "--aim", "outlay"])
    assert "less than it costs" not in " ".join(told.stdout.split())


def test_an_output_that_is_there_is_not_touched(shop: Path, tmp_path: Path) -> None:
    """Nor is a file that questions read, nor a name that says no format."""
    out = tmp_path / "quotes.csv"
    out.write_text("mine")
    for name in ("quotes.csv", "riders.csv", "guards.csv", "quotes.txt", "no/quotes.csv"):
        _, _, error = quote(shop, tmp_path / name)
        assert isinstance(error, InputError)
    assert out.read_text() == "mine"
    assert left_beside(out) == []


def test_strict_stops_at_a_wrong_row_and_writes_nothing(shop: Path, tmp_path: Path) -> None:
    """Before any curve is looked for."""
    _, _, error = quote(shop, tmp_path / "quotes.csv", "--strict")
    assert isinstance(error, InputError)
    assert error.exit_code == 2
    assert "line 22" in str(error)
    assert list(tmp_path.iterdir()) == []


def interrupted_run(shop: Path, out: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """What an interruption just before the end leaves beside an output."""

    def interrupted(_: QuoteFile) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(QuoteFile, "finish", interrupted)
        quote(shop, out)
    return out.with_name(f"{out.name}.unfinished")


def test_what_is_unfinished_is_not_begun_anew_by_mistake(
    shop: Path, whole: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --resume it is left alone; with it, one about another question is refused, and a torn line is cut off."""
    out = tmp_path / "quotes.csv"
    left = interrupted_run(shop, out, monkeypatch)
    _, _, error = quote(shop, out)
    assert isinstance(error, InputError)
    assert str(error) == f"{left}: is left of an earlier attempt; resume it or remove it"
    _, _, error = quote(shop, out, "--resume", "--aim", "outlay")
    assert isinstance(error, InputError)
    assert "other riders, bikes or options" in str(error)
    journal = left / "journal"
    journal.write_bytes(journal.read_bytes() + b'{"chunk":9,"en')
    assert quote(shop, out, "--resume")[0] == 0
    assert out.read_bytes() == whole
    assert left_beside(out) == []


def test_a_draft_left_by_a_process_that_was_killed_as_it_began_goes_with_the_next_run(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder of what is unfinished is there by then, so no new draft is made that would clear the old one away."""
    out = tmp_path / "quotes.csv"
    interrupted_run(shop, out, monkeypatch)
    draft = tmp_path / ".guardopt-0123456789abcdef"
    draft.mkdir()
    (draft / MARK_FILE).write_bytes(MARK)
    assert quote(shop, out, "--resume")[0] == 0
    assert left_beside(out) == []


def start(shop: Path, out: Path) -> subprocess.Popen[bytes]:
    """Start the command as a process of its own."""
    command = [sys.executable, "-m", "guardopt", "quote", str(shop), str(shop / "riders.csv"), "-o", str(out)]
    command += ["--chunk", "2", "--resume", "--json"]
    return subprocess.Popen(  # noqa: S603
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )


def test_killed_at_any_moment_and_started_again_it_writes_the_same_bytes(shop: Path, tmp_path: Path) -> None:
    """Twenty times: killed without warning after a random time, until a run gets through; nothing lost or repeated."""
    undisturbed = tmp_path / "undisturbed.csv"
    began = time.monotonic()
    summary = start(shop, undisturbed).communicate(timeout=300)[0]
    length = time.monotonic() - began
    rng = random.Random(7)  # noqa: S311
    killed = 0
    out = tmp_path / "quotes.csv"
    while killed < KILLS:
        process = start(shop, out)
        try:
            # Later moments are tried more often: a run begins with half a second of imports.
            process.wait(timeout=length * rng.uniform(0.1, 1.0) ** 0.5)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            process.communicate()
            killed += 1
            assert not out.exists() or out.read_bytes() == undisturbed.read_bytes()
            if left_beside(out) == ["undisturbed.csv"]:
                # It had finished and was about to end.
                out.unlink(missing_ok=True)
        else:
            told = process.communicate()[0]
            assert process.returncode == 0
            assert told == summary
            assert out.read_bytes() == undisturbed.read_bytes()
            assert left_beside(out) == ["undisturbed.csv"]
            out.unlink()
    process = start(shop, out)
    process.communicate(timeout=300)
    assert process.returncode == 0
    assert out.read_bytes() == undisturbed.read_bytes()
    assert left_beside(out) == ["undisturbed.csv"]


def test_a_work_file_that_was_tampered_with_is_written_again(
    shop: Path, whole: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The journal knows what the chunks added up to; what does not agree is not trusted."""
    out = tmp_path / "quotes.csv"
    work = interrupted_run(shop, out, monkeypatch) / "quotes"
    assert work.read_bytes() == whole
    work.write_bytes(whole[:50] + b"x" + whole[51:])
    assert quote(shop, out, "--resume")[0] == 0
    assert out.read_bytes() == whole


def test_parquet_says_the_same_as_csv(shop: Path, whole: bytes, tmp_path: Path) -> None:
    """Read from Parquet or written to it, riders get the same quotes."""
    pytest.importorskip("pyarrow", reason="Parquet needs pyarrow")
    import pandas as pd

    (tmp_path / "whole.csv").write_bytes(whole)
    expected = pd.read_csv(tmp_path / "whole.csv")
    assert quote(shop, tmp_path / "quotes.parquet")[0] == 0
    found = pd.read_parquet(tmp_path / "quotes.parquet")
    good = expected["status"] != "wrong_row"
    for column in expected.columns:
        if column not in ("times", "budget") or not good.all():
            one, other = expected[column][good], found[column][good]
            if pd.api.types.is_numeric_dtype(found[column]):
                assert one.astype(float).round(2).equals(other.astype(float).round(2)), column
            else:
                assert one.fillna("").astype(str).tolist() == other.fillna("").tolist(), column
    lines = (shop / "riders.csv").read_text().splitlines()
    table = pd.DataFrame([line.split(",")[:8] for line in lines[1:]], columns=lines[0].split(","))
    table.loc[20, "owned"] = "50"
    table.to_parquet(tmp_path / "riders.parquet")
    out = tmp_path / "again.csv"
    arguments = ["quote", str(shop), str(tmp_path / "riders.parquet"), "-o", str(out), "--chunk", "7"]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    assert out.read_text().replace("riders.parquet, row 21", "") == whole.decode().replace("riders.csv, line 22", "")


def test_python_writes_what_the_command_writes_and_goes_on_with_it(shop: Path, whole: bytes, tmp_path: Path) -> None:
    """The same bytes from two processes, the same totals; what is wrong with the riders is told."""
    told: list[str] = []
    found = quote_file(shop, shop / "riders.csv", tmp_path / "two.csv", chunk=7, workers=2, warn=told.append)
    assert found.out.read_bytes() == whole
    assert found.currencies == {"EUR"}
    assert any("line 22" in one for one in told)
    assert found.table["total"]["riders"] == found.to_json()["riders"] == RIDERS
    again = quote_file(shop, shop / "riders.csv", tmp_path / "new.csv", chunk=7, resume=True)
    assert again.to_json() == found.to_json()
