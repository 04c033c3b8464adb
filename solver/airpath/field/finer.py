"""Meshes from files made fine enough for the highest frequency: every edge halved, openings and stuffing kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from airpath.errors import GeometryError
from airpath.field.mesh import FieldMesh, IntArray

# Longest edge in wavelengths: 0.1 % in the resonances of a cuboid (solid, order 2), as for outlines (flat, order 4).
_SOLID, _FLAT = 0.2, 0.43
_MOST_CELLS = {"solid": 15_000, "planar": 100_000, "axisymmetric": 100_000}


def fine_enough(made: FieldMesh, *, highest_hz: float, sound_speed: float) -> FieldMesh:
    """Return the mesh with no edge longer than a fixed part of the wavelength ``sound_speed`` [m/s] / ``highest_hz``.

    Raises GeometryError if that takes more than 15,000 tetrahedra or 100,000 triangles.
    Checked by: tests/unit/test_meshfile.py, against the closed form of a cuboid.
    """
    share = _SOLID if made.kind == "solid" else _FLAT
    edge = _longest_edge(made)
    good_to = share * sound_speed / edge
    times = max(0, int(np.ceil(np.log2(highest_hz / good_to) - 1e-9)))
    if times and made.mesh.nelements * 2.0 ** (times * made.mesh.dim()) > _MOST_CELLS[made.kind]:
        raise GeometryError(
            f"the mesh has edges of up to {edge * 1e3:.3g} mm, good to {good_to:.4g} Hz; the sweep goes to "
            f"{highest_hz:.4g} Hz: mesh it finer or lower the stop"
        )
    for _ in range(times):
        made = halved(made)
    return made


def halved(made: FieldMesh) -> FieldMesh:
    """Return the mesh with every edge cut in two: four triangles or eight tetrahedra of each cell."""
    from scipy.spatial import cKDTree

    coarse = made.mesh.with_subdomains({"stuffed": made.stuffed})
    fine = coarse.refined()
    boundary = fine.boundary_facets()
    tree = cKDTree(fine.p[:, fine.facets[:, boundary]].mean(axis=1).T)

    def parts(facets: IntArray) -> IntArray:
        corners = coarse.p[:, coarse.facets[:, facets]]
        middle = corners.mean(axis=1, keepdims=True)
        inner = [middle] if made.kind == "solid" else []  # a triangle has a fourth part, between those at its corners
        centres = np.concatenate([0.5 * (corners + middle), *inner], axis=1)
        return np.asarray(np.sort(boundary[tree.query(centres.reshape(len(corners), -1).T)[1]]), dtype=np.int64)

    openings = {name: parts(facets) for name, facets in made.openings.items()}
    mesh = type(made.mesh)(fine.p, fine.t)
    return replace(made, mesh=mesh, openings=openings, stuffed=np.asarray(fine.subdomains["stuffed"], dtype=np.int64))


def _longest_edge(made: FieldMesh) -> float:
    corners = made.mesh.p[:, made.mesh.t]  # (dimension, corners, cells)
    return float(max(np.linalg.norm(corners - np.roll(corners, k, axis=1), axis=0).max() for k in (1, 2)))
