"""The driver on the sketch, between the spaces that its two sides face, with the horns that it feeds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from airpath.case.schema import Case
from airpath.network.horns import horn_way
from airpath.report.sketching.ducts import Duct
from airpath.report.sketching.sheet import Sheet
from airpath.report.style import INK, SOFT, tidy

if TYPE_CHECKING:
    from airpath.report.sketching.drawnspace import Box

DRIVER = "driver"
_CONE, _MAGNET = "#f7f2e4", "#55606b"


def draw_driver(case: Case, sheet: Sheet, boxes: dict[str, Box], ducts: list[Duct]) -> bool:
    """Draw the driver and the horns that it feeds; return whether it takes the left wall of the first chamber."""
    sheet.part = DRIVER
    driver = case.driver
    radius = math.sqrt(driver.Sd / math.pi)
    fed = {duct.name: duct for duct in ducts if duct.by_driver}
    words = f"driver{f', {driver.count} of them' if driver.count > 1 else ''}\n{tidy(driver.Sd * 1e4)} cm²"
    inside = [space for space in (driver.rear, driver.front) if space in boxes]
    if len(inside) == 2 and inside[0] != inside[1]:
        a, b = boxes[inside[0]], boxes[inside[1]]
        y, half = in_gap(case, boxes)
        x = a.x + a.w
        if b.x - x > 0:  # the second chamber reaches through the gap to the cone
            sheet.box(x, y - half, b.x - x, 2 * half, facecolor="#e3edf4")
        _symbol(sheet, x, y, half, facing=1)
        sheet.stroke([(x, y - half), (x, -0.56 * sheet.inch)], color=SOFT, linewidth=0.6)  # past the chambers' names
        sheet.text(x, -0.6 * sheet.inch, words, va="top")
        return False
    if driver.front == driver.rear and driver.front in fed:
        _tapped(case, sheet, fed[driver.front], radius, words)
        return True
    box = boxes[inside[0]] if inside else None
    half = min(radius, box.h * 0.42) if box else radius
    y = box.h / 2 if box else 0.0
    mouth = box.mouth(DRIVER) if box else None
    if mouth is not None and mouth.side == "left":
        y = mouth.at[1]
    elif mouth is not None:
        sheet.stroke([(0.0, y), mouth.at], color=SOFT, linewidth=0.9, linestyle=(0, (4, 3)))
    to_horn = box is None and driver.rear not in fed and driver.front in fed
    facing = 1 if to_horn or (box is not None and driver.front == box.name) else -1
    right, left = (driver.front, driver.rear) if facing == 1 else (driver.rear, driver.front)
    for space, way in ((right, 1), (left, -1)):
        if space in fed:
            _fed(sheet, fed[space], y, way, boxes)
    if box is None and right not in fed:
        sheet.stroke([(0, y - 2.2 * half), (0, y + 2.2 * half)], linewidth=2)
    _symbol(sheet, 0.0, y, half, facing)
    if box is not None and left not in fed:
        sheet.text(-0.1 * sheet.inch, y, words, ha="right")
        return True
    near = [_half_at(fed[s], 0.75 * sheet.inch) for s in (left, right) if s in fed]
    under = y - max([half, *near]) - 0.06 * sheet.inch
    if box is None:
        sheet.text(0.0, under, words, va="top")
    else:
        sheet.text(-0.08 * sheet.inch, under, words, va="top", ha="right")
    return True


def in_gap(case: Case, boxes: dict[str, Box]) -> tuple[float, float]:
    """Return height and half width [m] of a driver between two chambers; half width 0 if it isn't."""
    rear, front = boxes.get(case.driver.rear), boxes.get(case.driver.front)
    if rear is None or front is None or rear == front:
        return 0.0, 0.0
    low = min(rear.h, front.h)
    half = min(math.sqrt(case.driver.Sd / math.pi), 0.4 * low)
    return half + 0.06 * low, half


def _fed(sheet: Sheet, horn: Duct, y: float, way: int, boxes: dict[str, Box]) -> None:
    """Draw a horn whose throat is at the driver."""
    horn.draw(sheet, (0.0, y), (way, 0))
    ha = "left" if way == 1 else "right"
    words = horn.words if horn.to not in boxes else f"{horn.words}\ninto {horn.to}"
    sheet.text(way * (horn.shown + 0.1 * sheet.inch), y, words, ha=ha)
    sheet.part = DRIVER


def _tapped(case: Case, sheet: Sheet, horn: Duct, radius: float, words: str) -> None:
    """Draw a driver under a duct that both of its sides meet at their distances from the throat."""
    driver = case.driver
    length = horn_way(case, horn.name).length
    horn.draw(sheet, (0.0, 0.0), (1, 0))
    sheet.stroke([(0.0, horn.halves[0]), (0.0, -horn.halves[0])], linewidth=2)
    sheet.text(horn.shown + 0.1 * sheet.inch, 0.0, horn.words, ha="left")
    sheet.part = DRIVER
    front, rear = ((a or 0.0) / length * horn.shown for a in (driver.front_along, driver.rear_along))
    y = -horn.half - radius - 0.25 * sheet.inch
    middle = (front + rear) / 2
    facing = 1 if front > rear else -1
    for x, side in ((front, "front"), (rear, "rear")):
        sheet.stroke([(middle, y), (x, y), (x, -_half_at(horn, x))], linewidth=1.0, linestyle=(0, (4, 2)))
        sheet.text(x, y - 0.05 * sheet.inch, side, va="top", fontsize=7.5)
    _symbol(sheet, middle, y, radius, facing)
    sheet.text(middle, y - radius - 0.08 * sheet.inch, words, va="top")


def _half_at(horn: Duct, x: float) -> float:
    import numpy as np

    return float(np.interp(x, horn.along, horn.halves))


def _symbol(sheet: Sheet, x: float, y: float, half: float, facing: int) -> None:
    """Draw a cone whose rim is at x and that opens to the right (1) or left (-1)."""
    deep = -facing * 0.55 * half
    coil = 0.32 * half
    sheet.shape(
        [(x, y + half), (x + deep, y + coil), (x + deep, y - coil), (x, y - half)], facecolor=_CONE, zorder=2.5
    )
    back = x + deep - facing * 0.4 * half
    edges = (min(back, x + deep), abs(back - x - deep))
    sheet.shape(
        [(edges[0], y - 1.7 * coil), (edges[0] + edges[1], y - 1.7 * coil), (edges[0] + edges[1], y + 1.7 * coil),
         (edges[0], y + 1.7 * coil)], facecolor=_MAGNET, zorder=2.6,
    )  # fmt: skip
    sheet.stroke([(x, y - half), (x, y + half)], color=INK, linewidth=2.6)
