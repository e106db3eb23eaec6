"""Write the demo bodies from their tables of measurements.

    python meshes/make_bodies.py

For each TABLE.toml beside this script a TABLE.ply; the demo's wearer also goes into the package, as
padlib/suit/demo_body.ply. The same tables give the same bytes.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from padlib.body.parametric import parametric_body
from padlib.output.mesh import ply_bytes
from padlib.output.whole import write_whole

HERE = Path(__file__).resolve().parent
SHIPPED = {"giant_wearer": HERE.parent / "padlib" / "suit" / "demo_body.ply"}


def main() -> None:
    """Build every table and write its body."""
    for table in sorted(HERE.glob("*.toml")):
        wish = tomllib.loads(table.read_text(encoding="utf-8"))
        surface = parametric_body(wish["measurements"], figure=wish["figure"]).surface
        data = ply_bytes(surface.vertices, surface.faces)
        for target in (table.with_suffix(".ply"), SHIPPED.get(table.stem)):
            if target is not None:
                write_whole(target, data)


if __name__ == "__main__":
    main()
