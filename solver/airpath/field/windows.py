"""The small systems of a reduced chamber over a window of frequencies, solved for the price of a few.

Across a window narrow against the band the solutions hardly leave the span of the standing waves in and around it and
of the solutions at a few nodes: a Galerkin projection on that span is the same trick as the reduced chamber itself,
once more. What it leaves, r, has no part in those waves, so the operator is at least ``stability`` on it against the
energy, and the answer is off by w rho |r^T A^-1 r| <= w rho r^H E^-1 r/stability. Where that is not negligible the
system is solved outright.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from airpath.field.certificate import stability

if TYPE_CHECKING:
    from airpath.field.reduced import ReducedField

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]

_WINDOWS = 12  # that the band and its margin are cut into
_MOST = 100  # frequencies in one: its matrices stay in the cache
_NODES = 10  # solved outright in a window
_NEGLIGIBLE = 1e-8  # of the impedance: a hundredth of what the sweep is asked for


def windows(omega: Floats, band: float) -> list[Places]:
    """Return the places of ``omega`` [rad/s] (n,) in rising windows; ``band`` [rad/s] is the highest."""
    order = np.argsort(omega)
    edges = np.flatnonzero(np.diff(np.floor(omega[order] / band * _WINDOWS))) + 1
    return [piece for part in np.split(order, edges) for piece in np.array_split(part, -(-len(part) // _MOST))]


def answers(model: ReducedField, omega: Floats, coefficients: ComplexArray) -> tuple[ComplexArray, Floats]:
    """Return the solutions (n, N, m) at the rising ``omega`` [rad/s] (n,) of one window, and how far each can be off.

    The bound, (n,), is on the Frobenius norm of load^T times the error; 0 where the system was solved outright.
    """
    if len(omega) <= 2 * _NODES or coefficients.shape[1] > 4:  # the stability of two fluids has no closed form
        return model.coordinates(omega), np.zeros(len(omega))
    k = omega / model.medium.air.sound_speed
    reach = k[-1] - k[0]
    low, high = (k[0] - reach) * abs(k[0] - reach), (k[-1] + reach) ** 2
    near = np.flatnonzero((model.modes.eigenvalue > low) & (model.modes.eigenvalue < high))
    span = _span(model, omega, near)
    image = model.small @ span
    y = replace(model, small=span.T @ image, load=span.T @ model.load).coordinates(omega)
    left = remainder(model.whitening @ model.load, model.whitening @ image, coefficients, y)
    slack = np.linalg.norm(np.swapaxes(left.conj(), 1, 2) @ left, axis=(1, 2))
    slack = slack / stability(coefficients, model.modes.cut, low, high)
    y = span @ y
    loose = np.flatnonzero(slack > _NEGLIGIBLE * np.linalg.norm(model.load.T @ y, axis=(1, 2)))
    if len(loose):
        y[loose], slack[loose] = model.coordinates(omega[loose]), 0.0
    return y, slack


def _span(model: ReducedField, omega: Floats, near: Places) -> ComplexArray:
    """Return orthonormal columns (N, w) for the waves ``near`` and the solutions at Chebyshev nodes of the window."""
    nodes = np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
    solved = np.hstack(list(model.coordinates(0.5 * (omega[-1] + omega[0] + (omega[-1] - omega[0]) * nodes))))
    return np.linalg.qr(np.hstack([np.eye(len(solved))[:, near], solved / np.linalg.norm(solved, axis=0)]))[0]


def remainder(
    load: ComplexArray | Floats, operators: ComplexArray, coefficients: ComplexArray, y: ComplexArray
) -> ComplexArray:
    """Return load - sum_q c_q Q_q y (n, rows, m), ``operators`` (q, rows, w), ``coefficients`` (n, q), ``y`` (n, w, m).

    All operators meet all frequencies in one product.
    """
    flat = operators.swapaxes(0, 1).reshape(operators.shape[1], -1)
    weighted = coefficients.T[:, None, :, None] * np.moveaxis(y, 0, 1)
    image = (flat @ weighted.reshape(flat.shape[1], -1)).reshape(len(flat), len(y), -1)
    return np.asarray(load - np.moveaxis(image, 0, 1))
