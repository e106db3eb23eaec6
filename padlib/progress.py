"""Progress of long work: a bar on a terminal, nothing in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Tell = Callable[[str, float], None]  # what is being done, and the share of the whole that is done

WIDTH = 24


def quiet(words: str, share: float) -> None:
    """Tell nobody."""


def within(tell: Tell, start: float, end: float) -> Tell:
    """A teller for a part of the work, which is from one share of the whole to another."""
    return lambda words, share: tell(words, start + (end - start) * share)


@contextmanager
def bar() -> Iterator[Tell]:
    """A teller that draws a progress bar on stderr if that is a terminal."""
    if not sys.stderr.isatty():
        yield quiet
        return

    def tell(words: str, share: float) -> None:
        full = round(WIDTH * min(max(share, 0.0), 1.0))
        sys.stderr.write(f"\r\x1b[K[{'#' * full}{'.' * (WIDTH - full)}] {words}")
        sys.stderr.flush()

    try:
        yield tell
    finally:
        sys.stderr.write("\r\x1b[K")
        sys.stderr.flush()
