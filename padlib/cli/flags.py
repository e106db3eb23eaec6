"""What several commands ask for in the same words."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from typing import Any

from padlib.body.body import Body
from padlib.body.carried import own_places
from padlib.body.scan import Scan, import_scan
from padlib.body.table import read_measurements
from padlib.errors import InputError
from padlib.output.mesh import ply_bytes

EPILOG = "Lengths are in mm. Nothing is sent anywhere: padlib uses no network."


def add(
    commands: argparse._SubParsersAction,
    name: str,
    words: str,
    run: Callable[[argparse.Namespace], int],
) -> argparse.ArgumentParser:
    """Add a command that is explained by these words and done by `run`, which gives the exit status."""
    command = commands.add_parser(name, help=words, description=words, epilog=EPILOG)
    command.set_defaults(run=run)
    return command


def scan_flags(command: argparse.ArgumentParser) -> None:
    """Add what says how a scan stands in its file."""
    command.add_argument(
        "--unit", choices=("mm", "cm", "dm", "m", "inch"), help="unit of the file (else found)"
    )
    words = "axis of the file that points up, or a direction X,Y,Z (else found)"
    command.add_argument("--up", metavar="AXIS", help=words)
    words = "axis of the file that the wearer faces, or degrees to turn what was found (else found)"
    command.add_argument("--facing", metavar="AXIS", help=words)
    words = "plane of symmetry in the file's unit, such as 'x = 0.02' (else found)"
    command.add_argument("--middle", metavar="PLANE", help=words)
    words = "cut off what lies beyond a plane in mm of the standing body (hair, hands, feet): 'z > 1650'; repeatable"
    command.add_argument("--trim", metavar="PLANE", action="append", default=[], help=words)
    words = "make both sides the mean of the two; tells how far they differed"
    command.add_argument("--even", action="store_true", help=words)


def asked_scan(a: argparse.Namespace, edge_length: float | None = None) -> Scan:
    """The scan that a command's flags ask for."""
    return import_scan(a.file, **scan_wishes(a), edge_length=edge_length)


def scan_wishes(a: argparse.Namespace) -> dict[str, Any]:
    """What the flags of `scan_flags` say."""
    return {k: getattr(a, k) for k in ("unit", "up", "facing", "middle", "trim", "even")}


def add_workers(command: argparse.ArgumentParser, what: str) -> None:
    """Add how many processes there may be; what: what they do."""
    command.add_argument(
        "--workers",
        type=int,
        default=min(4, os.cpu_count() or 1),
        metavar="N",
        help=f"{what} side by side (default: the machine's cores, at most 4)",
    )


def value_flags(command: argparse.ArgumentParser, example: str) -> None:
    """Add measurements, by word or by table; example: of a word."""
    command.add_argument("values", nargs="*", metavar="NAME=VALUE", help=f"for example {example}")
    words = "a table of measurements: name = value, or CSV"
    command.add_argument("--table", metavar="FILE", help=words)


def asked_values(a: argparse.Namespace) -> dict[str, float]:
    """Measurements in mm of a table and of NAME=VALUE words, the words over the table."""
    values = dict(read_measurements(a.table)) if a.table else {}
    for item in a.values:
        name, sign, number = item.partition("=")
        try:
            values[name.strip()] = float(number)
        except ValueError:
            sign = ""
        if not sign:
            raise InputError(f"'{item}' is not NAME=VALUE; write for example chest_girth=980.")
    return values


def body_file(body: Body) -> bytes:
    """A body as PLY, with the landmarks that its shape alone would place elsewhere, and what was not scanned of it."""
    v, f = body.surface.vertices, body.surface.faces
    return ply_bytes(v, f, landmarks=own_places(body), gap=body.gap)
