"""What it brings to lay the demo suit's panels for their cloth, kind by kind.

Run with `pytest -m benchmark tests/benchmarks/bench_cloth.py -s`; table and plot go to
tests/benchmarks/results/cloth.md and cloth.png. The reference, in the same run, is the suit laid by
the plain rule of 5 % each way, judged by what each cloth bears; times are those of one process.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from padlib.flatten.cloth import PRESETS
from padlib.suit.demo import demo_suit
from padlib.suit.matching import share_used
from padlib.suit.steps import flatten_panels, make_panels, suit_body, suit_shell

pytestmark = pytest.mark.benchmark

RESULTS = Path(__file__).parent / "results"
LIMIT = 0.05


def laid(panels, cloth, most):
    """Flats of the suit without mirror images, and seconds."""
    pile = panels.pile
    cloths = {} if cloth is None else dict.fromkeys(pile, cloth)
    start = time.perf_counter()
    flats = flatten_panels(panels.panels, pile, limit=LIMIT, most=most, cloths=cloths)
    seconds = time.perf_counter() - start
    return [f for f in flats if f.panel.mirror_of is None], seconds


def darts(flats):
    """How many darts, and their length in mm."""
    return sum(len(f.darts) for f in flats), sum(d.length_mm for f in flats for d in f.darts)


def used(flats, cloth):
    """The use of a cloth at the 95th percentile, panel by panel."""
    return np.array([share_used(replace(f, cloth=cloth), LIMIT) for f in flats])


def test_laid_for_their_cloth():
    """Without darts, every kind is asked for less than by the plain flats; with darts it holds."""
    suit = demo_suit()
    body = suit_body(suit)
    panels = make_panels(suit, body, suit_shell(suit, body))
    bare, _ = laid(panels, None, 0)
    plain, seconds = laid(panels, None, 6)
    rows = [("the same each way, 5 %", used(bare, None), used(bare, None), plain, None, seconds)]
    for name, cloth in PRESETS.items():
        own, _ = laid(panels, cloth, 0)
        flats, seconds = laid(panels, cloth, 6)
        rows.append((name, used(bare, cloth), used(own, cloth), flats, cloth, seconds))
    _write(rows)
    _plot(rows)
    for _, before, after, *_ in rows[1:]:
        assert after.max() < before.max()


def _write(rows):
    """The table."""
    lines = [
        "# The demo suit laid for its cloth",
        "",
        "Largest use over the panels at the 95th percentile of their area: 100 % is what the cloth bears. The",
        "limits of the kinds are common practice, no source. Left side only; times of a shared machine.",
        "",
        "| cloth | plain flats, no darts, % | laid for it, no darts, % | darts | length, mm | with darts, % | s |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, before, after, flats, cloth, seconds in rows:
        count, length = darts(flats)
        end = used(flats, cloth).max()
        lines.append(
            f"| {name} | {100 * before.max():.0f} | {100 * after.max():.0f} | {count} | {length:.0f} | "
            f"{100 * end:.0f} | {seconds:.1f} |"
        )
    sys.stdout.write("\n".join(lines) + "\n")
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / "cloth.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _plot(rows):
    """Use before and after, kind by kind."""
    figure = Figure(figsize=(7.5, 3.6), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    ax = figure.add_subplot()
    at = np.arange(len(rows))
    for k, (label, colour) in enumerate(
        (("plain flats", "#b9b3a4"), ("laid for the cloth", "#7a8b4f"))
    ):
        values = [100 * row[1 + k].max() for row in rows]
        ax.bar(at + 0.4 * k - 0.2, values, 0.38, label=label, color=colour)
    ax.axhline(100, color="black", lw=1, ls="--")
    ax.set_xticks(at, [row[0].replace(", ", ",\n") for row in rows], fontsize=8)
    ax.set_ylabel("use at the 95th percentile, %\n(worst panel, no darts)")
    ax.legend(frameon=False)
    figure.savefig(RESULTS / "cloth.png", metadata={"Software": None})
