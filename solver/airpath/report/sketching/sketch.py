"""A side view of the box as the case draws it: spaces, what joins them, the driver; to scale where sizes are known.

The chambers stand in a row in the order in which the air reaches them from the driver. Ports and horns are drawn
outside their chambers, so that each shows where it leads; very long ones are shortened and say so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from airpath.case.schema import Case
from airpath.case.spaces import Chamber
from airpath.report.sketching.drawnspace import Box, Outlined, outlined
from airpath.report.sketching.driverdrawing import draw_driver
from airpath.report.sketching.ducts import DUCT_FILL, Duct, ducts_of
from airpath.report.sketching.joins import bridges, draw_between, draw_outward
from airpath.report.sketching.sheet import LETTER, Point, Sheet
from airpath.report.style import AIR_FILL, SOFT, WIDTH, shortened, tidy

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

OUTSIDE = "outside"
_MOST_TURNS = 20
_LONGEST = 3.0  # of the largest chamber: longer ducts are shortened
STUFFED = "#f3e6c8"


def sketch(case: Case, on: FigureBase | None = None) -> FigureBase:
    """Return the drawing of a case, ``on`` a piece of a page or as a figure of its own."""
    return sheet_of(case).figure(on)


def sheet_of(case: Case, width: float = WIDTH) -> Sheet:
    """Return the drawing of a case, ``width`` [in] wide, as shapes, lines and texts, each with the name of its part."""
    inch = 0.05
    for _ in range(_MOST_TURNS):  # texts have their own size, so the scale settles in a few turns
        sheet = Sheet(inch, width)
        _draw(case, sheet)
        before, inch = inch, sheet.scale()
        if abs(inch / before - 1) < 0.005:
            break
    sheet = Sheet(inch, width)
    _draw(case, sheet)
    return sheet


def _draw(case: Case, sheet: Sheet) -> None:
    shapes = {name: shape for name in case.chambers if (shape := outlined(case, name)) is not None}
    faces = {**_faces(case), **{name: (shape.width, shape.height) for name, shape in shapes.items()}}
    ducts = ducts_of(case, longest=_LONGEST * max([s for face in faces.values() for s in face], default=25.0))
    order = _order(case)
    boxes = _row(sheet, order, faces, shapes, ducts)
    for box in boxes.values():
        _chamber(sheet, box, case.chambers[box.name], list(boxes.values()))
    used: dict[tuple[str, str], int] = {}
    left_taken = draw_driver(case, sheet, boxes, ducts)
    for duct in sorted(ducts, key=lambda d: bridges(d, boxes, order)):
        if duct.by_driver:
            continue
        sheet.part = duct.name
        if duct.to == OUTSIDE:
            draw_outward(sheet, boxes, order, ducts, duct, used, left_taken)
        else:
            draw_between(case, sheet, boxes, order, ducts, duct, used)
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
    sheet: Sheet, order: list[str], faces: dict[str, tuple[float, float]], shapes: dict[str, Outlined],
    ducts: list[Duct],
) -> dict[str, Box]:  # fmt: skip
    boxes, x = {}, 0.0
    for i, name in enumerate(order):
        w, h = faces[name]
        boxes[name] = Box(name, x, 0.0, w, h, shapes.get(name))
        if i + 1 < len(order):
            here = [d for d in ducts if {d.start, d.to} == {name, order[i + 1]}]
            leaving = [d for d in ducts if d.start == name and _leaves_right(boxes[name], d)]
            wide = [d.shown for d in here]
            wide += [(_letters(d) * LETTER + 0.1) * sheet.inch for d in here]
            wide += [d.shown + (_letters(d) * LETTER + 0.2) * sheet.inch for d in leaving]
            x += w + max(wide, default=0.0)
    return boxes


def _letters(duct: Duct) -> int:
    return max(map(len, duct.words.split("\n")))


def _leaves_right(box: Box, duct: Duct) -> bool:
    mouth = box.mouth(duct.name)
    return duct.to == OUTSIDE and mouth is not None and mouth.side == "right"


def _chamber(sheet: Sheet, box: Box, chamber: Chamber, row: list[Box]) -> None:
    sheet.part = box.name
    if box.shape is not None:
        _outline(sheet, box, box.shape, stuffed=chamber.fill is not None)
    else:
        sheet.box(box.x, box.y, box.w, box.h, facecolor=AIR_FILL, linewidth=1.8)
    if chamber.fill is not None and box.shape is None:
        depth = box.h * chamber.fill.fraction
        sheet.box(
            box.x, box.y, box.w, depth, facecolor=STUFFED, hatch="..", edgecolor="#b39b55", linewidth=0.5
        )
        sheet.box(box.x, box.y, box.w, box.h, facecolor="none", linewidth=1.8)
    volume = chamber.known_volume if box.shape is None else box.shape.volume
    words = shortened(box.name, 18) + ("" if volume is None else f"\n{tidy(volume * 1e3)} L")
    if chamber.fill is not None:
        words += "\nstuffed"
    wide = max(map(len, words.split("\n"))) * 0.08 * sheet.inch
    inside = box.w > 1.9 * wide and box.h > 0.7 * sheet.inch and box.shape is None
    if inside:
        sheet.text(box.x + box.w * 0.58, box.y + box.h / 2, words, fontsize=9)
    else:
        mouths = box.shape.mouths.values() if box.shape else ()
        below = 0.28 if any(mouth.side == "bottom" for mouth in mouths) else 0.08
        x, ha = _beside_the_next(box, row, 0.03 * sheet.inch) if wide > box.w else (box.x + box.w / 2, "center")
        sheet.text(x, box.y - below * sheet.inch, words, fontsize=9, va="top", ha=ha)


def _beside_the_next(box: Box, row: list[Box], gap: float) -> tuple[float, str]:
    """Return where words wider than their box go, and by which end: away from a box that touches it."""
    if any(other.x + other.w == box.x for other in row):
        return box.x + gap, "left"
    if any(box.x + box.w == other.x for other in row):
        return box.x + box.w - gap, "right"
    return box.x + box.w / 2, "center"


def _outline(sheet: Sheet, box: Box, shape: Outlined, *, stuffed: bool) -> None:
    """Draw a chamber as it is drawn: air, stuffing, walls, and a light line for every opening."""

    def put(line: list[Point]) -> list[Point]:
        return [(box.x + x, box.y + y) for x, y in line]

    whole = stuffed and not shape.stuffed
    areas = ((shape.air, STUFFED if whole else AIR_FILL), (shape.stuffed, STUFFED), (shape.holes, "white"))
    for loops, colour in areas:
        for loop in map(put, loops):
            sheet.shape(loop, facecolor=colour, edgecolor="none")
    for line in map(put, shape.walls):
        sheet.stroke(line, linewidth=1.8)
    for line in (put(piece) for mouth in shape.mouths.values() for piece in mouth.pieces):
        sheet.stroke(line, linewidth=2.4, color=DUCT_FILL)
        sheet.stroke(line, linewidth=0.8, linestyle=(0, (2, 2)), zorder=3.2)


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
