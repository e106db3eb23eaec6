"""Pads drawn at random over the whole of their limits: the shell keeps its laws on every body.

The long study, 1,000 draws on 20 bodies: `python tests/benchmarks/bench_draws.py`.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from padlib.body.landmarks import with_landmarks
from padlib.body.parametric import parametric_body
from padlib.padding import shapes
from padlib.padding.pad import Pad
from padlib.padding.shell import build_shell


def _beside(name):
    """A module that lies beside this one."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


laws, builds = _beside("laws"), _beside("builds")

MEASURED = (
    ({"stature": 1550.0}, "female"),
    ({"stature": 1900.0}, "male"),
    ({"stature": 1700.0, "waist_girth": 1150.0, "hip_girth": 1200.0}, "male"),
    ({"stature": 1650.0, "waist_girth": 640.0, "hip_girth": 880.0}, "female"),
    (
        {"stature": 1720.0, "bust_girth": 1100.0, "waist_girth": 850.0, "hip_girth": 1150.0},
        "female",
    ),
    ({"stature": 1780.0, "chest_girth": 1120.0, "waist_girth": 860.0}, "male"),
    ({"stature": 1680.0, "thigh_girth": 680.0, "hip_girth": 1120.0}, "neutral"),
    ({"stature": 1600.0}, "neutral"),
)
STUDIED = (*builds.EVERY, *range(len(MEASURED)))


def draw(seed):
    """One to six pads and the shell's amounts, drawn over the whole of what the limits allow."""
    rng = np.random.default_rng(seed)
    kinds = rng.permutation(sorted(k for k, m in shapes.KINDS.items() if not hasattr(m, "layers")))[
        : rng.integers(1, 7)
    ]
    pads = []
    for kind in kinds.tolist():
        module = shapes.KINDS[kind]
        parameters = {
            entry.name: float(rng.uniform(entry.low, entry.high))
            for entry in module.TABLE
            if rng.random() < 0.7
        }
        side = ["both", "both", "left", "right"][rng.integers(4)]
        if getattr(module, "MIDDLE", False):
            side = "both"
        pads.append(Pad(kind, kind, side, parameters))
    amounts = {
        "cloth_thickness": float(rng.choice([0, 2, 5])),
        "ease": float(rng.choice([0, 10, 20])),
        "bridge": float(rng.choice([0, 25, 50])),
    }
    return pads, amounts, float(rng.choice([0, 20, 60]))


@pytest.mark.property
@pytest.mark.parametrize("seed", range(24))
def test_random_pads_keep_the_laws(human, seed):
    """Parameters drawn over the whole of their limits give a sound shell (24 draws)."""
    body = human(("plain", "child_heavy")[seed % 2], 26.0)
    pads, amounts, join = draw(seed)
    laws.check(body, build_shell(body, pads, **amounts, join=join))


def studied(human, which, edge):
    """A body of the long study: imported by name, or from measurements by number."""
    if isinstance(which, str):
        return human(which, edge)
    measurements, figure = MEASURED[which]
    return with_landmarks(parametric_body(measurements, figure=figure, edge_length=edge))
