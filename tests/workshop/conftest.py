"""A workshop served on a free port, with a build that takes no time."""

import contextlib
import importlib.util
import json
import shutil
import threading
from pathlib import Path

import pytest

from padlib.output.png import stretch_map
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.report import panel_report
from padlib.suit.sewing import seam_report
from padlib.workshop.scene import scene_bytes
from padlib.workshop.serve import Workshop
from padlib.workshop.session import Session

_SPEC = importlib.util.spec_from_file_location(
    "flats_by_hand", Path(__file__).parents[1] / "flats_by_hand.py"
)
_MODULE = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_MODULE)


@pytest.fixture(scope="session")
def by_hand():
    """The module of flats made by hand."""
    return _MODULE


@pytest.fixture
def suit_file(tmp_path):
    """A copy of the demo suit in an empty folder."""
    path = tmp_path / "giant.toml"
    shutil.copy(DEMO_SUIT, path)
    return path


@contextlib.contextmanager
def _served(suit, run):
    session = Session(suit, run=run)
    with Workshop(session) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()
            session.close()


@pytest.fixture(scope="session")
def served():
    """A context: the server of a suit file, building with `run`."""
    return _served


@pytest.fixture(scope="session")
def tube_run(by_hand):
    """A build that takes no time and gives a tube in two halves, whole as a page shows it."""
    flats = by_hand.tube()

    def run(order):
        order.tell("rolling a tube", 0.5)
        (order.out / "maps").mkdir(parents=True)
        report = {
            "suit": "tube",
            "body": {"source": "a tube", "measurements_mm": {"waist_girth": 942.5}},
            "pads": [],
            "panels": [panel_report(f) for f in flats],
            "seams": seam_report(flats),
            "lay": [],
            "proof": {},
            "warnings": ["panel 'back': is a tube; look twice."],
        }
        (order.out / "report.json").write_text(json.dumps(report))
        for flat in flats:
            name = flat.panel.name
            picture = stretch_map(flat, scale=0.1, limit=0.05, title=name)
            (order.out / "maps" / f"{name}.png").write_bytes(picture)
        (order.out / "pattern-a4.pdf").write_bytes(b"%PDF-1.4 tube")
        data = scene_bytes(flats, (), scale=0.1, limit=0.05)
        (order.out / "scene.bin").write_bytes(data)

    return run
