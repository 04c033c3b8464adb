"""The outline of a chamber or a path: a checked closed polygon with named openings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from airpath.errors import GeometryError
from airpath.field.polygon import (
    FloatArray,
    contains,
    edges_of,
    meetings,
    project,
    signed_area,
    turned_volume,
)  # fmt: skip
from airpath.field.stuffed import check_stuffed

LENGTH_UNITS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254, "ft": 0.3048}
NARROWEST_M = 0.5e-3  # gaps below this are refused
_SNAP_M = 0.05e-3  # an opening's end may lie this far off the wall it is drawn on
_SAME_M = 1e-6  # points nearer than this are the same point
_SMALLEST_M, _LARGEST_M = 5e-3, 20.0
_MOST_POINTS = 4000

Kind = Literal["planar", "axisymmetric"]


@dataclass(frozen=True, kw_only=True)
class Outline:
    """A checked outline; build it with :func:`make_outline`. All lengths in metres.

    ``points`` (n, 2) run counter-clockwise and ``holes`` clockwise, so that the air is always on the left;
    both hold the ends of every opening as corners. Axisymmetric: x along the axis, y = radius, no depth.
    ``openings`` maps a name to its segment (2, 2). ``unit`` is the unit of the file, used in messages only.
    ``intended`` holds the intended profile of a drawn horn as it was written, ``flattened`` the largest
    distance [m] between drawn arcs and the chords that replace them. ``stuffed``: closed polygons of stuffing.
    """

    kind: Kind
    points: FloatArray
    openings: dict[str, FloatArray]
    depth: float | None = None
    holes: tuple[FloatArray, ...] = ()
    centreline: FloatArray | None = None
    intended: dict[str, str | float] = field(default_factory=dict)
    unit: str = "m"
    flattened: float = 0.0
    stuffed: tuple[FloatArray, ...] = ()

    @property
    def loops(self) -> list[FloatArray]:
        """The outer polygon and then the holes."""
        return [self.points, *self.holes]

    def area(self) -> float:
        """Return the area of the drawn section [m^2], holes taken off."""
        return sum(signed_area(loop) for loop in self.loops)

    def volume(self) -> float:
        """Return the volume of air [m^3]: area times depth, or the section turned about the axis (Pappus)."""
        if self.depth is not None:
            return self.area() * self.depth
        return sum(turned_volume(loop) for loop in self.loops)

    def opening_area(self, name: str) -> float:
        """Return the area of an opening [m^2]: length times depth, or the ring that its segment sweeps."""
        (x0, y0), (x1, y1) = self.openings[name]
        length = float(np.hypot(x1 - x0, y1 - y0))
        return length * self.depth if self.depth is not None else float(np.pi * (y0 + y1) * length)


def make_outline(
    *,
    kind: str,
    points: ArrayLike,
    openings: Mapping[str, ArrayLike],
    depth: float | None = None,
    holes: Sequence[ArrayLike] | None = None,
    centreline: ArrayLike | None = None,
    intended: dict[str, str | float] | None = None,
    unit: str = "m",
    flattened: float = 0.0,
    stuffed: Sequence[ArrayLike] | None = None,
) -> Outline:
    """Return the checked outline of points, holes and segments in metres (``unit`` only words messages).

    A clockwise polygon is turned round and a repeated closing point dropped; nothing else is repaired.
    Raises GeometryError, with coordinates in ``unit``, for anything that is not one simple closed region with
    holes inside and named openings on its boundary, and for sizes that suggest a wrong unit.
    """
    say = _Words(unit)
    shape, thickness = _check_kind(kind, depth, say)
    loops = [say.path(points, "points", 3), *(say.path(hole, "holes", 3) for hole in holes or [])]
    count = sum(map(len, loops))
    if count > _MOST_POINTS:
        raise GeometryError(f"the outline has {count} points; at most {_MOST_POINTS} can be used")
    loops = [_closed(loop, say) for loop in loops]
    _check_extent(loops[0], say)
    if shape == "axisymmetric":
        loops = [_check_radius(loop, say) for loop in loops]
    _check_simple(loops, say)
    loops = [_turned(loop, clockwise=i > 0) for i, loop in enumerate(loops)]
    segments = {name: say.path(segment, f"opening {name!r}", 2) for name, segment in openings.items()}
    loops, placed = _place_openings(loops, segments, say)
    _check_openings(placed, edges_of(loops), shape, say)
    return Outline(
        kind=shape, points=loops[0], holes=tuple(loops[1:]), openings=placed, depth=thickness, unit=unit,
        centreline=None if centreline is None else say.path(centreline, "centreline", 2),
        intended=dict(intended or {}), flattened=flattened,
        stuffed=check_stuffed([say.path(part, "stuffed", 3) for part in stuffed or []], NARROWEST_M, say.at),
    )  # fmt: skip


def brief(error: BaseException) -> str:
    """Return what a library's error says as one short line."""
    return " ".join(str(error).split())[:120] or type(error).__name__


