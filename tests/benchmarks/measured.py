"""One measurement in a process of its own, so that peak memory and warm caches are its own.

python tests/benchmarks/measured.py WHAT SIDE prints one JSON object: seconds (best of the repeats),
peak_mb above what the process had before, and what the answer is worth.
"""

import json
import resource
import sys
import time
from pathlib import Path

if "--plain" in sys.argv:  # as where the extra `fast` is not installed
    sys.modules["cvxopt"] = None

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import igl  # noqa: E402
import numpy as np  # noqa: E402

from padlib.flatten import conformal, isometric, stretch  # noqa: E402
from padlib.flatten.cotangent import laplacian  # noqa: E402
from padlib.flatten.rest import rest  # noqa: E402
from padlib.flatten.stretch import areas, flipped  # noqa: E402
from padlib.mesh.solve import BACKEND, factor  # noqa: E402


def dome(side):
    """A bumpy dome of 2 (side - 1)^2 triangles, mm."""
    x, y = (c.ravel() for c in np.meshgrid(*[np.linspace(-1, 1, side)] * 2, indexing="ij"))
    z = 0.9 * np.exp(-1.5 * (x**2 + y**2)) + 0.05 * np.sin(6 * x + 1) * np.cos(5 * y)
    at = np.arange(side * side).reshape(side, side)
    a, b, c, d = (s.ravel() for s in (at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]))
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return 300 * np.column_stack([x, y, z]), faces


def body_panel(rounds):
    """The demo suit's left front on its body, each triangle in four, so many rounds."""
    import trimesh

    from padlib.suit.demo import demo_suit
    from padlib.suit.steps import make_panels, suit_body, suit_shell

    suit = demo_suit()
    body = suit_body(suit)
    shell = suit_shell(suit, body)
    panel = next(p for p in make_panels(suit, body, shell).panels if p.name == "front-left")
    vertices, faces = panel.surface.vertices, panel.surface.faces
    for _ in range(rounds):
        vertices, faces = trimesh.remesh.subdivide(vertices, faces)
    return np.asarray(vertices), np.asarray(faces)


def energies(vertices, faces, flat):
    """What a conformal map is worth: its energy over its own area, and the area mean of log(s1/s2)."""
    s = 1.0 / (1.0 + stretch(vertices, faces, flat))
    weight = areas(vertices, faces)
    return {
        "energy": float(weight @ (s[:, 1] - s[:, 0]) ** 2 / 2 / (weight @ s.prod(axis=1))),
        "angle": float(weight @ np.log(s[:, 1] / s[:, 0]) / weight.sum()),
        "dirichlet": float(weight @ (s**2 + s**-2.0).sum(axis=1) / weight.sum()),
        "worst": float(np.abs(1 / s - 1).max()),
        "flips": int(flipped(vertices, faces, flat).sum()),
    }


def pins(vertices, faces):
    """Two boundary vertices half a boundary apart, and places for them."""
    loop = igl.boundary_loop(faces)
    held = np.array([loop[0], loop[len(loop) // 2]])
    return held, np.array([[0.0, 0], [600, 0]])


def slim(vertices, faces, steps=10):
    """igl.slim after conformal, symmetric Dirichlet."""
    start = conformal(vertices, faces)
    one = np.array([0, 0])
    data = igl.slim_precompute(
        vertices, faces, start.copy(), igl.SYMMETRIC_DIRICHLET, one, start[one], 0.0
    )
    return igl.slim_solve(data, steps)[:, :2]


WORK = {
    "conformal": lambda v, f: conformal(v, f),
    "pinned": lambda v, f: conformal(v, f, pins=pins(v, f)),
    "lscm": lambda v, f: igl.lscm(v, f, *pins(v, f))[0],
    "factor": None,
    "isometric": lambda v, f: isometric(v, f, spare_worst=True),
    "slim": slim,
}


def main(what, mesh, size, repeats):
    """Measure and print."""
    vertices, faces = (dome if mesh == "dome" else body_panel)(int(size))
    run = WORK[what]
    if what == "factor":
        graph = laplacian(rest(vertices, faces), faces)[1:, 1:]
        run = lambda *_: factor(graph)  # noqa: E731
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    seconds = []
    for _ in range(int(repeats)):
        start = time.perf_counter()
        flat = run(vertices, faces)
        seconds.append(time.perf_counter() - start)
    peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    told = {} if what == "factor" else energies(vertices, faces, flat)
    told |= {"seconds": min(seconds), "peak_mb": peak, "faces": len(faces), "backend": BACKEND}
    sys.stdout.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    main(*[word for word in sys.argv[1:] if word != "--plain"])
