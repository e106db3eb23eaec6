"""Panels for the tests of flattening, and their judge, as fixtures."""

import importlib.util
import sys
from pathlib import Path

import pytest


def _load(path):
    """A module by its path: pytest's import mode leaves the tests' folders out of the path."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


HERE = Path(__file__).parent
_BY_HAND = _load(HERE.parent / "panels_by_hand.py")


@pytest.fixture(scope="session")
def by_hand():
    """The module of panels: cylinder, frustum, gore, saddle, cap, ramp, tube, needles, nasty ..."""
    return _BY_HAND


@pytest.fixture(scope="session")
def random_panels():
    """The module of panels cut at random: `panel(k)`."""
    return _load(HERE / "random_panels.py")


@pytest.fixture(scope="session")
def judge():
    """The module that judges flats apart from padlib."""
    return _load(HERE / "judge.py")
