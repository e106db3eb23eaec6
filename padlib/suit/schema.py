"""What may stand in a suit file: every table and key, its kind, its limits and what it means.

One list; the reader checks against it and the reference in DEVELOPERS.md is made from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from padlib.body.fit import ROUNDNESS
from padlib.body.typical import FIGURES
from padlib.flatten.cloth import BIAS, BOUNDS
from padlib.pattern import sewing
from padlib.pattern.purpose import CORNERS, NOTCHES, PURPOSES


@dataclass(frozen=True)
class Key:
    """One key: kind, default, limits, choices, help.

    kind: text, number, whole, yesno, texts, points, place, spots, boxes.
    """

    kind: str
    default: object
    help: str
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()


def _table(**keys: Key) -> Mapping[str, Key]:
    return MappingProxyType(keys)


STITCHES = tuple(str(number) for number in sewing.STITCHES)
PAPERS = ("a4", "letter", "roll", "a3", "tabloid", "a0")
SEAM_KINDS = ("sewn", "opening")

TOP = _table(
    name=Key("text", "suit", "name of the suit; the folder of the results is called after it"),
    words=Key("text", "", "a sentence about the character, printed on the guide"),
)

BODY = _table(
    file=Key("text", "", "a scan or mesh file, beside the suit file; empty: the built-in body"),
    unit=Key(
        "text", "", "unit of the scan; empty: found", choices=("", "mm", "cm", "dm", "m", "inch")
    ),
    up=Key(
        "text",
        "",
        "axis that points up; empty: found",
        choices=("", "x", "y", "z", "-x", "-y", "-z"),
    ),
    facing=Key(
        "text",
        "",
        "axis that the wearer faces; empty: found",
        choices=("", "x", "y", "z", "-x", "-y", "-z"),
    ),
    middle=Key("text", "", "plane of symmetry in the file's unit, such as x = 0.02; empty: found"),
    trim=Key(
        "texts",
        (),
        "planes in mm of the standing body beyond which the scan is cut off (hair, hands, feet): z > 1650",
    ),
    even=Key("yesno", False, "make both sides of the scan the mean of the two"),
    figure=Key(
        "text",
        "neutral",
        "figure of a body made from measurements",
        choices=FIGURES,
    ),
    roundness=Key(
        "text",
        "told",
        "of a scan fitted to measurements: told, where it is rounder in section than people; usual: put right",
        choices=ROUNDNESS,
    ),
    triangle=Key(
        "number", 0.0, "edge length of the triangles in mm; 0: stature / 175", least=0.0, most=40.0
    ),
)

SHELL = _table(
    cloth_thickness=Key(
        "number", 2.0, "thickness of the cloth's backing, mm", least=0.0, most=20.0
    ),
    ease=Key("number", 10.0, "wearing ease added along the normal, mm", least=0.0, most=80.0),
    bridge=Key(
        "number", 25.0, "how far the cloth may be lifted out of a hollow, mm", least=0.0, most=60.0
    ),
    join=Key(
        "number",
        20.0,
        "radius of the round in which two pads meet, mm; more would fill the hollow between them",
        least=0.0,
        most=150.0,
    ),
)

MOVES = _table(
    armhole_shift=Key("number", 0.0, "armhole farther out on the arm, mm", least=-5.0, most=40.0),
    armhole_hollow=Key(
        "number",
        0.0,
        "armhole farther in behind, where the back folds against the arm, mm",
        least=0.0,
        most=50.0,
    ),
    shoulder_shift=Key("number", 0.0, "shoulder seam farther back, mm", least=-40.0, most=40.0),
    side_shift=Key("number", 0.0, "side seam farther back, mm", least=-60.0, most=60.0),
    seat_shift=Key("number", 0.0, "seam above the seat higher, mm", least=-60.0, most=60.0),
    groin_shift=Key(
        "number", 0.0, "seam half-way along the groin higher, mm", least=-60.0, most=60.0
    ),
    sleeve_shift=Key("number", 0.0, "both sleeve seams higher, mm", least=-25.0, most=25.0),
    sleeve_turn=Key(
        "number", 0.0, "sleeve seams turned about the arm, degrees", least=-40.0, most=40.0
    ),
    leg_shift=Key("number", 0.0, "both leg seams farther out, mm", least=-35.0, most=35.0),
    leg_turn=Key("number", 0.0, "leg seams turned about the leg, degrees", least=-40.0, most=40.0),
)
"""Where the seams of the plan lie beside their usual places: what `padlib suggest` seeks."""

SEAMS = _table(
    plan=Key("text", "suit", "which seam plan to start from", choices=("suit",)),
    neck_rise=Key(
        "number",
        15.0,
        "how far the neck opening lies above the neck's base, mm",
        least=-30.0,
        most=80.0,
    ),
    wrist_rise=Key(
        "number", 0.0, "how far the wrist opening lies above the wrist, mm", least=-30.0, most=200.0
    ),
    ankle_rise=Key(
        "number",
        15.0,
        "how far the ankle opening lies above the ankle bone, mm",
        least=-20.0,
        most=250.0,
    ),
    ankle_slit=Key(
        "number",
        0.0,
        "how far the back seam of each leg is left open from the ankle for a zip, mm",
        least=0.0,
        most=400.0,
    ),
    wrist_slit=Key(
        "number",
        0.0,
        "how far the back seam of each sleeve is left open from the wrist for a zip, mm",
        least=0.0,
        most=300.0,
    ),
    **MOVES,
    pinned=Key(
        "texts",
        (),
        "seams that `padlib suggest` leaves where they are",
        choices=("armhole", "shoulder", "side", "seat", "groin", "sleeve", "leg"),
    ),
    whole=Key(
        "texts",
        (),
        "panels across which `padlib suggest` draws no new seam",
        choices=("front", "back", "sleeve-upper", "sleeve-under", "leg-inner", "leg-outer"),
    ),
    closure=Key("text", "front", "where the closure lies", choices=("front", "back", "none")),
    closure_below_waist=Key(
        "number", 60.0, "how far the closure runs below the waist, mm", least=-300.0, most=250.0
    ),
)

CLOSURE = _table(
    top=Key(
        "number", 15.0, "from the neck edge to the zip's first tooth, mm", least=0.0, most=120.0
    ),
    chain=Key(
        "whole", 0, "size of the zip's chain: 3, 5, 8 or 10; 0: by the cloth", least=0, most=10
    ),
    trim=Key(
        "number", 0.0, "pile cut short on each side, mm; 0: by the chain", least=0.0, most=60.0
    ),
    pull=Key(
        "text", "right", "side of the wearer that carries the pull", choices=("left", "right")
    ),
)

JOINED = _table(
    name=Key("text", "", "what is zipped on: foot, hand, tail or head"),
    seam=Key("text", "", "the opening that it is zipped to: ankle, wrist, neck"),
    rim=Key("number", 0.0, "round of its own edge, mm", least=50.0, most=3000.0),
    overlap=Key(
        "number", 35.0, "how far the suit's cloth runs beyond the teeth, mm", least=25.0, most=50.0
    ),
    closes=Key(
        "text",
        "",
        "where it opens itself; the suit's zip then ends opposite",
        choices=("", "front", "back", "inner", "outer"),
    ),
    chain=Key("whole", 5, "size of its zip's chain", least=3, most=10),
)

PIECES = _table(
    allowance=Key("number", 10.0, "seam allowance, mm", least=0.0, most=40.0),
    hem=Key("number", 25.0, "allowance at openings, mm", least=0.0, most=80.0),
    notch_spacing=Key(
        "number", 200.0, "greatest distance between notches, mm", least=40.0, most=600.0
    ),
)

DARTS = _table(
    limit=Key(
        "number",
        0.05,
        "stretch that the cloth bears, as a fraction (0.05 is 5 %)",
        least=0.01,
        most=0.5,
    ),
    reserve=Key(
        "number",
        0.2,
        "share of the limit that darts leave to [proof] for its corrections, where that is worth their length",
        least=0.0,
        most=0.6,
    ),
    most=Key("whole", 6, "most darts in one panel", least=0, most=12),
    percentile=Key(
        "number",
        95.0,
        "share of a panel's area that must keep the limit, per cent; 99 asks for more dart length",
        least=50.0,
        most=99.9,
    ),
    hide=Key(
        "number",
        0.05,
        "how much longer a dart may be, as a fraction, to lie where it is not seen",
        least=0.0,
        most=0.5,
    ),
)

SEWING = _table(
    stitch=Key("text", "301", "stitch by its ISO 4915 number", choices=STITCHES),
    stitch_length=Key("number", 3.2, "length of a stitch, mm", least=1.0, most=8.0),
    thickness=Key(
        "number",
        4.0,
        "of what the needle goes through: backings and trapped pile, mm",
        least=0.1,
        most=30.0,
    ),
    waste=Key("number", 15.0, "thread lost at ends, per cent", least=0.0, most=100.0),
    filling=Key("text", "medium", "how firmly pads are filled", choices=("soft", "medium", "firm")),
)

LAY = _table(
    seconds=Key(
        "number",
        10.0,
        "time for packing each cloth, s; one of few pieces takes less",
        least=0.0,
        most=3600.0,
    ),
    gap=Key("number", 10.0, "clear distance between pieces, mm", least=0.0, most=100.0),
    seed=Key("whole", 1, "the same seed gives the same lay", least=0, most=2**31 - 1),
)

ALSO = ("a3", "tabloid", "a0", "projector", "plotter")

PAPER = _table(
    also=Key(
        "texts", (), "written besides A4, Letter and roll: papers, projector, plotter", choices=ALSO
    ),
    overlap=Key("number", 10.0, "overlap of neighbouring pages, mm", least=0.0, most=40.0),
)

PROOF = _table(
    sew=Key("yesno", True, "sew the flats back in 3D and report the deviation"),
    moves=Key(
        "yesno",
        False,
        "stretch of the sewn suit's cloth with arms raised, reaching, sitting, striding and bending",
    ),
    rounds=Key(
        "whole",
        10,
        "rounds of correcting the flats for how their cloth rests on the outline, in a pass, at most; 0: none",
        least=0,
        most=30,
    ),
)

PILLOWS = _table(
    make=Key("yesno", True, "make the pads as stuffed cushions, with their own pieces"),
    top=Key("text", "cotton", "cloth of the tops; woven cotton is common practice"),
    base=Key("text", "knit", "cloth of the bases; a cool stretch knit is common practice"),
    width=Key("number", 1400.0, "cuttable width of both, mm", least=100.0, most=5000.0),
    foam=Key(
        "number",
        0.0,
        "thickness of foam sheets to carve the pads from, mm; 0: no foam sheets are drawn",
        least=0.0,
        most=200.0,
    ),
)


def _borne(key: str, words: str) -> Key:
    """A number that a cloth's kind gives where the file does not."""
    least, most = BIAS if key == "stretch_bias" else BOUNDS[key]
    return Key("number", None, f"{words}; not given: as its kind", least=least, most=most)


