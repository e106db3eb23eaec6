"""What the guide says: a suit's report, pieces and lays as blocks, in the order in which a maker works."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from padlib.body.doubt import TOLD
from padlib.lay.lay import Lay
from padlib.output.blocks import Block, Heading, Note, Pictures, Steps, Table, Text
from padlib.output.cautions import CAUTIONS
from padlib.output.guide_pictures import lay_picture, piece_picture, step_pictures
from padlib.output.strip_test import strip_test_blocks
from padlib.pattern.piece import Piece

COMMON = "common practice, no source"


def guide_blocks(
    report: Mapping[str, Any],
    pieces: Sequence[Piece],
    lays: Sequence[Lay],
    *,
    title: str,
    words: str,
    allowance_mm: float,
) -> tuple[Block, ...]:
    """The whole guide. report: as written to report.json."""
    return (
        Heading(title, 1),
        Text(words),
        *_warnings(report),
        *_before(allowance_mm),
        *_body(report),
        *_buying(report, lays, pieces),
        *_cut_list(pieces),
        Heading("Pieces"),
        Pictures(tuple(piece_picture(p) for p in pieces)),
        *marks_blocks(report),
        *_parts(report),
        *strip_test_blocks(),
        *_steps(report, pieces),
        *_work(report),
        *_seams(report),
        *_pillows(report),
        *_fit(report),
        *_getting_in(report),
        *_moving(report),
        *_comfort(report),
        *_heat(report),
        *_care(),
        *_cautions(),
    )


def _warnings(report: Mapping[str, Any]) -> list[Block]:
    if not report["warnings"]:
        return []
    return [Heading("Look at these first"), *(Note("warn", w) for w in report["warnings"])]


def _before(allowance_mm: float) -> list[Block]:
    words = (
        "Print one page first and measure the test square: it must be 100 mm each way. Cut from the back of "
        "the cloth, through the backing only, one layer at a time, with the pile arrow pointing down the "
        "roll. A piece marked \u201c1 face up, 1 face down\u201d is traced twice, turned over the second time; never "
        "turn it round instead. Every other piece is traced face down, printed side on the cloth, unless it says "
        f"face up. The allowance of {allowance_mm:g} mm is already on the cut line; comb the "
        "pile out of it before sewing. Make a trial suit of cheap cloth first if the fur is dear."
    )
    return [Heading("Before cutting"), Text(words)]


def _body(report: Mapping[str, Any]) -> list[Block]:
    unsure = report["body"].get("unsure_mm", {})
    rows = [
        (
            k.replace("_", " "),
            f"{v:.0f}" + (f" \u00b1 {unsure[k]:.0f}" if unsure.get(k, 0.0) >= TOLD else ""),
        )
        for k, v in report["body"]["measurements_mm"].items()
    ]
    return [
        Heading("The wearer"),
        Table("The wearer", ("measurement", "mm"), tuple(rows), (1,)),
    ]


def _buying(report: Mapping[str, Any], lays: Sequence[Lay], pieces: Sequence[Piece]) -> list[Block]:
    rows = tuple(
        (
            lay.cloth,
            f"{lay.width_mm:.0f}",
            f"{lay.length_mm / 1000:.2f}",
            f"{lay.used_percent:.0f}",
            lay.pile,
        )
        for lay in lays
    )
    out: list[Block] = [
        Heading("Cloth"),
        Table("Cloth", ("cloth", "width, mm", "length, m", "used, %", "pile"), rows, (1, 2, 3)),
        Text(
            "Each lay is drawn at true scale in lay-CLOTH.svg. Buy a little more: shops cut crooked."
        ),
        Pictures(tuple(lay_picture(lay, pieces) for lay in lays if lay.placements)),
    ]
    if not report.get("bill"):
        return out
    priced = any(i["cost"] for i in report["bill"])
    rows = tuple(
        (
            i["words"],
            f"{i['quantity']:g} {i['unit']}",
            f"{i['mass_g']:.0f}" if i["mass_g"] else "",
            f"{i['cost']:.2f}" if i["cost"] else "",
        )
        for i in report["bill"]
    )
    weights = report["weights_g"]
    told = (
        f"On the wearer the suit weighs about {weights['total'] / 1000:.1f} kg: cloth "
        f"{weights['cloth'] / 1000:.1f}, filling {weights['filling'] / 1000:.1f}, notions "
        f"{weights['notions'] / 1000:.2f} kg, head, hands and feet not counted. Lengths to buy are "
        "rounded up to the next tenth of a metre."
    )
    told += f" All that has a price: {report['cost']:.2f}." if priced else ""
    told += "".join(
        f" Beside other suits: {f['words']}."
        for f in report.get("findings", ())
        if f["number"] == UNUSUAL
    )
    head = ("to buy", "how much", "on the suit, g", "cost")
    return [*out, Heading("To buy"), Table("To buy", head, rows, (1, 2, 3)), Text(told)]


def _cut_list(pieces: Sequence[Piece]) -> list[Block]:
    rows = tuple(
        (
            str(p.number),
            p.name,
            p.cloth,
            str(p.count),
            f"{p.count - p.count // 2} face up, {p.count // 2} face down"
            if p.mirrored
            else f"face {p.face}",
            f"{p.area_cm2:.0f}",
        )
        for p in pieces
    )
    head = ("no.", "piece", "cloth", "cut", "lies on the back", "area each, cm2")
    return [Heading("Cut list"), Table("Cut list", head, rows, (0, 3, 5))]


def marks_blocks(report: Mapping[str, Any]) -> list[Block]:
    """Where the cloth changes colour, and how."""

    def how(mark: Mapping[str, Any], panel: str) -> str:
        if panel in mark["set_in"]:
            return "set in"
        small = mark["style"] == "inset"
        return "a line on the piece, too small to set in" if small else "a line on the piece"

    rows = tuple(
        (m["name"], m["cloth"] or "any", how(m, panel), panel, f"{area:.0f}")
        for m in report.get("marks", ())
        for panel, area in m["area_cm2"].items()
    )
    if not rows:
        return []
    head = ("mark", "cloth", "how", "on", "area, cm2")
    return [
        Heading("Marks"),
        Table("Marks", head, rows, (4,)),
        Text(
            "A mark that runs over a seam is parted there; its edges meet at the seam when the notches do. "
            "Sew the marks into their panels first."
        ),
    ]


def _parts(report: Mapping[str, Any]) -> list[Block]:
    """Parts with the numbers that they were sized by."""
    rows = []
    for part in report.get("parts", ()):
        numbers = ", ".join(_number(k, v) for k, v in part["numbers"].items())
        rows.append((part["name"], ", ".join(part["pieces"]) or "none", numbers))
    if not rows:
        return []
    head = ("part", "pieces", "sized by")
    return [Heading("Parts and closures"), Table("Parts and closures", head, tuple(rows))]


UNUSUAL = 922  # the finding that says why the cloth is shorter or longer than is usual
UNITS = {"mm": "mm", "deg": "degrees", "cm2": "cm2"}


def _number(key: str, value: float) -> str:
    """A number of a part in words: zip_mm 500 is zip 500 mm."""
    name, _, unit = key.rpartition("_")
    if unit not in UNITS:
        return f"{key.replace('_', ' ')} {value:.0f}"
    return f"{name.replace('_', ' ')} {value:.0f} {UNITS[unit]}"


def _steps(report: Mapping[str, Any], pieces: Sequence[Piece]) -> list[Block]:
    order = report.get("order", ())
    return [
        Heading("Order of work"),
        Text("The pictures show the pieces of each step; the edges that are sewn are drawn thick."),
        Steps(
            tuple(w["words"] for w in order),
            tuple(step_pictures(w["seams"], pieces, w.get("pieces", ())) for w in order),
        ),
    ]


def _work(report: Mapping[str, Any]) -> list[Block]:
    """Thread and time."""
    told = report.get("sewing")
    if not told:
        return []

    def span(key: str) -> str:
        return f"{told[key][0]:g} to {told[key][1]:g} hours"

    words = (
        f"{told['seam_m']:.1f} m of seam and {told['hem_m']:.1f} m of hem, sewn with stitch "
        f"{told['stitch']} of ISO 4915 ({told['stitch_name']}), take {told['thread_m']:.0f} m of thread: "
        f"{told['thread_ratio']:.2f} times the seam, and what is lost at the ends. Thick pile takes about "
        "twice what thin cloth does. Sew a strip first and measure."
    )
    rows = (
        ("marking and cutting", f"{told['outline_m']:.1f}", span("cutting_h")),
        ("machine, with pinning and combing", f"{told['seam_m']:.1f}", span("machine_h")),
        ("by hand: hems", f"{told['hem_m']:.1f}", span("hand_h")),
    )
    return [
        Heading("Thread and time"),
        Text(words),
        Table("Thread and time", ("work", "m", "time"), rows, (1,)),
        Text(f"Times: {COMMON}.", small=True),
    ]


def _seams(report: Mapping[str, Any]) -> list[Block]:
    rows = tuple(
        (
            s["name"],
            " + ".join(s["panels"]),
            f"{s['length_mm']:.0f}",
            f"\u00b1 {s['plus_minus_mm']:.0f}",
            f"{s['flat_mm'][0]:.1f} / {s['flat_mm'][-1]:.1f}",
            _eased(s.get("ease")),
        )
        for s in report["seams"]
    )
    head = ("seam", "sewn together", "length on the body, mm", "may be off", "on paper, mm", "ease")
    return [Heading("Seams"), Table("Seams", head, rows, (2, 3, 4))]


def _eased(ease: Mapping[str, Any] | None) -> str:
    """What to do with a seam's ease."""
    if not ease:
        return ""
    return f"ease in {ease['got_mm']:.0f} mm of {ease['panel']}"


