"""A strip round a limb whose ends differ in girth: part of a ring between two circles, by closed form.

A cone's side of upper round C1, lower round C2 and slant length L unrolls to a sector of angle
k = (C1 - C2) / L whose arc at height t over the lower edge has radius (C2 + k t) / k; k = 0 is a rectangle.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from padlib.errors import InputError
from padlib.pattern.parts.part import ARC_MM, Ask, Blank
from padlib.pattern.piece import Inner, Line, Notch

STEEPEST = 2.5  # radians: a wider sector is a collar, not a strip


def place(upper: float, lower: float, long: float, u: Line, t: float) -> Line:
    """Places (k, 2) of a tapered strip, mm: u (k,) from -0.5 to 0.5 round the limb, t over its lower edge."""
    k = (upper - lower) / long
    round_ = lower + k * t
    if abs(k) < 1e-9:
        return np.column_stack([round_ * u, np.full(len(u), t)])
    turn = k * u
    return np.column_stack([round_ / k * np.sin(turn), round_ / k * np.cos(turn) - lower / k])


def tapered(
    ask: Ask,
    name: str,
    rounds: tuple[float, float],
    long: float,
    *,
    hem: float,
    seamed: float,
    words: str,
    notes: Sequence[str] = (),
    count: int = 1,
) -> Blank:
    """A tapered strip. rounds: upper and lower edge, mm; hem: below its fold, mirrored so that it folds up flat.

    Raises InputError where it would flare more than cloth can be cut.
    """
    upper, lower = rounds
    k = (upper - lower) / long
    if abs(k) > STEEPEST or lower - abs(k) * hem <= 0:
        raise InputError(
            f"part '{ask.name}' goes from {upper:.0f} to {lower:.0f} mm round over {long:.0f} mm, which is too steep "
            "for a strip; make it longer or its lower edge nearer to the opening."
        )
    u = np.linspace(-0.5, 0.5, 1 + 4 * max(4, int(np.ceil(max(rounds) / ARC_MM / 4))))
    low, high = place(upper, lower, long, u, 0.0), place(upper, lower, long, u, long)
    sew = np.concatenate([low, high[::-1]])
    flare = (lower + k * hem) / (
        lower - k * hem
    )  # folded up, the hem lies where the strip is so wide
    edge = place(upper, lower, long, flare * u, -hem)
    top = place(upper, lower, long, u, long + seamed)
    aside = seamed * np.array([np.cos(0.5 * k), -np.sin(0.5 * k)])
    other = aside * [-1.0, 1.0]
    right = [low[-1] + aside] if hem else []
    left = [low[0] + other] if hem else []
    cut = np.concatenate(
        [[edge[0] + other], edge, [edge[-1] + aside], *([r] for r in right), [top[-1] + aside]]
        + [top[::-1], [top[0] + other], *([p] for p in left)]
    )
    ends = (np.array([low[-1], high[-1]]), np.array([high[0], low[0]]))
    edges = (("hem, fold here" if hem else "lower edge", low), ("to its other end", ends[0]))
    edges += ((words, high[::-1]), ("to its other end", ends[1]))
    marks = []
    for n, at in enumerate((-0.25, 0.0, 0.25), 1):
        out = np.array([np.sin(k * at), np.cos(k * at)])
        marks.append(
            Notch(place(upper, lower, long, np.array([at]), long)[0], out, 1, f"{n}/4", seamed)
        )
    fold = (
        (Inner("fold", np.concatenate([[low[0] + other], low, [low[-1] + aside]])),) if hem else ()
    )
    return Blank(name, ask.cloth, count, sew, cut, edges, fold, tuple(marks), tuple(notes))
