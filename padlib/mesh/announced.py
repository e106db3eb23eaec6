"""What a mesh file announces before it is read: counts and sizes, so that nothing too large is ever unpacked."""

from __future__ import annotations

import json
import re
import struct
import zipfile
from pathlib import Path


def announced(path: Path, kind: str) -> tuple[int, int]:
    """How many faces a file's head announces and the fewest bytes that they need (0, 0: unknown).

    Raises ValueError or struct.error for a head that makes no sense.
    """
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
    if kind in ("glb", "gltf"):
        return _announced_gltf(path, head), 0
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


def _announced_gltf(path: Path, head: bytes) -> int:
    """0, or too many faces: what a glTF announces may need no byte of the file (accessors without data are zeros)."""
    if head[:4] == b"glTF":
        (size,) = struct.unpack_from("<I", head, 12)
        with path.open("rb") as file:
            file.seek(20)
            text = file.read(min(size, path.stat().st_size))
    else:
        text = path.read_bytes()
    tree = json.loads(text)
    accessors = tree.get("accessors", []) if isinstance(tree, dict) else []
    if not isinstance(accessors, list):
        raise ValueError("its accessors are no list")
    counts = [a.get("count", 0) for a in accessors if isinstance(a, dict)]
    if any(not isinstance(count, int) or count < 0 for count in counts):
        raise ValueError("an accessor's count is no whole number")
    # positions, normals, colours, places in a picture, and three corners a face
    return max([*counts, sum(counts) // 3], default=0) // 3


def _uncommented(head: bytes) -> bytes:
    """A text without its # comments."""
    return re.sub(rb"#[^\n]*", b"", head)


def unpacked_size(path: Path) -> int:
    """Bytes that a packed file's contents unpack to, by its own table; nothing is unpacked here."""
    with zipfile.ZipFile(path) as packed:
        return sum(entry.file_size for entry in packed.infolist())


def marks_of(path: Path) -> int:
    """How many marks (vertices, triangles) the XML of a 3MF has, counted as it is unpacked piece by piece."""
    count = 0
    with zipfile.ZipFile(path) as packed:
        for entry in packed.infolist():
            if entry.filename.lower().endswith(".model"):
                with packed.open(entry) as text:
                    while piece := text.read(1 << 22):
                        count += piece.count(b"<")
    return count