def _pillows(report: Mapping[str, Any]) -> list[Block]:
    if not report["pillows"]:
        return []
    rows = tuple(
        (
            p["name"],
            p["side"],
            f"{p['volume_l']:.2f}",
            f"{p['filling_g']['soft']:.0f}",
            f"{p['filling_g']['medium']:.0f}",
            f"{p['filling_g']['firm']:.0f}",
            f"{p['zip_mm']:.0f}",
            f"{p['filled_l']:.2f}" if "filled_l" in p else "",
            ", ".join(dict.fromkeys(m["panel"] for m in p.get("sew_to", ()))),
        )
        for p in report["pillows"]
    )
    words = (
        "Each pad is a cushion of its own: the top of woven cotton, the base of a cool stretch knit, a zip "
        "down the middle of the base, so that it comes out for washing. Tack it inside the suit along the "
        "outline drawn on the panels named."
    )
    head = ("pad", "side", "volume, l", "filling soft, g", "medium, g", "firm, g", "zip, mm")
    head += ("holds sewn and filled, l", "tacked to")
    table = Table("Pads", head, rows, (2, 3, 4, 5, 6, 7))
    return [Heading("Pads"), Text(words), table, *_foam(report)]


def _foam(report: Mapping[str, Any]) -> list[Block]:
    """What the foam sheets come to, where they are asked for."""
    rows = tuple(
        (
            p["name"],
            p["side"],
            f"{p['foam']['sheets']} of {p['foam']['sheet_mm']:g} mm",
            f"{p['foam']['area_cm2']:.0f}",
            f"{p['foam']['carved_g']:.0f}",
        )
        for p in report["pillows"]
        if "foam" in p
    )
    if not rows:
        return []
    words = (
        "Or carve it from foam: cut the sheets of foam-a4.pdf, lay their crosses over each other, glue, and "
        "carve to the steps. Foam burns fast and its dust and glue harm lungs: ask for flame-retardant foam, "
        "carve outdoors or with extraction and a mask, and mind what the venue and local codes ask for."
    )
    head = ("pad", "side", "sheets", "foam, cm2", "carved, g")
    return [Text(words), Table("Foam", head, rows, (3, 4))]


