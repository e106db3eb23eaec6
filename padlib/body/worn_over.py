"""What was scanned with the wearer and is no part of them: thick soles under the feet, a helmet or hat on the head.

Both make stature and heights or the head's girth wrong without any of them leaving what people have.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.body.parts import SIDES
from padlib.body.slices import Slices, slices
from padlib.body.typical import usual
from padlib.findings import Finding, Grade
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]

SOLES, HEADGEAR = 264, 265  # numbers of the findings
# How high over the floor a foot is as long as it gets, in parts of the stature: toes end at 0.011 to 0.020 on 20
# modelled builds (measured here, no published source). The lower of both feet counts: a hole can take one foot's toes.
BARE, TOES = 0.016, 0.024
LONG = 0.9  # of the foot's greatest length
LOOKED = 0.07  # of the stature: how far up it is looked for
STEP = 1.0  # mm
# A head's girth has a standard deviation of 15 mm among men and 18 among women (ANSUR II, 2012); four are too many.
HEAD_MM = 4 * 17.0


def worn_over(
    vertices: Vertices, faces: Faces, at: Mapping[str, Array], values: Mapping[str, float]
) -> Iterator[Finding]:
    """Findings for soles and headgear on a body (n, 3), (m, 3) with places `at` and its measurements in mm."""
    tall = values.get("stature")
    if tall is None:
        return
    toes = toe_heights(vertices, faces, [at[f"heel_{s}"] for s in SIDES if f"heel_{s}" in at])
    if len(toes) == 2 and min(toes) > TOES * tall:
        words = (
            f"The feet are as long {min(toes):.0f} mm over the floor as below, where bare toes end at"
            f" {BARE * tall:.0f} mm: soles of about {min(toes) - BARE * tall:.0f} mm were scanned with them, and"
            " stature and all heights are so much too large; scan barefoot, or cut them off with a plane (trim)."
        )
        yield Finding(SOLES, words, "feet", Grade.WARNING)
    head = values.get("head_girth", 0.0)
    most = usual(tall, "neutral")["head_girth"] + HEAD_MM
    if head > most:
        words = (
            f"The head is {head:.0f} mm round, where people of this height have {most:.0f} mm at most: a helmet, hat or"
            " hair was scanned with it, and stature is too large as well; scan without it, or cut it off with a plane"
            " (trim)."
        )
        yield Finding(HEADGEAR, words, "head", Grade.WARNING)


def toe_heights(vertices: Vertices, faces: Faces, heels: Sequence[Array]) -> list[float]:
    """Heights in mm up to which the feet about heels (3,) keep their length."""
    top, middle = float(vertices[:, 2].max()), float(np.median(vertices[:, 0]))
    z = np.arange(STEP, LOOKED * top, STEP)
    cut = slices(vertices, faces[(vertices[faces][:, :, 2].min(axis=1) < z[-1])], z)
    return [_toe_height(cut, z, middle, float(heel[0])) for heel in heels]


def _toe_height(cut: Slices, z: Array, middle: float, heel: float) -> float:
    """Height in mm up to which the foot on a heel's side of the middle keeps its length; z: levels of the sections."""
    beside = np.sign(heel - middle) or 1.0
    long = np.zeros(len(z))
    for k in range(len(z)):
        own = [n for n in cut.at(k) if beside * (cut.centre[n, 0] - middle) > 0]
        if own:
            flat = np.concatenate([cut.points(n) for n in own])[:, :2]
            flat = flat - flat.mean(axis=0)
            long[k] = np.ptp(flat @ np.linalg.svd(flat, full_matrices=False)[2][0])
    return float(z[np.flatnonzero(long > LONG * long.max())[-1]]) if long.any() else 0.0
