"""A folder of results written whole: made beside its place, moved in file by file when all is there."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from padlib.errors import OutputError


def check_folder(out: Path) -> None:
    """OutputError if results could not be written into `out`, before any work is done."""
    nearest = next(p for p in (out, *out.absolute().parents) if p.exists())
    if not nearest.is_dir():
        raise OutputError(f"{out}: there is a file of that name; choose another folder with --out.")
    if not os.access(nearest, os.W_OK | os.X_OK):
        raise OutputError(f"{out}: this folder cannot be written to; choose another with --out.")


@contextmanager
def results(out: Path, stale: Sequence[str] = ()) -> Iterator[Path]:
    """A working folder whose files are moved into `out` at the end; on any failure `out` is untouched.

    stale: patterns of files of an earlier run that are dropped if this run did not make them again;
    only in a folder that holds a report.json. Raises OutputError where `out` cannot be written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".padlib-", dir=out))
    except OSError as e:
        raise OutputError(
            f"{out}: cannot be written ({e.strerror}); choose another folder."
        ) from None
    try:
        yield work
        _move_in(work, out, stale)
    except OSError as e:
        if isinstance(e, OutputError):
            raise
        words = e.strerror or str(e)
        raise OutputError(f"{out}: the results could not be written ({words}).") from None
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _move_in(work: Path, out: Path, stale: Sequence[str]) -> None:
    made = sorted(p.relative_to(work) for p in work.rglob("*") if p.is_file())
    known = set(made)
    earlier = [
        p
        for pattern in stale
        if (out / "report.json").is_file()
        for p in out.glob(pattern)
        if p.relative_to(out) not in known
    ]
    for name in made:
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        os.replace(work / name, out / name)
    for path in earlier:
        path.unlink(missing_ok=True)
