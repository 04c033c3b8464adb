"""What the air and its walls do at each frequency: four scalars in front of four matrices that never change.

The discrete problem is A(w) p = j w rho sum_j U_j m_j with

    A(w) = a K - k^2 b M - l_v Kw - k^2 (gamma - 1) l_t Mw,

K and M the stiffness and mass matrices of the air, Kw and Mw the tangential stiffness and mass of its walls.
l_v = sqrt(nu/(j w)) and l_t = l_v/sqrt(Pr) are the complex layer lengths; a and b carry whatever changes the
density and compressibility of the bulk: the narrow depth of a planar chamber, stuffing, absorption.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.porous import Fluid
from airpath.acoustics.viscothermal import layer_thickness, slab_function
from airpath.air import Air

if TYPE_CHECKING:
    from airpath.field.forms import Meshed

ComplexArray = NDArray[np.complex128]
Omega = NDArray[Any]


def layer_length(omega: Omega, diffusivity: float) -> ComplexArray:
    """Return the complex length sqrt(D/(j w)) [m] of a boundary layer, shape of ``omega``.

    ``omega`` [rad/s] may be complex; ``diffusivity`` D [m^2/s] is nu for the viscous and nu/Pr for the
    thermal layer. For real w it is (1 - j) delta/2 with delta = sqrt(2 D/w) the usual layer thickness.
    """
    return np.asarray(np.sqrt(diffusivity / (1j * np.asarray(omega))), dtype=complex)


@dataclass(frozen=True, kw_only=True)
class Medium:
    """The air of one chamber and everything uniform that changes it.

    ``depth`` [m] of a planar chamber: its front and back plates act on the whole field, exactly, through
    the slit functions tanh(z)/z (Stinson 1991, J. Acoust. Soc. Am. 89, 550), because the pressure does not
    vary over the depth. ``loss_q`` multiplies the compressibility by 1 - j/Q. ``fluid`` replaces the bulk
    of the air by an equivalent fluid, everywhere or, with ``in_part``, in the stuffed cells alone.
    """

    air: Air
    depth: float | None = None
    loss_q: float | None = None
    fluid: Fluid | None = None
    in_part: bool = False

    def bulk(self, omega: Omega, *, stuffed: bool) -> tuple[ComplexArray, ComplexArray]:
        """Return (a, b): rho/rho(w) and kappa/kappa(w), each (n,), of stuffed or free air; ``omega`` [rad/s] (n,)."""
        air = self.air
        a, b = np.ones(len(omega), dtype=complex), np.ones(len(omega), dtype=complex)
        if self.fluid is not None and stuffed:
            a *= air.density / self.fluid.density(omega, air)
            b *= air.bulk_modulus * self.fluid.compressibility(omega, air)
        if self.depth is not None and air.viscosity > 0.0:
            half = 0.5 * self.depth
            a *= 1.0 - slab_function(half / layer_length(omega, air.kinematic_viscosity))
            b *= 1.0 + (air.gamma - 1.0) * slab_function(half / layer_length(omega, air.thermal_diffusivity))
        if self.loss_q is not None:
            b *= 1.0 - 1j / self.loss_q
        return a, b

    def coefficients(self, omega: Omega) -> ComplexArray:
        """Return the factors of (K, M, Kw, Mw), (n, 4); ``omega`` [rad/s], shape (n,), real or complex.

        With ``in_part`` (n, 6): what stuffing adds to K and M of the stuffed cells comes last.

        Source: Berggren, Bernland & Noreland 2018, J. Comput. Phys. 371, 633 (the wall condition, first
        order in the layer). Valid where the layers are thin against gaps and radii: see ``layer_ratio``.
        Checked by: tests/crosscheck/test_field_published.py.
        """
        omega = np.asarray(omega)
        air, k2 = self.air, (omega / self.air.sound_speed) ** 2
        a, b = self.bulk(omega, stuffed=not self.in_part)
        viscous = layer_length(omega, air.kinematic_viscosity)
        thermal = layer_length(omega, air.thermal_diffusivity)
        factors = [a, -k2 * b, -viscous, -k2 * (air.gamma - 1.0) * thermal]
        if self.in_part:
            inside = self.bulk(omega, stuffed=True)
            factors += [inside[0] - a, -k2 * (inside[1] - b)]
        return np.stack(factors, axis=-1)


def smallest_gap(mesh: Meshed) -> float:
    """Return the smallest distance [m] between walls that face each other (a planar depth counts too).

    Each pair of facing wall facets is joined by the circle that touches the first and passes through the
    second; its diameter is the width of a gap and the diameter of a tube, whatever the facets' offset.
    """
    points, normals = _facets(mesh)
    if mesh.kind == "axisymmetric":
        mirror = np.array([[1.0], [-1.0]])
        points, normals = np.hstack([points, points * mirror]), np.hstack([normals, normals * mirror])
    step = points[:, None, :] - points[:, :, None]
    inward = -np.einsum("dij,di->ij", step, normals)
    facing = (normals.T @ normals < -0.7) & (inward > 0.0)
    square = np.einsum("dij,dij->ij", step, step)
    gap = float(np.min(square[facing] / inward[facing])) if facing.any() else np.inf
    return min(gap, mesh.depth) if mesh.kind == "planar" and mesh.depth is not None else gap


def layer_ratio(mesh: Meshed, air: Air, frequency_hz: float) -> float:
    """Return layer thickness sqrt(2 nu/w) over the smallest gap of the mesh, at ``frequency_hz`` > 0.

    The wall condition is first order in this ratio, its error second order: 0.05 costs about 5 % of the
    loss in a tube, above 0.1 the thin-layer picture is gone and a narrow-duct model is the better one.
    """
    omega = np.array([2.0 * np.pi * frequency_hz])
    return float(layer_thickness(omega, air)[0]) / smallest_gap(mesh)


def _facets(mesh: Meshed) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return midpoints and outward unit normals of the wall facets, each of shape (dim, n)."""
    p, facets = mesh.mesh.p, mesh.mesh.facets[:, mesh.walls]
    middle = p[:, facets].mean(axis=1)
    edges = p[:, facets[1:]] - p[:, facets[:1]]
    if len(p) == 2:
        normal = np.stack([edges[1, 0], -edges[0, 0]])
    else:
        normal = np.cross(edges[:, 0], edges[:, 1], axis=0)
    cells = mesh.mesh.t[:, mesh.mesh.f2t[0, mesh.walls]]
    outward = np.sign(np.sum(normal * (middle - p[:, cells].mean(axis=1)), axis=0))
    return middle, normal * outward / np.linalg.norm(normal, axis=0)
