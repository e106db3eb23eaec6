"""The border of a part of a flat, step by step: which seam each step belongs to, and darts that lie whole in it.

A flat that is cut along marks comes apart into parts. A step of a part's border is one of three: a step of one
of the panel's own edges, a step of a dart's leg, or a step along a mark, whose other side is another part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Dart, Flat

Ints = NDArray[np.int64]
Pair = tuple[
    int, int
]  # two vertices of a flat's panel, the panel to the left of the way between them
Twin = tuple[str, int, int]  # a panel's name and a pair of its vertices


@dataclass(frozen=True)
class Step:
    """A step of a border: from and to (vertices of the part); seam and kind; edge: what it must share with its
    neighbours to be one run with them; twin: the step that it is sewn to."""

    start: int
    stop: int
    seam: str
    kind: str
    edge: tuple[str, int]
    twin: Twin | None


def own_steps(flat: Flat, partners: Mapping[str, Flat]) -> dict[Pair, tuple[int, Twin | None]]:
    """For each step of a flat's own edges the edge's number and the step of the partner that it is sewn to."""
    out: dict[Pair, tuple[int, Twin | None]] = {}
    for k, edge in enumerate(flat.panel.edges):
        if edge.kind == "dart":
            continue
        steps = _steps(flat, k)
        back: list[Pair] = []
        other = ""
        if edge.partner is not None and edge.partner[0] in partners:
            other = edge.partner[0]
            back = _steps(partners[other], edge.partner[1])[::-1]
        for i, pair in enumerate(steps):
            out[pair] = k, (other, *back[i]) if len(back) == len(steps) else None
    return out


def _steps(flat: Flat, number: int) -> list[Pair]:
    """The steps of an edge, without those over the mouths of darts."""
    mouths = {(int(d.left[0]), int(d.right[0])) for d in flat.darts}
    run = flat.panel.edges[number].run.tolist()
    return [
        p for p in zip(run[:-1], run[1:], strict=True) if p not in mouths and p[::-1] not in mouths
    ]


def leg_steps(flat: Flat) -> dict[Pair, tuple[int, int, Pair]]:
    """For each step of a dart's legs: the dart, how many steps from its apex (negative on the right), its twin."""
    out: dict[Pair, tuple[int, int, Pair]] = {}
    for d, dart in enumerate(flat.darts):
        left, right = dart.left.tolist(), dart.right.tolist()
        last = len(left) - 1
        for i in range(last):
            down, up = (left[i], left[i + 1]), (right[i + 1], right[i])
            out[down] = d, last - i, up
            out[up] = d, i - last, down
    return out


def without_darts(
    ring: Sequence[tuple[Step, tuple[int, int] | None]], flat: Flat
) -> tuple[list[Step], list[Dart]]:
    """A closed border without the darts that lie in it from a mouth to the apex, and these darts.

    ring: steps in order, each with its dart and number of steps from the apex, or None. Of a dart that the
    border holds only up to some place that place is the new mouth; the rest of its legs stays as steps.
    """
    ring = list(ring)
    darts = []
    for d, dart in enumerate(flat.darts):
        tip = [i for i, (_, leg) in enumerate(ring) if leg == (d, 1)]
        if not tip:
            continue
        n = len(ring)
        at = tip[0]
        if ring[(at + 1) % n][1] != (d, -1):
            continue
        deep = 1
        while 2 * deep < n and (
            ring[(at - deep) % n][1] == (d, deep + 1)
            and ring[(at + 1 + deep) % n][1] == (d, -deep - 1)
        ):
            deep += 1
        ring = (
            ring[(at + 1 - n) % n :] + ring[: (at + 1) % n]
        )  # the apex lies between last and first
        left = [ring[n - deep + i][0].start for i in range(deep)] + [ring[n - 1][0].stop]
        right = [ring[i][0].stop for i in range(deep)][::-1] + [ring[0][0].start]
        whole = deep == len(dart.left) - 1
        length = dart.length_mm if whole else _length(flat, dart.left[-deep - 1 :])
        darts.append(
            Dart(
                left[-1],
                np.array(left),
                np.array(right),
                length,
                dart.intake_deg,
                dart.leg_difference_mm,
            )
        )
        ring = ring[deep : n - deep]
    return [step for step, _ in ring], darts


def _length(flat: Flat, run: Ints) -> float:
    steps = np.diff(flat.panel.surface.vertices[run], axis=0)
    return float(np.linalg.norm(steps, axis=1).sum())


def runs_of(steps: Sequence[Step]) -> list[list[Step]]:
    """The steps of a closed border as runs that share an edge."""
    n = len(steps)
    first = next((i for i in range(n) if steps[i].edge != steps[i - 1].edge), 0)
    out: list[list[Step]] = []
    for step in (*steps[first:], *steps[:first]):
        if out and out[-1][-1].edge == step.edge:
            out[-1].append(step)
        else:
            out.append([step])
    return out


def vertices_of(run: Sequence[Step]) -> Ints:
    """The vertices of a run; both mouths of a dart that opens within it follow one another."""
    out = [run[0].start]
    for step in run:
        if step.start != out[-1]:
            out.append(step.start)
        out.append(step.stop)
    return np.array(out, dtype=np.int64)
