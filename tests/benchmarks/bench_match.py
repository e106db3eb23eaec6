"""Seam matching in one solve against matching panel by panel, on whole suits, in one run.

Run with `pytest -m benchmark tests/benchmarks/bench_match.py -s`; nothing else should be running.
PADLIB_BODIES: a folder of body meshes to run besides the built-in body. Writes the table and the
plot in `results/`, next to this file.

Ways: *mean of both sides*: each edge of a seam is asked to be as long as its two sides are on
average, and each panel is laid anew with those lengths, the energy sharpened until it is within the
limit, as the job did it before; *mean, same energy*: the same lengths in the energy of the joint
solve; *one solve*: what the job does now. All start from the same darted flats.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest

from padlib.flatten import isometric, newton
from padlib.flatten.assembly import assembly
from padlib.flatten.darts import dart_panel, pairs_of_darts
from padlib.flatten.match import cloth_energy, match
from padlib.flatten.partners import worst_part
from padlib.flatten.rest import rest
from padlib.flatten.strain import PLAIN, total
from padlib.flatten.stretch import areas, stretch, summary
from padlib.flatten.ties import ties
from padlib.flatten.together import sewn_pairs
from padlib.padding.pillow import make_pillows
from padlib.suit.demo import demo_suit
from padlib.suit.matching import DART_SHARES
from padlib.suit.pillows import as_pairs, pillow_panels
from padlib.suit.steps import make_panels, suit_body, suit_shell

mpl.use("Agg")
from matplotlib import pyplot as plt  # noqa: E402

pytestmark = pytest.mark.benchmark

RESULTS = Path(__file__).with_name("results")
LIMIT, ROUNDS = 0.05, 8
TOP = 10.0  # per cent, of the plot
KEYS = ("mean", "p95", "p99", "max")
WAYS = ("mean of both sides", "mean, same energy", "one solve")
FOLDER = os.environ.get("PADLIB_BODIES", "")
COLOURS = ("0.7", "tab:red", "tab:orange", "tab:green")
BODIES = [None, *sorted(Path(FOLDER).glob("*.ply"))] if FOLDER else [None]


@dataclass(frozen=True)
class Row:
    """One way on one suit: seconds, the joint energy and the mean square strain (both 1e-4 of the
    whole area), stretch over all panels by area, the worst panel's, and the worst part of a seam."""

    way: str
    seconds: float
    energy: float
    square: float
    every: dict
    worst: dict
    part: float
    panels: list


def darted(body):
    """The demo suit's panels with their darts on a body, and the pairs of runs."""
    suit = demo_suit(None if body is None else str(body))
    wearer = suit_body(suit)
    shell = suit_shell(suit, wearer)
    panels = make_panels(suit, wearer, shell).panels
    cushions = pillow_panels(as_pairs(make_pillows(wearer, shell, suit.pads)))
    own = [p for p in (*panels, *cushions) if p.mirror_of is None]
    flats = [dart_panel(p, limit=LIMIT * DART_SHARES[0], max_darts=6) for p in own]
    pairs = sewn_pairs(flats)
    pairs += [(i, a, i, b) for i, flat in enumerate(flats) for a, b in pairs_of_darts(flat)]
    return flats, pairs


def mean_targets(flats, pairs):
    """For each panel its edges on seams and the mean of both sides' lengths."""
    asked = [([], []) for _ in flats]
    for i, one, j, other in pairs:
        mean = (steps(flats[i].positions, one) + steps(flats[j].positions, other)) / 2
        for k, run in ((i, one), (j, other)):
            asked[k][0].append(np.column_stack([run[:-1], run[1:]]))
            asked[k][1].append(mean)
    return [(np.concatenate(edges), np.concatenate(long)) for edges, long in asked]


def steps(positions, run):
    """Lengths of the edges of a run on paper."""
    return np.linalg.norm(np.diff(positions[run], axis=0), axis=1)


def laid_at_mean(mesh, start, targets):
    """As the job did it: within the limit if that goes, and lengths first where it pulls harder."""
    flat = isometric(*mesh, start, limit=0.8 * LIMIT, edge_targets=targets)
    edges, long = targets
    got = np.linalg.norm(flat[edges[:, 0]] - flat[edges[:, 1]], axis=1)
    return (
        flat if np.abs(got - long).max() < 0.002 else isometric(*mesh, flat, edge_targets=targets)
    )


def laid_in_same_energy(mesh, start, targets):
    """The energy of the joint solve, lengths held by the augmented Lagrangian."""
    vertices, faces = mesh
    unit = float(np.sqrt(areas(vertices, faces).sum()))
    at_rest, pattern = rest(vertices / unit, faces), assembly(faces, len(vertices))
    weight = at_rest.area / at_rest.area.sum()
    held = ties(pattern, targets[0], targets[1] / unit, np.zeros(0, np.int64), np.zeros((0, 2)))
    problem = newton.Problem(faces, at_rest, pattern, weight, cloth_energy(LIMIT), ties=held)
    flat, work = start / unit, newton.Work()
    for _ in range(ROUNDS):
        flat = newton.minimise(problem, flat, iterations=40, tolerance=1e-5, work=work)
        if problem.ties.error(flat) < 1e-5:
            break
        problem = replace(problem, ties=problem.ties.updated(flat))
    return flat * unit


