"""The starter scenario is sound, small, and written whole or not at all; so is a copy of another scenario."""

import csv
import os
from pathlib import Path

import pytest
from click.testing import CliRunner
from folders import SMALL_TWIN, write_folder

from guardopt.cli.commands import main
from guardopt.errors import InputError
from guardopt.files import folder_writing
from guardopt.loading.load import load
from guardopt.questions.bill import bill
from guardopt.writing.starter import STARTERS, copy_scenario, write_starter
from guardopt.writing.starter_kinds import KINDS


def message_of(folder: Path | str) -> str:
    """Try to write the starter where it cannot be, and give the message."""
    with pytest.raises(InputError) as caught:
        write_starter(folder)
    return str(caught.value)


def test_the_starter_is_sound_and_has_nothing_odd_in_it(tmp_path: Path) -> None:
    """A beginner's first check says that all is well."""
    write_starter(tmp_path / "mine")
    scenario = load(tmp_path / "mine")
    assert scenario.warnings == ()
    assert len({part.row for part in scenario.parts}) == 9
    assert len({guard.row for guard in scenario.guards}) == 6
    assert [fall.id for fall in scenario.falls] == ["tip_over", "slow_turn", "low_side", "head_on"]


def test_the_starter_shows_what_a_scenario_can_say(tmp_path: Path) -> None:
    """Every kind of side, a slot, a need, a joint cover, an offer, a knock-on and a strip-down are there to copy."""
    write_starter(tmp_path / "mine")
    scenario = load(tmp_path / "mine")
    assert {guard.side.value for guard in scenario.guards} == {"left", "right", "pair"}
    assert any(guard.slot for guard in scenario.guards)
    assert any(guard.needs for guard in scenario.guards)
    assert any(len(cover.guards) == 2 for cover in scenario.covers)
    assert scenario.offers
    assert scenario.knock_ons
    assert any(part.strip_down for part in scenario.parts)


def test_the_starter_explains_every_column_and_says_that_it_is_invented() -> None:
    """The tables cannot carry notes, so the settings explain them."""
    settings = (STARTERS / "small" / "scenario.toml").read_text()
    assert "INVENTED" in settings
    for table in (STARTERS / "small").glob("*.csv"):
        for column in table.read_text().splitlines()[0].split(","):
            assert (
                column in ("tip_over", "slow_turn", "low_side", "head_on")
                or f"\n#   {column}" in settings
                or f", {column} " in settings
            )


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("table", ["guards", "falls"])
def test_a_starter_for_a_kind_of_bike_says_what_its_guards_and_falls_are(kind: str, table: str) -> None:
    """A rider knows the part on the bike and the fall it had, and not what somebody called them; so a note says it."""
    rows = list(csv.DictReader((STARTERS / kind / f"{table}.csv").read_text().splitlines()))
    assert all(3 <= len(row["note"].split()) <= 18 for row in rows)
    assert len({row["note"] for row in rows}) == len(rows)


def test_its_insurance_can_be_switched_on_as_its_note_says(tmp_path: Path) -> None:
    """Taking the # away from the four lines gives a sound scenario with a policy."""
    write_starter(tmp_path / "mine")
    settings = tmp_path / "mine" / "scenario.toml"
    text = settings.read_text()
    for key in ("[insurance]", "excess", "premium_rise", "write_off_share"):
        text = text.replace(f"# {key}", key)
    settings.write_text(text)
    scenario = load(tmp_path / "mine")
    assert scenario.insurance is not None
    assert scenario.insurance.excess == 500.0
    assert scenario.warnings == ()


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    """A folder made beforehand will do, and nothing is left beside it."""
    (tmp_path / "mine").mkdir()
    write_starter(str(tmp_path / "mine"))
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]
    assert {path.name for path in (tmp_path / "mine").iterdir()} == {
        path.name for path in (STARTERS / "small").iterdir()
    }


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    """Nobody's work is overwritten."""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("mine")
    assert message_of(tmp_path / "mine") == f"{tmp_path / 'mine'}: is not empty, expected a new or empty folder"
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["notes.txt"]


def test_a_file_of_that_name_is_left_alone(tmp_path: Path) -> None:
    """A file cannot become a folder."""
    (tmp_path / "mine").write_text("mine")
    assert message_of(tmp_path / "mine") == f"{tmp_path / 'mine'}: is a file, expected a new or empty folder"
    assert (tmp_path / "mine").read_text() == "mine"


def test_the_current_folder_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder takes the place of the old one, which would pull the ground from under whoever stands in it."""
    monkeypatch.chdir(tmp_path)
    assert message_of(".") == ".: is the folder you are in, expected the name of a new one"


def test_a_place_that_does_not_exist_is_told_in_one_line(tmp_path: Path) -> None:
    """The system's own reason is passed on."""
    assert (
        message_of(tmp_path / "nowhere" / "mine")
        == f"{tmp_path / 'nowhere' / 'mine'}: cannot be written: no such file or directory"
    )


