"""Reading a mesh file into a Surface: every bad input gives one sentence that names the file."""

from __future__ import annotations

import contextlib
import logging
import re
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
from padlib.mesh.surface import Faces, Surface, Vertices

KINDS = ("ply", "obj", "stl", "glb", "gltf", "off", "3mf")
MOST_PACKED = 100  # times its size that a packed mesh may unpack to; text packs 5 to 10 times
_SPOKEN = "PLY, OBJ, STL, GLB, glTF, OFF or 3MF"

# What the readers of trimesh, numpy, json, zipfile and lxml raise on files that are not what their
# name says (lxml's syntax error is a SyntaxError; json's and unicode's are ValueErrors).
_READ_FAILURES = (
    ValueError,
    LookupError,
    AttributeError,
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
        return target.read_bytes()


def read_mesh(
    path: str | Path, *, max_faces: int = 5_000_000, max_bytes: int = 1_500_000_000
) -> Surface:
    """Read PLY, OBJ, STL, GLB, glTF, OFF or 3MF as one triangle mesh, in the file's own unit.

    Scenes are put together with their transforms, polygons are cut into triangles, and the corners
    of STL triangles that share a position become one vertex. Nothing else is repaired here.
    max_faces: refuse more triangles; max_bytes: refuse larger files, packed or unpacked.

    Raises MeshError, one sentence naming the file, for anything that cannot be used.
    """
    path = Path(path)
    kind = _checked_kind(path, max_bytes)
    announced = _check_announced(path, kind, max_faces, max_bytes)
    vertices, faces = _loaded(path, kind, max_faces)
    if len(faces) < announced:
        raise _breaks_off(path, announced)
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
            unpacked = _unpacked_size(path)
            count, least = 0, 0
        else:
            unpacked = 0
            count, least = _announced(path, kind)
    except (OSError, ValueError, struct.error, zipfile.BadZipFile) as failure:
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
    if count > max_faces:
        raise _too_many(path, count, max_faces)
    return count


def _unpacked_size(path: Path) -> int:
    """Bytes that a packed file's contents unpack to, by its own table; nothing is unpacked here."""
    with zipfile.ZipFile(path) as packed:
        return sum(entry.file_size for entry in packed.infolist())


def _announced(path: Path, kind: str) -> tuple[int, int]:
    """How many faces a file's head announces and the fewest bytes that they need (0, 0: unknown)."""
    with path.open("rb") as file:
        head = file.read(65536)
    if kind == "ply":
        return _announced_ply(head)
    if kind == "off":
        numbers = re.search(rb"^\s*(?:[A-Za-z0-9]*OFF\s+)?(\d+)\s+(\d+)", _uncommented(head))
        if numbers is None:
            return 0, 0
        points, count = int(numbers[1]), int(numbers[2])
        return count, 6 * points + 8 * count
    if kind == "stl" and len(head) >= 84 and head[:5].lower() != b"solid":
        (count,) = struct.unpack_from("<I", head, 80)
        return count, 84 + 50 * count
    return 0, 0


def _announced_ply(head: bytes) -> tuple[int, int]:
    """Faces and least bytes from a PLY header; ValueError when there is no PLY header."""
    if not head.startswith(b"ply"):
        raise ValueError("it does not begin with the word ply")
    end = head.find(b"end_header")
    if end < 0:
        raise ValueError("its header does not end")
    counts = dict(re.findall(rb"element\s+(\w+)\s+(\d+)", head[:end]))
    points, count = int(counts.get(b"vertex", 0)), int(counts.get(b"face", 0))
    ascii_text = b"format ascii" in head[:end]
    per_point, per_face = (6, 8) if ascii_text else (12, 4)
    return count, end + per_point * points + per_face * count


def _uncommented(head: bytes) -> bytes:
    """A text without its # comments."""
    return re.sub(rb"#[^\n]*", b"", head)


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
            parts = list(_parts(found))
            count = sum(len(faces) for _, faces in parts)
            if count > max_faces:
                raise _too_many(path, count, max_faces)
            return _together(parts)
    except MeshError:
        raise
    except _READ_FAILURES as failure:
        raise _unreadable(path, kind, failure) from failure


def _parts(found: object) -> Iterator[tuple[NDArray, NDArray]]:
    """The vertices and faces of each mesh in what trimesh returned, placed by its transform."""
    if isinstance(found, trimesh.Scene):
        for node in sorted(found.graph.nodes_geometry):
            matrix, name = found.graph[node]
            mesh = found.geometry[name]
            if hasattr(mesh, "faces"):
                matrix = np.asarray(matrix, dtype=np.float64)
                moved = np.asarray(mesh.vertices) @ matrix[:3, :3].T + matrix[:3, 3]
                yield moved, np.asarray(mesh.faces)
    elif hasattr(found, "faces"):
        yield np.asarray(found.vertices), np.asarray(found.faces)


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
    unique, inverse = np.unique(vertices, axis=0, return_inverse=True)
    return unique, inverse.reshape(-1)[faces]


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
