"""The starter scenario is sound, small, and written whole or not at all."""

from pathlib import Path

import pytest

from guardopt.errors import InputError
from guardopt.reading import load
from guardopt.starter import SCENARIO, TABLES, write_starter


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
    assert len({part.row for part in scenario.parts}) == 8
    assert len({guard.row for guard in scenario.guards}) == 6
    assert [fall.id for fall in scenario.falls] == ["tip_over", "low_side", "head_on"]


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
    assert "INVENTED" in SCENARIO
    for text in TABLES.values():
        for column in text.splitlines()[0].split(","):
            assert (
                column in ("tip_over", "low_side", "head_on")
                or f"\n#   {column}" in SCENARIO
                or f", {column} " in SCENARIO
            )


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
    assert {path.name for path in (tmp_path / "mine").iterdir()} == {"scenario.toml", *TABLES}


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
    write_text = Path.write_text

    def interrupted(path: Path, text: str, **options: str) -> int:
        if path.name == last:
            raise KeyboardInterrupt
        return write_text(path, text, **options)

    monkeypatch.setattr(Path, "write_text", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_starter(tmp_path / "mine")
    assert list(tmp_path.iterdir()) == []
