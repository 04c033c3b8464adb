"""The four real matrices of a chamber and its openings, assembled once; nothing here depends on frequency."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, Protocol

import numpy as np
import skfem
from numpy.typing import NDArray
from skfem.helpers import dot, grad

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

Kind = Literal["planar", "axisymmetric", "solid"]
Floats = NDArray[np.float64]


class Meshed(Protocol):
    """What the assembly needs of a mesh: x along the axis and y the radius where it is axisymmetric."""

    @property
    def mesh(self) -> Any:
        """Triangles or tetrahedra, a scikit-fem mesh."""

    @property
    def kind(self) -> Kind:
        """How the mesh stands for a volume."""

    @property
    def depth(self) -> float | None:
        """Depth [m] of a planar chamber."""

    @property
    def openings(self) -> dict[str, NDArray[np.int64]]:
        """Facet indices of each named opening."""

    @property
    def walls(self) -> NDArray[np.int64]:
        """Facet indices of the rigid walls."""

    @property
    def stuffed(self) -> NDArray[np.int64]:
        """Indices of the cells that hold stuffing."""


@dataclass(frozen=True, kw_only=True)
class FieldMatrices:
    """Matrices of one chamber, all real, integrated over the true volume [m^3] and its walls [m^2].

    ``operators`` are stiffness, mass, wall tangential stiffness and wall mass, each (n, n), and where parts are stuffed
    the stiffness and mass of these alone; column j of
    ``means`` (n, m) takes the mean over opening j; ``areas`` [m^2] (m,); ``cell_energy`` holds stiffness
    and mass of each cell, (2, cells, local, local), with ``cell_unknowns`` (cells, local).
    """

    basis: Any
    operators: tuple[csc_matrix, ...]
    means: Floats
    areas: Floats
    names: tuple[str, ...]
    cell_energy: Floats
    cell_unknowns: NDArray[np.int64]

    @cached_property
    def occupied(self) -> tuple[tuple[NDArray[np.int64], csc_matrix], ...]:
        """Each operator without its empty rows and columns, and which those left are: few for a wall's."""
        rows = [np.unique(operator.indices) for operator in self.operators]
        return tuple((at, operator[at][:, at]) for at, operator in zip(rows, self.operators, strict=True))

    def combined(self, coefficients: NDArray[Any]) -> Any:
        """Return the full matrix A for the coefficients of all operators."""
        return sum(c * q for c, q in zip(coefficients, self.operators, strict=True))

    @property
    def unknowns(self) -> int:
        """Number of unknowns n."""
        return int(self.basis.N)

    @property
    def stuffed_share(self) -> float:
        """Share of the volume that is drawn as stuffed, 0 to 1."""
        return float(self.operators[5].sum()) / self.volume if len(self.operators) > 4 else 0.0

    @property
    def order(self) -> int:
        """Polynomial order of the element."""
        return int(self.basis.elem.maxdeg)

    @property
    def volume(self) -> float:
        """Volume of the air [m^3]."""
        return float(self.operators[1].sum())


def element_for(kind: Kind, order: int | None = None) -> Any:
    """Return the scikit-fem element of a polynomial order: 4 on triangles and 2 on tetrahedra when not
    given.
    """
    if kind == "solid":
        return {1: skfem.ElementTetP1, 2: skfem.ElementTetP2}[order or 2]()
    triangles = {1: skfem.ElementTriP1, 2: skfem.ElementTriP2, 3: skfem.ElementTriP3, 4: skfem.ElementTriP4}
    return triangles[order or 4]()


def assemble(mesh: Meshed, order: int | None = None) -> FieldMatrices:
    """Return the matrices of a chamber; ``order`` is 1 to 4 on triangles, 1 or 2 on tetrahedra.

    Every integral is exact: the rule covers twice the order and the radius of an axisymmetric chamber.
    """
    element = element_for(mesh.kind, order)
    weight, rule = _weight(mesh), 2 * element.maxdeg + (mesh.kind == "axisymmetric")
    basis = skfem.Basis(mesh.mesh, element, intorder=rule)
    wall = skfem.FacetBasis(mesh.mesh, element, facets=mesh.walls, intorder=rule)
    stiffness, mass = (form.elemental(basis) for form in _volume_forms(weight))
    wall_stiffness, wall_mass = (form.assemble(wall).tocsc() for form in _wall_forms(weight))
    part = _stuffed_parts(mesh, element, weight, rule)
    means, areas = _openings(mesh, element, weight, rule)
    return FieldMatrices(
        basis=basis,
        operators=(stiffness.todefault().tocsc(), mass.todefault().tocsc(), wall_stiffness, wall_mass, *part),
        means=means,
        areas=areas,
        names=tuple(mesh.openings),
        cell_energy=np.stack([stiffness.tolocal(), mass.tolocal()]),
        cell_unknowns=basis.element_dofs.T,
    )


def _stuffed_parts(mesh: Meshed, element: Any, weight: Any, rule: int) -> list[Any]:
    """Return stiffness and mass of the stuffed cells, nothing where there are none."""
    if not len(mesh.stuffed):
        return []
    basis = skfem.Basis(mesh.mesh, element, intorder=rule, elements=mesh.stuffed)
    return [form.assemble(basis).tocsc() for form in _volume_forms(weight)]


def stiffness_of(mesh: Meshed, order: int | None = None) -> tuple[Any, csc_matrix]:
    """Return the basis and the stiffness alone, (unknowns, unknowns), as :func:`assemble` makes them."""
    element = element_for(mesh.kind, order)
    basis = skfem.Basis(mesh.mesh, element, intorder=2 * element.maxdeg + (mesh.kind == "axisymmetric"))
    return basis, _volume_forms(_weight(mesh))[0].assemble(basis).tocsc()


def _weight(mesh: Meshed) -> Any:
    """Return the function of position that turns an integral over the mesh into one over the true volume."""
    if mesh.kind == "axisymmetric":
        return lambda x: 2.0 * np.pi * x[1]
    return lambda x: mesh.depth if mesh.kind == "planar" else 1.0


def _volume_forms(weight: Any) -> tuple[Any, Any]:
    def stiffness(u: Any, v: Any, w: Any) -> Any:
        return weight(w.x) * dot(grad(u), grad(v))

    def mass(u: Any, v: Any, w: Any) -> Any:
        return weight(w.x) * u * v

    return skfem.BilinearForm(stiffness), skfem.BilinearForm(mass)


def _wall_forms(weight: Any) -> tuple[Any, Any]:
    def stiffness(u: Any, v: Any, w: Any) -> Any:
        tangential = dot(grad(u), grad(v)) - dot(grad(u), w.n) * dot(grad(v), w.n)
        return weight(w.x) * tangential

    def mass(u: Any, v: Any, w: Any) -> Any:
        return weight(w.x) * u * v

    return skfem.BilinearForm(stiffness), skfem.BilinearForm(mass)


def _openings(mesh: Meshed, element: Any, weight: Any, rule: int) -> tuple[Floats, Floats]:
    """Return the columns that take the mean over each opening, (n, m), and the areas [m^2], (m,)."""
    form = skfem.LinearForm(lambda v, w: weight(w.x) * v)
    integrals, areas = [], []
    for facets in mesh.openings.values():
        basis = skfem.FacetBasis(mesh.mesh, element, facets=facets, intorder=rule)
        integrals.append(form.assemble(basis))
        areas.append(float(np.sum(weight(basis.global_coordinates()) * basis.dx)))
    return np.column_stack(integrals) / np.array(areas), np.array(areas)
