"""The measuring sheet's words: which tape lines to take, in which order, how, and seen from where.

Where each tape runs follows ISO 8559-1:2017 and ISO 7250-1:2017 as padlib.body.measure does; how to hold the
tape, books and elastic is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

FRONT, SLANT, SIDE, BACK = 0.0, 28.0, 90.0, 180.0  # turns about the vertical, degrees


@dataclass(frozen=True)
class TapeLine:
    """One line of the sheet.

    name: of the measurement; title: for people; kind: girth, height, length or across (a straight breadth,
    x, or depth, y); turn_deg: from where it is seen; tall_mm: how much of the body the picture shows,
    nought for all; how: one or two sentences; care: a caution, or nothing; at: the landmark in the picture's
    middle where there is no line of the tape's own.
    """

    name: str
    title: str
    kind: str
    turn_deg: float
    tall_mm: float
    how: str
    care: str = ""
    at: str = ""


BEFORE = (
    "A second person takes the measurements; alone it goes wrong. Ask before each touch, and stop when "
    "asked.",
    "Wear thin, close clothes or underwear, no shoes, hair down flat. Empty the pockets.",
    "Stand relaxed on both feet, a foot's length apart, arms a little away from the body, and breathe "
    "normally.",
    "Tie a thin elastic round the waist first and leave it there: lean to one side, and it settles "
    "where the body bends.",
    "The tape lies on the body all round without a gap and without a dent. Level means level with the "
    "floor: a mirror helps.",
    "Take every line twice. If the two differ by more than 1 cm (\u00bd inch), take it a third time and "
    "write down the middle one.",
    "Of arms and legs measure the wearer's left one, as drawn; write beside the box how much the right "
    "one differs.",
    "Leave a box empty rather than guess: padlib fills in what people of that size mostly have.",
)
CARE = (
    "Standing still for long makes some people faint: sit down between pages, and stop at the first "
    "dizziness.",
    "Never tighten a tape round the neck. Children are measured with a parent or guardian in the room.",
    "These numbers are about a person: give them only to those who make the suit.",
)

LINES = (
    TapeLine(
        "stature", "Height", "height", FRONT, 0.0,
        "Stand with heels and back against a wall and look straight ahead. Lay a book flat on the head, "
        "against the wall, "
        "and measure from the floor to its underside.",
        at="crown",
    ),
    TapeLine(
        "cervicale_height", "Floor to nape", "height", BACK, 0.0,
        "Bend the head forward: the bone that stands out at the foot of the neck is the nape. Mark it, "
        "lift the head, and "
        "measure from the floor to the mark.",
        at="cervicale",
    ),
    TapeLine(
        "waist_height", "Floor to waist", "height", FRONT, 0.0,
        "At the side of the body, straight up from the floor to the elastic round the waist.",
        at="waist_left",
    ),
    TapeLine(
        "hip_height", "Floor to seat", "height", SIDE, 0.0,
        "From the floor straight up to the level where the seat stands out most at the back.",
        at="seat_left",
    ),
    TapeLine(
        "crotch_height", "Inside leg", "height", FRONT, 0.0,
        "Stand against a wall and draw a thin book, held level, up between the legs until it stops. "
        "Measure from the floor "
        "to its upper edge.",
        "The wearer holds the book.",
        at="crotch",
    ),
    TapeLine(
        "knee_height", "Floor to knee", "height", FRONT, 0.0,
        "From the floor straight up to the middle of the kneecap, leg straight but not locked.",
        at="patella_left",
    ),
    TapeLine(
        "head_girth", "Round the head", "girth", SLANT, 420.0,
        "Once round the largest part of the head: over the forehead just above the eyebrows, above the "
        "ears, and over the "
        "back of the head.",
    ),
    TapeLine(
        "neck_girth", "Round the neck", "girth", SIDE, 420.0,  # from the front its far side lies over the jaw
        "Round the thinnest part of the neck, just below the Adam's apple, square to the neck. Lay the "
        "tape on; do not pull.",
        "It must not press on the throat.",
    ),
    TapeLine(
        "chest_girth", "Round the chest", "girth", SLANT, 760.0,
        "Level round the fullest part of the chest or bust: close under the armpits, over the shoulder "
        "blades. Read it while "
        "the wearer breathes calmly.",
    ),
    TapeLine(
        "waist_girth", "Round the waist", "girth", SLANT, 760.0,
        "Level round the body over the elastic. Do not draw the belly in.",
    ),
    TapeLine(
        "hip_girth", "Round the seat", "girth", SLANT, 760.0,
        "Level round the fullest part of the seat, feet together. Look from the side that the tape has "
        "not slipped down.",
    ),
    TapeLine(
        "total_crotch_length", "Waist to waist between the legs", "length", SLANT, 760.0,
        "From the elastic in the middle of the front, down between the legs and up to the elastic in "
        "the middle of the back. "
        "The tape touches, it does not pull.",
        "The wearer holds the tape in front.",
    ),
    TapeLine(
        "back_waist_length", "Nape to waist", "length", BACK, 860.0,
        "From the nape (the bone marked above) down along the spine to the elastic round the waist.",
    ),
    TapeLine(
        "shoulder_width", "Shoulder to shoulder", "length", BACK, 620.0,
        "Over the back, from the bony outer end of one shoulder past the foot of the neck to that of "
        "the other.",
    ),
    TapeLine(
        "arm_length", "Shoulder to wrist", "length", BACK, 900.0,
        "Arm a little bent. From the bony outer end of the shoulder over the tip of the elbow to the "
        "knob of the wrist on "
        "the side of the little finger.",
    ),
    TapeLine(
        "upper_arm_length", "Shoulder to elbow", "length", BACK, 900.0,
        "The first part of that line: from the outer end of the shoulder to the tip of the elbow.",
    ),
    TapeLine(
        "upper_arm_girth", "Round the upper arm", "girth", SLANT, 520.0,
        "Round the thickest part of the upper arm, square to it, the arm hanging loose.",
    ),
    TapeLine(
        "elbow_girth", "Round the elbow", "girth", SLANT, 520.0,
        "Round the arm over the tip of the elbow, the arm a little bent.",
    ),
    TapeLine(
        "forearm_girth", "Round the forearm", "girth", SLANT, 520.0,
        "Round the thickest part of the forearm, a hand's breadth below the elbow, the hand open.",
    ),
    TapeLine(
        "wrist_girth", "Round the wrist", "girth", SLANT, 420.0,
        "Round the wrist over its bony knob.",
    ),
    TapeLine(
        "thigh_girth", "Round the thigh", "girth", SLANT, 620.0,
        "Level round one thigh, high up, just below the fold of the seat, the weight on both feet.",
        "The wearer may lay the tape.",
    ),
    TapeLine(
        "mid_thigh_girth", "Round the middle of the thigh", "girth", SLANT, 620.0,
        "Level round the thigh, halfway between the bone at the side of the hip and the kneecap.",
    ),
    TapeLine(
        "knee_girth", "Round the knee", "girth", SLANT, 520.0,
        "Level round the knee over the middle of the kneecap, the leg straight.",
    ),
    TapeLine(
        "calf_girth", "Round the calf", "girth", SLANT, 520.0,
        "Level round the thickest part of the calf.",
    ),
    TapeLine(
        "minimum_leg_girth", "Round the leg above the ankle", "girth", SLANT, 420.0,
        "Level round the thinnest part of the leg, a few fingers above the ankle bones.",
    ),
    TapeLine(
        "ankle_girth", "Round the ankle", "girth", SLANT, 420.0,
        "Level round the ankle over the bony knob on its outer side.",
    ),
    TapeLine(
        "foot_length", "Length of the foot", "across y", SIDE, 420.0,
        "Stand on paper with the heel against a wall. Mark the tip of the longest toe and measure from "
        "the wall to the mark.",
        at="toe_left",
    ),
    TapeLine(
        "waist_breadth", "Waist from side to side", "across x", FRONT, 760.0,
        "Hold two books upright against the sides at the elastic, and measure straight from book to "
        "book. Only needed where a scan or a double is fitted.",
    ),
    TapeLine(
        "waist_depth", "Waist from front to back", "across y", SIDE, 760.0,
        "The same with one book before the belly and one behind the back, upright. Only needed where a "
        "scan or a double is fitted.",
    ),
    TapeLine(
        "hip_depth", "Seat from front to back", "across y", SIDE, 760.0,
        "Back against a wall, a book upright before the body at the level of the seat; measure from "
        "wall to book. Only needed where a scan or a double is fitted.",
    ),
)  # fmt: skip


def table_text(unit: str) -> str:
    """The sheet's table to fill in, as `padlib body --table` and `padlib fit --table` read it.

    unit: mm, cm or inch.
    """
    rows = [f"{line.name},,{unit}" for line in LINES]
    notes = [
        "# Measurements of one wearer. Write each number between the commas; leave out what was not taken.",
        "# Decimals with a point: 98.5",
    ]
    return "\n".join([*notes, "name,value,unit", *rows, ""])