def run(way, flats, pairs):
    """The flats of one way, and its row."""
    meshes = [(f.panel.surface.vertices, f.panel.surface.faces) for f in flats]
    begin = [f.positions for f in flats]
    start = time.perf_counter()
    if way == "one solve":
        out, _ = match(meshes, begin, pairs, limit=LIMIT)
    else:
        lay = laid_at_mean if way == "mean of both sides" else laid_in_same_energy
        jobs = zip(meshes, begin, mean_targets(flats, pairs), strict=True)
        out = [lay(*job) for job in jobs]
    return row(way, time.perf_counter() - start, meshes, out, pairs)


def row(way, seconds, meshes, flats, pairs):
    """The figures of a way."""
    size = [areas(*mesh) for mesh in meshes]
    values = [stretch(*mesh, flat) for mesh, flat in zip(meshes, flats, strict=True)]
    panels = [summary(v, a) for v, a in zip(values, size, strict=True)]
    every = summary(np.concatenate(values), np.concatenate(size))
    energies = [
        sum(
            total(energy, rest(*mesh), a, mesh[1], flat)
            for mesh, a, flat in zip(meshes, size, flats, strict=True)
        )
        for energy in (cloth_energy(LIMIT), PLAIN)
    ]
    off = [worst_part(steps(flats[i], a) - steps(flats[j], b)) for i, a, j, b in pairs]
    worst = {k: max(p[k] for p in panels) for k in KEYS}
    whole = 1e-4 * sum(a.sum() for a in size)
    parts = (energies[0] / whole, energies[1] / whole, every, worst, max(off), panels)
    return Row(way, seconds, *parts)


def table(name, free, rows):
    """Lines of a Markdown table."""
    out = [
        f"\n## {name}\n",
        "| way | s | joint energy | mean square strain | all panels: mean / p95 / p99 / max, % "
        "| worst panel: p95 / p99 / max, % | worst part of a seam, mm |",
        "|---|---|---|---|---|---|---|",
    ]
    for r in (free, *rows):
        every = " / ".join(f"{100 * r.every[k]:.2f}" for k in KEYS)
        worst = " / ".join(f"{100 * r.worst[k]:.2f}" for k in KEYS[1:])
        energy = f"{r.energy:.2f}" if r.energy < 1e4 else f"{r.energy:.0e}"
        out.append(
            f"| {r.way} | {r.seconds:.1f} | {energy} | {r.square:.2f} | {every} | {worst} | {r.part:.4f} |"
        )
    return out


def by_panel(flats, free, rows):
    """Lines of a Markdown table of p95 / p99 / max of every panel."""
    heads = ["laid alone", *WAYS]
    out = ["\np95 / p99 / max of each panel, %:\n", f"| panel | {' | '.join(heads)} |"]
    out.append("|---" * 5 + "|")
    for k, flat in enumerate(flats):
        cells = [
            " / ".join(f"{100 * r.panels[k][key]:.2f}" for key in KEYS[1:]) for r in (free, *rows)
        ]
        out.append(f"| {flat.panel.name} | {' | '.join(cells)} |")
    return out


def plot(flats, free, rows, path):
    """Bars of p99 and marks of the largest stretch of every panel."""
    figure, axes = plt.subplots(figsize=(11, 4.5), layout="constrained")
    at = np.arange(len(flats))
    for n, (r, colour) in enumerate(zip((free, *rows), COLOURS, strict=True)):
        x = at + 0.2 * (n - 1.5)
        axes.bar(x, [100 * p["p99"] for p in r.panels], 0.18, color=colour, label=r.way)
        most = [100 * p["max"] for p in r.panels]
        axes.plot(x, np.minimum(most, TOP), "_", color=colour, markersize=9)
        for k in np.flatnonzero(np.array(most) > TOP):
            axes.annotate(f"{most[k]:.0f}", (x[k], TOP), ha="right", va="center", fontsize=8)
    axes.axhline(100 * LIMIT, color="k", linestyle="--", linewidth=0.8)
    axes.set(ylabel="stretch, %", ylim=(0, TOP + 0.3), xticks=at)
    axes.set_xticklabels([f.panel.name for f in flats], rotation=30, ha="right", fontsize=8)
    axes.set_title(
        "99th percentile (bars) and largest stretch (marks) of each panel; dashed: limit"
    )
    axes.legend(fontsize=8)
    figure.savefig(path, dpi=110, metadata={"Software": None})
    plt.close(figure)


def test_one_solve_against_the_mean():
    """One solve has less energy than either way with mean lengths, and seams agree within 0.2 mm."""
    told = ["# Seam matching: one solve over all panels\n", __doc__.split("\n\n", 2)[2].strip()]
    told.append(
        "\nSeconds of one thread, other work going on beside it: compare within a table only."
        " Energies are by area, times 10,000."
    )
    for body in BODIES:
        name = "the demo suit" if body is None else f"the demo suit on {body.stem}"
        flats, pairs = darted(body)
        meshes = [(f.panel.surface.vertices, f.panel.surface.faces) for f in flats]
        free = row("laid alone, unmatched", 0.0, meshes, [f.positions for f in flats], pairs)
        rows = [run(way, flats, pairs) for way in WAYS]
        told += table(name, free, rows)
        if body is None:
            told += by_panel(flats, free, rows)
            plot(flats, free, rows, RESULTS / "match.png")
            told.append("\n![stretch of each panel](match.png)")
        best = rows[-1]
        assert best.part < 0.2
        assert best.energy < min(r.energy for r in rows[:-1])
    (RESULTS / "match.md").write_text("\n".join(told) + "\n", encoding="utf-8")
    sys.stdout.write("\n" + "\n".join(told) + "\n")
