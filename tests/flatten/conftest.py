"""Panels for the tests of flattening, as a fixture."""

import importlib.util
from pathlib import Path

import pytest

_SPEC = importlib.util.spec_from_file_location(
    "panels_by_hand", Path(__file__).parents[1] / "panels_by_hand.py"
)
_MODULE = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_MODULE)


@pytest.fixture(scope="session")
def by_hand():
    """The module of panels: cylinder, frustum, gore, saddle, cap, ramp, tube, needles, nasty ..."""
    return _MODULE
