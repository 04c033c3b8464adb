"""How wrong the reduced impedance can be, from its residual.

With R = M - A X the residuals of the reduced solutions for all openings, the impedance is off by exactly j
w rho R^T A^-1 R (A is symmetric, the projection Galerkin). The residual has no part in the reduced space,
which holds every standing wave below ``cut``: on what is left A is coercive against the energy norm E = K +
k0^2 M with a constant beta that is a closed form, and the error is below w rho |R^T E^-1 R| / beta.

E^-1 is never applied to a residual. Draw right-hand sides g with covariance E, cell by cell, and solve E y
= g once: y^T R is then normal with covariance R^T E^-1 R, and a few dozen such probes give the norm within
a known factor at any frequency for the price of small products (Balabanov & Nouy 2019, Adv. Comput. Math.
45, 2969; Smetana, Zahm & Patera 2019, SIAM J. Sci. Comput. 41, A900).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from airpath.field.modes import factorise, solve

if TYPE_CHECKING:
    from airpath.field.forms import FieldMatrices

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

PROBES = 64
_SAFETY = 2.5  # 64 probes see less than 1/2.5 of the true square norm with probability 5e-6
_ANGLES = 37  # at which the operator of two fluids is tried
_ENERGY = 0.02  # k0^2 over cut: weight of the mass in the energy norm


def energy_norm(stiffness: Any, mass: Any, cut: float) -> Any:
    """Return the energy E of the norm, of whatever kind of matrix the two are; ``cut`` [1/m^2] as in ``coercivity``."""
    return stiffness + _ENERGY * cut * mass


def draw_probes(matrices: FieldMatrices, cut: float) -> Floats:
    """Return the probes y as columns, (unknowns, PROBES); ``cut`` [1/m^2] as in ``coercivity``."""
    stiffness, mass = matrices.operators[:2]
    root = np.linalg.cholesky(energy_norm(matrices.cell_energy[0], matrices.cell_energy[1], cut))
    normal = np.random.default_rng(11).standard_normal((*root.shape[:2], PROBES))
    places = matrices.cell_unknowns.ravel()
    gather = csr_matrix((np.ones(len(places)), (places, np.arange(len(places)))))
    right = gather @ (root @ normal).reshape(-1, PROBES)
    return solve(factorise(energy_norm(stiffness, mass, cut)), right)


def coercivity(coefficients: ComplexArray, cut: float) -> Floats:
    """Return beta of the bulk operator on waves above ``cut`` [1/m^2], shape (n,).

    ``coefficients`` (n, 4) as in ``Medium.coefficients``. For a wave of eigenvalue s the operator over the
    energy is (a s - k^2 b)/(s + k0^2): a straight line in 1/(s + k0^2), so its least size is the distance
    of a segment from 0. The wall terms lie within 45 degrees of the stiffness turned round: they take at
    most a factor sqrt 2. With stuffed parts (n, 6) a and b take one value there and one elsewhere: turned by any angle,
    the least real part of the two a and of the two -k^2 b bounds the operator; the best of some angles is taken.
    """
    if coefficients.shape[1] > 4:
        return _coercivity_of_two(coefficients, cut)
    shift = _ENERGY * cut
    return _least(coefficients[:, 0], (coefficients[:, 0] * cut + coefficients[:, 1]) / (cut + shift))


def stability(coefficients: ComplexArray, cut: float, low: float, high: float) -> Floats:
    """Return the least size of the bulk operator over the energy, (n,), on waves below ``low`` or above ``high``.

    As ``coercivity``, and the standing waves are orthogonal in stiffness and mass, so those below keep their size
    beside those above. ``low`` and ``high`` [1/m^2]; no wave is below a negative one.
    """
    a, b, shift = coefficients[:, 0], coefficients[:, 1], _ENERGY * cut
    above = _least(a, (a * high + b) / (high + shift))
    return above if low < 0.0 else np.minimum(above, _least(b / shift, (a * low + b) / (low + shift)))


def _least(start: ComplexArray, end: ComplexArray) -> Floats:
    """Return the distance of the segments from ``start`` to ``end`` (n,) from 0."""
    along = end - start
    place = np.clip(-np.real(start * np.conj(along)) / np.abs(along) ** 2, 0.0, 1.0)
    return np.asarray(np.abs(start + place * along))


def _coercivity_of_two(coefficients: ComplexArray, cut: float) -> Floats:
    turn = np.exp(1j * np.linspace(-0.5 * np.pi, 0.5 * np.pi, _ANGLES))[:, None]
    a = np.minimum(*((turn * c).real for c in (coefficients[:, 0], coefficients[:, 0] + coefficients[:, 4])))
    b = np.minimum(*((turn * c).real for c in (coefficients[:, 1], coefficients[:, 1] + coefficients[:, 5])))
    least = np.minimum(a, (a * cut + b) / (cut + _ENERGY * cut))
    return np.asarray(np.maximum(least.max(axis=0), 1e-12))


def claimed_error(residual: ComplexArray, scale: Floats, beta: Floats) -> Floats:
    """Return the bound on the Frobenius norm of the impedance error [Pa s/m^3], shape (n,).

    ``residual`` (n, PROBES, m) is y^T R; ``scale`` w rho [kg/(m^3 s)], (n,); ``beta`` (n,).
    """
    gram = np.swapaxes(residual.conj(), 1, 2) @ residual
    return np.asarray(_SAFETY * scale / beta * np.linalg.norm(gram, axis=(1, 2)) / PROBES)
