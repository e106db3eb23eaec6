"""Flats whose plane form is known in closed form, as fixtures."""

import importlib.util
from pathlib import Path

import pytest

from padlib.output.sheet import pattern_sheet
from padlib.pattern import make_pieces

_SPEC = importlib.util.spec_from_file_location(
    "flats_by_hand", Path(__file__).parents[1] / "flats_by_hand.py"
)
_MODULE = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_MODULE)


@pytest.fixture(scope="session")
def by_hand():
    """The module of flats made by hand: tube, sleeves, dart_disk, grid_flat."""
    return _MODULE


@pytest.fixture(scope="session")
def pieces(by_hand):
    """Pieces of a small suit: tube in two halves, a pair of sleeves, two disks with a dart."""
    flats = [
        *by_hand.tube(),
        *by_hand.sleeves(),
        by_hand.dart_disk(),
        by_hand.dart_disk(name="wide <front> & \u201cco\u201d", intake_deg=40.0, share=0.9),
    ]
    return make_pieces(flats, cloth="brown & green <fur>", opening_mm=30.0)


@pytest.fixture(scope="session")
def sheet(pieces):
    """The sheet of those pieces."""
    return pattern_sheet(pieces, title="Woodland giant <for \u00c5sa & Zo\u00eb>")
