"""The notebooks run from top to bottom, print what they are stored with, and tell nothing of any machine."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import pytest

from notebooks import FOLDER, MACHINE, METADATA, NAMES, executed, read, text_outputs

pytest.importorskip("nbformat", reason="notebooks are read with nbformat, which the extra [test] brings")
pytest.importorskip("nbclient", reason="notebooks are executed with nbclient, which the extra [test] brings")
pytest.importorskip("ipykernel", reason="notebooks are executed by ipykernel, which the extra [test] brings")
pytest.importorskip("matplotlib", reason="notebooks draw with matplotlib, which the extra [notebook] brings")

FIGURE_LIMIT = 120_000
"""Characters of a stored figure; more would swell the repository with every new run."""


@cache
def stored(name: str) -> Any:
    """A notebook as it is in the repository."""
    return read(name)


def test_there_are_notebooks_to_run() -> None:
    """The list is not empty by mistake."""
    assert {"first_plan.ipynb", "what_if.ipynb", "trust.ipynb"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_runs_and_prints_what_it_is_stored_with(name: str) -> None:
    """Whoever reads it without running it sees what they would see; a cell that fails, or warns, fails this test."""
    fresh = executed(stored(name))
    assert text_outputs(fresh) == text_outputs(stored(name))


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_is_stored_as_a_clean_run_leaves_it(name: str) -> None:
    """Run in order, with nothing but its cells, their output and the name of the kernel."""
    notebook = stored(name)
    assert notebook.metadata == METADATA
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1))
    assert len({cell.id for cell in notebook.cells}) == len(notebook.cells)
    for cell in notebook.cells:
        assert cell.metadata == {}
        for output in cell.get("outputs", ()):
            assert output.output_type in ("stream", "display_data", "execute_result")
            assert output.get("name", "stdout") == "stdout"
            assert len(output.get("data", {}).get("image/png", "")) < FIGURE_LIMIT


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_that_is_drawn_is_shown(name: str) -> None:
    """A cell that draws has one figure in its output, and no cell tells what kind of object it drew on."""
    for cell in stored(name).cells:
        if cell.cell_type != "code":
            continue
        is_drawn = "plt.subplots(" in cell.source or "plots." in cell.source.replace("plots.FITTED", "")
        figures = [output for output in cell.outputs if "image/png" in output.get("data", {})]
        assert len(figures) == is_drawn, cell.id
        assert not any("Axes" in output.get("data", {}).get("text/plain", "")[:6] for output in cell.outputs)


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_tells_nothing_of_a_machine(name: str) -> None:
    """No folder of anybody's computer and no address in its memory is in a cell or its output."""
    notebook = stored(name)
    texts = [cell.source for cell in notebook.cells]
    texts += [
        json.dumps({key: value for key, value in output.items() if key != "data"}) for _, output in outputs(notebook)
    ]
    texts += [
        str(value)
        for _, output in outputs(notebook)
        for kind, value in output.get("data", {}).items()
        if kind != "image/png"
    ]
    for text in texts:
        assert not MACHINE.search(text), text


def outputs(notebook: Any) -> list[tuple[str, Any]]:
    """Every output with the id of its cell."""
    return [(cell.id, output) for cell in notebook.cells for output in cell.get("outputs", ())]


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_uses_what_others_may_build_on(name: str) -> None:
    """Public names alone: whoever copies a cell is not left alone by the next release."""
    import guardopt

    for cell in stored(name).cells:
        if cell.cell_type != "code":
            continue
        for line in cell.source.splitlines():
            assert not line.strip().startswith("from guardopt.")
            if line.strip().startswith("from guardopt import "):
                imported = line.partition("import ")[2].split(", ")
                assert set(imported) <= {*guardopt.__all__, "plots"}
    assert (FOLDER / name).stat().st_size < 1_000_000
