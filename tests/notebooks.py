"""The notebooks that come with the project, and how they are executed.

Run as a program it executes all of them, or those named, and writes them back with their output.
"""

from __future__ import annotations

import re
import sys
from copy import deepcopy
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[1] / "notebooks"

NAMES = sorted(path.name for path in FOLDER.glob("*.ipynb"))

METADATA = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}

MACHINE = re.compile(r"/(?:home|work|tmp|opt|root|usr|var|Users)/|[A-Z]:\\\\|\bat 0x[0-9a-f]+")
"""What tells of the machine that a notebook was executed on."""


def read(name: str) -> Any:
    """A notebook as it is stored."""
    import nbformat

    return nbformat.read(FOLDER / name, as_version=4)


def executed(notebook: Any) -> Any:
    """The notebook with the output of a fresh run, and nothing in it but what a reader sees.

    Warnings are errors in it, as they are in tests.
    """
    from nbclient import NotebookClient

    fresh = deepcopy(notebook)
    client = NotebookClient(
        fresh,
        kernel_name="python3",
        timeout=120,
        record_timing=False,
        coalesce_streams=True,
        resources={"metadata": {"path": str(FOLDER)}},
        extra_arguments=["--Application.log_level=40", "--HistoryManager.enabled=False"],
    )
    client.execute()
    return cleaned(fresh)


def cleaned(notebook: Any) -> Any:
    """The notebook without what hangs on the machine and the editor."""
    import nbformat

    notebook.metadata = nbformat.from_dict(METADATA)
    for cell in notebook.cells:
        cell.metadata = nbformat.from_dict({})
        for output in cell.get("outputs", ()):
            # What can be moved needs a kernel; who only reads sees the table beside it.
            output.get("data", {}).pop("application/vnd.jupyter.widget-view+json", None)
            if "metadata" in output:
                output.metadata = nbformat.from_dict({})
    return notebook


def text_outputs(notebook: Any) -> dict[str, dict[str, str]]:
    """What every code cell printed and returned as text, by the id of the cell; figures are left out.

    What is printed may come in one piece or in several, before a figure or after it, so only its whole counts.
    """
    found: dict[str, dict[str, str]] = {}
    for cell in notebook.cells:
        if cell.cell_type != "code":
            continue
        texts = found.setdefault(cell.id, {})
        for output in cell.outputs:
            data = output.get("data", {})
            if output.output_type == "stream":
                texts[output.name] = texts.get(output.name, "") + output.text
            elif "image/png" not in data and "text/plain" in data:
                texts["returned"] = texts.get("returned", "") + data["text/plain"]
    return found


def main(names: list[str]) -> None:
    """Execute notebooks and write them back."""
    import nbformat

    for name in names or NAMES:
        nbformat.write(executed(read(name)), FOLDER / name)
        print(f"executed notebooks/{name}")


if __name__ == "__main__":
    main(sys.argv[1:])
