"""What a pad's slider costs, against building the shell from the body, on 100,000 triangles.

Run with `pytest -m benchmark tests/benchmarks/bench_shell.py -s`; the table goes to
tests/benchmarks/results/shell.md. The reference is `build_shell` on the same body in the same run.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pytest

from padlib.body.body import Body
from padlib.body.landmarks import with_landmarks
from padlib.mesh.read import read_mesh
from padlib.mesh.remesh import remesh
from padlib.mesh.surface import Surface
from padlib.padding.dressed import dress
from padlib.padding.pad import Pad
from padlib.padding.shell import build_shell, pad_shell
from padlib.suit.demo import DEMO_BODY

pytestmark = pytest.mark.benchmark

RESULTS = Path(__file__).parent / "results"
EDGE = 6.6  # mm: gives the demo's body about 100,000 triangles
TURNS = 5
MOVES = ("depth 61", "depth 75", "depth 100", "wrap 100", "top 70", "bottom 30", "fullest 0.4")


def test_a_slider_costs_a_fifth():
    """Seven moves of the thigh pad's sliders, thigh and seat pads on: each a fifth of cold at most."""
    raw = read_mesh(DEMO_BODY)
    body = with_landmarks(Body(Surface(*remesh(raw.vertices, raw.faces, EDGE))))
    pads = [Pad("thigh", "thigh", "both", {"depth": 60.0}), Pad("seat", "seat")]
    build_shell(body, pads)  # what is loaded and allocated once
    colds, rows = [], []
    for _ in range(TURNS):
        start = time.perf_counter()
        build_shell(body, pads)
        colds.append(time.perf_counter() - start)
        dressed = dress(body)
        shell = pad_shell(dressed, pads)
        rows.append([])
        for move in MOVES:
            name, value = move.split()
            own = {"depth": 60.0} | {name: float(value)}
            start = time.perf_counter()
            shell = pad_shell(dressed, [Pad("thigh", "thigh", "both", own), pads[1]], last=shell)
            rows[-1].append(time.perf_counter() - start)
    shares = np.array(rows) / np.array(colds)[:, None]
    share, took = np.median(shares, axis=0), np.median(rows, axis=0)
    lines = [
        "# A slider of the thigh pad",
        "",
        f"{len(body.surface.faces)} triangles, thigh and seat pads, {TURNS} times turn about with the reference: cold, "
        f"from the body, {np.median(colds):.2f} s. Medians, and the least and the most of the shares.",
        "",
        "| move | s | part of cold | from, to |",
        "|---|---|---|---|",
        *(
            f"| {move} | {took[k]:.2f} | {share[k]:.3f} | {shares[:, k].min():.3f}, {shares[:, k].max():.3f} |"
            for k, move in enumerate(MOVES)
        ),
    ]
    text = "\n".join(lines) + "\n"
    (RESULTS / "shell.md").write_text(text)
    sys.stdout.write("\n" + text)
    assert 90_000 < len(body.surface.faces) < 115_000
    assert share.max() <= 0.2
