"""Every notebook runs from top to bottom in a kernel of its own; its asserts are the checks."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    assert any("assert " in cell.source for cell in notebook.cells if cell.cell_type == "code"), "asserts nothing"
    assert not any(cell.get("outputs") for cell in notebook.cells), "committed with outputs"
    place = {"metadata": {"path": str(FOLDER)}}
    NotebookClient(notebook, timeout=300, kernel_name="python3", resources=place).execute()


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS
