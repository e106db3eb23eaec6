"""Reading a mesh file into a Surface: every bad input gives one sentence that names the file."""

from __future__ import annotations

import contextlib
import logging
import struct
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import trimesh
from numpy.typing import NDArray

from padlib.errors import MeshError
from padlib.mesh.announced import announced, marks_of, unpacked_size
from padlib.mesh.repair import same_places
from padlib.mesh.surface import Faces, Surface, Vertices

KINDS = ("ply", "obj", "stl", "glb", "gltf", "off", "3mf")
# Sizes whose reading takes 1.9 GB at most (measured): an STL takes 480 bytes a face, an OFF 830, a 3MF's reader keeps
# the whole text as a tree, 1.1 KB a mark.
MOST_FACES, MOST_OFF, MOST_MARKS = 4_000_000, 2_200_000, 1_500_000
MOST_BESIDE = 1_500_000_000  # bytes of a file that a mesh file refers to
MOST_PACKED = 100  # times its size that a packed mesh may unpack to; text packs 5 to 10 times
_SPOKEN = "PLY, OBJ, STL, GLB, glTF, OFF or 3MF"

# What the readers of trimesh, numpy, json, zipfile and lxml raise on files that are not what their
# name says (lxml's syntax error is a SyntaxError; json's and unicode's are ValueErrors).
_READ_FAILURES = (
    ValueError,
    LookupError,
    AttributeError,
    NameError,
    TypeError,
    ArithmeticError,
    EOFError,
    OSError,
    RuntimeError,
    AssertionError,
    SyntaxError,
    MemoryError,
    ImportError,
    StopIteration,
    struct.error,
    zipfile.BadZipFile,
    zlib.error,
)


class _FolderOnly(trimesh.resolvers.FilePathResolver):
    """Finds the files that a mesh refers to, but only beside it or below it."""

    def __init__(self, path: Path) -> None:
        """Remember the mesh's folder, links resolved."""
        super().__init__(str(path))
        self._folder = path.resolve().parent

    def get(self, name: str) -> bytes:
        """The bytes of the file; raises ValueError for one outside of the mesh's folder."""
        target = (self._folder / name.strip()).resolve()
        if not target.is_relative_to(self._folder):
            raise ValueError(f"refers to {name}, which is outside of its folder")
        if not target.is_file() or target.stat().st_size > MOST_BESIDE:
            raise ValueError(f"refers to {name}, which is no file or too large")
        return target.read_bytes()


def read_mesh(
    path: str | Path, *, max_faces: int = MOST_FACES, max_bytes: int = 1_500_000_000
) -> Surface:
    """Read PLY, OBJ, STL, GLB, glTF, OFF or 3MF as one triangle mesh, in the file's own unit.

    Scenes are put together with their transforms, polygons are cut into triangles, and the corners
    of STL triangles that share a position become one vertex. Nothing else is repaired here.
    max_faces: refuse more triangles; max_bytes: refuse larger files, packed or unpacked.

    Raises MeshError, one sentence naming the file, for anything that cannot be used.
    """
    path = Path(path)
    kind = _checked_kind(path, max_bytes)
    max_faces = min(max_faces, MOST_OFF) if kind == "off" else max_faces
    promised = _check_announced(path, kind, max_faces, max_bytes)
    vertices, faces = _loaded(path, kind, max_faces)
    if kind not in ("glb", "gltf") and len(faces) < promised:
        raise _breaks_off(path, promised)
    _check_arrays(path, vertices, faces, max_faces)
    if kind == "stl":
        vertices, faces = _joined(vertices, faces)
    return Surface(vertices, faces)


def _checked_kind(path: Path, max_bytes: int) -> str:
    """The extension in lower case, after the checks that need no reading."""
    if not path.exists():
        raise MeshError(f"{path} is not there; check the name and the folder.")
    if not path.is_file():
        raise MeshError(f"{path} is a folder or a device, not a mesh file; name the file itself.")
    kind = path.suffix.lower().lstrip(".")
    if kind not in KINDS:
        shown = f"the ending .{kind}" if kind else "no ending"
        raise MeshError(f"{path} has {shown}; padlib reads {_SPOKEN}.")
    size = path.stat().st_size
    if size == 0:
        raise MeshError(f"{path} is empty; export the scan again.")
    if size > max_bytes:
        raise MeshError(
            f"{path} is {size / 1e6:,.0f} MB and the limit is {max_bytes / 1e6:,.0f} MB;"
            " export the scan with fewer triangles."
        )
    return kind


