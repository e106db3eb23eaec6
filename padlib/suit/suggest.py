"""`padlib flatten --suggest`: darts, gussets and seams that would help an open mesh, ranked."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from padlib.flatten.cures import Cures
from padlib.flatten.darts import Suggestion, suggest_cures, suggest_darts
from padlib.suit.open_mesh import checked, read_panels
from padlib.suit.values import rounded


def suggest_file(
    path: str | Path,
    *,
    limit: float = 0.05,
    percentile: float = 95.0,
    unit: str = "mm",
    count: int = 5,
) -> dict[str, Any]:
    """What would help each part of an open mesh, as plain values; nothing is cut.

    limit: the stretch that the cloth bears, a fraction; percentile: share of the area, per cent, that
    must keep it; unit: of the file; count: darts at most. Places are in mm; `from` and `to` are what a
    pinned dart is written with. Raises InputError for values out of range, MeshError for a mesh that is
    no disk.
    """
    checked(limit=limit, percentile=percentile)
    panels, _ = read_panels(Path(path), unit)
    asked = {"limit": limit, "percentile": percentile}
    parts = []
    for panel in panels:
        darts = suggest_darts(panel, count=count, **asked)
        parts.append(
            {
                "name": panel.name,
                "darts": [_dart(rank, dart) for rank, dart in enumerate(darts, 1)],
                **_cures(suggest_cures(panel, **asked)),
            }
        )
    return {"limit": limit, "percentile": percentile, "panels": parts}


def _dart(rank: int, dart: Suggestion) -> dict[str, Any]:
    """A suggested dart as plain values."""
    path = [_spot(place) for place in dart.path]
    return {
        "rank": rank,
        "seam": dart.seam,
        "from": path[0],
        "to": path[-1],
        "path_mm": path,
        "length_mm": rounded(dart.length_mm, 1),
        "intake_deg": rounded(dart.intake_deg, 1),
        "stretch_left": rounded(dart.stretch_left, 4),
        "p99_left": rounded(dart.p99_left, 4),
    }


def _cures(cures: Cures) -> dict[str, Any]:
    """The gusset and the seam as plain values, None where there is none."""
    gusset, split = cures.gusset, cures.split
    told: dict[str, Any] = {"gusset": None, "seam": None}
    if gusset is not None:
        told["gusset"] = {
            "seam": gusset.seam,
            "from": _spot(gusset.path[0]),
            "to": _spot(gusset.path[-1]),
            "length_mm": rounded(gusset.length_mm, 1),
            "opening_deg": rounded(gusset.opening_deg, 1),
            "width_mm": rounded(gusset.width_mm, 1),
            "stretch_left": rounded(gusset.stretch_left, 4),
        }
    if split is not None:
        told["seam"] = {
            "joins": list(split.seams),
            "path_mm": [_spot(place) for place in split.path],
            "length_mm": rounded(split.length_mm, 1),
            "stretch_left": [rounded(value, 4) for value in split.parts_left],
        }
    return told


def _spot(place: tuple[float, float, float]) -> list[float]:
    return [rounded(c, 1) for c in place]


def table(told: Mapping[str, Any]) -> str:
    """The suggestions as lines to read."""
    lines = []
    for part in told["panels"]:
        lines.append(
            f"{part['name']}: stretch that {told['percentile']:g} % and 99 % of the area would keep"
        )
        for dart in part["darts"]:
            lines.append(
                f"  {dart['rank']}. dart {dart['length_mm']:.0f} mm, {dart['intake_deg']:.0f} degrees: "
                f"{100 * dart['stretch_left']:.1f} %, {100 * dart['p99_left']:.1f} %; "
                f"--pin={_words(dart['from'])},{_words(dart['to'])}"
            )
        if part["gusset"]:
            put = part["gusset"]
            lines.append(
                f"  gusset {put['length_mm']:.0f} mm, {put['opening_deg']:.0f} degrees, from "
                f"{_words(put['from'])} to {_words(put['to'])}: {100 * put['stretch_left']:.1f} %"
            )
        if part["seam"]:
            cut = part["seam"]
            left, right = (100 * value for value in cut["stretch_left"])
            lines.append(
                f"  seam {cut['length_mm']:.0f} mm, from {_words(cut['path_mm'][0])} to "
                f"{_words(cut['path_mm'][-1])}: {left:.1f} % and {right:.1f} % in its parts"
            )
    return "\n".join(lines)


def _words(place: list[float]) -> str:
    return ",".join(f"{c:g}" for c in place)