def _getting_in(report: Mapping[str, Any]) -> list[Block]:
    """What must pass where, with all closures open."""
    told = report["proof"].get("entry", ())
    if not told:
        return []
    rows = []
    for way in told:
        levels = way["levels"]
        close = min(levels, key=lambda x: x["suit_mm"] - x["needed_mm"])
        packed = min(levels, key=lambda x: x["suit_with_pads_mm"] - x["needed_mm"])
        mouth = way["opening_mm"]
        rows.append(
            (
                way["name"].replace("_", " "),
                "closed" if mouth is None else f"{mouth:.0f} for {way['needed_mm']:.0f}",
                f"{close['suit_mm']:.0f} for {close['needed_mm']:.0f}",
                f"{packed['suit_with_pads_mm']:.0f} for {packed['needed_mm']:.0f}",
                f"{way['closure_mm']:.0f}",
                "none will do"
                if way["shortest_closure_mm"] is None
                else f"{way['shortest_closure_mm']:.0f}",
            )
        )
    words = (
        "With every closure open and the cloth stretched as far as it bears, in mm round: how much there is, and how "
        "much of the wearer must pass there (heel and instep, the hand with its thumb laid in, hips, the last "
        "shoulder). Feet go first, then one arm after the other. Whoever cannot get out quickly alone needs a helper "
        "who can open every closure."
    )
    head = (
        "way in",
        "opening",
        "narrowest inside",
        "with pads in",
        "closure, mm",
        "shortest closure, mm",
    )
    return [
        Heading("Getting in and out"),
        Text(words),
        Table("Getting in", head, tuple(rows), (4, 5)),
    ]


