"""2,000 random networks of seams on 20 bodies: does every one cut, and do both sides of each seam agree?

    python tests/benchmarks/bench_networks.py --count 2000

A hundred networks a body, twelve imported builds and eight bodies from measurements (those of bench_draws.py); the
networks and the laws are those of tests/mesh/test_cut_networks.py: areas add up within 1e-9 of the whole, Euler
characteristics add up to what the cut edges alone say, both sides of each seam are the same vertices. Networks are
taken in turn over all bodies. Rows go to results/networks.csv (not committed): stopped and started again it goes on
where it was; `--table` only writes results/networks.md from the rows there are.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from pathlib import Path
from types import ModuleType

import numpy as np
from study import beside, rows

HERE = Path(__file__).resolve().parent
ROWS = HERE / "results" / "networks.csv"
TABLE = HERE / "results" / "networks.md"
HEAD = ["body", "seed", "faces", "curves", "pieces", "area_off", "seconds", "broken"]


def main() -> None:
    """Run what is missing, then write the table."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--count", type=int, default=2000)
    ask.add_argument("--edge", type=float, default=20.0)
    ask.add_argument("--table", action="store_true")
    asked = ask.parse_args()
    if not asked.table:
        _run(asked.count, asked.edge)
    _write(rows(ROWS))


def _run(count: int, edge: float) -> None:
    """Networks that have no row yet, body by body."""
    from padlib.mesh.geodesic import prepare

    draws, builds = beside("padding", "test_draws"), beside("padding", "conftest")
    networks = beside("mesh", "test_cut_networks")
    human = builds.human_maker()
    done = {(row["body"], int(row["seed"])) for row in rows(ROWS)}
    new = not ROWS.exists() or not ROWS.stat().st_size
    each = -(-count // len(draws.STUDIED))
    with ROWS.open("a", newline="") as file:
        out = csv.DictWriter(file, HEAD)
        if new:
            out.writeheader()
        for which in draws.STUDIED:
            seeds = [s for s in range(each) if (str(which), s) not in done]
            if not seeds:
                continue
            surface = draws.studied(human, which, edge).surface
            v, f = np.array(surface.vertices), np.array(surface.faces)
            land = prepare(v, f)
            for seed in seeds:
                start = time.process_time()
                row = {"body": which, "seed": seed, "faces": len(f)}
                row |= _one(networks, v, f, land, draws.STUDIED.index(which), seed)
                row["seconds"] = round(time.process_time() - start, 2)
                out.writerow(row)
                file.flush()


def _one(
    networks: ModuleType, v: np.ndarray, f: np.ndarray, land: object, body: int, seed: int
) -> dict[str, object]:
    """One network cut and judged."""
    from padlib.mesh.cut import insert, loose_ends, prune, split

    told: dict[str, object] = {"curves": "", "pieces": "", "area_off": "", "broken": ""}
    try:
        curves = networks._network(np.random.default_rng((15, body, seed)), land)
        drawn = insert(v, f, curves)
        pieces = split(drawn.vertices, drawn.faces, drawn.edges)
        whole = float(networks._areas(v, f).sum())
        parts = sum(float(networks._areas(p.vertices, p.faces).sum()) for p in pieces)
        told |= {"curves": len(curves), "pieces": len(pieces)}
        told["area_off"] = f"{abs(parts - whole) / whole:.1e}"
        networks._check_inserted(v, f, drawn)
        networks._check_pieces(drawn)
        assert len(loose_ends(prune(drawn))) == 0, "a loose end is left after pruning"
    except Exception as why:  # noqa: BLE001 (whatever it is, it is what the study is for)
        told["broken"] = f"{type(why).__name__}: {why}"[:200].replace("\n", " ")
    return told


def _write(rows: list[dict[str, str]]) -> None:
    """The table of results/networks.md."""
    seconds = np.array([float(row["seconds"]) for row in rows])
    pieces = np.array([int(row["pieces"] or 0) for row in rows])
    faces = [int(row["faces"]) for row in rows]
    off = max(float(row["area_off"] or "inf") for row in rows)
    bad = [row for row in rows if row["broken"]]
    cells = [len(rows), len({row["body"] for row in rows}), f"{min(faces)} to {max(faces)}"]
    cells += [f"{np.median(pieces):.0f}, {pieces.max()}", f"{off:.0e}", len(bad)]
    cells += [f"{np.median(seconds):.1f}, {seconds.max():.1f}"]
    lines = [
        "# Random networks of seams on 20 bodies",
        "",
        "`python tests/benchmarks/bench_networks.py` (laws: tests/mesh/test_cut_networks.py).",
        "",
        "| networks | bodies | triangles | pieces: median, most | areas off, most | broken | CPU s: median, most |",
        "|---|---|---|---|---|---|---|",
        "| " + " | ".join(map(str, cells)) + " |",
        *([""] if bad else []),
        *(f"- seed {row['seed']} on {row['body']}: {row['broken']}" for row in bad),
    ]
    TABLE.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    sys.exit(main())
