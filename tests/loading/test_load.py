"""A sound folder is read as it stands, quickly, and a wrong one is refused."""

import subprocess
import sys
from pathlib import Path

import pytest
from folders import edited, write_folder

from guardopt.errors import InputError
from guardopt.loading.load import load
from guardopt.model.pieces import Fall, Insurance, KnockOn, Offer, Part, Side


def test_a_sound_folder_is_read_as_it_stands(tmp_path: Path) -> None:
    """Every file of the tiny scenario ends up where it belongs."""
    scenario = load(write_folder(tmp_path))
    assert (scenario.title, scenario.currency) == ("Small twin (invented)", "EUR")
    assert (scenario.value, scenario.salvage, scenario.cap) == (4000.0, 800.0, 3200.0)
    assert (scenario.years, scenario.discount_rate, scenario.budget_cents) == (3.0, 0.03, 30000)
    assert (scenario.max_weight_kg, scenario.insurance, scenario.repair_rate) == (None, None, 50.0)
    assert scenario.strip_down == {"left_fairing": 0.8}
    assert (scenario.falls_sampled, scenario.seed) == (200, 1)
    assert scenario.parts[2] == Part("engine_case", "engine_case", Side.LEFT, 180.0, 1.5, 0.8, 20.0, "left_fairing")
    assert scenario.falls[0] == Fall("tip_over", 0.6, 0.6, 0.0, 0.4, 5.0)
    assert scenario.hits["low_side", "tank"] == 0.2
    assert len(scenario.hits) == 2 * 5
    assert scenario.knock_ons == (KnockOn("radiator", "tank", 0.1),)
    assert len(scenario.guards) == 5
    assert len(scenario.covers) == 7
    assert scenario.offers == (Offer("engine_set", frozenset({"crash_bar", "case_cover"}), 21000),)
    assert scenario.warnings == ()


def test_terms_of_insurance_have_defaults(tmp_path: Path) -> None:
    """Only the excess has to be known."""
    terms = edited("scenario", "[sampling]", "[insurance]\nexcess = 500\n[sampling]")
    assert load(write_folder(tmp_path, **terms)).insurance == Insurance(500.0, 0.0, 1.0)


def test_settings_may_leave_out_labour_groups_and_sampling(tmp_path: Path) -> None:
    """Free labour, no strip-down and four thousand falls are the defaults."""
    settings = 'title = "x"\ncurrency = "EUR"\nbike.value = 1\nowner.years = 1\n'
    scenario = load(write_folder(tmp_path, scenario=settings, **edited("parts", "left_fairing", "")))
    assert (scenario.repair_rate, scenario.strip_down, scenario.budget_cents) == (0.0, {}, None)
    assert (scenario.falls_sampled, scenario.seed) == (4000, 1)


def test_other_files_in_the_folder_are_left_alone(tmp_path: Path) -> None:
    """Notes, photographs and results may lie beside the scenario."""
    folder = write_folder(tmp_path)
    (folder / "results.json").write_text("{}")
    (folder / "photographs").mkdir()
    assert load(folder).warnings == ()


def test_the_folder_may_be_given_as_text(tmp_path: Path) -> None:
    """A path typed by hand is as good as a path object."""
    folder = write_folder(tmp_path)
    assert load(str(folder)) == load(folder)


def test_a_folder_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    """The message names the folder that was asked for."""
    with pytest.raises(InputError) as caught:
        load(tmp_path / "nowhere")
    assert str(caught.value) == f"{tmp_path / 'nowhere'}: no such folder"


def test_a_file_in_the_place_of_the_folder_is_an_error(tmp_path: Path) -> None:
    """Giving scenario.toml instead of its folder is an easy slip."""
    folder = write_folder(tmp_path)
    with pytest.raises(InputError) as caught:
        load(folder / "scenario.toml")
    assert str(caught.value) == f"{folder / 'scenario.toml'}: is one file of a scenario, expected its folder, {folder}"


def test_reading_needs_none_of_the_heavy_libraries() -> None:
    """A check of the input answers at once because nothing that computes is imported for it."""
    script = "import sys, guardopt.loading.load, guardopt.writing.starter; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)  # noqa: S603
    assert not {"numpy", "pandas", "pulp", "scipy", "highspy"} & set(loaded.stdout.split())
