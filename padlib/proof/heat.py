"""Heat: what insulates the wearer, and how much dry heat gets out. A caution, never a permission.

Published: 1 clo is 0.155 m2K/W; a fibre-pelt coverall 1.13 clo, 0.175 m2K/W (ISO 9920 family); dry
loss Q = (35 - Ta) / (R + 0.09) W/m2 with skin at 35 C and 0.09 m2K/W of still air outside (VALUES 5.5).
From memory: fibre filling conducts 0.04 W/mK; a resting person makes about 58 W/m2, a walking one 115
to 165. A padded fur suit lies outside the range that ISO 7243 and ISO 9920 were made for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding, Grade
from padlib.mesh.areas import face_areas
from padlib.mesh.surface import Surface

CLO = 0.155
COVERALL = 0.175  # m2K/W of the cloth alone
AIR = 0.09  # m2K/W
SKIN_C = 35.0
FILLING = 0.04  # W/mK
RESTING, WALKING = 58.0, 115.0  # W/m2
PADDED_MM = 5.0  # what counts as padded in the share that is told
AT_C = (20.0, 25.0, 30.0)


@dataclass(frozen=True)
class Heat:
    """What the suit holds in.

    covered: share of the outline's area under cloth, without head, hands and feet; padded: share of
    that under more than 5 mm; pad_mm: mean thickness there; clo of the covered part, all of it together;
    loss: dry heat in W per m2 of covered skin at 20, 25 and 30 C.
    """

    covered: float
    padded: float
    pad_mm: float
    clo: float
    loss: dict[float, float]
    findings: tuple[Finding, ...] = ()


def heat(panels: Sequence[Surface], shell: Surface, body: Surface, *, room: float = 0.0) -> Heat:
    """What the panels of a suit over a shell hold in; all surfaces in mm.

    Padding and bare cloth lose heat side by side, each through its own thickness. room: mm of wearing
    ease and cloth between body and shell where there is no pad; its air moves, and is left out.
    """
    away, area = zip(*(_padding(panel, body) for panel in panels), strict=True)
    thick = np.maximum(np.concatenate(away) - room, 0.0)
    size = np.concatenate(area)
    share = size / size.sum()
    layers = COVERALL + thick / 1000.0 / FILLING
    passed = float(share @ (1.0 / (layers + AIR)))  # W/m2K
    padded = thick > PADDED_MM
    loss = {at: (SKIN_C - at) * passed for at in AT_C}
    mean = float(np.average(thick[padded], weights=size[padded])) if padded.any() else 0.0
    covered = float(size.sum() / face_areas(shell.vertices, shell.faces).sum())
    told = Heat(covered, float(share[padded].sum()), mean, (1.0 / passed - AIR) / CLO, loss)
    return replace(told, findings=(_caution(told),))


def _padding(panel: Surface, body: Surface) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far the middle of each triangle (m,) lies from the body, mm, and its area, mm2."""
    middle = panel.vertices[panel.faces].mean(axis=1)
    squared = igl.point_mesh_squared_distance(middle, body.vertices, body.faces)[0]
    return np.sqrt(np.maximum(np.asarray(squared).ravel(), 0.0)), face_areas(
        panel.vertices, panel.faces
    )


def _caution(told: Heat) -> Finding:
    """Finding 607, always: there is no suit of this kind that one can wear without minding heat."""
    out = told.loss[25.0]
    words = (
        f"at 25 degrees C about {out:.0f} W/m2 of dry heat gets out through {told.clo:.1f} clo, where a resting "
        f"wearer makes about {RESTING:.0f} and a walking one {WALKING:.0f} or more: heat builds up "
        f"{'even at rest' if out < RESTING else 'as soon as the wearer moves'}; plan short turns, rest in the cool "
        "with the head off, water, a helper and a quick way out; the venue's rules and a doctor's word go first"
    )
    return Finding(607, words, "heat", Grade.CAUTION)


def heat_report(told: Heat) -> dict[str, object]:
    """The heat part of the report."""
    return {
        "covered_percent": round(100 * told.covered, 1),
        "padded_percent": round(100 * told.padded, 1),
        "pad_mean_mm": round(told.pad_mm, 1),
        "clo": round(told.clo, 2),
        "dry_loss_w_m2": {f"{at:g}": round(w, 1) for at, w in told.loss.items()},
        "basis": "ISO 9920 family (fibre-pelt coverall 1.13 clo); an estimate, outside its validated range",
    }
