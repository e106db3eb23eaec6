"""A folder of results written whole: made beside its place, moved in file by file when all is there."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from padlib.errors import OutputError

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

WORK = ".padlib-"  # begins the name of a working folder; the number of its process follows


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
        _sweep(out)
        work = Path(tempfile.mkdtemp(prefix=f"{WORK}{os.getpid()}-", dir=out))
    except OSError as e:
        raise OutputError(
            f"{out}: cannot be written ({e.strerror}); choose another folder."
        ) from None
    try:
        yield work
        with _alone(out):
            _move_in(work, out, stale)
    except OSError as e:
        if isinstance(e, OutputError):
            raise
        words = e.strerror or str(e)
        raise OutputError(f"{out}: the results could not be written ({words}).") from None
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _sweep(out: Path) -> None:
    """Drop the working folders of runs that were killed: those whose process is gone."""
    for left in out.glob(f"{WORK}*-*"):
        owner = left.name.removeprefix(WORK).partition("-")[0]
        if owner.isdecimal() and not _runs(int(owner)):
            shutil.rmtree(left, ignore_errors=True)


def _runs(process: int) -> bool:
    """Whether a process of this machine is there; where that cannot be told, it is."""
    if os.name == "nt":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


@contextmanager
def _alone(out: Path) -> Iterator[None]:
    """Hold a folder while results are moved in, so that of two runs the later one's are there whole."""
    if fcntl is None:
        yield
        return
    handle = os.open(out, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # a file system without locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


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
