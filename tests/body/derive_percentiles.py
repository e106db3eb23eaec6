"""Derive padlib/body/percentiles.json from the public release of ANSUR II.

    python tests/body/derive_percentiles.py FOLDER_WITH_ansur2_male.csv_AND_ansur2_female.csv

Source: 2012 Anthropometric Survey of U.S. Army Personnel, NATICK/TR-15/007 (Gordon et al., 2014); US Government work,
public domain. Only percentiles leave the data; the tables themselves are not copied into the project.
"""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import numpy as np

TARGET = Path(__file__).resolve().parents[2] / "padlib" / "body" / "percentiles.json"

# our name: (column, slack below, slack above, why)
COLUMNS = {
    "stature": ("stature", 0, 0, ""),
    "cervicale_height": ("cervicaleheight", 0, 0, ""),
    "suprasternal_height": ("suprasternaleheight", 0, 0, ""),
    "shoulder_height": ("acromialheight", 0, 0, ""),
    "axilla_height": ("axillaheight", 0, 0, ""),
    "bust_height": ("chestheight", 0, 0, ""),
    "trochanter_height": ("trochanterionheight", 40, 0, "taken at the widest level, which may lie lower"),
    "hip_height": ("buttockheight", 0, 0, ""),
    "crotch_height": ("crotchheight", 40, 0, "an A pose with the legs apart brings the crotch down"),
    "knee_height": ("kneeheightmidpatella", 20, 0, "legs apart"),
    "ankle_height": ("lateralmalleolusheight", 0, 0, ""),
    "head_girth": ("headcircumference", 0, 0, ""),
    "neck_girth": ("neckcircumference", 15, 0, "taken at the thinnest level"),
    "neck_base_girth": ("neckcircumferencebase", 0, 0, ""),
    "chest_girth": ("chestcircumference", 0, 0, ""),
    "bust_girth": ("chestcircumference", 0, 0, ""),
    "waist_girth": (
        "waistcircumference", 139, 0,
        "natural waist, not navel: up to 139 mm less (mean difference of women, gclus body data)",
    ),
    "waist_breadth": ("waistbreadth", 50, 0, "natural waist, not navel"),
    "hip_girth": ("buttockcircumference", 0, 0, ""),
    "thigh_girth": ("thighcircumference", 0, 30, "level, not square to a thigh that stands out"),
    "calf_girth": ("calfcircumference", 0, 0, ""),
    "minimum_leg_girth": ("anklecircumference", 0, 0, ""),
    "upper_arm_girth": ("bicepscircumferenceflexed", 60, 0, "relaxed, not flexed"),
    "forearm_girth": ("forearmcircumferenceflexed", 30, 0, "relaxed, not flexed"),
    "wrist_girth": ("wristcircumference", 0, 0, ""),
    "foot_length": ("footlength", 0, 0, ""),
    "hand_length": ("handlength", 70, 0, "a fist is shorter than an open hand"),
    "arm_length": ("sleeveoutseam", 30, 60, "over the surface and the elbow, not straight"),
}  # fmt: skip


ROUND = {
    "waist": ("waistdepth", "waistbreadth", "waistcircumference"),
    "hip": ("buttockdepth", "hipbreadth", "buttockcircumference"),
}


def roundness(data: dict) -> dict:
    """Depth over breadth as a line over girth / stature, and how far 95 % stay above that line at most."""
    out: dict = {}
    for part, columns in ROUND.items():
        out[part] = {}
        for group, rows in data.items():
            depth, breadth, girth, stature = (
                np.array([float(r[c]) for r in rows]) for c in (*columns, "stature")
            )
            share, ratio = girth / stature, depth / breadth
            slope, level = np.polyfit(share, ratio, 1)
            above = np.percentile(ratio - slope * share - level, 95)
            out[part][group] = {
                "slope": round(float(slope), 4),
                "level": round(float(level), 4),
                "above_95": round(float(above), 4),
                "girth_of_stature": [round(float(v), 4) for v in np.percentile(share, [1, 50, 99])],
            }
    return out


def main() -> None:
    """Read both tables and write the percentiles."""
    folder = Path(sys.argv[1])
    data = {}
    for group, name in (("men", "ansur2_male.csv"), ("women", "ansur2_female.csv")):
        with (folder / name).open(encoding="latin-1", newline="") as handle:
            data[group] = list(csv.DictReader(handle))
    out = {}
    for name, (column, below, above, why) in COLUMNS.items():
        row: dict[str, object] = {"column": column}
        for group, rows in data.items():
            values = np.array([float(r[column]) for r in rows])
            row[group] = [round(float(v), 1) for v in np.percentile(values, [1, 50, 99])]
        row["slack"] = [below, above]
        if why:
            row["why"] = why
        out[name] = row
    note = {
        "source": "ANSUR II public release (2012; 4,082 men, 1,986 women), NATICK/TR-15/007, public domain; mm; "
        "1st, 50th and 99th percentile (linear). slack: how far beyond them padlib's own definition may lie.",
        "derived_by": "tests/body/derive_percentiles.py",
        "measurements": out,
        "roundness": roundness(data),
    }
    TARGET.write_text(json.dumps(note, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