BORNE = _table(
    stretch_along=_borne("stretch_along", "stretch that it bears along the pile, a fraction"),
    stretch_across=_borne("stretch_across", "stretch that it bears across the pile, a fraction"),
    stretch_bias=_borne("stretch_bias", "stretch of a strip cut on the bias, a fraction"),
    slack_along=_borne("slack_along", "slack that does not show along the pile, a fraction"),
    slack_across=_borne("slack_across", "slack that does not show across the pile, a fraction"),
    stiffness_along=_borne("stiffness_along", "stiffness along the pile, beside the other two"),
    stiffness_across=_borne("stiffness_across", "stiffness across the pile, beside the other two"),
    stiffness_shear=_borne("stiffness_shear", "stiffness in shear, beside the other two"),
)
"""What a cloth bears: keys of [cloth.NAME] that go over those of its kind."""

CLOTH = _table(
    words=Key("text", "", "what the maker calls it"),
    width=Key("number", 1500.0, "cuttable width, mm", least=100.0, most=5000.0),
    pieces=Key("texts", (), "panels cut from it; empty: all that no other cloth names"),
    use=Key(
        "text",
        "panels",
        "what it is for: panels, or only the parts that name it",
        choices=("panels", "parts"),
    ),
    pile=Key(
        "text",
        "one-way",
        "one-way: no piece is turned; two-way: half turns; none: quarter turns",
        choices=("one-way", "two-way", "none"),
    ),
    tilt=Key("number", 0.0, "how far pieces may be tilted on it, degrees", least=0.0, most=5.0),
    avoid=Key(
        "boxes", (), "spoiled places as [x, y, width, height], mm from its lower left corner"
    ),
    price=Key("number", 0.0, "price of a metre, in any currency", least=0.0, most=10_000.0),
    colour=Key("text", "", "its colour in the pictures, as #rrggbb; empty: a tone of its own"),
    mass=Key("number", 600.0, "mass of the cloth, g/m2", least=10.0, most=3000.0),
    kind=Key(
        "text",
        "",
        "what sort of cloth it is, see `padlib cloths`; empty: the same in all directions, with the "
        "limit of [darts]",
    ),
    **BORNE,
)

