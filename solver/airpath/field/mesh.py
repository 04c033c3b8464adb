"""From an outline to a graded triangle mesh whose openings are named facets."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal

import numpy as np
import skfem
from numpy.typing import NDArray

from airpath.errors import GeometryError
from airpath.field.grading import graded_loops
from airpath.field.outline import LENGTH_UNITS, Outline, edges_on
from airpath.field.polygon import FloatArray, edges_of, project
from airpath.field.stuffed import stuffed_cells

IntArray = NDArray[np.int64]

# Largest cell in wavelengths for each polynomial order: 0.1 % in every resonance of a partitioned
# chamber, and 0.01 % where the shape is smooth for orders 3 and 4 (checked in tests/unit/test_mesh.py).
_CELL_WAVELENGTHS = {1: 0.027, 2: 0.13, 3: 0.28, 4: 0.43}
_MOST_CELLS = 100_000
_GRADINGS = (0.8, 0.7, 0.6, 0.5, 0.4, 0.3)  # growth from cell to cell; lower ones only where the mesher fails


@dataclass(frozen=True, kw_only=True)
class FieldMesh:
    """A mesh of the air with its openings, in metres.

    ``mesh`` is an skfem MeshTri1 or MeshTet1; ``kind`` "planar" (with ``depth`` [m]), "axisymmetric" (x
    along the axis, y = radius) or "solid"; ``openings`` maps a name to facet indices into ``mesh.facets``;
    ``stuffed``: the cells that hold stuffing.
    """

    mesh: Any
    kind: Literal["planar", "axisymmetric", "solid"]
    depth: float | None = None
    openings: dict[str, IntArray] = field(default_factory=dict)
    stuffed: IntArray = field(default_factory=lambda: np.empty(0, np.int64))

    @property
    def walls(self) -> IntArray:
        """Boundary facets that are neither an opening nor on the axis of an axisymmetric mesh."""
        boundary = self.mesh.boundary_facets()
        if self.kind == "axisymmetric":
            boundary = boundary[self.mesh.p[1][self.mesh.facets[:, boundary]].max(axis=0) > 0.0]
        named = np.concatenate([np.empty(0, np.int64), *self.openings.values()])
        return np.asarray(np.setdiff1d(boundary, named), dtype=np.int64)


def mesh_outline(
    outline: Outline, *, highest_hz: float, sound_speed: float, order: int = 4, refine: float = 1.0
) -> FieldMesh:
    """Return the triangle mesh of an outline for fields up to ``highest_hz`` [Hz].

    ``order`` is the polynomial order it will be used with, 1 to 4. Cells are at most a fixed part of the
    wavelength ``sound_speed`` [m/s] / ``highest_hz`` and a third of the outline, and graded towards the ends
    of openings and re-entrant corners, where the field is singular. ``refine`` (> 0) divides every size.
    Raises GeometryError if no mesh can be made, or only one of more than 100,000 cells.

    Checked by: tests/unit/test_mesh.py, against closed forms and a converged partitioned chamber.
    """
    extent = float(np.ptp(outline.points, axis=0).max())
    size = largest_cell(outline, highest_hz=highest_hz, sound_speed=sound_speed, order=order)
    wanted = 2.3 * outline.area() / (size / refine) ** 2
    if wanted > _MOST_CELLS:
        raise GeometryError(
            f"a mesh of {extent:.3g} m for {highest_hz:g} Hz needs about {wanted:.0f} cells, at most "
            f"{_MOST_CELLS} are made: lower the highest frequency"
        )
    loops, sizes = graded_loops(outline, cell=size / refine, refine=refine)
    if outline.stuffed:
        p, t, stuffed = stuffed_cells(
            loops, outline.stuffed, sizes, cell=size / refine, grading=_GRADINGS[0], at=partial(_place, outline.unit)
        )
    else:
        p, t, stuffed = *_triangulate(loops, sizes, cell=size / refine), np.empty(0, np.int64)
    mesh = skfem.MeshTri1(p, t)
    _check_area(outline, mesh)
    openings = opening_facets(outline, mesh)
    return FieldMesh(mesh=mesh, kind=outline.kind, depth=outline.depth, openings=openings, stuffed=stuffed)


def _place(unit: str, point: FloatArray) -> str:
    x, y = point / LENGTH_UNITS[unit]
    return f"({x:.4g}, {y:.4g}) {unit}"


def largest_cell(outline: Outline, *, highest_hz: float, sound_speed: float, order: int = 4) -> float:
    """Return the size [m] that :func:`mesh_outline` allows a cell."""
    extent = float(np.ptp(outline.points, axis=0).max())
    return min(_CELL_WAVELENGTHS[order] * sound_speed / highest_hz, extent / 3.0)


def _triangulate(loops: list[FloatArray], sizes: FloatArray, *, cell: float) -> tuple[FloatArray, IntArray]:
    """Return points (2, n) and triangles (3, m), with finer gradings where the mesher fails on the first."""
    from netgen import meshing

    meshing.SetMessageImportance(0)
    scale = 1.0 / float(np.ptp(loops[0], axis=0).max())
    for grading in _GRADINGS:
        try:
            made = _spline_geometry(loops, sizes, scale).GenerateMesh(maxh=cell * scale, grading=grading)
        except meshing.NgException:
            continue
        t = made.Elements2D().NumPy()["nodes"][:, :3].astype(np.int64) - 1
        p = np.asarray(made.Coordinates(), dtype=np.float64)[:, :2] / scale
        return np.ascontiguousarray(p.T), np.ascontiguousarray(t.T)
    raise GeometryError(
        f"no mesh could be made of the outline that starts at {loops[0][0].tolist()} m; simplify it"
    )


def _spline_geometry(loops: list[FloatArray], sizes: FloatArray, scale: float) -> Any:
    from netgen.geom2d import SplineGeometry

    geometry, wanted = SplineGeometry(), iter(sizes)
    for loop in loops:
        ids = [
            geometry.AppendPoint(float(x) * scale, float(y) * scale, maxh=float(next(wanted)) * scale) for x, y in loop
        ]
        for start, stop in zip(ids, [*ids[1:], ids[0]], strict=True):
            geometry.Append(["line", start, stop], bc=1)
    return geometry


def _check_area(outline: Outline, mesh: Any) -> None:
    a, b, c = (mesh.p[:, mesh.t[i]] for i in range(3))
    area = 0.5 * np.abs((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
    if not abs(area.sum() / outline.area() - 1.0) < 1e-9 or area.min() <= 0.0:
        raise GeometryError(f"the mesh covers {area.sum():.6g} m^2 of {outline.area():.6g} m^2: simplify the outline")


def opening_facets(outline: Outline, mesh: Any) -> dict[str, IntArray]:
    """Return the boundary facets of each opening: those on the outline's own edges that make it up."""
    boundary = mesh.boundary_facets().astype(np.int64)
    middles = mesh.p[:, mesh.facets[:, boundary]].mean(axis=1).T
    edges = edges_of(outline.loops)
    distance, _ = project(middles[:, None], edges[None])
    owner = edges[distance.argmin(axis=1)]
    return {name: boundary[edges_on(segment, owner)] for name, segment in outline.openings.items()}
