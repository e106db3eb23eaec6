"""One design in many sizes: the same suit file on other bodies or tables, side by side in processes.

With the extra `cluster` the same work runs on a Dask cluster (`scheduler`): each size is one task, and
its folder is written where the worker runs, so that the folder must be one that all machines see.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from padlib.body.table import read_measurements
from padlib.errors import InputError, PadlibError
from padlib.output.folder import check_folder
from padlib.output.whole import write_whole
from padlib.progress import Tell, quiet
from padlib.suit.build import build
from padlib.suit.file import Suit, read_suit

TABLES = (".csv", ".toml", ".txt")
HEAD = (
    "size", "pieces", "cloth", "length_m", "used_percent", "stretch_p95", "weight_g", "cost", "error",
)  # fmt: skip


@dataclass(frozen=True)
class Size:
    """One size of a batch: its name, and a scan or a table of measurements."""

    name: str
    path: str


def sizes_of(paths: Sequence[str | Path]) -> tuple[Size, ...]:
    """Sizes named after their files. Raises InputError for a file that is not there or twice the name."""
    out: dict[str, Size] = {}
    for path in map(Path, paths):
        if not path.is_file():
            raise InputError(
                f"{path}: there is no such file; give bodies or tables of measurements."
            )
        if path.stem in out:
            raise InputError(f"two files are named '{path.stem}'; each size needs its own name.")
        out[path.stem] = Size(path.stem, str(path.resolve()))
    if not out:
        raise InputError("a batch needs at least one body or table of measurements.")
    return tuple(out.values())


def sized(suit: Suit, size: Size) -> Suit:
    """The suit on another body. Raises InputError where its table cannot be read."""
    body = dict(suit.body)
    if Path(size.path).suffix.lower() in TABLES:
        values = read_measurements(size.path)
        body["file"] = ""
        return replace(
            suit,
            name=f"{suit.name}-{size.name}",
            body=MappingProxyType(body),
            measurements=MappingProxyType(dict(values)),
        )
    body["file"] = size.path
    return replace(
        suit,
        name=f"{suit.name}-{size.name}",
        body=MappingProxyType(body),
        measurements=MappingProxyType({}),
        landmarks=MappingProxyType({}),
    )


def batch(
    suit: str | Path,
    paths: Sequence[str | Path],
    out: str | Path,
    *,
    lay_seconds: float | None = None,
    workers: int = 1,
    scheduler: str = "",
    tell: Tell = quiet,
) -> list[dict[str, Any]]:
    """Build a suit file on each body or table, each into its own folder; a row a size.

    paths: scans, or tables of measurements; workers: processes; scheduler: address of a Dask scheduler
    instead. A size that fails has its sentence in `error`; the others are made all the same. The table
    is written to sizes.csv in `out` too. Raises PadlibError where nothing can be begun.
    """
    out = Path(out).resolve()
    check_folder(out)
    source = str(Path(suit).resolve())
    read_suit(source)  # a wrong file is told before any work
    sizes = sizes_of(paths)
    rows: dict[str, dict[str, Any]] = {}
    with _pool(workers, scheduler) as pool:
        jobs: dict[Future, Size] = {
            pool.submit(_one, source, size, str(out / size.name), lay_seconds): size
            for size in sizes
        }
        for done in as_completed(jobs):
            size = jobs[done]
            rows[size.name] = done.result()
            tell(f"made {size.name}", len(rows) / len(sizes))
    table = [rows[size.name] for size in sizes]
    out.mkdir(parents=True, exist_ok=True)
    write_whole(out / "sizes.csv", table_text(table).encode())
    return table


def _one(source: str, size: Size, out: str, lay_seconds: float | None) -> dict[str, Any]:
    """One size, built into its folder; what is told of it."""
    try:
        report = build(sized(read_suit(source), size), out, lay_seconds=lay_seconds, workers=1)
    except PadlibError as why:
        return dict.fromkeys(HEAD, "") | {"size": size.name, "error": str(why)}
    lay = max(report["lay"], key=lambda one: one["length_mm"] * one["width_mm"])
    return {
        "size": size.name,
        "pieces": len(report["pieces"]),
        "cloth": lay["cloth"],
        "length_m": round(lay["length_mm"] / 1000, 3),
        "used_percent": lay["used_percent"],
        "stretch_p95": max(p["stretch"]["p95"] for p in report["panels"]),
        "weight_g": report["weights_g"]["total"],
        "cost": report["cost"],
        "error": "",
    }


@contextmanager
def _pool(workers: int, scheduler: str) -> Iterator[Executor]:
    """Processes of this machine, or the workers of a Dask scheduler. Raises InputError in a sentence."""
    if not scheduler:
        with ProcessPoolExecutor(max(1, workers)) as pool:
            yield pool
        return
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            "--scheduler needs Dask; install it with pip install 'padlib[cluster]'."
        ) from None
    try:
        client = Client(scheduler, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as why:
        raise InputError(
            f"no Dask scheduler answers at '{scheduler}' ({type(why).__name__}); check the address."
        ) from None
    with client, client.get_executor() as pool:
        yield pool


def table_text(rows: Sequence[dict[str, Any]]) -> str:
    """The rows as CSV."""
    out = io.StringIO()
    writer = csv.DictWriter(out, HEAD, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
