"""A scan handed over by the browser: kept only when a process with little memory could read it.

The browser's name for it is never a path: letters, digits and a few marks of it are kept, its ending
must be that of a mesh, and no file that is there is ever written over.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from padlib.errors import InputError, OutputError, PadlibError
from padlib.workshop.work import surroundings

if TYPE_CHECKING:
    from padlib.workshop.session import Session

MOST_SCAN = 500_000_000  # bytes
MOST_MEMORY = 6_000_000_000  # bytes of address space of the process that reads it
MOST_SECONDS = 120
SCANS = (".ply", ".obj", ".stl", ".glb", ".gltf", ".off", ".3mf")


class Upload:
    """One scan on its way in; use as a context, `take` its parts, then `keep` it."""

    def __init__(self, session: Session, name: str) -> None:
        """Ready to take. The name is checked when it is kept."""
        self._session, self._name = session, name
        self._size = 0

    def __enter__(self) -> Upload:
        """Open a temporary file."""
        self._folder = tempfile.TemporaryDirectory(prefix="padlib-scan-")
        self._path = Path(self._folder.name) / "scan"
        self._file = self._path.open("wb")
        return self

    def __exit__(self, *_: object) -> None:
        """Drop the temporary file."""
        self._file.close()
        self._folder.cleanup()

    def take(self, part: bytes) -> None:
        """Take a part. Raises InputError where it becomes too long."""
        self._size += len(part)
        if self._size > MOST_SCAN:
            raise InputError(f"A scan has at most {MOST_SCAN // 1_000_000} MB.")
        self._file.write(part)

    def keep(self) -> str:
        """Put the scan into the suit's folder; its name there. Raises InputError, OutputError."""
        self._file.close()
        name = plain_name(self._name)
        path = self._path.with_name(f"scan{Path(name).suffix}")
        self._path.rename(path)
        check_apart(path)
        return _placed(path, self._session.folder / name)


def plain_name(name: str) -> str:
    """A file name that is nothing but a name. Raises InputError where no mesh is called so."""
    base = re.split(r"[/\\]", name)[-1]
    stem, dot, ending = base.rpartition(".")
    ending = f".{ending.lower()}"
    if not dot or ending not in SCANS:
        raise InputError(f"A scan's name ends in {', '.join(SCANS)}; this is '{base[:80]}'.")
    stem = re.sub(r"[^\w -]+", "-", stem).strip(" -_")[:80] or "scan"
    return stem + ending


def check_apart(path: Path) -> None:
    """Read a mesh in a process of its own, with little memory and time. Raises InputError."""
    command = [sys.executable, "-P", "-m", "padlib.workshop.upload", str(path)]
    try:
        done = subprocess.run(
            command,
            env=surroundings(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=MOST_SECONDS,
        )
    except subprocess.TimeoutExpired:
        raise InputError("This scan takes too long to read; make it smaller first.") from None
    if done.returncode == 2:
        raise InputError(
            done.stdout.strip().replace(str(path), "the scan").replace(path.name, "the scan")
        )
    if done.returncode:
        raise InputError("This scan cannot be read, or is too large; make it smaller first.")


def _placed(path: Path, wanted: Path) -> str:
    """Move a file to a name that is free; no other file is written over."""
    for k in range(1, 1000):
        target = wanted if k == 1 else wanted.with_stem(f"{wanted.stem}-{k}")
        try:
            handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
        except FileExistsError:
            continue
        except OSError as e:
            raise OutputError(
                f"the scan cannot be put into {wanted.parent} ({e.strerror}); make room there."
            ) from None
        try:
            with os.fdopen(handle, "wb") as out, path.open("rb") as source:
                while part := source.read(1 << 20):
                    out.write(part)
        except OSError as e:
            target.unlink(missing_ok=True)
            raise OutputError(f"the scan cannot be written ({e.strerror}); make room.") from None
        return target.name
    raise OutputError(f"{wanted.parent} is full of files called {wanted.stem}; clear some away.")


def main(arguments: Sequence[str]) -> int:
    """The process apart: reads the mesh, exit status 0, or 2 with one sentence on stdout."""
    try:
        import resource
    except ImportError:  # Windows has no such limit; the time limit stays
        pass
    else:
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    from padlib.mesh.read import read_mesh

    try:
        read_mesh(arguments[0])
    except PadlibError as e:
        sys.stdout.write(f"{e}\n")
        return 2
    except MemoryError:
        sys.stdout.write("This scan needs too much memory; make it smaller first.\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
