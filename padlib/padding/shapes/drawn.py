"""The drawn pad: a loop drawn on the body, raised by a depth, with a rim of a chosen profile and a crown.

Common practice, no source: how carved foam is described, by its thickness, its edge and its crown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.mesh.point import positions
from padlib.padding.inside import Inside, inside_loop
from padlib.padding.pad import Pad
from padlib.padding.profile import cap, eased, smoothstep
from padlib.padding.shapes.parameter import Parameter, depth, settled
from padlib.padding.spot import Spot, on_body

Array = NDArray[np.float64]

PROFILES = ("round", "soft", "straight")
ACROSS = 0.25  # of a loop's reach to one side that it must have to the other to count as across the middle
STEEP = 1.6  # radii: more depth than this on one outline would overhang

TABLE = (
    depth("the body", 300, "would pull at the suit that holds it"),
    Parameter(
        "rim",
        "mm",
        "width of the edge over which it rises from the outline to its full depth; not given: all of it",
        3,
        300,
        "less is a wall that cloth cannot cover and more is wider than a body",
    ),
    Parameter(
        "crown",
        "share",
        "how much of the depth is crown: 0 is flat on top inside its rim, 1 a dome",
        0,
        1,
        "it is a share of the depth",
    ),
    Parameter(
        "blend",
        "mm",
        "width of the band in which its edge runs out into the body",
        0,
        150,
        "more would be wider than the pad",
    ),
)
EXTRAS = {
    "outline": "at least three places on the body, once round: landmarks, [x, y, z] in mm, "
    "{near = landmark, move = [x, y, z]}, {face = number, weights = [a, b, c]}",
    "profile": f"how the rim rises, one of {', '.join(PROFILES)}",
}


def checked(who: str, parameters: Mapping[str, object]) -> None:
    """Raise InputError for parameters that cannot be used on any body."""
    numbers = {k: v for k, v in parameters.items() if k not in EXTRAS}
    settled(who, TABLE, numbers, {entry.name: entry.low for entry in TABLE})  # type: ignore[arg-type]
    profile = parameters.get("profile", "round")
    if profile not in PROFILES:
        raise InputError(
            f"{who}: 'profile' is '{profile}' but must be one of {', '.join(PROFILES)}"
        )
    outline = parameters.get("outline", ())
    if not isinstance(outline, tuple) or len(outline) < 3:
        raise InputError(f"{who} needs an 'outline' of at least three places on the body, in order")


def layers(body: Body, pad: Pad, who: str) -> list[tuple[str, str, Array]]:
    """Name, side and thickness (n,) mm of the pad on each of its sides.

    An outline across the middle is one pad, side both. Any other is drawn on one side and is mirrored
    for the other. Raises InputError for parameters and outlines that cannot be used.
    """
    checked(who, pad.parameters)
    outline: tuple[Spot, ...] = pad.parameters["outline"]  # type: ignore[assignment]
    points = on_body(body, outline, who)
    x = positions(body.surface.vertices, body.surface.faces, points)[:, 0]
    if min(-x.min(), x.max()) > ACROSS * max(-x.min(), x.max()):
        if pad.side != "both":
            raise InputError(
                f"{who}: its outline lies across the middle, so side cannot be '{pad.side}'; leave side out"
            )
        return [(pad.name, "both", _raised(body, inside_loop(body, points, who), pad, who))]
    drawn = "left" if x.mean() > 0 else "right"
    asked: Sequence[str] = ("left", "right") if pad.side == "both" else (pad.side,)
    out = []
    for side in asked:
        through = points if side == drawn else on_body(body, outline, who, mirrored=True)
        inside = inside_loop(body, through, who)
        out.append((pad.name, side, _raised(body, inside, pad, who)))
    return out


def _raised(body: Body, inside: Inside, pad: Pad, who: str) -> Array:
    """Thickness (n,) mm over the skin inside a loop."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    numbers = {k: v for k, v in pad.parameters.items() if k not in EXTRAS}
    radius = inside.radius
    defaults = {"depth": 0.4 * radius, "rim": radius, "crown": 1.0, "blend": 0.012 * stature}
    use = settled(who, TABLE, numbers, defaults)
    if use["depth"] > STEEP * radius:
        raise InputError(
            f"{who}: 'depth' is {use['depth']:g} mm but this outline is only {2 * radius:.0f} mm across where "
            f"it is widest, so that at most {STEEP * radius:.0f} mm will stand on it; draw it wider or give less depth"
        )
    height = section(inside.radial, radius, use, str(pad.parameters.get("profile", "round")))
    # a soft rim meets the body without a ridge by itself
    blend = 0.0 if pad.parameters.get("profile") == "soft" else use["blend"]
    return eased(height, min(use["depth"] * blend / radius, use["depth"]))


def section(radial: Array, radius: float, use: Mapping[str, float], profile: str) -> Array:
    """Height (n,) mm over the outline's middle (radial 0) to its rim (1), negative past it.

    use: depth and rim in mm, crown as a share. The rim rises over `rim` mm: round as a quarter circle
    made as high as it must be, soft as an S that is level at both ends, straight as a chamfer. The crown is
    a spherical cap for a round profile, a paraboloid for the others; with crown 1 and a round profile
    the pad is the cap and nothing else.
    """
    full, share = use["depth"], use["crown"]
    inner = np.minimum(radial, 1.0)
    step = np.clip((inner - 1.0) * radius / min(use["rim"], radius) + 1.0, 0.0, 1.0)
    edge = {
        "round": np.sqrt(1.0 - step**2),
        "soft": 1.0 - smoothstep(step),
        "straight": 1.0 - step,
    }[profile]
    dome = np.minimum(1.0 - inner**2, 1.0)
    if profile == "round":
        dome = cap(inner * radius, full, radius) / full if full <= radius else np.sqrt(dome)
    elif profile == "soft":
        dome = dome**2
    height = full * ((1.0 - share) * edge + share * dome)
    return np.where(radial > 1.0, full * (1.0 - radial**2), height)


def thickness(
    body: Body, parameters: Mapping[str, object], side: str, who: str = "the drawn pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left, right or both)."""
    pad = Pad("drawn", "drawn", side, parameters)  # type: ignore[arg-type]
    return layers(body, pad, who)[0][2]
