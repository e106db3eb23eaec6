"""A workshop served on a free port, with a build that takes no time."""

import contextlib
import importlib.util
import json
import shutil
import threading
from pathlib import Path

import numpy as np
import pytest

from padlib.body.body import Body
from padlib.mesh.surface import Point, Surface
from padlib.proof.proof import Proof
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.report import panel_report
from padlib.suit.sewing import seam_report
from padlib.workshop import bundle
from padlib.workshop.frames import Blocks, parts
from padlib.workshop.live import Live
from padlib.workshop.look import body_told
from padlib.workshop.scene import scene_bytes
from padlib.workshop.serve import Workshop
from padlib.workshop.session import Session
from padlib.workshop.sewn import sewn_bytes
from padlib.workshop.work import SEAMS, SUGGESTED

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


class TubeLive(Live):
    """Looks that take no time: whatever the text, a tube in two halves; own: lines of the maker's on it."""

    def __init__(self, flats, own=()):
        super().__init__()
        self._flats = flats
        self.own = list(own)

    def order(self, text, name, folder, revision):
        """The three stages of a look, one after the other."""
        blocks, told = Blocks(), {"revision": revision}
        panels = [f.panel.surface for f in self._flats]
        starts = np.cumsum([0, *(len(p.vertices) for p in panels)])
        vertices = np.concatenate([p.vertices for p in panels])
        faces = np.concatenate([p.faces + k for p, k in zip(panels, starts, strict=False)])
        shape = {
            "stage": "shape",
            "vertices": blocks.keep(vertices.astype("<f8")),
            "faces": blocks.keep(faces.astype("<u4")),
            "under": blocks.keep(vertices.astype("<f8")),
        }
        body = Body(Surface(vertices, faces), {"waist_front": Point(0, (1.0, 0.0, 0.0))})
        shape["body"] = body_told(body, blocks)
        self._take(*parts(blocks.message(shape | told)))
        head, block = parts(scene_bytes(self._flats, (), scale=0.1, limit=0.05))
        self._take({"stage": "panels", "scene": head, "own": self.own} | told, block)
        self._take({"stage": "flats", "scene": head, "own": self.own, "warnings": []} | told, block)


@pytest.fixture(scope="session", autouse=True)
def scripts():
    """The page's scripts as their sources are now; made here where a checkout is not installed."""
    bundle.make()


@contextlib.contextmanager
def _served(suit, run, live=None):
    session = Session(suit, run=run)
    session.live = live or session.live
    if run is None:  # as the command does
        session.live.begin()
    with Workshop(session) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()
            session.close()


@pytest.fixture(scope="session")
def served():
    """A context: the server of a suit file, building with `run`; None: as the command does."""
    return _served


@pytest.fixture
def tube_live(by_hand):
    """Looks at a tube, at once."""
    return TubeLive(by_hand.tube())


def sewn_tube(flats):
    """A proof of a tube: 5 mm inside the outline at its lower rim, 10 mm off it at the upper one, even between."""
    parts = [f.panel.surface for f in flats]
    starts = np.cumsum([0, *(len(p.vertices) for p in parts)])
    vertices = np.concatenate([p.vertices for p in parts])
    faces = np.concatenate([p.faces + k for p, k in zip(parts, starts, strict=False)])
    away = np.interp(vertices[:, 2], [900.0, 1500.0], [-5.0, 10.0])
    told = {"mean": 3.5, "p95": 9.25, "max": 10.0}
    rim = vertices[np.isclose(vertices[:, 2], 900.0)]
    return Proof(Surface(vertices, faces), away, told, told, 1.0, 1, (), (), (rim,), ())


@pytest.fixture(scope="session")
def tube_run(by_hand):
    """A build that takes no time and gives a tube in two halves, whole as a page shows it."""
    flats = by_hand.tube()

    def run(order):
        order.tell("rolling a tube", 0.5)
        if order.task == SEAMS:
            order.out.mkdir(parents=True)
            told = {
                "moves": {"leg_turn": 6},
                "usual": {"dart_mm": 969},
                "suggested": {"dart_mm": 184},
            }
            through = [[155, 30, 1164], {"near": "waist_front", "move": [40, 0, 10]}]
            told["seams"] = [{"name": "valley", "through": through, "round": True}]
            (order.out / SUGGESTED).write_text(json.dumps(told))
            return
        order.out.mkdir(parents=True)
        report = {
            "suit": "tube",
            "body": {"source": "a tube", "measurements_mm": {"waist_girth": 942.5}},
            "pads": [],
            "panels": [panel_report(f) for f in flats],
            "seams": seam_report(flats),
            "lay": [],
            "proof": {"deviation_mm": {"mean": 3.5, "p95": 9.25, "max": 10.0}},
            "warnings": ["panel 'back': is a tube; look twice."],
        }
        (order.out / "report.json").write_text(json.dumps(report))
        (order.out / "pattern-a4.pdf").write_bytes(b"%PDF-1.4 tube")
        data = scene_bytes(flats, (), scale=0.1, limit=0.05)
        (order.out / "scene.bin").write_bytes(data)
        (order.out / "sewn.bin").write_bytes(sewn_bytes(sewn_tube(flats)))

    return run
