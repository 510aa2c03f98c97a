"""What other programs do while something is written or read: names taken, inputs changed, two runs at once."""

from __future__ import annotations

import itertools
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from disk_faults import BYSTANDERS, Place, others
from faults import Tally, command, content
from folders import write_folder
from shops import some_riders, write_riders
from writers import shop_at

from guardopt.errors import InputError
from guardopt.files.drafts import MARK, remove_old_drafts
from guardopt.files.tables import READING_ORDER
from guardopt.files.taken_once import taken_once
from guardopt.files.whole_file import write_file
from guardopt.shop.output.quote_output import QuoteFile


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
