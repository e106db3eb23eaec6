"""The body that a suit file asks for."""

from __future__ import annotations

from pathlib import Path

import pytest

from padlib.body import measure
from padlib.suit.file import parse_suit
from padlib.suit.steps import suit_body

MESHES = Path(__file__).resolve().parents[2] / "meshes"


def test_scan_with_measurements_is_fitted_to_them() -> None:
    """A file and [body.measurements] together: the scan's shape, the tape's waist; the disagreement is told."""
    text = """
        [body]
        file = "child.ply"
        triangle = 14
        [body.measurements]
        waist_girth = 600
    """
    body = suit_body(parse_suit(text, folder=MESHES))

    assert measure(body).values["waist_girth"] == pytest.approx(600, abs=2)
    assert "fitted to 1 measurement" in body.source
    assert any(f.number == 271 for f in body.findings)