class _Words:
    """Turns places and lengths in metres into text in the file's unit, and input into arrays."""

    def __init__(self, unit: str) -> None:
        self.unit, self.scale = unit, LENGTH_UNITS.get(unit, 1.0)

    def at(self, point: FloatArray) -> str:
        x, y = (round(float(v) / self.scale, 6) + 0.0 for v in point)
        return f"({x:g}, {y:g}) {self.unit}"

    def length(self, metres: float) -> str:
        return f"{metres / self.scale:.4g} {self.unit}"

    def path(self, values: ArrayLike, what: str, least: int) -> FloatArray:
        try:
            path = np.array(values, dtype=np.float64)
        except (TypeError, ValueError, OverflowError) as error:
            raise GeometryError(f"{what}: expected a list of [x, y] pairs of numbers") from error
        if path.ndim != 2 or path.shape[1] != 2 or len(path) < least:
            raise GeometryError(f"{what}: expected at least {least} [x, y] pairs, found shape {path.shape}")
        if not np.isfinite(path).all() or np.abs(path).max() > 1e6:
            row = int(np.argmax(~(np.abs(path) < 1e6).all(axis=1)))
            raise GeometryError(f"{what}: point {row + 1} is not a usable number: {path[row].tolist()}")
        return path


def _check_kind(kind: str, depth: float | None, say: _Words) -> tuple[Kind, float | None]:
    if kind == "planar":
        if depth is None:
            raise GeometryError('a planar outline needs its depth, for example depth = "180 mm"')
        if not 1e-3 <= depth <= _LARGEST_M:
            raise GeometryError(f"depth is {say.length(depth)}; expected 1 mm to {_LARGEST_M:g} m")
        return "planar", float(depth)
    if kind == "axisymmetric":
        if depth is not None:
            raise GeometryError("an axisymmetric outline takes no depth: it is turned about the line y = 0")
        return "axisymmetric", None
    raise GeometryError(f'kind is {kind!r}; expected "planar" or "axisymmetric"')


def _closed(loop: FloatArray, say: _Words) -> FloatArray:
    """Return the loop without a repeated closing point; refuse repeated points."""
    if len(loop) > 3 and np.linalg.norm(loop[0] - loop[-1]) < _SAME_M:
        loop = loop[:-1]
    step = np.linalg.norm(np.roll(loop, -1, axis=0) - loop, axis=1)
    if step.min() < _SAME_M:
        place = loop[int(step.argmin())]
        raise GeometryError(f"the point {say.at(place)} is given twice in a row: an edge without length")
    return loop


def _check_extent(loop: FloatArray, say: _Words) -> None:
    extent = float(np.ptp(loop, axis=0).max())
    if not _SMALLEST_M <= extent <= _LARGEST_M:
        hint = '"m" meant' if extent < _SMALLEST_M else '"mm" meant'
        raise GeometryError(
            f"the outline is {extent:.4g} m across (unit {say.unit!r}), from {say.at(loop.min(axis=0))} to "
            f"{say.at(loop.max(axis=0))}; expected {_SMALLEST_M * 1e3:g} mm to {_LARGEST_M:g} m: "
            f"is unit = {hint}?"
        )


def _check_radius(loop: FloatArray, say: _Words) -> FloatArray:
    snapped = loop.copy()
    snapped[np.abs(snapped[:, 1]) < _SAME_M, 1] = 0.0
    if snapped[:, 1].min() < 0.0:
        place = loop[int(loop[:, 1].argmin())]
        raise GeometryError(
            f"the axisymmetric outline goes below its axis at {say.at(place)}: y is a radius, 0 or more"
        )
    return snapped


def _check_simple(loops: list[FloatArray], say: _Words) -> None:
    for meeting in meetings(loops, NARROWEST_M):
        if meeting.distance == 0.0:
            raise GeometryError(f"the outline crosses, touches or folds onto itself at {say.at(meeting.place)}")
        raise GeometryError(
            f"the outline comes within {say.length(meeting.distance)} of itself at {say.at(meeting.place)}; "
            f"gaps and walls under {say.length(NARROWEST_M)} are not modelled: close the gap or draw it wider"
        )
    for i, hole in enumerate(loops[1:], start=1):
        if not contains(loops[0], hole[0]):
            raise GeometryError(f"the hole at {say.at(hole[0])} lies outside the outline")
        if any(contains(other, hole[0]) for j, other in enumerate(loops[1:], start=1) if j != i):
            raise GeometryError(f"the hole at {say.at(hole[0])} lies inside another hole")


