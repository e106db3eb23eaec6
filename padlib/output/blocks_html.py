"""Blocks as HTML: nothing in it is fetched from outside, and no script runs."""

from __future__ import annotations

import html
from collections.abc import Sequence

from padlib.output.blocks import (
    Block,
    Heading,
    Note,
    Picture,
    Pictures,
    Steps,
    Table,
    Text,
    shown,
)
from padlib.output.drawing import Fill, Words
from padlib.pattern.lettering import CAPITAL

STYLE = """
body{font:16px/1.5 Georgia,'Times New Roman',serif;max-width:60rem;margin:2rem auto;padding:0 1rem;color:#1d1d1b}
h1,h2{line-height:1.2;font-weight:600} h2{margin-top:2.4rem;border-bottom:2px solid #7a8b4f}
table{border-collapse:collapse;width:100%;font-size:.92rem} td,th{padding:.25rem .5rem;text-align:left;
border-bottom:1px solid #d8d4c8} td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}
figure{display:inline-block;margin:.4rem;text-align:center;vertical-align:top;font-size:.85rem;max-width:100%}
figcaption{max-width:12rem;margin:auto} figure.wide figcaption{max-width:none} li{margin:.5rem 0}
.warn{border-left:6px solid #d9641e;padding:.3rem .8rem;margin:.4rem 0;background:#fdf3ea}
.caution{border-left:6px solid #053061;padding:.3rem .8rem;margin:.6rem 0;background:#eef4f9}
.src{color:#666;font-size:.85rem} svg{max-width:100%} @media print{h2{break-after:avoid} figure,li{break-inside:avoid}}
"""


def html_page(blocks: Sequence[Block], title: str) -> str:
    """A whole page."""
    head = (
        f"<!doctype html><html lang=en><meta charset=utf-8><title>{_e(title)}</title>"
        f"<style>{STYLE}</style>"
    )
    return "\n".join([head, *map(html_block, blocks)]) + "\n"


def html_block(block: Block) -> str:
    """One block."""
    if isinstance(block, Heading):
        return f"<h{block.level}>{_e(block.text)}</h{block.level}>"
    if isinstance(block, Text):
        if block.fixed:
            return f"<pre>{_e(block.text)}</pre>"
        return f"<p{' class=src' if block.small else ''}>{_e(block.text)}</p>"
    if isinstance(block, Steps):
        rows = zip(block.items, block.pictures or ((),) * len(block.items), strict=True)
        return (
            "<ol>"
            + "".join(f"<li>{_e(t)}{_break(p)}{''.join(map(_figure, p))}</li>" for t, p in rows)
            + "</ol>"
        )
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Note):
        head = f"<b>{_e(block.head)}.</b> " if block.head else ""
        source = f' <span class="src">({_e(block.source)})</span>' if block.source else ""
        return f'<div class="{block.kind}">{head}{_e(block.text)}{source}</div>'
    return "".join(map(_figure, block.pictures)) if isinstance(block, Pictures) else ""


def _break(pictures: Sequence[Picture]) -> str:
    return "<br>" if pictures else ""


def _table(table: Table) -> str:
    def cell(tag: str, i: int, value: str) -> str:
        return f"<{tag}{' class=n' if i in table.numeric else ''}>{_e(value)}</{tag}>"

    head = "".join(cell("th", i, h) for i, h in enumerate(table.head))
    rows = "".join(
        "<tr>" + "".join(cell("td", i, v) for i, v in enumerate(row)) + "</tr>"
        for row in table.rows
    )
    return f"<table><tr>{head}</tr>{rows}</table>"


def _figure(picture: Picture) -> str:
    first, *rest = picture.caption
    words = f"<b>{_e(first)}</b>" + "".join(f"<br>{_e(r)}" for r in rest)
    wide = " class=wide" if picture.width_mm > 100 else ""
    return f"<figure{wide}>{svg(picture)}<figcaption>{words}</figcaption></figure>"


def svg(picture: Picture) -> str:
    """A picture as inline SVG, its size in mm."""
    marks, width, height = shown(picture)
    parts = []
    for mark in marks:
        if isinstance(mark, Words):
            x, y = mark.at[0], height - mark.at[1]
            anchor = f' text-anchor="{mark.anchor}"' if mark.anchor != "start" else ""
            parts.append(
                f'<text x="{x:.1f}" y="{y:.1f}" font-size="{mark.height_mm / CAPITAL:.1f}"'
                f' font-family="sans-serif"{anchor}>{_e(mark.text)}</text>'
            )
            continue
        path = "M" + " ".join(f"{x:.2f},{height - y:.2f}" for x, y in mark.points)
        if isinstance(mark, Fill):
            parts.append(f'<path d="{path}Z"/>')
            continue
        dashes = " ".join(f"{d:g}" for d in mark.style.dashes)
        dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
        end = "Z" if mark.closed else ""
        parts.append(
            f'<path d="{path}{end}" fill="none" stroke="#1d1d1b" '
            f'stroke-width="{mark.style.width_mm:g}"{dashed}/>'
        )
    return (
        f'<svg width="{width:.1f}mm" height="{height:.1f}mm" viewBox="0 0 {width:.1f} {height:.1f}" '
        f'role="img" aria-label="{_e(picture.label)}">{"".join(parts)}</svg>'
    )


def _e(text: object) -> str:
    return html.escape(str(text), quote=True)
