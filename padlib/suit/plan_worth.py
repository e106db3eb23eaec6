"""What the plan's own seams buy: the panels beside each of them laid flat as one, and as they are."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from padlib.body.limb import lengths
from padlib.errors import PadlibError
from padlib.seams.joined import joined
from padlib.seams.panels import Panel
from padlib.suit.suggestion_watch import Watch
from padlib.suit.trials import Bench, Trial, Worth, told

OPTIONAL = ("shoulder", "side", "sleeve-front", "sleeve-back", "leg-front", "leg-back")
"""Seams of the plan without which the panels beside them still lie flat; a suit has them for its shape alone."""


def plan_worth(bench: Bench, trial: Trial, watch: Watch) -> tuple[Worth, ...]:
    """What each seam of OPTIONAL buys on the wearer's left, as the plan stands, with darts.

    A seam is left out of the result where the panels beside it make no disk together, could not be laid flat, or the
    time is out.
    """
    return tuple(_each(bench, trial, watch))


def _each(bench: Bench, trial: Trial, watch: Watch) -> Iterator[Worth]:
    asked = trial.suit.darts["limit"], trial.suit.darts["percentile"]
    for k, name in enumerate(OPTIONAL):
        watch.say(f"laying the plan without its {name} seam", k / len(OPTIONAL))
        seam = f"{name}-left"
        own = [n for n, p in enumerate(trial.panels) if any(e.seam == seam for e in p.edges)]
        panels = [trial.panels[n] for n in own]
        whole = _as_one(panels, seam)
        if whole is None:
            continue
        try:
            flat = bench.alone(trial.suit, whole, watch)
            found = flat is not None and bench.dart([(trial, own)], watch)
        except PadlibError:
            continue
        if flat is None or not found:
            return
        laid = bench.with_darts(trial).flats
        with_it = told([laid[n] for n in own], *asked)
        yield Worth(seam, "plan", round(_length(panels, seam), 1), told([flat], *asked), with_it)


def _as_one(panels: Sequence[Panel], seam: str) -> Panel | None:
    """Panels joined along a seam, None where they do not make a disk."""
    left = list(panels)
    while len(left) > 1:
        made = ((k, joined(left[0], left[k], seam)) for k in range(1, len(left)))
        found = next(((k, whole) for k, whole in made if whole is not None), None)
        if found is None:
            return None
        left = [found[1], *(p for k, p in enumerate(left[1:], 1) if k != found[0])]
    return left[0] if len(panels) > 1 else None


def _length(panels: Sequence[Panel], seam: str) -> float:
    """Length of a seam between panels, mm."""
    runs = [p.surface.vertices[e.run] for p in panels for e in p.edges if e.seam == seam]
    return 0.5 * float(np.sum([lengths(run)[-1] for run in runs]))
