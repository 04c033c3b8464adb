"""A chamber reduced to a few dozen unknowns: what it answers at any frequency, and how far off that can be."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.errors import AccuracyError
from airpath.field.certificate import claimed_error, coercivity, energy_norm
from airpath.field.forms import FieldMatrices
from airpath.field.modes import Modes, factorise, solve
from airpath.field.walls import Medium
from airpath.field.windows import answers, remainder, windows

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Omega = NDArray[Any]

_CHUNK = 50  # frequencies solved together: their small matrices stay in the cache
_MATRIX_ROUNDING = 1e-13  # relative rounding of the matrices: it moves poles, and shows close to them
_ROUNDING = 1e-10  # relative error that double precision leaves in either solution
_STIFF_ROUNDING = 1e-15  # of the stiffness's entries: it acts on an even pressure too, which they should not see at all


@dataclass(frozen=True, kw_only=True)
class ReducedField:
    """A chamber reduced to a few dozen unknowns, good at any w up to the band edge, also complex.

    ``space`` (unknowns, r) real and ``mix`` (r, N) complex: the basis is their product. ``small`` (4, N, N)
    and ``load`` (N, m) are the projected matrices; ``probe_small`` (4, probes, N) and ``probe_load``
    (probes, m) see the residual.
    """

    matrices: FieldMatrices
    medium: Medium
    modes: Modes
    space: Floats
    mix: ComplexArray
    probes: Floats
    small: ComplexArray
    load: ComplexArray
    probe_small: ComplexArray
    probe_load: Floats
    factorisations: int

    def coordinates(self, omega: Omega) -> ComplexArray:
        """Return the solutions for unit right-hand sides, (n, N, m); ``omega`` [rad/s] (n,), real or
        complex.
        """
        flat = self.medium.coefficients(omega) @ self.small.reshape(len(self.small), -1)
        matrix = flat.reshape(len(omega), *self.small.shape[1:])
        return np.asarray(np.linalg.solve(matrix, np.broadcast_to(self.load, (len(omega), *self.load.shape))))

    def impedance(self, omega: Omega) -> ComplexArray:
        """Return Z [Pa s/m^3], (n, m, m), analytic in ``omega`` [rad/s], (n,)."""
        omega = np.asarray(omega)
        factor = 1j * omega * self.medium.air.density
        chunks = (omega[start : start + _CHUNK] for start in range(0, len(omega), _CHUNK))
        return np.asarray(factor[:, None, None] * np.concatenate([self.load.T @ self.coordinates(c) for c in chunks]))

    def pressure(self, omega: complex, flows: ComplexArray) -> ComplexArray:
        """Return p [Pa] at every unknown of the basis, for volume velocities [m^3/s] (m,) into the chamber.

        The first unknowns are the vertices; ``matrices.basis.refinterp`` gives a finer picture.
        """
        y = self.coordinates(np.array([omega]))[0] @ flows
        return np.asarray(1j * omega * self.medium.air.density * (self.space @ (self.mix @ y)))

    def energy(self, omega: float, flows: ComplexArray) -> tuple[float, float, float]:
        """Return potential and kinetic energy [J] of the bulk and lost power [W] for RMS flows [m^3/s]
        (m,).
        """
        pressure, air = self.pressure(omega, flows), self.medium.air
        stiffness, mass = (float(np.real(np.vdot(pressure, q @ pressure))) for q in self.matrices.operators[:2])
        power = float(np.real(np.vdot(flows, self.matrices.means.T @ pressure)))
        return 0.5 * mass / air.bulk_modulus, 0.5 * stiffness / (air.density * omega**2), power

    def certified(self, omega: Floats) -> tuple[ComplexArray, Floats]:
        """Return Z (n, m, m) and its claimed relative error (n,) at real ``omega`` [rad/s], (n,)."""
        ports = self.load.shape[1]
        impedance, claim = np.empty((len(omega), ports, ports), dtype=complex), np.empty(len(omega))
        places = windows(omega, self.modes.cut**0.5 * self.medium.air.sound_speed)
        with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:  # the small solutions free the lock
            for at, part in zip(places, pool.map(self._certified_part, (omega[at] for at in places)), strict=True):
                impedance[at], claim[at] = part
        return impedance, claim

    def _certified_part(self, omega: Floats) -> tuple[ComplexArray, Floats]:
        scale = self.medium.air.density * omega
        coefficients = self.medium.coefficients(omega)
        y, slack = answers(self, omega, coefficients)
        z = 1j * scale[:, None, None] * (self.load.T @ y)
        residual = remainder(self.probe_load, self.probe_small, coefficients, y)
        bound = claimed_error(residual, scale, coercivity(coefficients, self.modes.cut)) + scale * slack
        stored = np.sum(np.abs(y) ** 2, axis=2) @ np.abs(np.diagonal(self.small[0]))  # what rounding acts on
        squares = np.sum(np.abs(y) ** 2, axis=2) @ np.abs(np.diagonal(self.small[1])) / self.matrices.volume
        bound = bound + scale * (_MATRIX_ROUNDING * stored + _STIFF_ROUNDING * self._stiffness_norm * squares)
        return z, bound / np.linalg.norm(z, axis=(1, 2)) + _ROUNDING

    @cached_property
    def whitening(self) -> Floats:
        """What turns a part of the dual space (N,) into one whose square is its square in the energy norm, (N, N)."""
        size, turn = np.linalg.eigh(energy_norm(self.small[0].real, self.small[1].real, self.modes.cut))
        return np.asarray((turn / np.sqrt(np.maximum(size, 1e-14 * size[-1]))).T)

    @cached_property
    def _stiffness_norm(self) -> float:
        """Frobenius norm of the stiffness [m]: how far its rounding can move a field of mean square 1."""
        return float(np.linalg.norm(self.matrices.operators[0].data))

    def direct(self, omega: float) -> ComplexArray:
        """Return the full solutions for unit right-hand sides, (unknowns, m), by one factorisation."""
        means = self.matrices.means
        matrix = self.matrices.combined(self.medium.coefficients(np.array([omega]))[0])
        factor = factorise(matrix)
        x = solve(factor, means.astype(complex))
        return np.asarray(x + solve(factor, means - matrix @ x))

    def direct_check(self, omega: float, solution: ComplexArray) -> None:
        """Raise AccuracyError when a direct ``solution`` (unknowns, m) is further off than claimed at
        ``omega``.
        """
        impedance, claim = self.certified(np.array([omega]))
        direct = 1j * omega * self.medium.air.density * (self.matrices.means.T @ solution)
        error = float(np.linalg.norm(direct - impedance[0]) / np.linalg.norm(direct))
        if error > claim[0]:
            raise AccuracyError(
                f"field sweep: error {error:.1e} at {omega / (2.0 * np.pi):.5g} Hz, claimed {claim[0]:.1e}"
            )
