"""Small structured meshes for the tests of the field solver; the tool itself draws its meshes from
outlines.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import skfem

from airpath.air import Air

AIR = Air(density=1.204, sound_speed=343.2, viscosity=1.8206e-5, prandtl=0.708, gamma=1.4)


@dataclass(frozen=True, kw_only=True)
class Shape:
    """A mesh with what the assembly asks of it."""

    mesh: skfem.Mesh
    kind: str
    depth: float | None = None
    openings: dict = field(default_factory=dict)
    stuffed: tuple = ()

    @property
    def walls(self):
        facets = np.setdiff1d(self.mesh.boundary_facets(), np.concatenate([[], *self.openings.values()]))
        facets = facets.astype(int)
        if self.kind == "axisymmetric":
            facets = facets[self.mesh.p[1, self.mesh.facets[:, facets]].max(axis=0) > 1e-12]
        return facets


def lines(*stops, size):
    """Return grid lines through all ``stops``, at most ``size`` apart."""
    parts = [np.linspace(a, b, int(np.ceil((b - a) / size - 1e-9)) + 1) for a, b in pairwise(stops)]
    return np.unique(np.concatenate(parts).round(12))


def named(mesh, **boxes):
    """Return the boundary facets whose middle lies in each box ((x0, x1), (y0, y1), ...)."""
    facets = mesh.boundary_facets()
    middle = mesh.p[:, mesh.facets[:, facets]].mean(axis=1)
    found = {}
    for name, box in boxes.items():
        inside = np.all([(m >= lo - 1e-9) & (m <= hi + 1e-9) for m, (lo, hi) in zip(middle, box, strict=True)], axis=0)
        found[name] = facets[inside]
    return found


def without(mesh, *boxes):
    """Return the mesh with the cells inside the boxes taken out."""
    middle = mesh.p[:, mesh.t].mean(axis=1)
    gone = [np.all([(m > lo) & (m < hi) for m, (lo, hi) in zip(middle, box, strict=True)], axis=0) for box in boxes]
    return mesh.remove_elements(np.flatnonzero(np.any(gone, axis=0)))


def partitioned(size=0.06, depth=0.18):
    """A planar chamber 0.6 x 0.4 m with a partition and three openings."""
    fine = 0.6 * size
    xs = np.union1d(
        lines(0, 0.27, size=size),
        np.union1d(lines(0.27, 0.3, 0.32, 0.35, size=fine), lines(0.35, 0.6, size=size)),
    )
    ys = np.union1d(
        lines(0, 0.05, 0.22, size=size),
        np.union1d(lines(0.22, 0.25, 0.28, size=fine), lines(0.28, 0.4, size=size)),
    )
    mesh = without(skfem.MeshTri.init_tensor(xs, ys), ((0.3, 0.32), (0.0, 0.25)))
    openings = named(mesh, throat=((0, 0), (0, 0.05)), nose=((0.6, 0.6), (0, 0.05)), top=((0.35, 0.6), (0.4, 0.4)))
    return Shape(mesh=mesh, kind="planar", depth=depth, openings=openings)


def stepped(size=0.05):
    """An axisymmetric chamber: a pipe of radius 0.05 m into one of radius 0.15 m, open at both ends and at
    the rim.
    """
    xs, ys = lines(0, 0.1, 0.45, size=size), lines(0, 0.05, 0.15, size=size)
    mesh = without(skfem.MeshTri.init_tensor(xs, ys), ((0, 0.1), (0.05, 0.15)))
    openings = named(mesh, throat=((0, 0), (0, 0.05)), back=((0.45, 0.45), (0, 0.05)), rim=((0.1, 0.2), (0.15, 0.15)))
    return Shape(mesh=mesh, kind="axisymmetric", openings=openings)


def folded(size=0.06, width=0.06, length=1.0, depth=0.1):
    """A long duct folded twice: three legs of ``length`` side by side, thin walls between them."""
    wall = 0.01
    ys = lines(*np.cumsum([0, width, wall, width, wall, width]), size=size)
    xs = lines(0, width, length - width, length, size=size)
    low, high = (width, width + wall), (2 * width + wall, 2 * width + 2 * wall)
    mesh = skfem.MeshTri.init_tensor(xs, ys)
    mesh = without(mesh, ((0, length - width), low), ((width, length), high))
    top = 3 * width + 2 * wall
    openings = named(mesh, throat=((0, 0), (0, width)), mouth=((length, length), (top - width, top)))
    return Shape(mesh=mesh, kind="planar", depth=depth, openings=openings)


def rebuilt(shape):
    """The same triangles as an NGSolve mesh; every opening and the walls are boundaries, the axis is none
    of them.
    """
    from netgen.meshing import Element1D, Element2D, FaceDescriptor, Mesh, MeshPoint, Pnt
    from ngsolve import Mesh as Wrapped

    out = Mesh(dim=2)
    points = [out.Add(MeshPoint(Pnt(float(x), float(y), 0.0))) for x, y in shape.mesh.p.T]
    out.Add(FaceDescriptor(surfnr=1, domin=1, bc=1))
    for cell in shape.mesh.t.T:
        out.Add(Element2D(1, [points[i] for i in cell]))
    named = [*shape.openings.items(), ("wall", shape.walls)]
    rest = np.setdiff1d(shape.mesh.boundary_facets(), np.concatenate([facets for _, facets in named]))
    for number, (name, facets) in enumerate([*named, ("axis", rest)], start=1):
        for a, b in shape.mesh.facets[:, facets].T:
            out.Add(Element1D([points[a], points[b]], index=number))
        out.SetBCName(number - 1, name)
    return Wrapped(out)
