"""Padded full-body costumes for one wearer: from a body scan to panels that sew up to the padded outline."""

from padlib import body, flatten, lay, mesh, output, padding, pattern, proof, seams, suit
from padlib.errors import (
    FlatteningError,
    InputError,
    MeshError,
    OutputError,
    PadlibError,
    SuitError,
)
from padlib.findings import Finding, Grade
from padlib.suit.build import build
from padlib.suit.built import run
from padlib.suit.demo import demo_suit
from padlib.suit.file import Suit, parse_suit, read_suit
from padlib.version import __version__

__all__ = [
    "Finding",
    "FlatteningError",
    "Grade",
    "InputError",
    "MeshError",
    "OutputError",
    "PadlibError",
    "Suit",
    "SuitError",
    "__version__",
    "body",
    "build",
    "demo_suit",
    "flatten",
    "lay",
    "mesh",
    "output",
    "padding",
    "parse_suit",
    "pattern",
    "proof",
    "read_suit",
    "run",
    "seams",
    "suit",
]
