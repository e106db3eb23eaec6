"""What a suit that was sewn back tells: how far it is off, where it puckers and where it is tight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.stretch import percentiles, summary
from padlib.mesh.areas import enclosed, face_areas, vertex_areas
from padlib.mesh.surface import Surface, Vertices
from padlib.proof.elastic import shares, strained
from padlib.proof.settle import touch
from padlib.proof.sew import Sewn, principal
from padlib.proof.sheets import Bundle

Array = NDArray[np.float64]

TOLD = 12.0  # mm: a worst deviation over this is told


@dataclass(frozen=True)
class Pucker:
    """Cloth that a seam has to spare once sewn: slack_mm over its whole length_mm."""

    seam: str
    length_mm: float
    slack_mm: float


@dataclass(frozen=True)
class Tight:
    """How far a panel is stretched once sewn: share of its area over the limit, 95th percentile; at (3,):
    the middle of what is over the limit, mm."""

    panel: str
    over: float
    p95: float
    at: tuple[float, float, float]


def off_shell(place: Vertices, faces: NDArray[np.int64], shell: Surface) -> tuple[Array, Array]:
    """Signed distance (n,) of sewn vertices from the shell, mm, positive outside, and the area (n,)
    that each stands for, mm2."""
    return touch(shell, place)[0], vertex_areas(faces, face_areas(place, faces), len(place))


def deviation(away: Array, share: Array) -> dict[str, float]:
    """Mean, p95 and max of the distance in mm, weighted by area."""
    every = summary(away[:, None], share)
    return {key: every[key] for key in ("mean", "p95", "max")}


def volume_percent(away: Array, share: Array, shell: Surface) -> float:
    """What the sewn suit holds more than the shell, % of the shell's volume.

    The space between both is the distance summed over the area, to first order in distance over
    radius; the shell beyond the suit's openings (head, hands, feet) counts as it is.
    """
    return 100.0 * float(away @ share) / enclosed(shell.vertices, shell.faces)


def puckers(suit: Bundle, sewn: Sewn, place: Vertices) -> tuple[Pucker, ...]:
    """Slack along every seam and dart, both sides' longer one against what the sewn seam measures."""
    total: dict[str, list[float]] = {}
    for stitch in suit.stitches:
        at = place[sewn.welded[stitch.one][stitch.a]]
        worn = np.linalg.norm(np.diff(at, axis=0), axis=1)
        sides = [
            np.hypot(*np.diff(suit.sheets[k].positions[run], axis=0).T)
            for k, run in ((stitch.one, stitch.a), (stitch.two, stitch.b))
        ]
        spare = np.maximum(np.maximum(*sides) - worn, 0.0).sum()
        entry = total.setdefault(stitch.seam, [0.0, 0.0])
        entry[0] += float(np.mean([side.sum() for side in sides]))
        entry[1] += float(spare)
    return tuple(Pucker(seam, *sizes) for seam, sizes in total.items())


def tight(suit: Bundle, sewn: Sewn, place: Vertices) -> tuple[Tight, ...]:
    """How far each panel's cloth is stretched once sewn, and how much of it by more than it bears."""
    state = strained(sewn, place)
    worst, used = principal(state.strain)[0], principal(shares(sewn, state))[0]
    out, first = [], 0
    for sheet in suit.sheets:
        part = slice(first, first + len(sheet.faces))
        area = sewn.area[part]
        over = float(area[used[part] > 1.0].sum() / area.sum())
        most = min(1.0, float(np.quantile(used[part], 0.99)))
        excess = area * (np.maximum(used[part] - most, 0.0) + 1e-9)
        middle = excess @ place[sewn.faces[part]].mean(axis=1) / excess.sum()
        p95 = percentiles(worst[part], area, (0.95,))[0]
        out.append(Tight(sheet.name, over, p95, tuple(middle.tolist())))
        first += len(sheet.faces)
    return tuple(out)