@pytest.mark.parametrize("last", ["falls.csv", "offers.csv"])
def test_an_interruption_leaves_nothing_half_made(last: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever stops it half way finds no folder that looks like a scenario but is not one."""
    new_file = folder_writing.new_file

    def interrupted(path: Path) -> int:
        if path.name == last:
            raise KeyboardInterrupt
        return new_file(path)

    monkeypatch.setattr(folder_writing, "new_file", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_starter(tmp_path / "mine")
    assert list(tmp_path.iterdir()) == []


def test_a_head_on_crash_ends_the_starters_bike(tmp_path: Path) -> None:
    """Nobody straightens a frame that costs more than the bike is worth; the other falls are repaired."""
    write_starter(tmp_path / "mine")
    scenario = load(tmp_path / "mine", {"scenario.sampling.falls": 500})
    falls = bill(scenario).falls.set_index("fall")
    assert falls.loc["head_on", "write_off_chance"] == 1.0
    assert falls.loc["head_on", "owner_cost"] == scenario.cap == 3900.0
    assert falls.loc["tip_over", "write_off_chance"] == 0.0
    assert 0.0 < falls.loc["low_side", "write_off_chance"] < 0.05


COPIED = [f"{name}.toml" if name == "scenario" else f"{name}.csv" for name in SMALL_TWIN]


def copying_fails(source: Path | str, folder: Path | str) -> str:
    """Try to copy a scenario where it cannot be done, and give the message."""
    with pytest.raises(InputError) as caught:
        copy_scenario(source, folder)
    return str(caught.value)


def test_a_copy_has_the_files_of_the_scenario_and_nothing_else(tmp_path: Path) -> None:
    """Notes, journals and hidden files of the first bike are no business of the second."""
    source = write_folder(tmp_path / "twin")
    for other in ("notes.txt", "riders.csv", ".hidden", "prices.xlsx"):
        (source / other).write_text("mine")
    (source / "log").mkdir()
    (source / "log" / "falls.csv").write_text("mine")
    assert sorted(copy_scenario(source, tmp_path / "mine")) == sorted(COPIED)
    assert {path.name for path in (tmp_path / "mine").iterdir()} == set(COPIED)
    assert load(tmp_path / "mine") == load(source)


def test_a_copy_is_the_same_to_the_last_byte(tmp_path: Path) -> None:
    """Marks of a spreadsheet, old line ends and even mistakes come along; "check" tells of them."""
    source = write_folder(tmp_path / "twin", parts="\ufeffpart;side\r\nlever;nowhere\r\n", offers=None)
    copy_scenario(source, tmp_path / "mine")
    assert (tmp_path / "mine" / "parts.csv").read_bytes() == (source / "parts.csv").read_bytes()
    assert not (tmp_path / "mine" / "offers.csv").exists()


def test_only_a_scenario_can_be_copied(tmp_path: Path) -> None:
    """A folder without settings is none; nothing is written then."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("mine")
    for name, message in (
        ("nowhere", "no such folder"),
        ("file", "is a file, expected the folder or workbook of a scenario"),
        ("empty", "has no scenario.toml, expected the folder of a scenario"),
    ):
        assert copying_fails(tmp_path / name, tmp_path / "mine") == f"{tmp_path / name}: {message}"
    assert not (tmp_path / "mine").exists()


def test_a_copy_overwrites_nothing(tmp_path: Path) -> None:
    """Least of all the scenario itself."""
    source = write_folder(tmp_path / "twin")
    assert copying_fails(source, source) == f"{source}: is not empty, expected a new or empty folder"
    assert (source / "parts.csv").read_text() == SMALL_TWIN["parts"]


def test_all_files_that_cannot_be_read_are_told(tmp_path: Path) -> None:
    """A folder where a table ought to be is one."""
    source = write_folder(tmp_path / "twin", falls=None, hits=None)
    for name in ("falls.csv", "hits.csv"):
        (source / name).mkdir()
    assert copying_fails(source, tmp_path / "mine").splitlines() == [
        f"{source}, falls.csv: cannot be read: it is a folder, expected a file",
        f"{source}, hits.csv: cannot be read: it is a folder, expected a file",
    ]
    assert not (tmp_path / "mine").exists()


def test_new_from_copies_on_the_command_line(tmp_path: Path) -> None:
    """It says what it copied and what to do next."""
    source, folder = write_folder(tmp_path / "twin"), tmp_path / "mine"
    done = CliRunner().invoke(main, ["new", "--from", os.fspath(source), os.fspath(folder)], catch_exceptions=False)
    assert done.exit_code == 0
    assert done.output.splitlines()[0].startswith(f"Copied the {len(COPIED)} files of {source} to {folder}: scenario")
    assert done.output.splitlines()[1] == f"Change what is different for you, then run: guardopt check {folder}"
    assert load(folder) == load(source)


@pytest.mark.parametrize(
    ("name", "advice"),
    [
        ("falls", "count the scrapes, divide by the years you have ridden"),
        ("hits", "by the order of contact: near 0.8 what touches first, near 0.05 the last"),
        ("guards", "its side and price; ask the workshop for the hours to fit it"),
    ],
)
@pytest.mark.parametrize("header", [True, False])
def test_an_empty_table_says_how_others_come_by_its_numbers(
    name: str, advice: str, header: bool, tmp_path: Path
) -> None:
    """Whoever clears the tables to fill in their own is told how to begin, in one line a table."""
    cleared = SMALL_TWIN[name].splitlines()[0] + "\n" if header else ""
    with pytest.raises(InputError) as caught:
        load(write_folder(tmp_path / "twin", **{name: cleared}))
    told = [str(problem) for problem in caught.value.problems if str(problem.where) == f"{name}.csv"]
    assert len(told) == 1
    assert told[0].startswith(f"{name}.csv: has a line" if header else f"{name}.csv: is empty")
    assert advice in told[0]
