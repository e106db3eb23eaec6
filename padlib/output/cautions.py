"""The usual cautions for padded full-body costumes, for the guide and the report.

They are reminders, not permissions: local codes, the venue and licensed people decide.
"""

from __future__ import annotations

# (heading, sentence, source). Sources as in the check values of the project; "common practice" where
# there is no published one.
CAUTIONS: tuple[tuple[str, str, str], ...] = (
    (
        "Heat",
        "A padded fur suit keeps body heat in: dry loss at 25 °C through about 2 clo is less than half of what "
        "a resting body makes. Plan short turns (15 to 20 minutes), rest in the cool with the head off, water "
        "within reach, and stop at the first sign of dizziness, nausea or chills.",
        "clo after ISO 9920; turn length: common practice, no source",
    ),
    (
        "Helper",
        "The wearer never walks alone: a helper watches, leads at steps and in crowds, and can open the suit.",
        "common practice, no source",
    ),
    (
        "Fire",
        "Long pile flashes: keep away from flames, heaters, cigarettes and stage fire. Ask for the cloth's "
        "flammability test (16 CFR 1610 or the local rule) before it is cut.",
        "16 CFR 1610 (raised surface fabrics); local codes decide",
    ),
    (
        "Sight and breath",
        "Check with the head on that the wearer sees the floor two paces ahead and to both sides, and that nose "
        "and mouth can be uncovered by the wearer alone in about five seconds.",
        "time: a target of ours, no published figure found",
    ),
    (
        "Getting out",
        "The closure must open from inside with paws on, or a helper who can open it stays in reach. No lock, "
        "no knot. Try it in the dark before the first show.",
        "common practice, no source",
    ),
    (
        "Zips on skin",
        "Sew a guard strip behind every zip and stop the chain short of the throat; no zip across bare skin.",
        "common practice, no source",
    ),
    (
        "Falls",
        "Padding hides the feet and shifts balance: rehearse steps, turns and sitting with all pads in, on the "
        "floor of the venue, in the shoes or feet that will be worn.",
        "common practice, no source",
    ),
    (
        "Children",
        "A child's suit has no cord at head or neck and needs an exit without zips or buttons that the child can "
        "push open; toy and clothing rules (EN 71-1, EN 71-2, EN 14682) may apply. Ask before making one.",
        "EN 71-1, EN 71-2, EN 14682; local codes decide",
    ),
)
