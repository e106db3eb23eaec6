"""1,000 random sets of pads on 20 bodies: is every shell closed, free of crossings, and the body inside it?

    python tests/benchmarks/bench_draws.py --count 1000 --edge 20

Fifty draws a body, twelve imported builds and eight bodies from measurements; the draws and the laws are those of
tests/padding (checked by trimesh, libigl and CGAL's exact test, none of it our code). Draws are taken body by body in
turn, so that part of the study is spread over all bodies. Rows go to results/draws.csv (not committed): stopped and
started again it goes on where it was; `--table` only writes results/draws.md from the rows there are.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from pathlib import Path

import numpy as np
from study import beside, rows

HERE = Path(__file__).resolve().parent
ROWS = HERE / "results" / "draws.csv"
TABLE = HERE / "results" / "draws.md"
HEAD = ["seed", "body", "edge", "faces", "pads", "seconds", "broken"]


def main() -> None:
    """Run what is missing, then write the table."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--count", type=int, default=1000)
    ask.add_argument("--edge", type=float, default=20.0)
    ask.add_argument("--part", default="0/1", help="k/n: every n-th draw from the k-th on")
    ask.add_argument("--table", action="store_true")
    asked = ask.parse_args()
    if not asked.table:
        _run(asked.count, asked.edge, *map(int, asked.part.split("/")))
    _write(rows(ROWS))


def _run(count: int, edge: float, first: int, step: int) -> None:
    """Draws that have no row yet."""
    from padlib.padding.dressed import dress
    from padlib.padding.shell import pad_shell

    draws, builds = beside("padding", "test_draws"), beside("padding", "conftest")
    human = builds.human_maker()
    done = {int(row["seed"]) for row in rows(ROWS) if float(row["edge"]) == edge}
    new = not ROWS.exists() or not ROWS.stat().st_size
    with ROWS.open("a", newline="") as file:
        out = csv.DictWriter(file, HEAD)
        if new:
            out.writeheader()
        for k in range(first, len(draws.STUDIED), step):
            which = draws.STUDIED[k]
            seeds = [s for s in range(1000 + 50 * k, 1050 + 50 * k) if s not in done]
            seeds = seeds[: max(0, count // len(draws.STUDIED) - 50 + len(seeds))]
            if not seeds:
                continue
            body = draws.studied(human, which, edge)
            dressed: dict[tuple, object] = {}
            for seed in seeds:
                start = time.process_time()
                pads, amounts, join = draws.draw(seed)
                key = tuple(amounts.values())
                if key not in dressed:
                    dressed[key] = dress(body, **amounts)
                broken = ""
                try:
                    draws.laws.check(body, pad_shell(dressed[key], pads, join=join))
                except Exception as why:  # noqa: BLE001 (whatever it is, it is what the study is for)
                    broken = f"{type(why).__name__}: {why}"[:200].replace("\n", " ")
                row = [seed, which, edge, len(body.surface.faces), len(pads)]
                row += [round(time.process_time() - start, 2), broken]
                out.writerow(dict(zip(HEAD, row, strict=True)))
                file.flush()


def _write(rows: list[dict[str, str]]) -> None:
    """The table of results/draws.md."""
    lines = [
        "# Pads drawn at random on 20 bodies",
        "",
        "`python tests/benchmarks/bench_draws.py` (laws: tests/padding/laws.py; trimesh, libigl, CGAL).",
        "",
        "| edges, mm | bodies | triangles | draws | broken | CPU s a draw: median, most |",
        "|---|---|---|---|---|---|",
    ]
    for edge in sorted({float(row["edge"]) for row in rows}):
        own = [row for row in rows if float(row["edge"]) == edge]
        seconds = np.array([float(row["seconds"]) for row in own])
        faces = [int(row["faces"]) for row in own]
        cells = [f"{edge:g}", len({row["body"] for row in own}), f"{min(faces)} to {max(faces)}"]
        cells += [len(own), sum(bool(row["broken"]) for row in own)]
        cells += [f"{np.median(seconds):.1f}, {seconds.max():.1f}"]
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    bad = [row for row in rows if row["broken"]]
    lines += [
        "",
        *(f"- seed {r['seed']} on {r['body']}, {r['edge']} mm: {r['broken']}" for r in bad),
    ]
    TABLE.write_text("\n".join(lines).rstrip() + "\n")


if __name__ == "__main__":
    sys.exit(main())
