"""Lengths and places that a flat is asked to keep, by the augmented Lagrangian (Hestenes 1969)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.flatten.assembly import Assembly
from padlib.flatten.terms import Terms
from padlib.mesh.solve import factor
from padlib.mesh.surface import Plane

EDGE_GAIN = 10.0
PLACE_GAIN = 10.0
QUARTER = np.array([[0.0, 1.0], [-1.0, 0.0]])  # row vectors turned by 90 degrees
TINY = float(np.finfo(float).tiny)
RIDGE = 1e-6  # of a gram matrix of unit vectors


@dataclass(frozen=True)
class Ties:
    """Edges (k, 2) with target lengths (k,), vertices held (j,) with target places (j, 2).

    pull (k,) and push (j, 2) are the multipliers; gain (k,) the stiffness of each edge; slots and
    diagonal say where their second derivatives go in the Hessian of `assembly`.
    """

    edges: NDArray[np.int64]
    lengths: NDArray[np.float64]
    pull: NDArray[np.float64]
    gain: NDArray[np.float64]
    held: NDArray[np.int64]
    places: Plane
    push: Plane
    slots: NDArray[np.int64]
    diagonal: NDArray[np.int64]

    def value(self, flat: Plane) -> float:
        """The energy of a flat (n, 2)."""
        off = self.misfit(flat)
        away = flat[self.held] - self.places
        edges = self.pull @ off + 0.5 * self.gain @ off**2
        return float(edges + np.vdot(self.push, away) + 0.5 * PLACE_GAIN * np.vdot(away, away))

    def misfit(self, flat: Plane) -> NDArray[np.float64]:
        """Length less target (k,) of each edge."""
        along = flat[self.edges[:, 1]] - flat[self.edges[:, 0]]
        return np.linalg.norm(along, axis=1) - self.lengths

    def add(self, flat: Plane, gradient: Plane, values: NDArray[np.float64]) -> None:
        """Add the gradient (n, 2) and the positive part of the Hessian's lower values in place."""
        along = flat[self.edges[:, 1]] - flat[self.edges[:, 0]]
        length = np.linalg.norm(along, axis=1)
        unit = along / length[:, None]
        force = self.pull + self.gain * (length - self.lengths)
        np.add.at(gradient, self.edges[:, 1], force[:, None] * unit)
        np.add.at(gradient, self.edges[:, 0], -force[:, None] * unit)
        across = np.maximum(force, 0.0) / length
        ux, uy = unit.T
        xx = self.gain * ux * ux + across * uy * uy
        yy = self.gain * uy * uy + across * ux * ux
        xy = (self.gain - across) * ux * uy
        for end in (0, 1):
            at = self.diagonal.reshape(-1, 2)[self.edges[:, end]]
            np.add.at(values, at[:, 0], xx)
            np.add.at(values, at[:, 0] + 1, xy)
            np.add.at(values, at[:, 1], yy)
        for slot, entry in zip(self.slots, (xx, xy, xy, yy), strict=True):
            np.add.at(values, slot, -entry)
        away = flat[self.held] - self.places
        np.add.at(gradient, self.held, self.push + PLACE_GAIN * away)
        np.add.at(values, self.diagonal.reshape(-1, 2)[self.held], PLACE_GAIN)

    def updated(self, flat: Plane) -> Ties:
        """The ties with multipliers moved by what is still missing in a flat (n, 2)."""
        away = flat[self.held] - self.places
        pull = self.pull + self.gain * self.misfit(flat)
        return replace(self, pull=pull, push=self.push + PLACE_GAIN * away)

    def error(self, flat: Plane) -> float:
        """The largest relative error of a length, or distance from a place, in a flat (n, 2)."""
        edges = np.abs(self.misfit(flat)) / self.lengths
        away = np.linalg.norm(flat[self.held] - self.places, axis=1)
        return float(np.concatenate([[0.0], edges, away]).max())