SEAM = _table(
    name=Key("text", "", "the seam's name"),
    through=Key(
        "spots",
        (),
        "places that it runs through: landmarks, [x, y, z], or places that follow the wearer",
    ),
    closed=Key("yesno", False, "whether it runs back to its beginning"),
    round=Key("yesno", False, "round at its places; false: straight from place to place"),
    kind=Key("text", "sewn", "what happens along it", choices=SEAM_KINDS),
)

DART = _table(
    state=Key(
        "text",
        "pin",
        "pin: this dart stays; forbid: no dart may lie here, or start from this seam",
        choices=("pin", "forbid"),
    ),
    panel=Key("text", "", "the panel, as in report.json; for forbid, empty: all panels"),
    seam=Key("text", "", "the seam that no dart may start from"),
    radius=Key("number", 30.0, "mm about a forbidden place", least=1.0, most=500.0),
    to=Key("place", "", "landmark or [x, y, z] on the shell, mm: the tip of a pinned dart"),
    **{
        "from": Key(
            "place", "", "landmark or [x, y, z] on the shell, mm: the mouth, or what is forbidden"
        )
    },
)

MARK = _table(
    name=Key("text", "", "the mark's name; empty: mark-1, mark-2, ..."),
    shape=Key("text", "loop", "what is drawn", choices=("loop", "oval", "band")),
    cloth=Key("text", "", "the cloth inside it, of [cloth]; a mark drawn as a line needs none"),
    style=Key(
        "text",
        "inset",
        "inset: its own piece of cloth, sewn in; line: a line on the piece, to dye, paint or shave",
        choices=("inset", "line"),
    ),
    side=Key("text", "both", "where it lies", choices=("left", "right", "both")),
    through=Key(
        "spots",
        (),
        "loop: places on the body, once round: landmarks, [x, y, z] in mm, {near = landmark, move = "
        "[x, y, z]}, {face = number, weights = [a, b, c]}",
    ),
    round=Key("yesno", True, "loop: round at its places; false: straight from place to place"),
    at=Key("spots", (), "oval: its middle, a place as above; several places are as many ovals"),
    width=Key(
        "number",
        120.0,
        "oval: across; band: along the limb, mm of the shell",
        least=5.0,
        most=900.0,
    ),
    height=Key("number", 0.0, "oval: upwards, mm; 0: as its width", least=0.0, most=1200.0),
    limb=Key("text", "arm", "band: what it goes round", choices=("arm", "leg", "trunk")),
    place=Key(
        "number",
        0.5,
        "band: where its middle lies, a share of the way from root to wrist or ankle, of the trunk neck to crotch",
        least=0.0,
        most=1.0,
    ),
    count=Key("whole", 1, "band: how many, one below the other", least=1, most=20),
    gap=Key("number", 40.0, "band: between two of them, mm", least=5.0, most=500.0),
)

