"""Ports and horns in their places on the sketch: to the outside, between neighbours, and over the top of others."""

from __future__ import annotations

from airpath.case.schema import Case
from airpath.report.sketching.drawnspace import Box, Mouth
from airpath.report.sketching.driverdrawing import in_gap
from airpath.report.sketching.ducts import Duct
from airpath.report.sketching.sheet import LINE, Point, Sheet
from airpath.report.style import AIR_FILL, SOFT

_OUTSIDE = "outside"
_WAYS = {"left": (-1, 0), "right": (1, 0), "top": (0, 1), "bottom": (0, -1)}


def _stacked(box: Box, mine: list[Duct], index: int) -> tuple[float, float]:
    """Return the height [m] of a duct on a wall that others share, and the factor by which all are squeezed."""
    widths = [2 * d.half for d in mine]
    squeeze = min(1.0, 0.9 * box.h / sum(widths))
    gap = (box.h - squeeze * sum(widths)) / (len(mine) + 1)
    return box.y + (index + 1) * gap + squeeze * (sum(widths[:index]) + widths[index] / 2), squeeze


def _label_heights(sheet: Sheet, places: list[float], mine: list[Duct]) -> list[float]:
    """Return heights [m] at which the labels of stacked ducts are apart, around the middle of their ducts."""
    tall = [(d.words.count("\n") + 1) * LINE * sheet.inch + 0.06 * sheet.inch for d in mine]
    out: list[float] = []
    for i, place in enumerate(places):
        least = out[-1] + (tall[i - 1] + tall[i]) / 2 if out else place
        out.append(max(place, least))
    back = (sum(out) - sum(places)) / len(out)
    return [height - back for height in out]


def draw_outward(
    sheet: Sheet, boxes: dict[str, Box], order: list[str], ducts: list[Duct], duct: Duct,
    used: dict[tuple[str, str], int], left_taken: bool,
) -> None:  # fmt: skip
    """Draw a duct to the outside: from the last chamber to the right, from the first to the left if that is free."""
    box = boxes[duct.start]
    mouth = box.mouth(duct.name)
    if mouth is not None:
        _at_mouth(sheet, duct, mouth)
        return
    side = "right" if duct.start == order[-1] else "left" if duct.start == order[0] and not left_taken else "top"
    mine = [d for d in ducts if d.start == duct.start and d.to == _OUTSIDE and not d.by_driver]
    index = used.get((duct.start, side), 0)
    used[duct.start, side] = index + 1
    if side == "top":
        x = box.x + box.w * (index + 1) / (len(mine) + 1)
        duct.draw(sheet, (x, box.y + box.h), (0, 1))
        lift = 0.06 + 0.36 * (len(mine) - 1 - index)
        if lift > 0.1:
            top = box.y + box.h + duct.shown
            sheet.stroke([(x, top), (x, top + lift * sheet.inch)], color=SOFT, linewidth=0.6)
        sheet.text(x, box.y + box.h + duct.shown + lift * sheet.inch, duct.words, va="bottom")
        return
    sign = 1 if side == "right" else -1
    y, squeeze = _stacked(box, mine, index)
    start = (box.x + box.w if side == "right" else box.x, y)
    duct.draw(sheet, start, (sign, 0), squeeze=squeeze)
    at, height = start[0] + sign * (duct.shown + 0.1 * sheet.inch), y
    if len(mine) > 1:
        height = _label_heights(sheet, [_stacked(box, mine, i)[0] for i in range(len(mine))], mine)[index]
        at = start[0] + sign * (max(d.shown for d in mine) + 0.22 * sheet.inch)
        ends = [(start[0] + sign * (duct.shown + 0.06 * sheet.inch), y), (at - sign * 0.04 * sheet.inch, height)]
        sheet.stroke(ends, color=SOFT, linewidth=0.6)
    sheet.text(at, height, duct.words, ha="left" if side == "right" else "right")