@dataclass(frozen=True)
class Seams:
    """Pairs of edges, mine (k, 2) and theirs (k, 2), with mine = ratio * theirs + more in length.

    scale (k,): a length of each pair, for relative errors; pull (k,): multipliers; gain (k,). A pair
    with ratio nothing holds an edge of mine to the length `more`.
    """

    mine: NDArray[np.int64]
    theirs: NDArray[np.int64]
    ratio: NDArray[np.float64]
    more: NDArray[np.float64]
    scale: NDArray[np.float64]
    pull: NDArray[np.float64]
    gain: NDArray[np.float64]

    def misfit(self, flat: Plane) -> NDArray[np.float64]:
        """Length of mine less what is asked of it (k,)."""
        return _along(self.mine, flat)[0] - self.ratio * _along(self.theirs, flat)[0] - self.more

    def value(self, flat: Plane) -> float:
        """The energy of a flat (n, 2)."""
        off = self.misfit(flat)
        return float(self.pull @ off + 0.5 * self.gain @ off**2)

    def terms(self, flat: Plane) -> Terms:
        """Its derivatives; of the turning of edges the part that resists, by the multipliers alone.

        The whole force would be the truth, but far from agreement it is large and holds every edge
        in its direction: Newton then needs half as many steps again.
        """
        mine, theirs = _along(self.mine, flat), _along(self.theirs, flat)
        there, still = self.ratio[:, None] * theirs[1], np.zeros((len(self.mine), 2))
        first, second = mine[1] @ QUARTER, theirs[1] @ QUARTER
        way = [(-mine[1], mine[1], there, -there)]
        way += [(-first, first, still, still), (still, still, -second, second)]
        bend = [self.gain, np.maximum(self.pull, 0.0) / np.maximum(mine[0], TINY)]
        bend += [self.ratio * np.maximum(-self.pull, 0.0) / np.maximum(theirs[0], TINY)]
        force = self.pull + self.gain * self.misfit(flat)
        return Terms(
            np.tile(np.hstack([self.mine, self.theirs]), (3, 1)),
            np.concatenate([np.stack(parts, axis=1) for parts in way]),
            np.concatenate([force, np.zeros(2 * len(force))]),
            np.concatenate(bend),
        )

    def part(self, rows: NDArray[np.bool_], place: NDArray[np.int64]) -> Seams:
        """Some of the pairs (k,) of edges, of vertices that have other numbers: place (n,)."""
        rest = (x[rows] for x in (self.ratio, self.more, self.scale, self.pull, self.gain))
        return Seams(place[self.mine[rows]], place[self.theirs[rows]], *rest)

    def balancing(self, flat: Plane, gradient: Plane) -> Seams:
        """The seams with the multipliers that balance a gradient (n, 2) of all the rest best, by least squares.

        Near the end these are nearly the ones of the end, which from nothing take a few steps to find.
        """
        count, at = len(self.mine), np.hstack([self.mine, self.theirs])
        way = self.terms(flat).way[:count]
        columns = 2 * at[:, :, None] + np.arange(2)
        entries = way.ravel(), (np.repeat(np.arange(count), 8), columns.ravel())
        spread = sp.csr_matrix(entries, (count, gradient.size))
        gram = sp.csc_matrix(spread @ spread.T + RIDGE * sp.eye_array(count))
        return replace(self, pull=factor(gram).solve(-(spread @ gradient.ravel())))

    def updated(self, flat: Plane, moved: Plane) -> Seams:
        """The seams with multipliers moved by what a step from a flat to a moved one meant to leave missing.

        What is missing besides, since edges turned, is no sign of what they pull: by that the next step would go wrong.
        """
        way = moved - flat
        mine, theirs = _along(self.mine, flat), _along(self.theirs, flat)
        longer = _longer(self.mine, mine[1], way) - self.ratio * _longer(
            self.theirs, theirs[1], way
        )
        missing = mine[0] - self.ratio * theirs[0] - self.more + longer
        return replace(self, pull=self.pull + self.gain * missing)

    def error(self, flat: Plane) -> float:
        """The largest difference relative to its edge."""
        return float(np.max(np.abs(self.misfit(flat)) / self.scale, initial=0.0))


def _along(edges: NDArray[np.int64], flat: Plane) -> tuple[NDArray, Plane]:
    """Lengths (k,) and unit vectors (k, 2) of edges (k, 2) of a flat."""
    along = flat[edges[:, 1]] - flat[edges[:, 0]]
    length = np.linalg.norm(along, axis=1)
    return length, along / np.maximum(length, TINY)[:, None]


def _longer(edges: NDArray[np.int64], unit: Plane, way: Plane) -> NDArray[np.float64]:
    """By how much (k,) edges of unit vectors (k, 2) become longer to first order when vertices go a way (n, 2)."""
    return np.einsum("kc,kc->k", unit, way[edges[:, 1]] - way[edges[:, 0]])


def ties(
    assembly: Assembly,
    edges: NDArray[np.int64],
    lengths: NDArray[np.float64],
    held: NDArray[np.int64],
    places: Plane,
) -> Ties:
    """Ties with multipliers zero. Lengths and places in the unit of the solve."""
    return Ties(
        edges,
        lengths,
        np.zeros(len(edges)),
        EDGE_GAIN / lengths,
        held,
        places,
        np.zeros((len(held), 2)),
        assembly.edge_slots(edges),
        assembly.diagonal,
    )
