"""The guide: one HTML page for the person at the sewing table, the same as PDF, and its tables as CSV."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from padlib.lay.lay import Lay
from padlib.output.blocks_html import html_page
from padlib.output.guide_content import guide_blocks
from padlib.pattern.piece import Piece


def guide_html(
    report: Mapping[str, Any],
    pieces: Sequence[Piece],
    lays: Sequence[Lay],
    *,
    title: str,
    words: str,
    allowance_mm: float,
) -> str:
    """The whole guide as one HTML text. report: as written to report.json."""
    options = {"title": title, "words": words, "allowance_mm": allowance_mm}
    return html_page(guide_blocks(report, pieces, lays, **options), title)
