"""A chamber or path solved by finite elements, as one more element of the network."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from airpath.elements.base import ComplexArray, Element, Omega

if TYPE_CHECKING:
    from airpath.air import Air
    from airpath.field.reduced import ReducedField


@dataclass(frozen=True, kw_only=True)
class FieldChamber(Element):
    """A reduced chamber with one terminal for each opening, in the order of ``names``.

    The chamber's near field at each opening is in it: what joins there adds no inner end correction.
    """

    kind: ClassVar[str] = "field-chamber"

    model: ReducedField

    @property
    def names(self) -> tuple[str, ...]:
        """Name of each opening."""
        return self.model.matrices.names

    @property
    def terminals(self) -> int:
        """Number of openings."""
        return len(self.names)

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y [m^3/(s Pa)], (n, m, m), the inverse of the impedance; ``omega`` [rad/s] within the
        reduced band.

        ``air`` may differ from the one the model was reduced with: only four scalars know it.
        """
        model = replace(self.model, medium=replace(self.model.medium, air=air))
        inverse = np.linalg.inv(model.impedance(np.asarray(omega)))
        return np.asarray(0.5 * (inverse + np.swapaxes(inverse, 1, 2)))

    def storage(self, omega: Omega, air: Air) -> ComplexArray:
        """Return what a uniform pressure in the whole chamber stores [m^3/(s Pa)], (n,): j w kappa V with its walls."""
        matrices, w = self.model.matrices, np.asarray(omega)
        factors = replace(self.model.medium, air=air).coefficients(w)
        stored = factors[:, 1] * matrices.operators[1].sum() + factors[:, 3] * matrices.operators[3].sum()
        if len(matrices.operators) > 4:
            stored = stored + factors[:, 5] * matrices.operators[5].sum()
        return np.asarray(stored / (1j * w * air.density))

    @classmethod
    def examples(cls) -> list[Element]:
        """Return a small planar chamber with two openings, good to 3 kHz."""
        import skfem

        from airpath.air import air_at
        from airpath.field.forms import assemble
        from airpath.field.reduce import reduce_field
        from airpath.field.walls import Medium

        mesh = skfem.MeshTri.init_tensor(np.linspace(0.0, 0.12, 5), np.linspace(0.0, 0.09, 4))
        left, right = (
            mesh.facets_satisfying(lambda x: x[0] < 1e-9),
            mesh.facets_satisfying(lambda x: x[0] > 0.12 - 1e-9),
        )
        openings = {"left": left[:1], "right": right[1:]}
        walls = np.setdiff1d(mesh.boundary_facets(), np.concatenate(list(openings.values())))
        outline = SimpleNamespace(mesh=mesh, kind="planar", depth=0.07, openings=openings, walls=walls, stuffed=[])
        frequency = np.geomspace(10.0, 3000.0, 100)
        return [cls(model=reduce_field(assemble(outline), Medium(air=air_at(), depth=0.07), frequency)[0])]
