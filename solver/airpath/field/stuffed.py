"""Stuffed parts of an outline: closed polygons over the air, and a mesh whose cells keep to their edges."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.errors import GeometryError
from airpath.field.polygon import FloatArray, meetings

IntArray = NDArray[np.int64]

_FINER = 0.5  # cells in stuffing against those in air: sound is slower there
_LEAST = 1e-4  # of the outline's area: a stuffed part smaller than this is outside, or a slip of the hand


def check_stuffed(polygons: list[FloatArray], narrowest: float, at: Any) -> tuple[FloatArray, ...]:
    """Return stuffed polygons [m]; ``at`` words a place. Raises GeometryError for one that crosses itself."""
    for polygon in polygons:
        crossing = next(meetings([polygon], narrowest), None)
        if crossing is not None:
            raise GeometryError(f"the stuffed part crosses or touches itself at {at(crossing.place)}")
    return tuple(polygons)


def stuffed_cells(
    loops: list[FloatArray], polygons: tuple[FloatArray, ...], corners: FloatArray, *, cell: float, grading: float,
    at: Any,
) -> tuple[FloatArray, IntArray, IntArray]:  # fmt: skip
    """Return points (2, n), triangles (3, m) and which of them are stuffed.

    ``loops``: the outline and its holes; ``corners``: the largest cell [m] at each of their points, as for the plain
    mesh; ``at`` words a place. Raises GeometryError if a polygon lies outside the air.
    """
    from netgen.occ import Glue, OCCGeometry

    air = _face(loops[0])
    for hole in loops[1:]:
        air = air - _face(hole)
    whole = _area(air)
    parts = [_face(polygon) * air for polygon in polygons]
    for polygon, part in zip(polygons, parts, strict=True):
        if _area(part) < _LEAST * whole:
            raise GeometryError(f"the stuffed part at {at(polygon.mean(axis=0))} lies outside the outline")
    stuffed = parts[0]
    for part in parts[1:]:
        stuffed = stuffed + part
    rest = air - stuffed
    covered = _area(rest) < _LEAST * whole
    shape = stuffed if covered else Glue([rest, stuffed])
    fine = {_key(point): size for point, size in zip(np.concatenate(loops), corners, strict=True)}
    filled = np.array([covered or _inside(face, stuffed) for face in shape.faces])
    for face, inside in zip(shape.faces, filled, strict=True):
        face.maxh = cell * (_FINER if inside else 1.0)
    for vertex in shape.vertices:
        vertex.maxh = fine.get(_key((vertex.p[0], vertex.p[1])), cell)
    made = OCCGeometry(shape, dim=2).GenerateMesh(maxh=cell, grading=grading)
    table = made.Elements2D().NumPy()
    t = np.ascontiguousarray(table["nodes"][:, :3].astype(np.int64).T - 1)
    p = np.ascontiguousarray(np.asarray(made.Coordinates(), dtype=np.float64)[:, :2].T)
    return p, t, np.flatnonzero(filled[table["index"] - 1]).astype(np.int64)


def _inside(face: Any, stuffed: Any) -> bool:
    return _area(face * stuffed) > 0.5 * _area(face)


def _area(shape: Any) -> float:
    return float(sum(face.mass for face in shape.faces))


def _face(loop: FloatArray) -> Any:
    from netgen.occ import WorkPlane

    plane = WorkPlane()
    plane.MoveTo(*map(float, loop[0]))
    for point in loop[1:]:
        plane.LineTo(*map(float, point))
    return plane.Close().Face()


def _key(point: Any) -> tuple[int, int]:
    return round(float(point[0]) * 1e7), round(float(point[1]) * 1e7)
