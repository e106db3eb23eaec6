"""Darts that the maker wants, and places that darts must keep off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.flatten.cutting import cut_darts
from padlib.flatten.ground import gap
from padlib.flatten.sketch import Wedge
from padlib.mesh.point import nearest_arrays
from padlib.mesh.surface import Plane
from padlib.seams.panels import Panel

SLIP = 60.0  # mm: a pinned place further from the panel than that is taken for a slip
LEAST = 5.0  # mm: no dart is shorter
TOUCH = 2.0  # mm: pinned darts nearer to each other than that cross

Spot = tuple[float, float, float]


@dataclass(frozen=True)
class Pin:
    """A dart that the maker wants: it stays, whatever the search does about it.

    mouth, tip (3,) mm: the mouth moves to the nearest vertex of the panel's edge, the tip to the
    nearest place on the panel; between them the dart runs straight in the panel's flat.
    """

    mouth: Spot
    tip: Spot


@dataclass(frozen=True)
class Ban:
    """What darts keep off: a seam, from which none may start, or all within `radius` mm of a place.

    seam: its name; at (3,), radius: mm. One of the two is given. Raises InputError otherwise.
    """

    seam: str = ""
    at: Spot | None = None
    radius: float = 0.0

    def __post_init__(self) -> None:
        """Check that it says one thing."""
        if bool(self.seam) == (self.at is not None):
            raise InputError("a ban on darts names either a seam or a place with a radius")
        if self.at is not None and not 0.0 < self.radius < np.inf:
            raise InputError(
                f"the radius of a ban on darts is {self.radius:g} mm; it must be above 0"
            )


def pinned_wedges(panel: Panel, flat: Plane, pins: Sequence[Pin]) -> tuple[Wedge, ...]:
    """Pinned darts as straight lines of a panel's flat (n, 2).

    Raises InputError for one that is too far from the panel, too short, or leaves it, and for two
    that cross.
    """
    wedges = tuple(_snapped(panel, flat, k, pin) for k, pin in enumerate(pins))
    ends = [(flat[w.mouth], np.asarray(w.tip)) for w in wedges]
    for k in range(len(ends)):
        for i in range(k):
            if gap(*ends[i], *ends[k]) < TOUCH:
                raise InputError(
                    f"pinned darts {i + 1} and {k + 1} of panel '{panel.name}' meet; move one of them"
                )
        if cut_darts(panel, flat, wedges[k : k + 1]) is None:
            raise InputError(
                f"pinned dart {k + 1} leaves panel '{panel.name}' between its mouth and its tip; "
                "move its tip"
            )
    return wedges


def line_near(
    panel: Panel, flat: Plane, rim: NDArray[np.int64], pin: Pin
) -> tuple[Wedge, float, float]:
    """The line of a panel's flat (n, 2) nearest to a dart in space, from one of the vertices rim (k,); and how far, mm,
    mouth and tip of that are from it."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    off = np.linalg.norm(vertices[rim] - pin.mouth, axis=1)
    face, weight = nearest_arrays(vertices, faces, np.array([pin.tip]))
    x, y = np.einsum("kc,kcx->kx", weight, flat[faces[face]])[0]
    tip = np.einsum("kc,kcx->kx", weight, vertices[faces[face]])[0]
    wedge = Wedge(int(rim[off.argmin()]), (float(x), float(y)))
    return wedge, float(off.min()), float(np.linalg.norm(tip - pin.tip))


def _snapped(panel: Panel, flat: Plane, k: int, pin: Pin) -> Wedge:
    """One pin moved onto the panel."""
    rim = np.concatenate([_inner(edge.run) for edge in panel.edges])
    wedge, off, away = line_near(panel, flat, rim, pin)
    for what, far in (("mouth", off), ("tip", away)):
        if not far <= SLIP:
            raise InputError(
                f"the {what} of pinned dart {k + 1} lies {far:.0f} mm off panel '{panel.name}'; "
                f"give a place within {SLIP:g} mm of its {'edge' if what == 'mouth' else 'surface'}"
            )
    if np.hypot(*(np.asarray(wedge.tip) - flat[wedge.mouth])) < LEAST:
        raise InputError(
            f"pinned dart {k + 1} of panel '{panel.name}' is shorter than {LEAST:g} mm; move its tip in"
        )
    return wedge


def _inner(run: NDArray[np.int64]) -> NDArray[np.int64]:
    """The vertices of an edge's run without its ends, where it has any."""
    return run[:-1] if run[0] == run[-1] else run[1:-1]


def allowed(panel: Panel, mouths: NDArray[np.int64], bans: Sequence[Ban]) -> NDArray[np.bool_]:
    """Which of some panel vertices (k,) may be mouths. Raises InputError for a seam that is not there."""
    known = {edge.seam for edge in panel.edges}
    for ban in bans:
        if ban.seam and ban.seam not in known:
            raise InputError(
                f"panel '{panel.name}' has no seam '{ban.seam}' that darts could be kept off; "
                f"it has {', '.join(sorted(known))}"
            )
    names = {ban.seam for ban in bans}
    shut = [edge.run for edge in panel.edges if edge.seam in names]
    return ~np.isin(mouths, np.concatenate([*shut, banned(panel, bans)]))


def banned(panel: Panel, bans: Sequence[Ban]) -> NDArray[np.int64]:
    """Panel vertices (k,) that lie where darts are forbidden; at least the nearest to each place.

    Raises InputError for a place that is nowhere near the panel.
    """
    out = [np.zeros(0, np.int64)]
    for ban in bans:
        if ban.at is None:
            continue
        off = np.linalg.norm(panel.surface.vertices - ban.at, axis=1)
        if off.min() > ban.radius + SLIP:
            raise InputError(
                f"the place that darts are to keep off is {off.min():.0f} mm from panel "
                f"'{panel.name}'; give one on the panel"
            )
        out.append(np.union1d(np.flatnonzero(off <= ban.radius), [off.argmin()]))
    return np.unique(np.concatenate(out))
