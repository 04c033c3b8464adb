"""A side view of the box as the case draws it: spaces, what joins them, the driver; to scale where sizes are known.

The chambers stand in a row in the order in which the air reaches them from the driver. Ports and horns are drawn
outside their chambers, so that each shows where it leads; very long ones are shortened and say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from airpath.case.schema import Case
from airpath.case.spaces import Chamber
from airpath.report.driverdrawing import draw_driver, in_gap
from airpath.report.ducts import Duct, ducts_of
from airpath.report.sheet import LETTER, LINE, Sheet
from airpath.report.style import SOFT, shortened, tidy

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

OUTSIDE = "outside"
_MOST_TURNS = 20
_LONGEST = 3.0  # of the largest chamber: longer ducts are shortened
AIR_FILL, STUFFED = "#e3edf4", "#f3e6c8"


@dataclass(frozen=True)
class Box:
    """A chamber on the sheet [m]."""

    name: str
    x: float
    y: float
    w: float
    h: float


def sketch(case: Case, on: FigureBase | None = None) -> FigureBase:
    """Return the drawing of a case, ``on`` a piece of a page or as a figure of its own."""
    return sheet_of(case).figure(on)


def sheet_of(case: Case) -> Sheet:
    """Return the drawing of a case as shapes, lines and texts, each with the name of its part."""
    inch = 0.05
    for _ in range(_MOST_TURNS):  # texts have their own size, so the scale settles in a few turns
        sheet = Sheet(inch)
        _draw(case, sheet)
        before, inch = inch, sheet.scale()
        if abs(inch / before - 1) < 0.005:
            break
    sheet = Sheet(inch)
    _draw(case, sheet)
    return sheet


def _draw(case: Case, sheet: Sheet) -> None:
    faces = _faces(case)
    ducts = ducts_of(case, longest=_LONGEST * max([s for face in faces.values() for s in face], default=25.0))
    order = _order(case)
    boxes = _row(case, sheet, order, faces, ducts)
    for box in boxes.values():
        _chamber(sheet, box, case.chambers[box.name])
    used: dict[tuple[str, str], int] = {}
    left_taken = draw_driver(case, sheet, boxes, ducts)
    for duct in sorted(ducts, key=lambda d: _bridges(d, order)):
        if duct.by_driver:
            continue
        sheet.part = duct.name
        if duct.to == OUTSIDE:
            _outward(case, sheet, boxes, order, ducts, duct, used, left_taken)
        else:
            _between(case, sheet, boxes, order, ducts, duct, used)
    _leaks(case, sheet, boxes)
    _surroundings(case, sheet)


def _faces(case: Case) -> dict[str, tuple[float, float]]:
    """Return width and height [m] of each chamber as seen from the side that shows its longest edge."""
    volumes = [c.known_volume or 0.01 for c in case.chambers.values() if c.size is None]
    largest = max(volumes, default=1.0)
    faces = {}
    for name, chamber in case.chambers.items():
        if chamber.size is None:
            side = largest ** (1 / 3) * ((chamber.known_volume or 0.01) / largest) ** 0.5
            faces[name] = (side, side)
        else:
            x, y, z = chamber.size
            faces[name] = (z, y) if max(z, y) > x and z > x else (x, z) if z > y else (x, y)
    return faces


def _order(case: Case) -> list[str]:
    """Return the chambers in the order in which the driver's air reaches them."""
    driver = case.driver
    order = [s for s in (driver.rear, driver.front) if s in case.chambers]
    order = list(dict.fromkeys(order))
    links = [(horn.from_, horn.to) for horn in case.horns.values()]
    links += [(port.from_, port.to) for port in case.ports.values()]
    links += [(o, case.horns[o].to) for o in (driver.front, driver.rear) if o in case.horns]
    seen = [*order, *(s for s in (driver.front, driver.rear) if s in case.horns)]
    for space in seen:
        for a, b in links:
            for start, end in ((a, b), (b, a)):
                if start == space and end in case.chambers and end not in seen:
                    seen.append(end)
    found = [s for s in seen if s in case.chambers]
    return [*found, *(name for name in case.chambers if name not in found)]


def _row(
    case: Case, sheet: Sheet, order: list[str], faces: dict[str, tuple[float, float]], ducts: list[Duct]
) -> dict[str, Box]:
    boxes, x = {}, 0.0
    for i, name in enumerate(order):
        w, h = faces[name]
        boxes[name] = Box(name, x, 0.0, w, h)
        if i + 1 < len(order):
            here = [d for d in ducts if {d.start, d.to} == {name, order[i + 1]}]
            wide = max((d.shown for d in here), default=0.0)
            letters = max((len(row) for d in here for row in d.words.split("\n")), default=0)
            x += w + max(wide, letters * LETTER * sheet.inch + 0.1 * sheet.inch if here else 0.0)
    return boxes


