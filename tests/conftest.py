"""Fixtures that many rooms share: the demo suit, built once a session."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from padlib.suit.built import Built, Clock, run
from padlib.suit.demo import demo_suit
from padlib.suit.write import write_built


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The tests of a file run in one worker, which makes its fixtures once; all files that want the demo suit in the
    same one."""
    demo = {item.path for item in items if "demo_built" in getattr(item, "fixturenames", ())}
    for item in items:
        item.add_marker(pytest.mark.xdist_group("demo" if item.path in demo else str(item.path)))


@pytest.fixture(scope="session")
def demo_built() -> Built:
    """The demo suit on the built-in body, every value of the way through; quick lay only."""
    return run(demo_suit(), lay_seconds=0, clock=Clock())


@pytest.fixture(scope="session")
def demo_folder(demo_built: Built, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of results of the demo suit."""
    out = tmp_path_factory.mktemp("demo") / "woodland-giant"
    write_built(demo_built, out)
    return out


@pytest.fixture(scope="session")
def demo_report(demo_folder: Path) -> dict:
    """The demo's report.json, read back."""
    return json.loads((demo_folder / "report.json").read_text())
