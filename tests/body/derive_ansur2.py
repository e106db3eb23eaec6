"""Derive padlib/body/ansur2.json: how body measurements go together, from the ANSUR II public release.

    python tests/body/derive_ansur2.py FOLDER_WITH_ansur2_male.csv_AND_ansur2_female.csv

ANSUR II (2012; 4,082 men, 1,986 women), US Government work, public domain, NATICK/TR-15/007. The CSV
files are not part of the project. Each measurement's logarithm is regressed on the logarithm of
stature; the covariance of what is left over says how the other measurements go together.

Three measurements that ANSUR II has not, or takes otherwise, are put in by fixed ratios:
waist_girth is ISO's natural waist, its waist girth is at the navel: times the ratio of means of
the gclus body data (Heinz and others, J. Statistics Education 11(2), 2003): 845/877 men, 698/837 women.
knee_girth is calf girth times 372/372 men, 353/350 women (the same data).
Relaxed arms from flexed ones: upper arm 0.94, forearm 0.95, elbow 0.89 of the flexed forearm;
ankle over the malleolus 1.13 of the least leg girth; bust level girths are chest girths (from memory,
common practice). Shoulder width over the cervicale is worked out subject by subject: the two straight ways
from half the biacromial breadth and the drop from cervicale to acromion, times what the back's round adds
(padlib.body.anatomy.BACK_ROUND).
"""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import numpy as np

from padlib.body.anatomy import BACK_ROUND

COLUMNS = {
    "cervicale_height": "cervicaleheight",
    "suprasternal_height": "suprasternaleheight",
    "shoulder_height": "acromialheight",
    "axilla_height": "axillaheight",
    "bust_height": "chestheight",
    "trochanter_height": "trochanterionheight",
    "hip_height": "buttockheight",
    "crotch_height": "crotchheight",
    "knee_height": "kneeheightmidpatella",
    "ankle_height": "lateralmalleolusheight",
    "head_girth": "headcircumference",
    "neck_girth": "neckcircumference",
    "neck_base_girth": "neckcircumferencebase",
    "chest_girth": "chestcircumference",
    "navel_girth": "waistcircumference",
    "hip_girth": "buttockcircumference",
    "thigh_girth": "thighcircumference",
    "calf_girth": "calfcircumference",
    "minimum_leg_girth": "anklecircumference",
    "upper_arm_girth": "bicepscircumferenceflexed",
    "forearm_girth": "forearmcircumferenceflexed",
    "wrist_girth": "wristcircumference",
    "hand_girth": "handcircumference",
    "hand_length": "handlength",
    "hand_breadth": "handbreadth",
    "foot_length": "footlength",
    "foot_breadth": "footbreadthhorizontal",
    "upper_arm_length": "acromionradialelength",
    "forearm_length": "radialestylionlength",
}
RATIOS = {"upper_arm_girth": 0.94, "forearm_girth": 0.95}
NATURAL = {"men": 845 / 877, "women": 698 / 837}
KNEE = {"men": 372 / 372, "women": 353 / 350}
FILES = {"men": "ansur2_male.csv", "women": "ansur2_female.csv"}


def columns(path: Path, who: str) -> dict[str, np.ndarray]:
    """Measurements in mm by padlib's name, stature first."""
    with path.open(encoding="latin-1", newline="") as file:
        rows = list(csv.DictReader(file))

    def take(name: str) -> np.ndarray:
        return np.array([float(row[name]) for row in rows])

    out = {"stature": take("stature")}
    for name, column in COLUMNS.items():
        out[name] = take(column) * RATIOS.get(name, 1.0)
    drop = take("cervicaleheight") - take("acromialheight")
    out["shoulder_width"] = 2 * BACK_ROUND * np.hypot(0.5 * take("biacromialbreadth"), drop)
    out["waist_height"] = 0.5 * (take("tenthribheight") + take("iliocristaleheight"))
    out["waist_girth"] = out["navel_girth"] * NATURAL[who]
    out["knee_girth"] = out["calf_girth"] * KNEE[who]
    out["elbow_girth"] = take("forearmcircumferenceflexed") * 0.89
    out["ankle_girth"] = out["minimum_leg_girth"] * 1.13
    return out


def figure(values: dict[str, np.ndarray]) -> dict[str, list]:
    """Mean log stature and its variance; slopes, intercepts and the covariance of the residuals."""
    logs = {name: np.log(x) for name, x in values.items()}
    tall = logs.pop("stature")
    mean, variance = tall.mean(), tall.var()
    slope = {n: np.cov(tall, x, bias=True)[0, 1] / variance for n, x in logs.items()}
    level = {n: x.mean() - slope[n] * mean for n, x in logs.items()}
    rest = np.array([x - level[n] - slope[n] * tall for n, x in logs.items()])
    covariance = np.cov(rest, bias=True)
    return {
        "log_stature": [round(float(mean), 6), round(float(variance), 8)],
        "slope": [round(float(x), 5) for x in slope.values()],
        "level": [round(float(x), 5) for x in level.values()],
        "covariance_1e6": [
            [round(float(covariance[i, j]) * 1e6) for j in range(i + 1)] for i in range(len(rest))
        ],
    }


def main() -> None:
    """Write the table."""
    folder = Path(sys.argv[1])
    data = {who: columns(folder / name, who) for who, name in FILES.items()}
    names = [name for name in data["men"] if name != "stature"]
    table = {
        "source": "ANSUR II public release (2012; 4,082 men, 1,986 women), NATICK/TR-15/007, public "
        "domain; natural waist and knee by ratios of the gclus body data (Heinz and others 2003).",
        "derived_by": "tests/body/derive_ansur2.py",
        "words": "log(x) = level + slope * log(stature), mm; lower triangle of the residual covariance",
        "names": names,
        "figures": {who: figure(values) for who, values in data.items()},
    }
    target = Path(__file__).parents[2] / "padlib" / "body" / "ansur2.json"
    text = json.dumps(table, indent=None, separators=(",", ":"))
    target.write_text(text.replace('"figures"', '\n"figures"').replace("],[", "],\n[") + "\n")


if __name__ == "__main__":
    main()