def _at_mouth(sheet: Sheet, duct: Duct, mouth: Mouth) -> None:
    """Draw a duct to the outside from where a drawn chamber has its opening."""
    (x, y), (right, up) = mouth.at, _WAYS[mouth.side]
    duct.draw(sheet, mouth.at, (right, up))
    reach = duct.shown + 0.08 * sheet.inch
    ha, va = {1: "left", -1: "right", 0: "center"}[right], {1: "bottom", -1: "top", 0: "center"}[up]
    sheet.text(x + right * reach, y + up * reach, duct.words, ha=ha, va=va)


def bridges(duct: Duct, boxes: dict[str, Box], order: list[str]) -> bool:
    """Whether a duct between chambers leads over the top: they are no neighbours, or it leaves by another wall."""
    if not {duct.start, duct.to} <= set(order):
        return False
    first, second = sorted((duct.start, duct.to), key=order.index)
    if order.index(second) - order.index(first) > 1:
        return True
    a, b = boxes[first], boxes[second]
    near, far = a.mouth(duct.name), b.mouth(duct.name)
    heights = {mouth.at[1] for mouth in (near, far) if mouth is not None}
    return (
        (near is not None and near.side != "right") or (far is not None and far.side != "left")
        or len(heights) > 1 or any(y > min(a.h, b.h) for y in heights)
    )  # fmt: skip


def _up(sheet: Sheet, box: Box, mouth: Mouth | None, share: float, high: float) -> list[Point]:
    """Return the way from an opening, or from a share of the top wall, up to a height."""
    if mouth is None:
        return [(box.x + box.w * share, box.y + box.h), (box.x + box.w * share, high)]
    (x, y), (right, up), aside = mouth.at, _WAYS[mouth.side], 0.12 * sheet.inch
    if mouth.side == "bottom":
        wall = box.x + box.w + aside
        return [(x, y), (x, y - aside), (wall, y - aside), (wall, high)]
    return [(x, y), (x + right * aside, y), (x + right * aside, high)] if not up else [(x, y), (x, high)]


def draw_between(
    case: Case, sheet: Sheet, boxes: dict[str, Box], order: list[str], ducts: list[Duct], duct: Duct,
    used: dict[tuple[str, str], int],
) -> None:  # fmt: skip
    """Draw a duct between two chambers: straight if they are neighbours, else over the top of those between them."""
    first, second = sorted((duct.start, duct.to), key=order.index)
    a, b = boxes[first], boxes[second]
    key = (first, second)
    index = used.get(key, 0)
    used[key] = index + 1
    near, far = a.mouth(duct.name), b.mouth(duct.name)
    if bridges(duct, boxes, order):
        high = sheet.extent()[3] + 0.15 * sheet.inch
        one, other = _up(sheet, a, near, 0.8, high), _up(sheet, b, far, 0.2, high)
        path, xs = [*one, *reversed(other)], (one[-1][0], other[-1][0])
        sheet.stroke(path, linewidth=6.5, solid_capstyle="butt")
        sheet.stroke(path, linewidth=4.0, color=AIR_FILL, solid_capstyle="projecting", zorder=3.1)
        sheet.text(sum(xs) / 2, high + 0.07 * sheet.inch, duct.words, va="bottom")
        duct.mark_end(sheet, (other if duct.to == second else one)[0], 0.06 * sheet.inch)
        return
    mine = [d for d in ducts if {d.start, d.to} == {first, second}]
    foot = sum(in_gap(case, boxes)) if {first, second} == {case.driver.front, case.driver.rear} else 0.0
    wall = Box(first, a.x, foot, a.w, min(a.h, b.h) - foot)
    y, squeeze = _stacked(wall, mine, index)
    for mouth in (near, far):
        y = y if mouth is None else mouth.at[1]
    gap = b.x - a.x - a.w
    forward = duct.start == first
    start = (a.x + a.w, y) if forward else (b.x, y)
    duct.draw(sheet, start, (1, 0) if forward else (-1, 0), gap=gap, squeeze=squeeze)
    sheet.text(a.x + a.w + gap / 2, y + duct.half * squeeze + 0.05 * sheet.inch, duct.words, va="bottom")
