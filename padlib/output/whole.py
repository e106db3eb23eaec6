"""Files that are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from padlib.errors import OutputError


def write_whole(path: str | os.PathLike, data: bytes) -> None:
    """Write bytes to a file so that a reader finds the old file or the new one, never a part.

    The bytes go to a temporary file beside it, are forced to the disk, and take the file's name.
    Raises OutputError, with no earlier file touched and no temporary one left, where that fails.
    """
    path = Path(path)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        _write(part, data)
        os.replace(part, path)
        _settle(path.parent)
    except OSError as why:
        with contextlib.suppress(OSError):
            part.unlink()
        reason = (why.strerror or str(why)).lower()
        raise OutputError(
            f"'{path}' could not be written ({reason}); choose another folder or make room."
        ) from why


def _write(part: Path, data: bytes) -> None:
    """Write and force to the disk a file that must not exist yet."""
    part.unlink(missing_ok=True)
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _settle(folder: Path) -> None:
    """Force a folder's new entry to the disk, where the system can."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    with contextlib.suppress(OSError):
        os.fsync(handle)
    os.close(handle)
