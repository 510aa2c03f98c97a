"""Nothing is lost: whatever happens while something is written, it is there whole or not at all, and nothing else is."""

from __future__ import annotations

import itertools
import os
import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from faults import BROKEN, FORBIDDEN, FULL, READ_ONLY, Disk, Killed, Tally, command, content
from folders import write_folder
from shops import some_riders, write_riders
from writers import PAGE, Job, jobs_remembered, problem_of, shop_at, writers

from guardopt.errors import InputError
from guardopt.files.drafts import MARK, remove_old_drafts
from guardopt.files.tables import READING_ORDER
from guardopt.files.taken_once import taken_once
from guardopt.files.whole_file import write_file
from guardopt.shop.output.quote_output import QuoteFile

EVERYDAY, THOROUGH = 60, 400

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


def foreign_faults(root: Path, place: Place, tally: Tally) -> None:
    """What bears the name of our working folder but is not ours is refused by name and left as it is."""

    def is_file(path: Path) -> None:
        path.write_bytes(b"mine")

    def is_full_folder(path: Path) -> None:
        path.mkdir()
        (path / "quotes").write_bytes(b"mine")

    def has_foreign_journal(path: Path) -> None:
        path.mkdir()
        (path / "journal").write_bytes(b'{"question":"somebody else asked"}\n')

    def has_link_for_journal(path: Path) -> None:
        path.mkdir()
        (path / "journal").symlink_to(path.parent / "notes.txt")

    def has_pipe_for_journal(path: Path) -> None:
        path.mkdir()
        os.mkfifo(path / "journal")

    def is_link_to_file(path: Path) -> None:
        path.symlink_to(path.parent / "notes.txt")

    def is_link_to_nothing(path: Path) -> None:
        path.symlink_to(path.parent / "nowhere")

    def is_link_to_folder(path: Path) -> None:
        (path.parent / "elsewhere").mkdir()
        path.symlink_to(path.parent / "elsewhere")

    def has_broken_journal(path: Path) -> None:
        path.mkdir()
        (path / "journal").write_bytes(b"")

    makers = (is_file, is_full_folder, has_foreign_journal, has_link_for_journal, has_pipe_for_journal, is_link_to_file)
    makers += (is_link_to_nothing, is_link_to_folder, has_broken_journal)
    shop = shop_at(root)
    for make, option in itertools.product(makers, ([], ["--resume"])):

        def check(make: object = make, option: list[str] = option) -> None:
            folder = place()
            make(folder / "q.csv.unfinished")
            before = sorted((str(one), one.is_symlink()) for one in folder.rglob("*"))
            texts = others(folder, "journal") if make is not has_pipe_for_journal else {}
            answer = command("quote", shop, shop / "riders.csv", "--falls", 20, "-o", folder / "q.csv", *option)
            assert answer.status == 2
            assert "q.csv.unfinished: is there already and is nothing that guardopt left" in answer.err
            assert sorted((str(one), one.is_symlink()) for one in folder.rglob("*")) == before
            assert texts == (others(folder, "journal") if make is not has_pipe_for_journal else {})

        tally.survive(f"{make.__name__} {option}", check)


def changed_riders(root: Path, place: Place, tally: Tally, monkeypatch: pytest.MonkeyPatch) -> None:
    """Riders that change between the two walks through them are noticed; nothing is published and no stale quote."""
    shop = shop_at(root)
    lines = some_riders(12, seed=1)
    versions = {
        "others": some_riders(12, seed=2),
        "one budget": [lines[0].replace(lines[0].split(",")[3], "77.77", 1), *lines[1:]],
        "fewer": lines[:7],
        "more": [*lines, *some_riders(3, seed=5)],
        "none": [],
        "another order": lines[::-1],
        "a wrong row": [*lines[:-1], "x,twin,town,1,2,3,4,5,6,7,8"],
        "another bike": [*lines[:-1], "x,triple,,,,,,"],
    }
    from guardopt.loading import rider_sheets

    real = rider_sheets.open_text
    for (name, version), option in itertools.product(versions.items(), ([], ["--resume"])):

        def check(name: str = name, version: list[str] = version, option: list[str] = option) -> None:
            folder = place()
            riders = write_riders(folder / "book.csv", lines)
            opened = itertools.count(1)

            def change(path: Path) -> object:
                if next(opened) == 2:
                    if name == "others":
                        riders.unlink()
                    write_riders(riders, version)
                return real(path)

            asked = ("quote", shop, riders, "--falls", 20, "--chunk", 5, "-o", folder / "q.csv", *option)
            with monkeypatch.context() as patched:
                patched.setattr(rider_sheets, "open_text", change)
                answer = command(*asked)
            assert (answer.status, answer.out) == (2, ""), answer
            assert answer.err.splitlines()[-1] == (
                "error: book.csv: was changed while it was being read; nothing was written, run the command again"
            )
            assert others(folder, "book.csv") == BYSTANDERS
            if version and "x," not in version[-1]:
                assert command(*asked).status == 0
                assert (folder / "q.csv").read_text().count("\n") == len(version) + 1

        tally.survive(f"riders changed: {name} {option}", check)