def _turned(loop: FloatArray, *, clockwise: bool) -> FloatArray:
    return loop[::-1].copy() if (signed_area(loop) < 0.0) != clockwise else loop


def _place_openings(
    loops: list[FloatArray], segments: dict[str, FloatArray], say: _Words
) -> tuple[list[FloatArray], dict[str, FloatArray]]:
    """Return the loops with every opening's ends as corners, and the openings moved onto them."""
    if not segments:
        raise GeometryError("the outline has no named opening: nothing can be joined to it")
    placed = {}
    for name, segment in segments.items():
        if not name.strip():
            raise GeometryError(f"the opening from {say.at(segment[0])} has an empty name")
        if len(segment) != 2:
            raise GeometryError(f"opening {name!r}: expected [[x1, y1], [x2, y2]], found {len(segment)} points")
        if np.linalg.norm(segment[1] - segment[0]) < NARROWEST_M:
            raise GeometryError(f"opening {name!r} at {say.at(segment[0])} is under {say.length(NARROWEST_M)} long")
        ends = []
        for end in segment:
            loops, corner = _insert(loops, end, name, say)
            ends.append(corner)
        placed[name] = np.array(ends)
    return loops, placed


def _insert(loops: list[FloatArray], end: FloatArray, name: str, say: _Words) -> tuple[list[FloatArray], FloatArray]:
    edges = edges_of(loops)
    distance, fraction = project(end, edges)
    k = int(distance.argmin())
    if distance[k] > _SNAP_M:
        raise GeometryError(
            f"opening {name!r}: its end {say.at(end)} is {say.length(float(distance[k]))} away from the "
            "outline; an opening lies on the boundary"
        )
    start, stop = edges[k]
    length = float(np.linalg.norm(stop - start))
    for corner, gap in ((start, fraction[k] * length), (stop, (1.0 - fraction[k]) * length)):
        if gap <= _SNAP_M:
            return loops, corner
    point = start + fraction[k] * (stop - start)
    for i, loop in enumerate(loops):
        if k < len(loop):
            return [*loops[:i], np.insert(loop, k + 1, point, axis=0), *loops[i + 1 :]], point
        k -= len(loop)
    raise AssertionError("every edge belongs to a loop")


def edges_on(segment: FloatArray, edges: FloatArray) -> NDArray[np.bool_]:
    """Return which ``edges`` (n, 2, 2) lie on ``segment`` (2, 2), as n booleans (within 0.05 mm)."""
    along, own = edges[:, 1] - edges[:, 0], segment[1] - segment[0]
    aligned = np.abs(along @ own) > 0.9 * np.linalg.norm(along, axis=1) * np.linalg.norm(own)
    both = np.maximum(*(project(edges[:, end], segment[None])[0] for end in (0, 1)))
    return np.asarray(aligned & (both <= _SNAP_M))


def _check_openings(placed: dict[str, FloatArray], edges: FloatArray, kind: Kind, say: _Words) -> None:
    names = list(placed)
    for i, name in enumerate(names):
        segment = placed[name]
        if kind == "axisymmetric" and not segment[:, 1].any():
            raise GeometryError(f"opening {name!r} lies on the axis at {say.at(segment[0])}: it has no area")
        own = edges[edges_on(segment, edges)]
        covered = float(np.linalg.norm(own[:, 1] - own[:, 0], axis=1).sum())
        if abs(covered - float(np.linalg.norm(segment[1] - segment[0]))) > 4.0 * _SNAP_M:
            raise GeometryError(
                f"opening {name!r} {say.at(segment[0])} to {say.at(segment[1])}, leaves the outline between"
            )
        for other in names[:i]:
            shared = _overlap(segment, placed[other])
            if shared is not None:
                raise GeometryError(f"openings {other!r} and {name!r} overlap: {say.at(shared)}")


def _overlap(a: FloatArray, b: FloatArray) -> FloatArray | None:
    """Return the middle of the stretch that two segments share, or None."""
    along = (a[1] - a[0]) / np.linalg.norm(a[1] - a[0])
    off = np.abs((b - a[0]) @ np.array([-along[1], along[0]]))
    if off.max() > _SNAP_M:
        return None
    own, others = np.sort((a - a[0]) @ along), np.sort((b - a[0]) @ along)
    low, high = max(own[0], others[0]), min(own[1], others[1])
    return a[0] + 0.5 * (low + high) * along if high - low > _SNAP_M else None
