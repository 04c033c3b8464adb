"""What a drawn path is at low frequency: Laplace's equation from throat to mouth, and the horn that it equals.

The potential is 0 on the throat, 1 on the mouth, and no air passes the walls. With its flux q and the volume V below a
level phi, the equivalent horn S = sqrt(q dV/dphi), dx = sqrt((dV/dphi)/q) dphi has the inertance and the volume of
every slice between two levels: S dx = dV and dx/S = dphi/q. (Known as the long-wave limit of the horn equation on
potential surfaces; the decomposition follows from the two identities.)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.errors import GeometryError
from airpath.field.forms import assemble, stiffness_of
from airpath.field.grading import RE_ENTRANT
from airpath.field.levels import CellValues
from airpath.field.mesh import FieldMesh, mesh_outline, opening_facets
from airpath.field.modes import factorise
from airpath.field.outline import Outline
from airpath.field.polygon import interior_angles

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

    from airpath.field.forms import FieldMatrices

Floats = NDArray[np.float64]

_SLICES = 200  # of equal length in the result
_FINE = {2: 3, 3: 1}  # halvings of each finite element, by dimension, before its field is taken as linear
_CELLS_ALONG = 18.0  # cells along the drawing, for the potential
_SHARP = 100.0  # largest cell over the cell at a singular point
_MOST_HALVINGS = 24


@dataclass(frozen=True, kw_only=True)
class Potential:
    """The potential of a path on points to look at, each finite element cut fine.

    ``points`` (n, 2 or 3) [m], ``cells`` (m, 3 or 4), ``value`` (n,) from 0 at the throat to 1 at the mouth; ``flux`` q
    [m]: its inertance is density/q; ``corner_volume`` (m, 3 or 4) [m^3], the part of each cell that its corners hold.
    ``solution`` (unknowns,) on ``basis`` is the potential itself, ``local`` the shape functions on the fine points.
    """

    basis: Any
    solution: Floats
    local: Floats

    points: Floats
    cells: NDArray[np.int64]
    value: Floats
    flux: float
    corner_volume: Floats

    @property
    def volume(self) -> float:
        """Volume of the path [m^3]."""
        return float(self.corner_volume.sum())

    def volume_below(self, levels: Floats) -> Floats:
        """Return the volume [m^3] between the throat and each of the rising ``levels`` (n,) of 0 to 1."""
        volume = CellValues(value=self.value[self.cells], volume=self.corner_volume).below(levels)
        return np.where(levels <= 0.0, 0.0, np.where(levels >= 1.0, self.volume, volume))

    def fine(self, solution: Floats) -> Floats:
        """Return another finite-element function (unknowns,) on the fine points, (n,)."""
        return np.asarray(solution[self.basis.element_dofs].T @ self.local).ravel()

    def at(self, points: Floats) -> Floats:
        """Return the potential at points (n, dimension) [m] of the path; on its edge that of the next fine point."""
        try:
            return np.asarray(np.clip(self.basis.probes(points.T) @ self.solution, 0.0, 1.0))
        except ValueError:  # a point that rounding puts outside
            return self.near(points)

    def near(self, points: Floats) -> Floats:
        """Return the potential at the fine point next to each of ``points`` (n, dimension) [m], corners too."""
        return np.asarray(self.value[self._tree.query(points)[1]])

    @cached_property
    def _tree(self) -> Any:
        from scipy.spatial import cKDTree

        return cKDTree(self.points)


@dataclass(frozen=True, kw_only=True)
class EquivalentHorn:
    """The horn that a path equals at low frequency, in n stations from throat to mouth.

    ``distance_m`` (n,) along it, ``area_m2`` (n,) there, ``potential`` (n,) of the level there; ``volume_m3``; ``flux``
    q [m]; ``throat_area_m2`` and ``mouth_area_m2`` of the drawn openings. ``inertance_length_m``: length of the uniform
    duct of the throat's area with the same inertance.

    Between stations volume and inertance are kept exactly by the mean areas ``slice_area_m2``. At an outer corner the
    air stands still and the area peaks; the stations show its mean over a slice.
    """

    distance_m: Floats
    area_m2: Floats
    potential: Floats
    volume_m3: float
    flux: float
    throat_area_m2: float
    mouth_area_m2: float

    @property
    def inertance_length_m(self) -> float:
        """Throat area over flux [m]."""
        return self.throat_area_m2 / self.flux

    @property
    def slice_area_m2(self) -> Floats:
        """Mean area [m^2] between stations, (n - 1,): volume over length, and length over inertance."""
        return np.asarray(self.flux * np.diff(self.distance_m) / np.diff(self.potential))

    @property
    def volume_to_m3(self) -> Floats:
        """Volume [m^3] from the throat to each station, (n,)."""
        return np.concatenate([[0.0], np.cumsum(self.slice_area_m2 * np.diff(self.distance_m))])

    @property
    def inertance_to_per_m(self) -> Floats:
        """Integral of dx/S [1/m] from the throat to each station, (n,); times the density it is the inertance."""
        return np.asarray(self.potential / self.flux)


def equivalent_horn(
    shape: Outline | FieldMesh, throat: str = "throat", mouth: str = "mouth", *, slices: int = _SLICES,
    matrices: FieldMatrices | None = None,
) -> EquivalentHorn:  # fmt: skip
    """Return the equivalent horn of a drawn path between two of its openings.

    ``shape``: an outline, which is meshed here, or a mesh; ``matrices`` of that mesh where they are at hand. Works in a
    plane, turned about an axis and in tetrahedra alike. Raises GeometryError if an opening is missing.
    Checked by: crosscheck/test_paths.
    """
    mesh = path_mesh(shape) if isinstance(shape, Outline) else shape
    matrices = matrices or assemble(mesh)
    found = solve_potential(mesh, throat, mouth, (matrices.basis, matrices.operators[0]))
    areas = dict(zip(matrices.names, matrices.areas.tolist(), strict=True))
    return horn_of(found, areas[throat], areas[mouth], slices)


def path_mesh(outline: Outline, refine: float = 1.0, sharp: float = _SHARP) -> FieldMesh:
    """Return a mesh for the potential: where it is singular cells are halved until they are ``sharp`` times smaller."""
    cell = float(np.ptp(outline.points, axis=0).max()) / _CELLS_ALONG / refine
    made = mesh_outline(outline, highest_hz=1e-9, sound_speed=1.0, refine=_CELLS_ALONG * refine / 3.0)
    return sharpened(outline, made, cell / sharp)


def sharpened(outline: Outline, made: FieldMesh, size: float) -> FieldMesh:
    """Return the mesh with cells at most ``size`` [m] at re-entrant corners and at the ends of openings.

    There the gradient is infinite, and a potential needs finer cells than waves do. Stuffing is left out.
    """
    corners = [loop[interior_angles(loop) > RE_ENTRANT] for loop in outline.loops]
    sharp, mesh = np.concatenate([*outline.openings.values(), *corners]), made.mesh
    for _ in range(_MOST_HALVINGS):
        at = np.flatnonzero((np.abs(mesh.p.T[:, None] - sharp).max(axis=2) < 1e-9).any(axis=1))
        corner = mesh.p[:, mesh.t]
        longest = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=0).max(axis=0)
        coarse = np.flatnonzero(np.isin(mesh.t, at).any(axis=0) & (longest > size))
        if not len(coarse):
            break
        mesh = mesh.refined(coarse)
    return replace(made, mesh=mesh, openings=opening_facets(outline, mesh), stuffed=np.empty(0, np.int64))


def solve_potential(
    mesh: FieldMesh, throat: str = "throat", mouth: str = "mouth", system: tuple[Any, csc_matrix] | None = None
) -> Potential:
    """Return the potential with 0 on ``throat`` and 1 on ``mouth``; all other openings are closed.

    ``system``: basis and stiffness of the mesh where they are at hand. Raises GeometryError if an opening is not there.
    """
    for name in (throat, mouth):
        if name not in mesh.openings:
            raise GeometryError(
                f'the path has no opening "{name}"; it has {", ".join(sorted(mesh.openings)) or "none"}'
            )
    basis, stiffness = system or stiffness_of(mesh)
    value = np.zeros(basis.N)
    low, high = (basis.get_dofs(mesh.openings[name]).all() for name in (throat, mouth))
    value[high] = 1.0
    free = np.setdiff1d(np.arange(len(value)), np.concatenate([low, high]))
    rows = stiffness[free]
    value[free] = factorise(rows[:, free]).solve(-(rows @ value))
    return _on_fine_cells(mesh, basis, value, float(value @ (stiffness @ value)))


def _on_fine_cells(mesh: FieldMesh, basis: Any, value: Floats, flux: float) -> Potential:
    """Return the finite-element solution (unknowns,) on halved cells; overshoots of the polynomials are cut off."""
    dimension = basis.mesh.dim()
    fine = type(basis.mesh).init_refdom().refined(_FINE[dimension])
    local = np.stack([basis.elem.lbasis(fine.p, i)[0] for i in range(basis.Nbfun)])
    places = basis.mapping.F(fine.p)  # (dimension, elements, points)
    points = places.reshape(dimension, -1).T
    first = np.arange(basis.nelems)[:, None, None] * fine.p.shape[1]
    cells = (fine.t.T[None] + first).reshape(-1, dimension + 1).astype(np.int64)
    corners = points[cells]
    size = np.abs(np.linalg.det(corners[:, 1:] - corners[:, :1])) / (2.0 if dimension == 2 else 6.0)
    return Potential(
        points=points, cells=cells, flux=flux, corner_volume=_corner_volume(mesh, corners, size),
        basis=basis, solution=value, local=local,
        value=np.clip(value[basis.element_dofs].T @ local, 0.0, 1.0).ravel(),
    )  # fmt: skip


def _corner_volume(mesh: FieldMesh, corners: Floats, size: Floats) -> Floats:
    """Return the integral of each corner's hat function over the true volume [m^3], (cells, corners)."""
    count = corners.shape[1]
    if mesh.kind == "axisymmetric":  # of 2 pi y over a triangle: area/12 (sum of y, and y of the corner once more)
        radius = corners[:, :, 1]
        return np.asarray(2.0 * np.pi * size[:, None] / 12.0 * (radius + radius.sum(axis=1, keepdims=True)))
    depth = mesh.depth if mesh.depth is not None else 1.0
    return np.repeat(size[:, None] * depth / count, count, axis=1)


def horn_of(found: Potential, throat_area: float, mouth_area: float, slices: int = _SLICES) -> EquivalentHorn:
    """Return the equivalent horn of a potential, in ``slices`` of equal length."""
    levels = _even_levels(found, slices)
    volume = found.volume_below(levels)
    step = np.sqrt(np.diff(volume) * np.diff(levels) / found.flux)
    distance = np.concatenate([[0.0], np.cumsum(step)])
    area = np.gradient(volume, distance, edge_order=2)
    return EquivalentHorn(
        distance_m=distance, area_m2=area, potential=levels, volume_m3=found.volume, flux=found.flux,
        throat_area_m2=throat_area, mouth_area_m2=mouth_area,
    )  # fmt: skip


def _even_levels(found: Potential, slices: int) -> Floats:
    """Return slices + 1 levels from 0 to 1, equally far apart along the equivalent horn."""
    levels = np.linspace(0.0, 1.0, slices + 1)
    for _ in range(4):
        volume = found.volume_below(levels)
        distance = np.concatenate([[0.0], np.cumsum(np.sqrt(np.diff(volume) * np.diff(levels)))])
        levels = np.interp(np.linspace(0.0, distance[-1], slices + 1), distance, levels)
    return levels
