"""Flats whose plane form is known in closed form, as fixtures."""

import importlib.util
from pathlib import Path

import pytest

_SPEC = importlib.util.spec_from_file_location(
    "flats_by_hand", Path(__file__).parents[1] / "flats_by_hand.py"
)
_MODULE = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_MODULE)


@pytest.fixture(scope="session")
def by_hand():
    """The module of flats made by hand: tube, sleeves, dart_disk, grid_flat."""
    return _MODULE