def _check_announced(path: Path, kind: str, max_faces: int, max_bytes: int) -> int:
    """Refuse, before reading, a file that announces too much or more than it can hold.

    Returns how many faces it announces, 0 when that is not known.
    """
    try:
        if kind == "3mf":
            unpacked = unpacked_size(path)
            count, least = 0, 0
        else:
            unpacked = 0
            count, least = announced(path, kind)
    except _READ_FAILURES as failure:
        raise _unreadable(path, kind, failure) from failure
    size = path.stat().st_size
    limit = min(max_bytes, max(100_000_000, MOST_PACKED * size))
    if unpacked > limit:
        raise MeshError(
            f"{path} unpacks to {unpacked / 1e6:,.0f} MB and the limit is {limit / 1e6:,.0f} MB;"
            " export the scan with fewer triangles."
        )
    if least > size:
        raise _breaks_off(path, count)
    try:
        marks = marks_of(path) if unpacked else 0
    except _READ_FAILURES as failure:
        raise _unreadable(path, kind, failure) from failure
    if marks > MOST_MARKS:
        raise MeshError(
            f"{path} holds some {2 * marks // 3:,} faces and a 3MF is read up to {2 * MOST_MARKS // 3:,};"
            " export it as PLY."
        )
    if count > max_faces:
        raise _too_many(path, count, max_faces)
    return count


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep trimesh's and numpy's warnings and log lines off the maker's screen."""
    log = logging.getLogger("trimesh")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            yield
    finally:
        log.setLevel(before)


def _loaded(path: Path, kind: str, max_faces: int) -> tuple[NDArray, NDArray]:
    """Vertices and faces as trimesh reads them, scenes put together."""
    try:
        with _quiet(), path.open("rb") as file:
            found = trimesh.load(
                file,
                file_type=kind,
                resolver=_FolderOnly(path),
                process=False,
                skip_materials=True,
                maintain_order=True,
            )
            placed = list(_placed(found))
            count = sum(
                len(mesh.faces) for mesh, _ in placed
            )  # nothing is copied before this is known
            if count > max_faces:
                raise _too_many(path, count, max_faces)
            return _together([_moved(mesh, matrix) for mesh, matrix in placed])
    except MeshError:
        raise
    except _READ_FAILURES as failure:
        raise _unreadable(path, kind, failure) from failure


def _placed(found: object) -> Iterator[tuple[trimesh.Trimesh, NDArray | None]]:
    """Each mesh in what trimesh returned, and its transform (4, 4), None for none."""
    if isinstance(found, trimesh.Scene):
        for node in sorted(found.graph.nodes_geometry):
            matrix, name = found.graph[node]
            if hasattr(found.geometry[name], "faces"):
                yield found.geometry[name], np.asarray(matrix, dtype=np.float64)
    elif hasattr(found, "faces"):
        yield found, None


def _moved(mesh: trimesh.Trimesh, matrix: NDArray | None) -> tuple[NDArray, NDArray]:
    """The vertices and faces of a mesh, placed by its transform."""
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    if vertices.ndim != 2 or vertices.shape[1] != 3 or faces.ndim != 2 or faces.shape[1] != 3:
        raise ValueError("its points or faces do not have three numbers each")
    return vertices if matrix is None else vertices @ matrix[:3, :3].T + matrix[:3, 3], faces


def _together(parts: list[tuple[NDArray, NDArray]]) -> tuple[NDArray, NDArray]:
    """One vertex and one face array from several."""
    if not parts:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
    shifts = np.cumsum([0] + [len(v) for v, _ in parts[:-1]])
    vertices = np.concatenate([v for v, _ in parts])
    faces = np.concatenate([f.reshape(-1, 3) + s for (_, f), s in zip(parts, shifts, strict=True)])
    return vertices, faces


def _check_arrays(path: Path, vertices: NDArray, faces: NDArray, max_faces: int) -> None:
    """Refuse arrays that are not a triangle mesh with finite positions and existing corners."""
    if len(faces) == 0:
        raise MeshError(
            f"{path} has no faces, only points or nothing at all; export the scan as a triangle mesh."
        )
    if len(faces) > max_faces:
        raise _too_many(path, len(faces), max_faces)
    if faces.min() < 0 or faces.max() >= len(vertices):
        wrong = int(faces.max() if faces.max() >= len(vertices) else faces.min())
        raise MeshError(
            f"{path} has a face that names vertex {wrong}, but only 0 to {len(vertices) - 1} exist;"
            " export it again."
        )
    bad = int(np.sum(~np.isfinite(vertices).all(axis=1)))
    if bad:
        raise MeshError(
            f"{path} has {bad:,} vertices whose coordinates are not finite numbers; export it again."
        )
    if np.abs(vertices).max() > 1e9:
        raise MeshError(
            f"{path} has coordinates beyond a thousand million units; export it again near the"
            " origin."
        )


def _joined(vertices: Vertices, faces: Faces) -> tuple[NDArray, NDArray]:
    """Equal positions become one vertex."""
    unique, inverse = same_places(vertices)
    return unique, inverse[faces]


def _too_many(path: Path, count: int, limit: int) -> MeshError:
    """The error for a mesh of too many triangles."""
    return MeshError(
        f"{path} has {count:,} faces and the limit is {limit:,}; export it with fewer triangles."
    )


def _breaks_off(path: Path, count: int) -> MeshError:
    """The error for a file that ends before all its faces."""
    return MeshError(
        f"{path} breaks off: it announces {count:,} faces but does not hold as many; copy or export"
        " it again."
    )


def _unreadable(path: Path, kind: str, failure: BaseException) -> MeshError:
    """The error for a file that its reader could not make sense of."""
    reason = str(failure)
    if "outside of its folder" in reason:
        return MeshError(f"{path} {reason}; put the files of the mesh side by side.")
    return MeshError(
        f"{path} cannot be read as {kind.upper()}: it is damaged, cut short or of another kind;"
        f" export the scan again as {_SPOKEN}."
    )
