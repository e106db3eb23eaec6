"""Fixtures that many rooms share: the demo suit, built once a session."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

from padlib.suit.built import Built, Clock, run
from padlib.suit.demo import demo_suit
from padlib.suit.write import write_built


class ByFile(LoadScopeScheduling):
    """The tests of a file run in one worker, which makes its fixtures once; files that want the demo suit in the same
    one."""

    def _split_scope(self, nodeid: str) -> str:
        file = nodeid.split("::", 1)[0]
        return "demo" if _wants_demo(self.config.rootpath / file) else file


@cache
def _wants_demo(file: Path) -> bool:
    return re.search(r"\bdemo_(built|folder|report)\b", file.read_text()) is not None


def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> ByFile:
    """What hands tests to workers."""
    return ByFile(config, log)


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
