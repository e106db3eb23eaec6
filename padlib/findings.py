"""What a step noticed, repaired or assumed: numbered findings, kept in values and shown in the report."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class Grade(IntEnum):
    """How grave a finding is."""

    NOTE = 0  # told for completeness
    REPAIR = 1  # something was changed so that the work could go on
    WARNING = 2  # the maker should look before cutting
    CAUTION = 3  # someone could be hurt


@dataclass(frozen=True)
class Finding:
    """One thing that a step noticed.

    number: stable identity of the kind of finding, one hundred numbers a room
        (100 mesh, 200 body, 300 padding, 400 seams, 500 flatten, 600 proof, 700 pattern, 800 lay,
        900 suit).
    words: one plain sentence. where: file, landmark, pad, seam or panel it is about. count: how many.
    """

    number: int
    words: str
    where: str = ""
    grade: Grade = Grade.NOTE
    count: int = 1

    def __str__(self) -> str:
        """The finding as one line of a report."""
        head = f"{self.where}: " if self.where else ""
        return f"{head}{self.words}"