def changed_folders(place: Place, tally: Tally) -> None:
    """A scenario that changes while it is read twice is named, file by file, also where it leads to another error."""
    for name, how in itertools.product(READING_ORDER[:6], ("edited", "removed", "confusing")):

        def check(name: str = name, how: str = how) -> None:
            folder = write_folder(place() / "twin")
            with pytest.raises(InputError) as caught, taken_once([folder / one for one in READING_ORDER]) as look:
                if how == "removed":
                    (folder / name).unlink()
                else:
                    (folder / name).write_bytes((folder / name).read_bytes() + b"\n")
                if how == "confusing":
                    raise ValueError("zip() argument 2 is shorter than argument 1")
                look()
            assert [str(problem.where) for problem in caught.value.problems] == [str(folder / name)]

        tally.survive(f"{name} {how}", check)


def rivals(root: Path, place: Place, tally: Tally) -> None:
    """Two runs at once; and the advice to remove what is unfinished, followed while a run is still at work."""
    shop = shop_at(root)
    asked = ("quote", shop, shop / "riders.csv", "--falls", 20, "--chunk", 5)
    whole = place()
    assert command(*asked, "-o", whole / "q.csv").status == 0
    expected = (whole / "q.csv").read_bytes()

    def second_run(option: list[str]) -> None:
        folder = place()
        first = QuoteFile(folder / "q.csv", "first", resume=False)
        answer = command(*asked, "-o", folder / "q.csv", *option)
        assert answer.status == 2
        assert answer.err.endswith("q.csv.unfinished: another process is at work on it\n")
        first.discard()
        first.close()
        assert others(folder, "") == BYSTANDERS

    for option in ([], ["--resume"]):
        tally.survive(f"a second run {option}", lambda option=option: second_run(option))

    def interfered(how: str) -> None:
        folder = place()
        out, working = folder / "q.csv", folder / "q.csv.unfinished"
        real = QuoteFile.finish

        def finish(self: QuoteFile) -> object:
            if how in ("removed", "replaced"):
                shutil.rmtree(working)
            if how == "replaced":
                working.mkdir()
                (working / "quotes").write_bytes(b"")
            if how == "emptied":
                (working / "quotes").write_bytes(b"")
            if how == "swapped":
                (working / "quotes").unlink()
                (working / "quotes").symlink_to(folder / "notes.txt")
            if how == "taken":
                out.write_bytes(b"mine")
            return real(self)

        QuoteFile.finish = finish
        try:
            answer = command(*asked, "-o", out)
        finally:
            QuoteFile.finish = real
        if how in ("emptied", "taken"):
            assert answer.status == 2
            assert answer.out == ""
            assert content(out) == (b"mine" if how == "taken" else None)
        else:
            assert answer.status == 0, answer.err
            assert out.read_bytes() == expected
        left = others(folder, "q.csv")
        assert {name: left[name] for name in BYSTANDERS} == BYSTANDERS

    for how in ("removed", "replaced", "emptied", "swapped", "taken"):
        tally.survive(f"working folder {how} during a run", lambda how=how: interfered(how))


def drafts(place: Place, tally: Tally) -> None:
    """Old drafts of ours go, those in use and everybody else's stay, however much they look like ours."""

    def check(mark: bytes | None, inside: str, goes: bool) -> None:
        folder = place()
        draft = folder / ".guardopt-00000000000000ff"
        draft.mkdir()
        if mark is not None:
            (draft / "mark").write_bytes(mark)
        if inside == "content":
            (draft / "content").write_bytes(b"half")
        if inside == "folder":
            (draft / "content").mkdir()
            (draft / "content" / "parts.csv").write_bytes(b"half")
        if inside == "link":
            (draft / "content").symlink_to(folder / "notes.txt")
        if inside == "other":
            (draft / "mine.txt").write_bytes(b"mine")
        write_file(b"x", folder / "x.txt", "x")
        assert draft.exists() is not goes
        assert {name: text for name, text in others(folder, draft.name).items() if name != "x.txt"} == BYSTANDERS

    for mark, inside, goes in (
        (MARK, "content", True),
        (MARK, "folder", True),
        (MARK, "link", True),
        (MARK, "", True),
        (b"", "", True),
        (None, "", True),
        (MARK, "other", False),
        (b"my own mark", "content", False),
        (None, "content", False),
    ):
        tally.survive(f"a draft, {mark!r}, {inside}", lambda one=mark, two=inside, three=goes: check(one, two, three))

    def in_use() -> None:
        folder = place()

        def slow() -> Iterator[bytes]:
            yield b"one"
            remove_old_drafts(folder)
            write_file(b"y", folder / "y.txt", "y")
            yield b"two"

        write_file(slow(), folder / "x.txt", "x")
        assert (folder / "x.txt").read_bytes() == b"onetwo"

    tally.survive("a draft in use", in_use)


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
