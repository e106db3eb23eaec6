"""The whole job: from a suit file to a printed pattern, a lay, a guide and a report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from padlib.output.folder import check_folder
from padlib.progress import Tell, quiet
from padlib.suit.built import Clock, run
from padlib.suit.file import Suit, read_suit
from padlib.suit.write import write_built


def build(
    suit: Suit | str | Path,
    out: str | Path,
    *,
    lay_seconds: float | None = None,
    workers: int = 1,
    tell: Tell = quiet,
) -> dict[str, Any]:
    """Do the whole job and write every output into the folder `out`; returns the report.

    suit: a suit, or the path of a suit file. lay_seconds: time for packing each cloth, instead of the
    suit's. workers: processes for flattening; the outputs are the same for any number.
    Raises PadlibError; then nothing in `out` was touched.
    """
    out = Path(out)
    check_folder(out)
    clock = Clock()
    suit = suit if isinstance(suit, Suit) else read_suit(suit)
    # Small matrices: threads of the linear algebra library cost more than they give.
    with threadpool_limits(1):
        built = run(suit, lay_seconds=lay_seconds, workers=workers, tell=tell, clock=clock)
    return write_built(built, out, workers=workers, clock=clock, tell=tell)
