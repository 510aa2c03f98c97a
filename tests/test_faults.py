"""Nothing is lost: whatever happens while something is written, it is there whole or not at all, and nothing else is."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from disk_faults import Place, disk_faults
from faults import Tally, command
from folders import write_folder
from other_programs import changed_folders, changed_riders, drafts, foreign_faults, rivals
from writers import PAGE, Job, jobs_remembered, writers

EVERYDAY, THOROUGH = 60, 400


def encodings(root: Path, tally: Tally, thorough: bool) -> None:
    """An answer is given in any encoding, and its JSON can be read back."""
    import encodings as known
    import json

    twin = root / "lettered"
    title = "Ångström’s 摩托 😀 – “½” ≥ €"
    write_folder(twin)
    settings = twin / "scenario.toml"
    settings.write_text(settings.read_text().replace("Small twin (invented)", title), encoding="utf-8")
    names = sorted({*known.aliases.aliases.values()} - {"mbcs", "oem", "punycode", "idna", "undefined", "hz", "tactis"})
    names = [name for name in names if not name.endswith("_codec") and name not in ("rot_13", "utf_7")]
    some = names if thorough else ["latin_1", "cp1252", "ascii", "cp437", "utf_16", "shift_jis", "koi8_r", "cp037"]

    def check(encoding: str) -> None:
        told = command("check", twin, encoding=encoding)
        assert told.status == 0
        assert "fall" in told.out
        answer = json.loads(command("check", twin, "--json", encoding=encoding).out)
        assert answer["scenario"] == title
        wrong = command("check", twin / "Ω–摩", encoding=encoding)
        assert wrong.status == 2
        assert wrong.err.startswith("error: ")

    for encoding in some:
        tally.survive(f"encoding {encoding}", lambda encoding=encoding: check(encoding))


def all_faults(root: Path, monkeypatch: pytest.MonkeyPatch, *, thorough: bool) -> Tally:
    """Try them all."""
    tally, place = Tally(), Place(root)
    with jobs_remembered():
        disk_faults(writers(root), place, tally, thorough)
        foreign_faults(root, place, tally)
        changed_riders(root, place, tally, monkeypatch)
        rivals(root, place, tally)
    changed_folders(place, tally)
    drafts(place, tally)
    encodings(root, tally, thorough)
    return tally


def test_nothing_is_lost_whatever_happens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Some of every kind of fault, on an ordinary day."""
    tally = all_faults(tmp_path, monkeypatch, thorough=False)
    with capsys.disabled():
        print(f"\n{tally}")
    assert not tally.failed, "\n".join(tally.failed)
    assert tally.tried >= EVERYDAY


@pytest.mark.slow
def test_nothing_is_lost_at_any_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every step of everything that writes, with every kind of fault."""
    tally = all_faults(tmp_path, monkeypatch, thorough=True)
    with capsys.disabled():
        print(f"\n{tally}")
    assert not tally.failed, "\n".join(tally.failed)
    assert tally.tried >= THOROUGH


def test_the_kit_sees_a_writer_that_is_not_safe(tmp_path: Path) -> None:
    """A plain write that is killed in the middle does not pass."""

    def write(folder: Path) -> None:
        handle = os.open(folder / "plain.html", os.O_WRONLY | os.O_CREAT)
        os.write(handle, PAGE.encode())
        os.close(handle)

    job = Job("plain", "plain.html", write, write)  # type: ignore[arg-type]
    tally, place = Tally(), Place(tmp_path)
    disk_faults([job], place, tally, thorough=False)
    assert tally.failed