def _chamber(sheet: Sheet, box: Box, chamber: Chamber) -> None:
    sheet.part = box.name
    sheet.box(box.x, box.y, box.w, box.h, facecolor=AIR_FILL, linewidth=1.8)
    if chamber.fill is not None:
        depth = box.h * chamber.fill.fraction
        sheet.box(
            box.x, box.y, box.w, depth, facecolor=STUFFED, hatch="..", edgecolor="#b39b55", linewidth=0.5
        )
        sheet.box(box.x, box.y, box.w, box.h, facecolor="none", linewidth=1.8)
    volume = chamber.known_volume
    words = shortened(box.name, 18) + ("" if volume is None else f"\n{tidy(volume * 1e3)} L")
    if chamber.fill is not None:
        words += "\nstuffed"
    wide = max(map(len, words.split("\n"))) * 0.08 * sheet.inch
    inside = box.w > 1.9 * wide and box.h > 0.7 * sheet.inch
    if inside:
        sheet.text(box.x + box.w * 0.58, box.y + box.h / 2, words, fontsize=9)
    else:
        sheet.text(box.x + box.w / 2, box.y - 0.08 * sheet.inch, words, fontsize=9, va="top")


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


def _outward(
    case: Case, sheet: Sheet, boxes: dict[str, Box], order: list[str], ducts: list[Duct], duct: Duct,
    used: dict[tuple[str, str], int], left_taken: bool,
) -> None:  # fmt: skip
    """Draw a duct to the outside: from the last chamber to the right, from the first to the left if that is free."""
    box = boxes[duct.start]
    side = "right" if duct.start == order[-1] else "left" if duct.start == order[0] and not left_taken else "top"
    mine = [d for d in ducts if d.start == duct.start and d.to == OUTSIDE and not d.by_driver]
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


def _bridges(duct: Duct, order: list[str]) -> bool:
    """Whether a duct joins chambers that are not neighbours."""
    return {duct.start, duct.to} <= set(order) and abs(order.index(duct.start) - order.index(duct.to)) > 1


def _between(
    case: Case, sheet: Sheet, boxes: dict[str, Box], order: list[str], ducts: list[Duct], duct: Duct,
    used: dict[tuple[str, str], int],
) -> None:  # fmt: skip
    """Draw a duct between two chambers: straight if they are neighbours, else over the top of those between them."""
    first, second = sorted((duct.start, duct.to), key=order.index)
    a, b = boxes[first], boxes[second]
    key = (first, second)
    index = used.get(key, 0)
    used[key] = index + 1
    if _bridges(duct, order):
        high = sheet.extent()[3] + 0.15 * sheet.inch
        xs = (a.x + a.w * 0.8, b.x + b.w * 0.2)
        path = [(xs[0], a.h), (xs[0], high), (xs[1], high), (xs[1], b.h)]
        sheet.stroke(path, linewidth=6.5, solid_capstyle="butt")
        sheet.stroke(path, linewidth=4.0, color=AIR_FILL, solid_capstyle="projecting", zorder=3.1)
        sheet.text(sum(xs) / 2, high + 0.07 * sheet.inch, duct.words, va="bottom")
        return
    mine = [d for d in ducts if {d.start, d.to} == {first, second}]
    foot = sum(in_gap(case, boxes)) if {first, second} == {case.driver.front, case.driver.rear} else 0.0
    wall = Box(first, a.x, foot, a.w, min(a.h, b.h) - foot)
    y, squeeze = _stacked(wall, mine, index)
    gap = b.x - a.x - a.w
    forward = duct.start == first
    start = (a.x + a.w, y) if forward else (b.x, y)
    duct.draw(sheet, start, (1, 0) if forward else (-1, 0), gap=gap, squeeze=squeeze)
    sheet.text(a.x + a.w + gap / 2, y + duct.half * squeeze + 0.05 * sheet.inch, duct.words, va="bottom")


def _leaks(case: Case, sheet: Sheet, boxes: dict[str, Box]) -> None:
    for name, box in boxes.items():
        leak = case.chambers[name].leak
        if leak is not None:
            sheet.part = name
            x, y = box.x + box.w * 0.85, box.y
            sheet.stroke([(x - 0.05 * sheet.inch, y), (x + 0.05 * sheet.inch, y)], color="white", linewidth=3)
            sheet.stroke([(x, y + 0.08 * sheet.inch), (x, y - 0.12 * sheet.inch)], color=SOFT, linewidth=0.9)
            sheet.text(x, y - 0.16 * sheet.inch, f"leak ⌀{tidy(leak.diameter * 1e3)} mm", va="top", fontsize=7.5)


def _surroundings(case: Case, sheet: Sheet) -> None:
    sheet.part = ""
    left, right, low, high = sheet.extent()
    words = "outside"
    if case.room is not None:
        edge = 0.12 * sheet.inch
        sheet.box(
            left - edge, low - edge, right - left + 2 * edge, high - low + 2 * edge,
            facecolor="none", edgecolor=SOFT, linestyle=(0, (5, 3)),
        )  # fmt: skip
        words = f"outside: a room of {tidy(case.room.known_volume)} m³"
    sheet.text(left, high + 0.16 * sheet.inch, words, ha="left", va="bottom", style="italic", color=SOFT)