def _moving(report: Mapping[str, Any]) -> list[Block]:
    """What raising arms, reaching, sitting, a stride and bending do to the cloth."""
    told = report["proof"].get("moves", ())
    if not told:
        return []
    rows = tuple(
        (
            m["pose"],
            f"{m['over_limit_percent']:.0f} %",
            "; ".join(
                f"{p['place']} ({p['panel']}) {p['missing_mm']:.0f} mm: {p['cure']}"
                for p in m["places"]
            ),
            f"{m['over_limit_when_let_in_percent']:.0f} %",
        )
        for m in told
    )
    words = (
        "How much of the cloth is stretched beyond what it bears in each pose, where length of cloth is missing, what "
        "gives it, and how much is still stretched too far once just that is let in. The padding is taken as it "
        "stands; soft cushions give way, so the wearer will feel less than this. Cloth slides freely. Estimates: "
        "try each pose in the pinned suit before the last seams are closed (picture: moves.png)."
    )
    head = ("pose", "stretched too far", "cloth missing, and what gives it", "once let in")
    return [Heading("Moving"), Text(words), Table("Moving", head, rows, (1, 3))]


def _comfort(report: Mapping[str, Any]) -> list[Block]:
    """Girths before and after, gap, bends and weights."""
    felt = report.get("comfort", {})
    if not felt.get("girths_mm"):
        return []
    off = {k: f"\u00b1 {v['plus_minus_mm']:.0f}" for k, v in report.get("uncertainty", {}).items()}
    rows = tuple(
        (
            name.replace("_", " "),
            f"{g['body']:.0f}",
            f"{g['shell']:.0f}",
            off.get(name, ""),
            f"{g['added']:+.0f}",
        )
        for name, g in felt["girths_mm"].items()
    )
    weight, gap = felt["weight_g"], felt["thigh_gap_mm"]
    lost = {k.replace("_", " "): v for k, v in felt["bend_lost_deg"].items() if v >= 1}
    words = [
        f"Cloth {weight['cloth'] / 1000:.1f} kg, cushions {weight['cushions']:.0f} g, medium filling "
        f"{weight['filling_medium']:.0f} g.",
        ""
        if gap is None
        else f"Least gap between the thighs {gap['shell']:.0f} mm ({gap['body']:.0f} mm bare).",
        f"Bend lost, about: {', '.join(f'{k} {v:.0f} degrees' for k, v in lost.items())}."
        if lost
        else "",
        "These are estimates from the shape alone; a trial with the wearer decides.",
    ]
    words.append(
        "The suit's girths are within \u00b1 that many mm in 95 of 100 suits, if scan, shears (2 mm), needle (2 mm) "
        "and the cloth's stretch (2 %) err as usual (common practice, no source)."
    )
    head = ("girth", "body, mm", "suit, mm", "may be off, mm", "added, mm")
    table = Table("Balance and comfort", head, rows, (1, 2, 3, 4))
    return [Heading("Balance and comfort"), Text(" ".join(w for w in words if w)), table]


