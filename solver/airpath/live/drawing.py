"""The box as a drawing in the page whose parts can be picked, and whose openings can be shut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from airpath.case.schema import Case
from airpath.report.sketching.ducts import END
from airpath.report.sketching.sheet import Point, Sheet
from airpath.report.sketching.sketch import sheet_of

_WIDTH = 4.2  # in: beside the curves its letters are still read
_DOTS = 96.0  # px per inch of the sheet
_POINT = _DOTS / 72.0  # px per pt, the unit of line widths and letters
_ANCHOR = {"left": "start", "center": "middle", "right": "end"}
_REACH = 18.0  # px around a line in which a finger still finds it
_STUFFING = (
    '<defs><pattern id="stuffing" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" fill="#f3e6c8"/><circle cx="3" cy="3" r="1" fill="#b39b55"/></pattern></defs>'
)


def drawing(case: Case, words: Mapping[str, str]) -> str:
    """Return the sketch of a case as SVG; each part is a group with ``data-part``, each shuttable end ``data-shut``.

    ``words``: what each part is, for those who can't see it.
    """
    sheet = sheet_of(case, _WIDTH)
    left, right, low, high = sheet.extent()
    scale = _DOTS / sheet.inch
    margin = 10.0
    box = (left * scale - margin, -high * scale - margin, (right - left) * scale + 2 * margin,
           (high - low) * scale + 2 * margin)  # fmt: skip
    groups: dict[str, list[str]] = {}
    for points, style, part in sheet.shapes:
        groups.setdefault(part, []).append(_shape(points, style, scale))
    for points, style, part in sheet.strokes:
        groups.setdefault(part, []).append(_stroke(points, style, scale))
    for x, y, text, style, part in sheet.texts:
        groups.setdefault(part, []).append(_text(x * scale, -y * scale, text, style))
    ends = {part for part in groups if part.endswith(END)}
    inner = [_group(part, "".join(groups[part]), words) for part in groups if part not in ends]
    inner += [_end(case, part.removesuffix(END), "".join(groups[part]), _reach(sheet, part, scale)) for part in ends]
    view = " ".join(f"{value:.1f}" for value in box)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}" role="group" '
        f'aria-label="The box, seen from the side" style="max-width: {box[2] * 1.25:.0f}px">'
        f'{_STUFFING}{"".join(inner)}</svg>'
    )


def _group(part: str, inner: str, words: Mapping[str, str]) -> str:
    if part not in words:
        return f"<g>{inner}</g>"
    label = escape(words[part])
    return (
        f'<g class="part" data-part="{escape(part)}" tabindex="0" role="button" aria-pressed="false" '
        f'aria-label="{label}"><title>{label}</title>{inner}</g>'
    )


def _end(case: Case, name: str, inner: str, reach: str) -> str:
    """Return the end of a duct; that of a port is a switch that shuts it."""
    if name not in case.ports:
        return f"<g>{inner}</g>"
    port = case.ports[name]
    label = escape(f"port {name} shut at its end to {port.to}")
    return (
        f'<g class="shut" data-shut="{escape(name)}" tabindex="0" role="switch" '
        f'aria-checked="{str(port.covered).lower()}" aria-label="{label}">'
        f"<title>{'open' if port.covered else 'shut'} {escape(name)}</title>{reach}{inner}</g>"
    )


def _reach(sheet: Sheet, part: str, scale: float) -> str:
    """Return an unseen field around a part's lines."""
    points = [p for drawn, _, own in sheet.strokes if own == part for p in drawn]
    xs, ys = [x * scale for x, _ in points], [-y * scale for _, y in points]
    w, h = max(xs) - min(xs) + _REACH, max(ys) - min(ys) + _REACH
    return (
        f'<rect class="reach" x="{min(xs) - _REACH / 2:.1f}" y="{min(ys) - _REACH / 2:.1f}" width="{w:.1f}" '
        f'height="{h:.1f}" rx="6"/>'
    )


def _path(points: Sequence[Point], scale: float) -> str:
    return "M" + "L".join(f"{x * scale:.1f} {-y * scale:.1f}" for x, y in points)


def _shape(points: Sequence[Point], style: Mapping[str, Any], scale: float) -> str:
    fill = "url(#stuffing)" if "hatch" in style else style["facecolor"]
    return f'<path d="{_path(points, scale)}Z" fill="{fill}"{_line(style, style["edgecolor"])}/>'


def _stroke(points: Sequence[Point], style: Mapping[str, Any], scale: float) -> str:
    return f'<path d="{_path(points, scale)}" fill="none"{_line(style, style["color"])}/>'


def _line(style: Mapping[str, Any], colour: str) -> str:
    if colour == "none":
        return ""
    width = style["linewidth"] * _POINT
    dashes = style.get("linestyle", "solid")
    dash = "" if isinstance(dashes, str) else " ".join(f"{part * width:.1f}" for part in dashes[1])
    return f' stroke="{colour}" stroke-width="{width:.2f}"' + (f' stroke-dasharray="{dash}"' if dash else "")


def _text(x: float, y: float, words: str, style: Mapping[str, Any]) -> str:
    size = style["fontsize"] * _POINT
    lines, step = words.split("\n"), 1.25 * size
    top = {"top": 0.0, "center": -len(lines) / 2, "bottom": -float(len(lines))}[style["va"]]
    y += top * step + 0.8 * size
    rows = "".join(f'<tspan x="{x:.1f}" y="{y + i * step:.1f}">{escape(row)}</tspan>' for i, row in enumerate(lines))
    slant = ' font-style="italic"' if style.get("style") == "italic" else ""
    colour = style.get("color", "#1c2733")
    return f'<text text-anchor="{_ANCHOR[style["ha"]]}" font-size="{size:.1f}" fill="{colour}"{slant}>{rows}</text>'
