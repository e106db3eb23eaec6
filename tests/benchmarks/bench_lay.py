"""Lays on classic garment instances: against published record densities, and against the packer alone.

Run with `PADLIB_PACKING=FOLDER pytest -m benchmark tests/benchmarks/bench_lay.py -s`, FOLDER holding the
instances as NAME.json (strip_height, items with outline, demand, allowed_orientations); they are not
part of the project. PADLIB_LAY_SECONDS (60) is the time of each of the two. The table goes to
tests/benchmarks/results/lay.md. Records: Gardeyn et al., arXiv 2509.13329, with the open solver that
the packer wraps, typically 20 minutes on 8 cores.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
import shapely
import spyrrow

from padlib.lay.lay import placed_outline
from padlib.lay.pack import lay_pieces
from padlib.pattern.piece import Piece

pytestmark = pytest.mark.benchmark

RESULTS = Path(__file__).parent / "results"
RECORD = {  # density %, best known
    "shirts": 90.92,
    "swim": 79.83,
    "trousers": 92.61,
    "mao": 86.87,
    "marques": 92.01,
    "albano": 89.82,
}
WIDTH = 1500.0  # mm: instances are scaled to a cloth
BAR = 0.95
WORKERS = 2
SEED = 1


def instance(path: Path) -> tuple[list[Piece], str]:
    """Pieces of an instance on cloth 1500 mm wide, and the pile that allows its orientations.

    The instances' strips run along x, cloth along y.
    """
    told = json.loads(path.read_text())
    scale = WIDTH / told["strip_height"]
    pieces = []
    for number, item in enumerate(told["items"], 1):
        line = scale * np.array(item["outline"])[:, ::-1]
        line = line[:-1] if np.allclose(line[0], line[-1]) else line
        line = np.asarray(shapely.orient_polygons(shapely.Polygon(line)).exterior.coords)[:-1]
        pieces.append(
            Piece(
                number, f"p{number}", "both", "cloth", item["demand"], False, line, line,
                (), (), (), (), (), np.zeros((2, 2)), 0.0, 0.0,
            )
        )  # fmt: skip
    quarter = any(90.0 in item["allowed_orientations"] for item in told["items"])
    return pieces, "none" if quarter else "two-way"


def plain(path: Path, seconds: int) -> float:
    """Density % of the packer called directly, as its own documentation has it."""
    told = json.loads(path.read_text())
    items = [
        spyrrow.Item(
            str(k), [tuple(p) for p in i["outline"]], i["demand"], i["allowed_orientations"]
        )
        for k, i in enumerate(told["items"])
    ]
    strip = spyrrow.StripPackingInstance("", told["strip_height"], items)
    config = spyrrow.StripPackingConfig(
        total_computation_time=seconds, num_workers=WORKERS, seed=SEED
    )
    return 100.0 * strip.solve(config).density


def test_lays_near_the_records():
    """At least 0.95 of each record density; on the whole no worse than the packer called directly."""
    folder = os.environ.get("PADLIB_PACKING")
    if not folder:
        pytest.skip("PADLIB_PACKING names no folder of instances")
    seconds = int(os.environ.get("PADLIB_LAY_SECONDS", "60"))
    rows = []
    for name, record in RECORD.items():
        path = Path(folder) / f"{name}.json"
        if not path.is_file():
            continue
        pieces, pile = instance(path)
        lay = lay_pieces(
            pieces, cloth=name, width_mm=WIDTH, gap_mm=0.0, seconds=seconds, seed=SEED, pile=pile,
            workers=WORKERS,
        )  # fmt: skip
        by_number = {p.number: p for p in pieces}
        shapes = [shapely.Polygon(placed_outline(by_number[q.number], q)) for q in lay.placements]
        over = sum(s.area for s in shapes) - shapely.union_all(shapes).area
        assert over < 1e-3 * sum(s.area for s in shapes)
        alone = plain(path, seconds)
        rows.append((name, record, lay.used_percent, alone, over))
        print(rows[-1], flush=True)  # noqa: T201
    lines = [
        "# Lays of classic garment instances",
        "",
        f"{seconds} s each, {WORKERS} threads, seed {SEED}; use in % of the cloth. Load of the machine: "
        f"{os.getloadavg()[2]:.1f} on {os.cpu_count()} cores over the last quarter of an hour (the packer is "
        "bound by the clock: only figures of an idle machine count).",
        "",
        "| instance | record | ours | of record | packer alone | ours / alone |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {n} | {r:.2f} | {u:.2f} | {u / r:.3f} | {a:.2f} | {u / a:.3f} |"
        for n, r, u, a, _ in rows
    ]
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / "lay.md").write_text("\n".join(lines) + "\n")
    for name, record, use, _, _ in rows:
        assert use >= BAR * record, (name, use, record)
    assert np.mean([u / a for _, _, u, a, _ in rows]) >= 0.995  # chance of a clock-bound search
