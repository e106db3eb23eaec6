"""What it costs to change one seam, against flattening the demo suit from the beginning.

Run with `pytest -m benchmark tests/benchmarks/bench_preview.py -s`; the table goes to
tests/benchmarks/results/preview.md. The reference is the flatten step of a whole build (pillows and
the search for darts with it) in the same run.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from padlib.suit.built import Clock, run
from padlib.suit.demo import demo_suit
from padlib.suit.matching import flat_summary
from padlib.suit.preview import Preview, preview

pytestmark = pytest.mark.benchmark

RESULTS = Path(__file__).parent / "results"
CHANGES = {
    "neck 10 mm higher": {"neck_rise": 25.0},
    "wrist 20 mm higher": {"wrist_rise": 20.0},
    "ankle 15 mm higher": {"ankle_rise": 30.0},
    "closure 40 mm shorter": {"closure_below_waist": 20.0},
}


def test_one_seam_costs_a_tenth():
    """Each change lays only what it touches, in at most a tenth of the cold time, within the limit."""
    clock = Clock()
    built = run(demo_suit(), lay_seconds=0, workers=2, clock=clock)
    cold = clock.seconds["flatten"]
    first = Preview(built.suit, built.body, built.shell, built.panels, built.flats, (), ())
    rows, worst = [], 0.0
    for words, keys in CHANGES.items():
        suit = replace(built.suit, seams={**built.suit.seams, **keys})
        cut = preview(suit, first)  # once to cut, so that the second look only lays
        start = time.perf_counter()
        look = preview(suit, replace(first, panels=first.panels))
        whole = time.perf_counter() - start
        start = time.perf_counter()
        preview(suit, cut)
        none = time.perf_counter() - start
        laying = _laying(suit, first, cut)
        p95 = max(flat_summary(f)["p95"] for f in look.flats)
        rows.append((words, ", ".join(look.laid), laying, whole, none, p95))
        worst = max(worst, laying)
    lines = [
        "# One seam changed on the demo suit",
        "",
        f"Cold flatten step of the same run, two processes: {cold:.1f} s. Laying again runs in one.",
        "",
        "| change | panels laid | laying, s | part of cold | with cutting, s | nothing changed, s | p95 % |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {w} | {names} | {s:.2f} | {s / cold:.3f} | {whole:.2f} | {none:.3f} | {100 * p:.1f} |"
        for w, names, s, whole, none, p in rows
    ]
    text = "\n".join(lines) + "\n"
    (RESULTS / "preview.md").write_text(text)
    sys.stdout.write("\n" + text)
    assert worst <= cold / 10


def _laying(suit, first, cut):
    """Seconds of laying alone: a look whose cut is there already, but whose flats are the old ones."""
    from padlib.suit.again import flatten_again

    pile = cut.panels.pile
    start = time.perf_counter()
    flatten_again(
        cut.panels.panels, pile, first.flats, first.panels.panels, limit=suit.darts["limit"]
    )
    return time.perf_counter() - start