def _heat(report: Mapping[str, Any]) -> list[Block]:
    """What the suit weighs and holds in."""
    told = report.get("heat")
    if not told:
        return []
    loss = told["dry_loss_w_m2"]
    words = (
        f"Cloth covers {told['covered_percent']:.0f} % of the outline, {told['padded_percent']:.0f} % of that over "
        f"{told['pad_mean_mm']:.0f} mm of padding on average: about {told['clo']:.1f} clo. Dry heat that gets out, "
        "for each square metre of skin: "
        + ", ".join(f"{watts:.0f} W at {at} °C" for at, watts in loss.items())
        + ". A resting person makes about 58 W, a walking one 115 W and more (from memory); the rest stays in, or "
        "leaves as sweat that the suit keeps. Basis: ISO 9920 family, a fibre-pelt coverall of 1.13 clo; a padded suit "
        "lies outside what such tables were made for, so this is a caution, not a permission. Eyes on the wearer, "
        "drink, rest, a helper, a way out: local rules and licensed people decide."
    )
    return [Heading("Heat and load"), Text(words)]


def _fit(report: Mapping[str, Any]) -> list[Block]:
    out: list[Block] = [Heading("How well it will fit")]
    if proof := report["proof"].get("deviation_mm"):
        out.append(
            Text(
                f"Sewn back together by computation, the suit lies {proof['mean']:.1f} mm from the sculpted "
                f"outline on average, {proof['p95']:.1f} mm at the worst twentieth, {proof['max']:.1f} mm at "
                "the worst place." + _corrected(report["proof"])
            )
        )
    if matched := report.get("matching", {}).get("words", ""):
        out.append(Text(matched))
    rows = tuple(_panel_row(p) for p in report["panels"])
    head = ("panel", "side", "stretch mean, %", "95 %, %", "worst, %", "darts")
    return [*out, Table("How well it will fit", head, rows, (2, 3, 4)), *_use(report)]


def _corrected(proof: Mapping[str, Any]) -> str:
    """What correcting the flats changed, if they were, and what stretch is of."""
    before, told = proof.get("deviation_uncorrected_mm"), ""
    if before:
        told = (
            " The outlines of the pieces were moved by what sewing them back showed: before, they would have sewn up "
            f"to {before['mean']:.1f}, {before['p95']:.1f} and {before['max']:.1f} mm."
        )
    return told + " Stretch in the table is of the pieces against the sculpted outline."


def _panel_row(panel: Mapping[str, Any]) -> tuple[str, ...]:
    darts = ", ".join(f"{d['length_mm']:.0f} mm" for d in panel["darts"]) or "none"
    told = (f"{100 * panel['stretch'][key]:.1f}" for key in ("mean", "p95", "max"))
    return (panel["name"], panel["side"], *told, darts)


def _use(report: Mapping[str, Any]) -> list[Block]:
    """What panels ask of their cloths, where the suit file says what the cloths bear."""
    rows = tuple(
        (
            p["name"],
            use["cloth"],
            f"{100 * use['p95']:.0f}",
            f"{100 * use['max']:.0f}",
            *(f"{100 * use[key]:.1f}" for key in ("along_p95", "across_p95", "bias_p95")),
            f"{use['shear_deg_p95']:.1f}",
        )
        for p in report["panels"]
        if (use := p.get("cloth_use"))
    )
    if not rows:
        return []
    head = ("panel", "cloth", "95 %, % of its limits", "worst, %")
    head += ("along, %", "across, %", "bias, %", "shear, degrees")
    words = (
        "100 % is the cloth's own limit: in the direction in which it is nearest to it, stretch and slack "
        "counted apart. Along, across, bias and shear: what 95 % of the panel stays under, stretch or slack."
    )
    name = "What is asked of the cloth"
    return [Heading(name, 3), Text(words), Table(name, head, rows, (2, 3, 4, 5, 6, 7))]


def _care() -> list[Block]:
    words = (
        "Take the pads out. Wash by hand or at 30 \u00b0C, very mild, inside out; do not bleach; do not tumble "
        "dry; dry flat or on a line in the shade; do not iron, heat melts the pile; no dry cleaning. Brush "
        "when dry. The label of the cloth that was bought goes before this."
    )
    source = f"in the words of ISO 3758; the choice for fur suits: {COMMON}."
    return [Heading("Care"), Text(words), Text(source, small=True)]


def _cautions() -> list[Block]:
    notes = [Note("caution", text, head, source) for head, text, source in CAUTIONS]
    words = (
        "These are the usual cautions, not a safety assessment. Local codes, the venue and licensed people "
        "decide."
    )
    return [Heading("Cautions"), *notes, Text(words)]
