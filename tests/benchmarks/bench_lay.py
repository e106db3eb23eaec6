"""Lays on classic garment instances: against published record densities, and against the packer called directly.

    python tests/benchmarks/bench_lay.py FOLDER [--seeds 1 2 3] [--only swim] [--seconds 60]

FOLDER holds the instances as NAME.json (strip_height, items with outline, demand, allowed_orientations);
they are not part of the project. Ours and the packer alone run turn about with the same seed, the same wall
time and two threads each; which one goes first changes from row to row. Rows go to results/lay.csv (not
committed): stopped and started again it goes on; writes results/lay.md. Both are bound by the clock, so
the processor time that each got is told. Records: Gardeyn et al., arXiv 2509.13329, with the open solver
that the packer wraps, typically 20 minutes on 8 cores.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
import shapely
import spyrrow
from study import add, rows

from padlib.lay.lay import placed_outline
from padlib.lay.pack import lay_pieces
from padlib.pattern.piece import Piece

HERE = Path(__file__).resolve().parent
ROWS = HERE / "results" / "lay.csv"
TABLE = HERE / "results" / "lay.md"
HEAD = ["instance", "seed", "seconds", "ours", "alone", "ours_cpu", "alone_cpu", "load"]
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
                (), (), (), (), (), np.zeros((2, 2)), 0.0, 0.0, face="up",
            )
        )  # fmt: skip
    quarter = any(90.0 in item["allowed_orientations"] for item in told["items"])
    return pieces, "none" if quarter else "two-way"


def ours(path: Path, seconds: int, seed: int) -> float:
    """Density % of our lay, after a look at what it is: all pieces there, none over another or off the cloth."""
    pieces, pile = instance(path)
    lay = lay_pieces(
        pieces, cloth=path.stem, width_mm=WIDTH, gap_mm=0.0, seconds=seconds, seed=seed, pile=pile,
        workers=WORKERS,
    )  # fmt: skip
    by_number = {p.number: p for p in pieces}
    shapes = [shapely.Polygon(placed_outline(by_number[q.number], q)) for q in lay.placements]
    area = sum(p.count * shapely.Polygon(p.cut_line).area for p in pieces)
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    assert abs(sum(s.area for s in shapes) - area) < 1e-6 * area, "a piece is missing"
    assert area - shapely.union_all(shapes).area < 1e-6 * area, "pieces overlap"
    assert min(x0, y0) > -0.01, "off the cloth"
    assert x1 < WIDTH + 0.01, "off the cloth"
    return 100.0 * area / (WIDTH * (y1 - y0))


def alone(path: Path, seconds: int, seed: int) -> float:
    """Density % of the packer called directly, as its own documentation has it, on the same cloth.

    The same outlines in the same order: with one seed it then goes the same way as within ours, as far as the
    clock lets it, so that a pair differs by what is done besides and not by chance.
    """
    pieces, _ = instance(path)
    told = json.loads(path.read_text())["items"]
    items = [
        spyrrow.Item(str(k), [(y, x) for x, y in p.cut_line], p.count, i["allowed_orientations"])
        for k, (p, i) in enumerate(zip(pieces, told, strict=True))
    ]
    strip = spyrrow.StripPackingInstance("", WIDTH, items)
    config = spyrrow.StripPackingConfig(
        total_computation_time=seconds, num_workers=WORKERS, seed=seed
    )
    return 100.0 * strip.solve(config).density


def _timed(
    way: Callable[[Path, int, int], float], path: Path, seconds: int, seed: int
) -> tuple[float, float]:
    """Density and the processor seconds of this process that it took."""
    start = time.process_time()
    density = way(path, seconds, seed)
    return density, time.process_time() - start


def main() -> None:
    """Pairs that have no row yet, then the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--only", nargs="+", default=list(RECORD))
    parser.add_argument("--seconds", type=int, default=60)
    asked = parser.parse_args()
    done = {(r["instance"], r["seed"], r["seconds"]) for r in rows(ROWS)}
    for seed in asked.seeds if asked.folder else ():
        for place, name in enumerate(RECORD):
            if name in asked.only and (name, str(seed), str(asked.seconds)) not in done:
                path = asked.folder / f"{name}.json"
                ways = [ours, alone] if (place + seed) % 2 else [alone, ours]
                got = {w.__name__: _timed(w, path, asked.seconds, seed) for w in ways}
                row = [
                    name,
                    seed,
                    asked.seconds,
                    *(round(float(got[w][0]), 4) for w in ("ours", "alone")),
                ]
                row += [
                    round(got["ours"][1], 1),
                    round(got["alone"][1], 1),
                    round(os.getloadavg()[0], 1),
                ]
                told = dict(zip(HEAD, row, strict=True))
                add(ROWS, HEAD, told)
                print(told, flush=True)  # noqa: T201
    _write(rows(ROWS))


def _write(found: list[dict[str, str]]) -> None:
    """The table: means over the seeds, and every pair below it."""
    if not found:
        return
    lines = [
        "# Lays of classic garment instances",
        "",
        "`python tests/benchmarks/bench_lay.py FOLDER`; use in % of the cloth. Ours and the packer called directly,",
        "turn about, the same seed, wall time and two threads each. Both are bound by the clock: the processor time",
        "that each got (of twice the seconds) says how far other work held it up. Bars: 0.95 of the record on",
        "every instance, and on every instance no less than the packer alone in the mean over the seeds.",
        "",
        "| instance | pairs | record | ours, mean | of record | least | alone, mean | ours / alone, mean | least | "
        "processor s, ours | alone |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    failed = []
    for name, record in RECORD.items():
        own = [r for r in found if r["instance"] == name]
        if not own:
            continue
        u, a = (np.array([float(r[k]) for r in own]) for k in ("ours", "alone"))
        cpu = [np.mean([float(r[k]) for r in own]) for k in ("ours_cpu", "alone_cpu")]
        lines.append(
            f"| {name} | {len(own)} | {record:.2f} | {u.mean():.2f} | {u.mean() / record:.3f} | "
            f"{u.min() / record:.3f} | {a.mean():.2f} | {(u / a).mean():.4f} | {(u / a).min():.4f} | "
            f"{cpu[0]:.0f} | {cpu[1]:.0f} |"
        )
        failed += [f"{name}: {u.mean() / record:.4f} of the record"] * int(u.mean() < BAR * record)
        failed += [f"{name}: {(u / a).mean():.4f} of the packer alone"] * int((u / a).mean() < 1.0)
    lines += ["", "| instance | seed | s | ours | alone | processor s, ours | alone | load |"]
    lines += ["|---|---|---|---|---|---|---|---|"]
    lines += [
        f"| {r['instance']} | {r['seed']} | {r['seconds']} | {float(r['ours']):.2f} | {float(r['alone']):.2f} | "
        f"{float(r['ours_cpu']):.0f} | {float(r['alone_cpu']):.0f} | {float(r['load']):.1f} |"
        for r in found
    ]
    lines += ["", "Short: " + ("; ".join(failed) if failed else "nothing") + "."]
    TABLE.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
