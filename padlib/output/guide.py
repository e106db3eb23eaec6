"""The guide: one HTML page for the person at the sewing table. Nothing in it is fetched from outside."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.lay.lay import Lay
from padlib.output.cautions import CAUTIONS
from padlib.output.strip_test import strip_test_html
from padlib.pattern.piece import Piece

_STYLE = """
body{font:16px/1.5 Georgia,'Times New Roman',serif;max-width:60rem;margin:2rem auto;padding:0 1rem;color:#1d1d1b}
h1,h2{line-height:1.2;font-weight:600} h2{margin-top:2.4rem;border-bottom:2px solid #7a8b4f}
table{border-collapse:collapse;width:100%;font-size:.92rem} td,th{padding:.25rem .5rem;text-align:left;
border-bottom:1px solid #d8d4c8} td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}
figure{display:inline-block;margin:.4rem;text-align:center;vertical-align:top;font-size:.85rem;width:11rem}
.warn{border-left:6px solid #d9641e;padding:.3rem .8rem;margin:.4rem 0;background:#fdf3ea}
.caution{border-left:6px solid #053061;padding:.3rem .8rem;margin:.6rem 0;background:#eef4f9}
.src{color:#666;font-size:.85rem} svg{max-width:100%} @media print{h2{break-after:avoid}}
"""


def _e(text: object) -> str:
    return html.escape(str(text), quote=True)


def _path(line: NDArray[np.float64], *, closed: bool = True) -> str:
    """SVG path of a polyline in mm, y up."""
    steps = " ".join(f"{x:.1f},{-y:.1f}" for x, y in line)
    return f"M{steps}{'Z' if closed else ''}"


def piece_picture(piece: Piece, *, width: int = 170) -> str:
    """A small inline SVG of a piece: cut line, sew line, darts, notches, pile arrow, number."""
    low, high = piece.cut_line.min(axis=0) - 5, piece.cut_line.max(axis=0) + 5
    w, h = high - low
    tail, head = piece.pile
    middle = (tail + head) / 2
    parts = [
        f'<path d="{_path(piece.cut_line)}" fill="#f4f1e6" stroke="#1d1d1b" stroke-width="3"/>',
        f'<path d="{_path(piece.sew_line)}" fill="none" stroke="#1d1d1b" stroke-width="1.5" '
        'stroke-dasharray="9 5"/>',
    ]
    parts += [
        f'<path d="{_path(d, closed=False)}" fill="none" stroke="#d9641e" stroke-width="3"/>'
        for d in piece.darts
    ]
    parts += [f'<circle cx="{n.at[0]:.1f}" cy="{-n.at[1]:.1f}" r="5"/>' for n in piece.notches]
    parts.append(f'<path d="{_path(piece.pile, closed=False)}" stroke="#053061" stroke-width="5"/>')
    parts.append(
        f'<text x="{middle[0] + 14:.1f}" y="{-middle[1]:.1f}" font-size="70">{piece.number}</text>'
    )
    return (
        f'<svg width="{width}" viewBox="{low[0]:.1f} {-high[1]:.1f} {w:.1f} {h:.1f}" '
        f'role="img" aria-label="{_e(piece.name)}">{"".join(parts)}</svg>'
    )


def _table(
    head: Sequence[str], rows: Sequence[Sequence[object]], numeric: Sequence[int] = ()
) -> str:
    def cell(tag: str, i: int, value: object) -> str:
        return f"<{tag}{' class=n' if i in numeric else ''}>{_e(value)}</{tag}>"

    top = "".join(cell("th", i, h) for i, h in enumerate(head))
    body = "".join(
        "<tr>" + "".join(cell("td", i, v) for i, v in enumerate(r)) + "</tr>" for r in rows
    )
    return f"<table><tr>{top}</tr>{body}</table>"


def guide_html(
    report: Mapping[str, Any],
    pieces: Sequence[Piece],
    lays: Sequence[Lay],
    *,
    title: str,
    words: str,
    steps: Sequence[str],
    allowance_mm: float,
) -> str:
    """The whole guide as one HTML text.

    report: as written to report.json; steps: the order of work, one sentence each.
    """
    parts = [
        f"<!doctype html><html lang=en><meta charset=utf-8><title>{_e(title)}</title>"
        f"<style>{_STYLE}</style><h1>{_e(title)}</h1><p>{_e(words)}</p>",
        _warnings(report),
        _before(allowance_mm),
        _pieces(pieces),
        _cloth(lays),
        strip_test_html(),
        _seams(report),
        _pillows(report),
        _steps(steps),
        _fit(report),
        _comfort(report),
        _body(report),
        _cautions(),
    ]
    return "\n".join(parts) + "\n"


def _warnings(report: Mapping[str, Any]) -> str:
    if not report["warnings"]:
        return ""
    return "<h2>Look at these first</h2>" + "".join(
        f'<div class="warn">{_e(w)}</div>' for w in report["warnings"]
    )


def _before(allowance_mm: float) -> str:
    return (
        "<h2>Before cutting</h2><p>Print one page first and measure the test square: it must be 100 mm each "
        "way. Cut from the back of the cloth, through the backing only, one layer at a time, with the pile arrow "
        "pointing down the roll. A piece marked “1 face up, 1 face down” is traced twice, turned over the second "
        f"time; never turn it round instead. The allowance of {allowance_mm:g} mm is already on the cut line; comb "
        "the pile out of it before sewing. Make a trial suit of cheap cloth first if the fur is dear.</p>"
    )


def _pieces(pieces: Sequence[Piece]) -> str:
    figures = "".join(
        f"<figure>{piece_picture(p)}<figcaption><b>{p.number}</b> {_e(p.name)}<br>{_e('; '.join(p.labels))}"
        "</figcaption></figure>"
        for p in pieces
    )
    return f"<h2>Pieces</h2>{figures}"


def _cloth(lays: Sequence[Lay]) -> str:
    rows = [
        (lay.cloth, f"{lay.width_mm:.0f}", f"{lay.length_mm / 1000:.2f}", f"{lay.used_percent:.0f}")
        for lay in lays
    ]
    return (
        "<h2>Cloth</h2>"
        + _table(("cloth", "width, mm", "length, m", "used, %"), rows, (1, 2, 3))
        + "<p>Each lay is drawn in lay-CLOTH.svg. Buy a little more: shops cut crooked.</p>"
    )


def _seams(report: Mapping[str, Any]) -> str:
    rows = [
        (
            s["name"],
            " + ".join(s["panels"]),
            f"{s['length_mm']:.0f}",
            f"{s['flat_mm'][0]:.1f} / {s['flat_mm'][-1]:.1f}",
            _eased(s.get("ease")),
        )
        for s in report["seams"]
    ]
    return "<h2>Seams</h2>" + _table(
        ("seam", "sewn together", "length on the body, mm", "on paper, mm", "ease"), rows, (2, 3)
    )


def _eased(ease: Mapping[str, Any] | None) -> str:
    """What to do with a seam's ease."""
    if not ease:
        return ""
    return f"ease in {ease['got_mm']:.0f} mm of {ease['panel']}"


def _pillows(report: Mapping[str, Any]) -> str:
    if not report["pillows"]:
        return ""
    rows = [
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
    ]
    return (
        "<h2>Pads</h2><p>Each pad is a cushion of its own: the top of woven cotton, the base of a cool "
        "stretch knit, a zip down the middle of the base, so that it comes out for washing. Tack it inside the "
        "suit along the outline drawn on the panels named.</p>"
        + _table(
            (
                "pad",
                "side",
                "volume, l",
                "filling soft, g",
                "medium, g",
                "firm, g",
                "zip, mm",
                "holds sewn and filled, l",
                "tacked to",
            ),
            rows,
            (2, 3, 4, 5, 6, 7),
        )
        + _foam(report)
    )


def _foam(report: Mapping[str, Any]) -> str:
    """What the foam sheets come to, where they are asked for."""
    carved = [p for p in report["pillows"] if "foam" in p]
    if not carved:
        return ""
    rows = [
        (
            p["name"],
            p["side"],
            f"{p['foam']['sheets']} of {p['foam']['sheet_mm']:g} mm",
            f"{p['foam']['area_cm2']:.0f}",
            f"{p['foam']['carved_g']:.0f}",
        )
        for p in carved
    ]
    return (
        "<p>Or carve it from foam: cut the sheets of foam-a4.pdf, lay their crosses over each other, glue, and "
        "carve to the steps. Foam burns fast and its dust and glue harm lungs: ask for flame-retardant foam, carve "
        "outdoors or with extraction and a mask, and mind what the venue and local codes ask for.</p>"
        + _table(("pad", "side", "sheets", "foam, cm2", "carved, g"), rows, (3, 4))
    )


def _comfort(report: Mapping[str, Any]) -> str:
    """Girths before and after, gap, bends and weights."""
    felt = report.get("comfort", {})
    if not felt.get("girths_mm"):
        return ""
    rows = [
        (name.replace("_", " "), f"{g['body']:.0f}", f"{g['shell']:.0f}", f"{g['added']:+.0f}")
        for name, g in felt["girths_mm"].items()
    ]
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
    return (
        "<h2>Balance and comfort</h2><p>"
        + _e(" ".join(w for w in words if w))
        + "</p>"
        + _table(("girth", "body, mm", "suit, mm", "added, mm"), rows, (1, 2, 3))
    )


def _steps(steps: Sequence[str]) -> str:
    return "<h2>Order of work</h2><ol>" + "".join(f"<li>{_e(s)}</li>" for s in steps) + "</ol>"


def _fit(report: Mapping[str, Any]) -> str:
    rows = [_panel_row(p) for p in report["panels"]]
    matched = report.get("matching", {}).get("words", "")
    proof = report["proof"].get("deviation_mm")
    told = (
        ""
        if not proof
        else (
            f"<p>Sewn back together by computation, the suit lies {proof['mean']:.1f} mm from the sculpted outline on "
            f"average, {proof['p95']:.1f} mm at the worst twentieth, {proof['max']:.1f} mm at the worst place.</p>"
        )
    )
    return (
        "<h2>How well it will fit</h2>"
        + told
        + (f"<p>{_e(matched)}</p>" if matched else "")
        + _table(
            ("panel", "side", "stretch mean, %", "95 %, %", "worst, %", "darts"), rows, (2, 3, 4)
        )
        + _use(report)
    )


def _panel_row(panel: Mapping[str, Any]) -> tuple[str, ...]:
    darts = ", ".join(f"{d['length_mm']:.0f} mm" for d in panel["darts"]) or "none"
    told = (f"{100 * panel['stretch'][key]:.1f}" for key in ("mean", "p95", "max"))
    return (panel["name"], panel["side"], *told, darts)


def _use(report: Mapping[str, Any]) -> str:
    """What panels ask of their cloths, where the suit file says what the cloths bear."""
    rows = [
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
    ]
    if not rows:
        return ""
    head = ("panel", "cloth", "95 %, % of its limits", "worst, %")
    head += ("along, %", "across, %", "bias, %", "shear, degrees")
    return (
        "<h3>What is asked of the cloth</h3><p>100 % is the cloth's own limit: in the direction in which it is "
        "nearest to it, stretch and slack counted apart. Along, across, bias and shear: what 95 % of the panel "
        "stays under, stretch or slack.</p>" + _table(head, rows, (2, 3, 4, 5, 6, 7))
    )


def _body(report: Mapping[str, Any]) -> str:
    rows = [(k.replace("_", " "), f"{v:.0f}") for k, v in report["body"]["measurements_mm"].items()]
    return "<h2>The wearer</h2>" + _table(("measurement", "mm"), rows, (1,))


def _cautions() -> str:
    return (
        "<h2>Cautions</h2>"
        + "".join(
            f'<div class="caution"><b>{_e(h)}.</b> {_e(t)} <span class="src">({_e(s)})</span></div>'
            for h, t, s in CAUTIONS
        )
        + (
            "<p>These are the usual cautions, not a safety assessment. Local codes, the venue and licensed people "
            "decide.</p>"
        )
    )
