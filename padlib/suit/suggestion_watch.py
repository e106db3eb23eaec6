"""The time that a suggestion may take, and what is said of it on the way."""

from __future__ import annotations

import time
from dataclasses import dataclass

from padlib.errors import InputError
from padlib.progress import Tell, quiet


class OutOfTime(Exception):
    """Raised, and caught, where work is given up because its time is out."""


@dataclass(frozen=True)
class Watch:
    """Until when work may go on, and who is told of it.

    until: seconds of `time.monotonic`; tell: as for every long work, what it raises ends the work; first, last: the
    shares of the whole between which this part of the work lies.
    """

    until: float
    tell: Tell = quiet
    first: float = 0.0
    last: float = 1.0

    @property
    def out(self) -> bool:
        """Whether the time is out."""
        return time.monotonic() >= self.until

    def say(self, words: str, share: float) -> None:
        """Tell what is being done, and the share of this part that is done."""
        self.tell(words, self.first + (self.last - self.first) * min(max(share, 0.0), 1.0))

    def part(self, first: float, last: float, until: float | None = None) -> Watch:
        """The same for a part of the work, between two shares of the whole, and until an earlier time."""
        return Watch(
            self.until if until is None else min(until, self.until), self.tell, first, last
        )


def watch(seconds: float, tell: Tell = quiet) -> Watch:
    """A watch for work that may take so many seconds from now on. Raises InputError where that is no time."""
    if not 0.0 < seconds < float("inf"):
        raise InputError(f"seconds is {seconds}; give a time above 0, such as 300.")
    return Watch(time.monotonic() + seconds, _onward(tell))


def _onward(tell: Tell) -> Tell:
    """A teller whose share never falls, since darts are sought in several turns of which nobody knows the number."""
    most = 0.0

    def told(words: str, share: float) -> None:
        nonlocal most
        most = max(most, share)
        tell(words, most)

    return told
