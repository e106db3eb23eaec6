"""Surfaces and points on them: the values that every room shares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import TypeVar
from weakref import WeakKeyDictionary, finalize

import numpy as np
from numpy.typing import NDArray

Vertices = NDArray[np.float64]  # (n, 3), mm
Faces = NDArray[np.int64]  # (m, 3), counter-clockwise seen from outside
Plane = NDArray[np.float64]  # (n, 2), mm
Made = TypeVar("Made")


def frozen(array: object, dtype: type, width: int | None = None) -> NDArray:
    """A read-only contiguous copy-if-needed of array, checked to have `width` columns."""
    out = array if _is_frozen(array, dtype) else np.array(array, dtype=dtype, order="C")
    if width is not None and (out.ndim != 2 or out.shape[1] != width):
        raise ValueError(f"an array of {width} columns is needed, not one of shape {out.shape}")
    out.setflags(write=False)
    return out


def _is_frozen(array: object, dtype: type) -> bool:
    """Whether an array is one that this made: nobody writes into it, so that surfaces may share it."""
    if type(array) is not np.ndarray or array.dtype != dtype:
        return False
    flags = array.flags
    return flags.owndata and flags.c_contiguous and not flags.writeable


@dataclass(frozen=True, eq=False)
class Surface:
    """A triangle mesh. vertices (n, 3) mm float64; faces (m, 3) int64; both read-only."""

    vertices: Vertices
    faces: Faces

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        object.__setattr__(self, "vertices", frozen(self.vertices, np.float64, 3))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64, 3))


def per_surface(make: Callable[[Surface], Made]) -> Callable[[Surface], Made]:
    """What a function makes of a surface, made once for as long as the surface lives."""
    known: WeakKeyDictionary[Surface, Made] = WeakKeyDictionary()

    @wraps(make)
    def found(surface: Surface) -> Made:
        if surface not in known:
            known[surface] = make(surface)
        return known[surface]

    return found


def per_arrays(make: Callable[..., Made]) -> Callable[..., Made]:
    """What a function makes of a surface's frozen arrays, made once for as long as they live; of others each time."""
    known: dict[tuple[int, ...], Made] = {}

    @wraps(make)
    def found(*arrays: NDArray) -> Made:
        if any(a.flags.writeable or not a.flags.owndata for a in arrays):
            return make(*arrays)
        key = tuple(map(id, arrays))
        if key not in known:
            known[key] = make(*arrays)
            for array in arrays:  # its number may be another one's once it is gone
                finalize(array, known.pop, key, None)
        return known[key]

    return found


@dataclass(frozen=True)
class Point:
    """A place on a surface: inside a face, on an edge (one zero) or at a vertex (two zeros).

    face: index of the face. barycentric: weights of its three vertices, summing to 1.
    """

    face: int
    barycentric: tuple[float, float, float]

    def on(self, vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
        """Position (3,) in mm of this point on a mesh of the same faces."""
        return np.asarray(self.barycentric) @ np.asarray(vertices)[np.asarray(faces)[self.face]]
