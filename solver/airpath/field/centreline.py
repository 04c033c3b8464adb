"""The centre line of a drawn path: the streamline halfway between its walls, or the line that was drawn.

The stream function is the conjugate of the potential: 0 on the right wall, 1 on the left, insulated at throat and
mouth. Its level 1/2 crosses every level of the potential once, so the line is ordered by the potential itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import skfem
from numpy.typing import NDArray
from scipy.integrate import cumulative_trapezoid
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from skfem.helpers import dot, grad

from airpath.errors import GeometryError
from airpath.field.mesh import FieldMesh
from airpath.field.modes import factorise
from airpath.field.outline import LENGTH_UNITS, Outline
from airpath.field.polygon import contains, edges_of, project
from airpath.field.potential import Potential
from airpath.field.sides import Sides

Floats = NDArray[np.float64]
_DRAWN_POINTS = 400  # along a drawn line
_MIDDLE = 0.5


@dataclass(frozen=True, kw_only=True)
class CentreLine:
    """A line from throat to mouth: ``points`` (n, 2) [m], ``distance_m`` (n,) along it, ``area_m2`` (n,) from wall to
    wall past each point, ``potential`` (n,) there; ``drawn`` or computed.
    """

    points: Floats
    distance_m: Floats
    area_m2: Floats
    potential: Floats
    drawn: bool

    @property
    def length_m(self) -> float:
        """Length of the line [m]."""
        return float(self.distance_m[-1])

    @property
    def volume_to_m3(self) -> Floats:
        """Volume [m^3] from the throat to each point, (n,)."""
        return np.asarray(cumulative_trapezoid(self.area_m2, self.distance_m, initial=0.0))

    @property
    def inertance_to_per_m(self) -> Floats:
        """Integral of ds/S [1/m] from the throat to each point, (n,)."""
        return np.asarray(cumulative_trapezoid(1.0 / self.area_m2, self.distance_m, initial=0.0))

    def at_level(self, level: Floats) -> Floats:
        """Return the distance [m] along the line at potentials (n,)."""
        return np.asarray(np.interp(level, self.potential, self.distance_m))


def middle_line(sides: Sides, mesh: FieldMesh, found: Potential, levels: Floats) -> CentreLine:
    """Return the streamline halfway between the walls, at ``levels`` (n,) of the potential."""
    stream = found.fine(stream_function(sides, mesh, found))
    value, level, place = stream[found.cells], found.value[found.cells], found.points[found.cells]
    crossing = (value.min(axis=1) < _MIDDLE) & (value.max(axis=1) >= _MIDDLE)
    value, level, place = value[crossing], level[crossing], place[crossing]
    at, where = [], []
    for i, j in ((0, 1), (1, 2), (2, 0)):
        a, b = value[:, i], value[:, j]
        cut = (a < _MIDDLE) != (b < _MIDDLE)
        share = (_MIDDLE - a[cut]) / (b[cut] - a[cut])
        at.append(level[cut, i] + share * (level[cut, j] - level[cut, i]))
        where.append(place[cut, i] + share[:, None] * (place[cut, j] - place[cut, i]))
    order = np.argsort(np.concatenate(at))
    rising, path = np.concatenate(at)[order], np.concatenate(where)[order]
    points = np.stack([np.interp(levels, rising, path[:, axis]) for axis in (0, 1)], axis=1)
    return _line(sides, points, levels, drawn=False)


def drawn_line(sides: Sides, found: Potential) -> CentreLine | None:
    """Return the drawn centre line, or None. Raises GeometryError where it leaves the path or misses an end of it."""
    outline = sides.outline
    if outline.centreline is None:
        return None
    corners = _inward(outline, outline.centreline)
    start, stop = (outline.openings[name].mean(axis=0) for name in ("throat", "mouth"))
    if np.linalg.norm(corners[0] - start) > np.linalg.norm(corners[-1] - start):
        corners = corners[::-1]
    for corner, name, middle in ((corners[0], "throat", start), (corners[-1], "mouth", stop)):
        span = outline.openings[name]
        away = float(project(corner, span[None])[0][0])
        if away > 0.5 * float(np.linalg.norm(span[1] - span[0])):
            raise GeometryError(
                f"the centre line ends at {_at(outline, corner)}, {away / _unit(outline):.4g} {outline.unit} from the "
                f"{name} at {_at(outline, middle)}; draw it from throat to mouth"
            )
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    steps = np.union1d(np.linspace(0.0, along[-1], _DRAWN_POINTS), along)
    points = np.stack([np.interp(steps, along, corners[:, axis]) for axis in (0, 1)], axis=1)
    for point in points:
        if not contains(outline.points, point) or any(contains(hole, point) for hole in outline.holes):
            raise GeometryError(f"the centre line leaves the path at {_at(outline, point)}")
    return _line(sides, points, np.maximum.accumulate(found.at(points)), drawn=True)


def _inward(outline: Outline, line: Floats) -> Floats:
    """Return a line whose ends, which lie on the openings or past them, are a hair inside."""
    scale = 1e-6 * float(np.ptp(outline.points, axis=0).max())
    moved = line.copy()
    for end, other in ((0, 1), (-1, -2)):
        step = line[other] - line[end]
        moved[end] = line[end] + step * min(1.0, scale / max(float(np.linalg.norm(step)), 1e-12))
    return moved


def _line(sides: Sides, points: Floats, level: Floats, *, drawn: bool) -> CentreLine:
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    keep = np.concatenate([[True], step > 1e-9])
    points, level = points[keep], level[keep]
    distance = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    return CentreLine(points=points, distance_m=distance, area_m2=sides.gap(points), potential=level, drawn=drawn)


def stream_function(sides: Sides, mesh: FieldMesh, found: Potential) -> Floats:
    """Return the stream function in the plane of the drawing, (unknowns,): 0 on the right wall, 1 on the left.

    Around every hole it has one value of its own, such that no air turns round it.
    """
    basis = found.basis
    form = skfem.BilinearForm(lambda u, v, w: dot(grad(u), grad(v)))
    stiffness = form.assemble(basis).tocsr()
    left, right, holes = _walls(sides, mesh, basis)
    value = np.zeros(basis.N)
    value[left] = 1.0
    column = np.full(basis.N, -1)
    tied = np.concatenate([left, right, *holes])
    rest = np.setdiff1d(np.arange(basis.N), tied)
    column[rest] = np.arange(len(rest))
    for k, hole in enumerate(holes):
        column[hole] = len(rest) + k
    free = np.flatnonzero(column >= 0)
    spread = csr_array((np.ones(len(free)), (free, column[free])), shape=(basis.N, len(rest) + len(holes)))
    matrix = (spread.T @ stiffness @ spread).tocsc()
    return np.asarray(value + spread @ factorise(matrix).solve(-(spread.T @ (stiffness @ value))))


def _walls(sides: Sides, mesh: FieldMesh, basis: Any) -> tuple[NDArray[np.int64], NDArray[np.int64], list[Any]]:
    """Return the unknowns on the left wall, on the right wall and on the edge of each hole."""
    outline, shape = sides.outline, basis.mesh
    ends = np.concatenate([mesh.openings["throat"], mesh.openings["mouth"]])
    facets = np.setdiff1d(shape.boundary_facets(), ends)
    middles = shape.p[:, shape.facets[:, facets]].mean(axis=1).T
    owner = project(middles[:, None], edges_of(outline.loops)[None])[0].argmin(axis=1)
    on_left, on_right = np.isin(owner, sides.left[1:]), np.isin(owner, sides.right[:-1])
    around = facets[~(on_left | on_right)]
    nodes = shape.facets[:, around]
    graph = coo_array((np.ones(len(around)), (nodes[0], nodes[1])), shape=(shape.nvertices, shape.nvertices))
    label = connected_components(graph, directed=False)[1][nodes[0]]
    holes = [basis.get_dofs(around[label == k]).all() for k in np.unique(label)]
    return basis.get_dofs(facets[on_left]).all(), basis.get_dofs(facets[on_right]).all(), holes


def _unit(outline: Outline) -> float:
    return LENGTH_UNITS.get(outline.unit, 1.0)


def _at(outline: Outline, point: Floats) -> str:
    x, y = (round(float(v) / _unit(outline), 4) + 0.0 for v in point)
    return f"({x:g}, {y:g}) {outline.unit}"
