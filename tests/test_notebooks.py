"""Notebooks run from top to bottom."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import nbformat
    from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parents[1] / "notebooks"


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.ipynb")), ids=lambda p: p.name)
def test_notebook_runs(path: Path) -> None:
    """Every cell runs; the notebook's own assertions hold."""
    notebook = nbformat.read(path, as_version=4)
    done = NotebookClient(
        notebook, timeout=600, resources={"metadata": {"path": str(FOLDER)}}
    ).execute()

    assert all(c.get("execution_count") for c in done.cells if c.cell_type == "code")
    assert all(
        not c.outputs for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code"
    )