PILE = _table(
    name=Key("text", "", "the stroke's name"),
    through=Key("spots", (), "places on the body, in the direction in which the pile is to lie"),
    side=Key("text", "both", "where it counts", choices=("left", "right", "both")),
    reach=Key(
        "number",
        150.0,
        "mm from the stroke over which the pile turns back to lying toward the ground",
        least=10.0,
        most=2000.0,
    ),
)
"""Keys of [[pile]]: strokes that the pile follows."""

EASE = _table(
    seam=Key("text", "", "the seam's name, as in report.json"),
    panel=Key("text", "", "the panel on that seam which is cut longer and gathered in"),
    percent=Key(
        "number", 0.0, "how much longer than its partner, per cent of it", least=0.0, most=10.0
    ),
    between=Key(
        "points",
        (),
        "two landmark names or [x, y, z] points: only the part of the seam between them is eased",
    ),
)

EDGE = _table(
    seam=Key("text", "", "the seam or opening, as in report.json"),
    panel=Key("text", "", "the panel whose edge it is; empty: on both sides"),
    purpose=Key("text", "", "what it is for; empty: as it is", choices=("", *PURPOSES)),
    allowance=Key("number", None, "mm beyond it; not given: by its purpose", least=0.0, most=100.0),
    corner=Key(
        "text", "", "how its corners are cut; empty: by its purpose", choices=("", *CORNERS)
    ),
    notch=Key("text", "", "kind of its notches; empty: slit", choices=("", *NOTCHES)),
)

PART = _table(
    name=Key("text", "", "the part's name; empty: as its kind"),
    kind=Key("text", "", "kind of part, see `padlib parts`"),
    cloth=Key("text", "", "what it is cut from; empty: the cloth of the panels"),
    side=Key("text", "both", "where it goes", choices=("left", "right", "both")),
    seam=Key("text", "", "seam or opening that it goes along, where its kind asks for one"),
    panels=Key("texts", (), "panels that it goes with, where its kind asks for them"),
    at=Key("place", "", "landmark or [x, y, z] on the body, mm, where its kind asks for a place"),
)
"""Keys of [[part]]; the numbers of a part go by its kind (`padlib.pattern.parts`)."""

PAD = _table(
    name=Key("text", "", "the pad's name"),
    kind=Key("text", "", "kind of pad"),
    side=Key("text", "both", "where it sits", choices=("left", "right", "both")),
)

TABLES: Mapping[str, Mapping[str, Key]] = MappingProxyType(
    {
        "body": BODY,
        "shell": SHELL,
        "seams": SEAMS,
        "darts": DARTS,
        "closure": CLOSURE,
        "pieces": PIECES,
        "sewing": SEWING,
        "lay": LAY,
        "paper": PAPER,
        "proof": PROOF,
        "pillows": PILLOWS,
    }
)
