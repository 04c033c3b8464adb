"""Outlines from DXF drawings: walls, openings and centre line, with arcs as short chords."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from airpath.errors import GeometryError
from airpath.field.outline import LENGTH_UNITS, Outline, brief, make_outline
from airpath.field.polygon import FloatArray, contains, signed_area

_DXF_UNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}  # $INSUNITS codes
_WALL, _CENTRE, _STUFFED, _IGNORED_LAYER = "WALL", "CENTRE", "STUFFED", "DEFPOINTS"
_ANNOTATION = {"TEXT", "MTEXT", "DIMENSION", "POINT", "LEADER", "MULTILEADER", "HATCH", "VIEWPORT"}
_CHORD_M = 0.05e-3  # largest distance between an arc and its chord
_SAME_M = 1e-6  # ends nearer than this are joined
_LARGEST_BYTES = 20_000_000
_MOST_CHORDS = 2000


def read_drawing(
    path: Path, *, kind: str | None = None, depth_m: float | None = None, unit: str | None = None
) -> Outline:
    """Return the outline drawn in a DXF file.

    Layer WALL holds one closed outer boundary and, inside it, the holes: closed polylines, circles, or lines
    and arcs that meet end to end. Every line on another layer is an opening of that layer's name; layer
    CENTRE may hold a centre line. ``kind`` is "planar" (default, with ``depth_m`` [m]) or "axisymmetric".
    The unit is the drawing's $INSUNITS unless ``unit`` is given. Arcs become chords within 0.05 mm that keep
    the arc's area; ``flattened`` of the outline states that distance.
    Raises GeometryError with coordinates in the drawing's unit.
    """
    code, entities = _open(path)
    name = unit or _DXF_UNITS.get(code, "")
    if name not in LENGTH_UNITS:
        raise GeometryError(
            f"the drawing's unit is not set or not usable ($INSUNITS = {code}, unit {unit!r}); set it "
            f"in the drawing or give unit as one of {', '.join(LENGTH_UNITS)}.{_spread(entities)}"
        )
    reader = _Reader(LENGTH_UNITS[name], name)
    for layer, form, entity in entities:
        reader.add(layer, form, entity)
    points, holes = reader.walls()
    return make_outline(
        kind=kind or "planar", points=points, holes=list(holes), openings=reader.openings(), depth=depth_m,
        centreline=reader.centreline(), unit=name, flattened=_CHORD_M if reader.curved else 0.0,
        stuffed=reader.stuffed(),
    )  # fmt: skip


def _spread(entities: list[tuple[str, str, Any]]) -> str:
    """Say from where to where a drawing without a unit goes."""
    reader = _Reader(1.0, "")
    for layer, form, entity in entities:
        reader.add(layer, form, entity)
    drawn = [path for paths in reader.paths.values() for path, _ in paths]
    if not drawn:
        return ""
    points = np.concatenate(drawn)
    return f" It goes from {reader.at(points.min(axis=0)).strip()} to {reader.at(points.max(axis=0)).strip()}"


def _open(path: Path) -> tuple[int, list[tuple[str, str, Any]]]:
    """Return the $INSUNITS code and the layer, type and object of every entity in the model space."""
    from ezdxf import filemanagement

    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise GeometryError(f"the drawing is larger than {_LARGEST_BYTES // 1_000_000} MB")
        document = filemanagement.readfile(path)
        entities = [(str(e.dxf.layer), str(e.dxftype()), e) for e in document.modelspace()]
        return int(document.header.get("$INSUNITS", 0)), entities
    except GeometryError:
        raise
    except Exception as error:  # a damaged file can fail anywhere in the parser
        raise GeometryError(f"not readable as a DXF drawing: {brief(error)}") from error


class _Reader:
    """Collects the paths of a drawing layer by layer, in metres."""

    def __init__(self, scale: float, unit: str) -> None:
        self.scale, self.unit, self.curved = scale, unit, False
        self.paths: dict[str, list[tuple[FloatArray, bool]]] = defaultdict(list)
        self.names: dict[str, str] = {}

    def add(self, layer: str, kind: str, entity: Any) -> None:
        key = layer.upper()
        if key == _IGNORED_LAYER or kind in _ANNOTATION:
            return
        try:
            path, closed = self._path(entity, kind)
        except GeometryError as error:
            raise GeometryError(f"layer {layer!r}: {error}") from error
        except Exception as error:  # entities with missing or absurd values
            raise GeometryError(f"layer {layer!r}: a {kind} can't be read: {brief(error)}") from error
        self.names.setdefault(key, layer)
        self.paths[key].append((path * self.scale, closed))

    def at(self, point: FloatArray) -> str:
        return f"({point[0] / self.scale:g}, {point[1] / self.scale:g}) {self.unit}"

    def _path(self, entity: Any, kind: str) -> tuple[FloatArray, bool]:
        """Return the entity as points (n, 2) in the drawing's unit and whether it is closed."""
        chord = _CHORD_M / self.scale
        if kind == "LINE":
            path, closed = np.array([entity.dxf.start.vec2, entity.dxf.end.vec2], dtype=float), False
        elif kind in ("ARC", "CIRCLE"):
            closed, self.curved = kind == "CIRCLE", True
            start, sweep = 0.0, 2.0 * math.pi
            if not closed:
                start = math.radians(entity.dxf.start_angle)
                sweep = (math.radians(entity.dxf.end_angle) - start) % (2.0 * math.pi) or sweep
            centre = np.array(entity.dxf.center.vec2, dtype=float)
            path = _world(entity, arc_points(centre, entity.dxf.radius, start, sweep, chord, closed=closed))
        elif kind in ("LWPOLYLINE", "POLYLINE"):
            path, closed = self._polyline(entity, kind, chord)
        else:
            raise GeometryError(f"a {kind} can't be used; draw it as a polyline of lines and arcs, blocks resolved")
        if not np.isfinite(path).all() or np.abs(path).max() > 1e9:
            raise GeometryError(f"a {kind} has coordinates that are not usable numbers")
        return path, closed

    def _polyline(self, entity: Any, kind: str, chord: float) -> tuple[FloatArray, bool]:
        if kind == "LWPOLYLINE":
            vertices, closed = entity.get_points("xyb"), bool(entity.closed)
        elif entity.is_2d_polyline:
            vertices = [(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in entity.vertices]
            closed = bool(entity.is_closed)
        else:
            raise GeometryError("a 3D polyline or mesh can't be used; draw it as a plane polyline")
        if len(vertices) < 2:
            raise GeometryError("a polyline has fewer than two points")
        corners = np.array([v[:2] for v in vertices], dtype=float)
        bulges = [v[2] for v in vertices] if closed else [v[2] for v in vertices[:-1]]
        path = [corners[:1]]
        for i, bulge in enumerate(bulges):
            start, stop = corners[i], corners[(i + 1) % len(corners)]
            if bulge and np.linalg.norm(stop - start) > 0.0:
                self.curved = True
                path.append(_bulge_points(start, stop, bulge, chord)[1:-1])
            path.append(stop[None])
        whole = np.concatenate(path)
        return _world(entity, whole[:-1] if closed else whole), closed

    def walls(self) -> tuple[FloatArray, list[FloatArray]]:
        """Return the outer boundary and the holes of layer WALL [m]."""
        if not self.paths.get(_WALL):
            found = sorted((self.names[key], paths[0][0][0]) for key, paths in self.paths.items())
            layers = ", ".join(f"{name} at {self.at(place)}" for name, place in found) or "none"
            raise GeometryError(f"nothing is drawn on layer {_WALL}; layers with drawn lines: {layers}")
        loops = [path for path, closed in self.paths[_WALL] if closed]
        loops += self._chained([path for path, closed in self.paths[_WALL] if not closed])
        loops.sort(key=lambda loop: abs(signed_area(loop)), reverse=True)
        outer, *holes = loops
        for hole in holes:
            if len(hole) >= 3 and not contains(outer, hole[0]):
                raise GeometryError(
                    f"layer {_WALL} holds two outer boundaries, at {self.at(outer[0])} and "
                    f"{self.at(hole[0])}; expected one, with holes inside"
                )
        return outer, holes

    def _chained(self, pieces: list[FloatArray]) -> list[FloatArray]:
        """Join open pieces whose ends coincide; refuse whatever stays open, naming the gap."""
        loops, pieces = [], list(pieces)
        while pieces:
            chain = pieces.pop()
            while len(chain) < 4 or np.linalg.norm(chain[0] - chain[-1]) > _SAME_M:
                k, gap, forwards = _nearest(chain[-1], pieces)
                if gap > _SAME_M:
                    own = float(np.linalg.norm(chain[0] - chain[-1]))
                    width = min(gap, own) / self.scale
                    raise GeometryError(
                        f"layer {_WALL}: the outline is open at {self.at(chain[-1])}: the next end is "
                        f"{width:g} {self.unit} away; close the polyline"
                    )
                piece = pieces.pop(k)
                chain = np.concatenate([chain, (piece if forwards else piece[::-1])[1:]])
            loops.append(chain[:-1])
        return loops

    def openings(self) -> dict[str, FloatArray]:
        """Return the segment of every layer but WALL, CENTRE and STUFFED [m]."""
        found = {}
        for key, paths in self.paths.items():
            if key in (_WALL, _CENTRE, _STUFFED):
                continue
            name, (path, closed) = self.names[key], paths[0]
            if closed or len(path) != 2:
                raise GeometryError(
                    f"layer {name!r} holds a closed or bent path at {self.at(path[0])}; an opening is one "
                    f"straight line, and walls belong on layer {_WALL}"
                )
            if len(paths) > 1:
                raise GeometryError(
                    f"layer {name!r} holds {len(paths)} lines, one at {self.at(path[0])} and one at "
                    f"{self.at(paths[1][0][0])}; an opening is one line on a layer of its own"
                )
            if name == "0":
                raise GeometryError(f"the line at {self.at(path[0])} is on layer 0; name its layer as the opening")
            found[name] = path
        return found

    def stuffed(self) -> list[FloatArray]:
        """Return the closed paths of layer STUFFED [m]."""
        for path, closed in self.paths.get(_STUFFED, []):
            if not closed:
                raise GeometryError(f"layer {_STUFFED}: the path at {self.at(path[0])} is open; draw it closed")
        return [path for path, _ in self.paths.get(_STUFFED, [])]

    def centreline(self) -> FloatArray | None:
        """Return the path of layer CENTRE [m], its pieces joined in the order drawn, or None."""
        paths = [path for path, _ in self.paths.get(_CENTRE, [])]
        if not paths:
            return None
        line = paths[0]
        for path in paths[1:]:
            if np.linalg.norm(line[-1] - path[0]) > _SAME_M:
                raise GeometryError(
                    f"layer {_CENTRE}: the line breaks off at {self.at(line[-1])}; draw it as one polyline"
                )
            line = np.concatenate([line, path[1:]])
        return line


def arc_points(
    centre: FloatArray, radius: float, start: float, sweep: float, chord: float, *, closed: bool = False
) -> FloatArray:
    """Return points (n, 2) along an arc, at most ``chord`` off it, that enclose the arc's own area exactly.

    ``start`` and ``sweep`` in radians, lengths in one unit. The ends of an open arc stay where they are; the
    inner points move out a little, so that the polygon from the centre has the sector's area.
    """
    if not (radius > 0.0 and math.isfinite(radius)):
        raise GeometryError(f"an arc has the radius {radius!r}")
    step = 2.0 * math.acos(max(1.0 - chord / radius, 0.0))
    count = max(math.ceil(abs(sweep) / step), 8 if closed else 2)
    if count > _MOST_CHORDS:
        raise GeometryError(f"an arc of radius {radius:g} would need {count} chords")
    angle = start + sweep * np.arange(count + 1) / count
    part = abs(sweep) / count
    if closed:
        angle, radii = angle[:-1], np.full(count, radius * math.sqrt(part / math.sin(part)))
    else:
        radii = np.full(count + 1, radius)
        radii[1:-1] = radius * _raised(count, part)
    return np.asarray(centre + radii[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def _raised(count: int, part: float) -> float:
    """Solve (count - 2) r^2 + 2 r = count part / sin(part) for the radius r of the inner points."""
    target = count * part / math.sin(part)
    if count == 2:
        return target / 2.0
    return (math.sqrt(1.0 + (count - 2) * target) - 1.0) / (count - 2)


def _bulge_points(start: FloatArray, stop: FloatArray, bulge: float, chord: float) -> FloatArray:
    """Return the arc of a polyline bulge: the tangent of a quarter of its angle, positive to the left."""
    span, sweep = stop - start, 4.0 * math.atan(bulge)
    left = np.array([-span[1], span[0]])
    centre = 0.5 * (start + stop) + left * (1.0 - bulge * bulge) / (4.0 * bulge)
    radius = float(np.linalg.norm(start - centre))
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    return arc_points(centre, radius, first, sweep, chord)


def _world(entity: Any, path: FloatArray) -> FloatArray:
    """Turn points of an entity's own plane into the drawing's plane."""
    points: Iterable[Any] = entity.ocs().points_to_wcs([(x, y, 0.0) for x, y in path.tolist()])
    return np.array([(p[0], p[1]) for p in points], dtype=float)


def _nearest(end: FloatArray, pieces: list[FloatArray]) -> tuple[int, float, bool]:
    """Return the piece whose end is nearest to ``end``, the distance, and whether it runs away from it."""
    if not pieces:
        return -1, math.inf, True
    gaps = np.array([[np.linalg.norm(p[0] - end), np.linalg.norm(p[-1] - end)] for p in pieces])
    k, which = np.unravel_index(int(gaps.argmin()), gaps.shape)
    return int(k), float(gaps[k, which]), bool(which == 0)
