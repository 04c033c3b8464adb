"""One sweep instead of a thousand solves: a small model of a chamber, with a certified error.

The space is real and built from two factorisations: the standing waves of the band, the static response of each
opening, and what the wall losses add to each. In it the losses of each wave are dressed onto the wave itself (a
complex combination), which halves the small system. Where the certificate is not met, the error of a direct solution
at the worst frequency joins the space.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from airpath.errors import AccuracyError
from airpath.field.certificate import claimed_error, coercivity, draw_probes
from airpath.field.forms import FieldMatrices
from airpath.field.modes import Modes, factorise, solve, standing_waves
from airpath.field.space import dressed_space
from airpath.field.walls import Medium

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Omega = NDArray[Any]

_CHUNK = 50  # frequencies solved together: their small matrices stay in the cache
_ROUNDING = 1e-10  # relative error that double precision leaves in either solution


@dataclass(frozen=True, kw_only=True)
class FieldSweep:
    """Impedance of a chamber over frequency.

    ``frequency`` [Hz] (n,); ``impedance`` Z [Pa s/m^3] (n, m, m), mean pressure on opening i per unit volume velocity
    into the chamber at opening j; ``claimed_error`` (n,), bound on the Frobenius norm of its error over its own.
    """

    frequency: Floats
    impedance: ComplexArray
    claimed_error: Floats
    unknowns: int
    order: int
    basis_size: int
    factorisations: int


@dataclass(frozen=True, kw_only=True)
class ReducedField:
    """A chamber reduced to a few dozen unknowns, good at any w up to the band edge, also complex.

    ``space`` (unknowns, r) real and ``mix`` (r, N) complex: the basis is their product. ``small`` (4, N, N) and
    ``load`` (N, m) are the projected matrices; ``probe_small`` (4, probes, N) and ``probe_load`` (probes, m) see
    the residual.
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
        """Return the solutions for unit right-hand sides, (n, N, m); ``omega`` [rad/s] (n,), real or complex."""
        flat = self.medium.coefficients(omega) @ self.small.reshape(4, -1)
        matrix = flat.reshape(len(omega), *self.small.shape[1:])
        return np.asarray(np.linalg.solve(matrix, np.broadcast_to(self.load, (len(omega), *self.load.shape))))

    def impedance(self, omega: Omega) -> ComplexArray:
        """Return Z [Pa s/m^3], (n, m, m), analytic in ``omega`` [rad/s], (n,)."""
        omega = np.asarray(omega)
        factor = 1j * omega * self.medium.air.density
        parts = [self.load.T @ self.coordinates(part) for part in _chunks(omega)]
        return factor[:, None, None] * np.concatenate(parts)

    def pressure(self, omega: complex, flows: ComplexArray) -> ComplexArray:
        """Return p [Pa] at every unknown of the basis, for volume velocities [m^3/s] (m,) into the chamber.

        The first unknowns are the vertices; ``matrices.basis.refinterp`` gives a finer picture.
        """
        y = self.coordinates(np.array([omega]))[0] @ flows
        return np.asarray(1j * omega * self.medium.air.density * (self.space @ (self.mix @ y)))

    def energy(self, omega: float, flows: ComplexArray) -> tuple[float, float, float]:
        """Return potential and kinetic energy [J] of the bulk and lost power [W] for RMS flows [m^3/s] (m,)."""
        pressure, air = self.pressure(omega, flows), self.medium.air
        stiffness, mass = (float(np.real(np.vdot(pressure, q @ pressure))) for q in self.matrices.operators[:2])
        power = float(np.real(np.vdot(flows, self.matrices.means.T @ pressure)))
        return 0.5 * mass / air.bulk_modulus, 0.5 * stiffness / (air.density * omega**2), power

    def sweep(self, frequency: Floats) -> FieldSweep:
        """Return impedance and claimed error at every ``frequency`` [Hz], (n,)."""
        omega, rho = 2.0 * np.pi * np.asarray(frequency, dtype=float), self.medium.air.density
        impedance, claim = [], []
        with threadpool_limits(limits=1):
            for part in _chunks(omega):
                coefficients, y = self.medium.coefficients(part), self.coordinates(part)
                impedance.append(1j * rho * part[:, None, None] * (self.load.T @ y))
                seen = (coefficients @ self.probe_small.reshape(4, -1)).reshape(-1, *self.probe_small.shape[1:])
                beta = coercivity(coefficients, self.modes.cut)
                claim.append(claimed_error(self.probe_load - seen @ y, rho * part, beta))
        z = np.concatenate(impedance)
        return FieldSweep(
            frequency=np.asarray(frequency, dtype=float),
            impedance=z,
            claimed_error=np.concatenate(claim) / np.linalg.norm(z, axis=(1, 2)) + _ROUNDING,
            unknowns=self.matrices.unknowns,
            order=self.matrices.order,
            basis_size=self.load.shape[0],
            factorisations=self.factorisations,
        )

    def direct(self, omega: float) -> ComplexArray:
        """Return the full solutions for unit right-hand sides, (unknowns, m), by one factorisation."""
        means = self.matrices.means
        matrix = combine(self.matrices, self.medium.coefficients(np.array([omega]))[0])
        factor = factorise(matrix)
        x = solve(factor, means.astype(complex))
        return np.asarray(x + solve(factor, means - matrix @ x))


def combine(matrices: FieldMatrices, coefficients: ComplexArray) -> Any:
    """Return the full matrix A for the four coefficients (4,)."""
    return sum(c * q for c, q in zip(coefficients, matrices.operators, strict=True))


def reduce_field(
    matrices: FieldMatrices, medium: Medium, frequency: Floats, tolerance: float = 1e-6, rounds: int = 12
) -> tuple[ReducedField, FieldSweep]:
    """Return the reduced model and its sweep, the claimed error at most ``tolerance`` at every frequency.

    ``frequency`` [Hz], (n,), rising; the highest sets the band. Raises AccuracyError when ``rounds`` direct solutions
    do not bring the claim down, or when the direct solution at the sharpest resonance contradicts it.
    """
    with threadpool_limits(limits=1):
        model = _first_model(matrices, medium, float(np.max(frequency)))
        for _ in range(rounds):
            sweep = model.sweep(frequency)
            worst = int(np.argmax(sweep.claimed_error))
            if sweep.claimed_error[worst] <= tolerance:
                return _spot_check(model, sweep), sweep
            model = _enrich(model, 2.0 * np.pi * sweep.frequency[worst])
    raise AccuracyError(
        f"field sweep: claimed error {sweep.claimed_error[worst]:.1e} at {sweep.frequency[worst]:.5g} Hz "
        f"after {rounds} direct solutions, limit {tolerance:.0e}"
    )


def _chunks(omega: Omega) -> Iterator[Omega]:
    return (omega[start : start + _CHUNK] for start in range(0, len(omega), _CHUNK))


def _first_model(matrices: FieldMatrices, medium: Medium, highest_hz: float) -> ReducedField:
    modes = standing_waves(matrices, 2.0 * np.pi * highest_hz / medium.air.sound_speed)
    probes = draw_probes(matrices, modes.cut)
    space, mix = dressed_space(matrices, medium, modes)
    return _project(matrices, medium, modes, probes, space, mix, factorisations=3)


def _project(
    matrices: FieldMatrices,
    medium: Medium,
    modes: Modes,
    probes: Floats,
    space: Floats,
    mix: ComplexArray,
    factorisations: int,
) -> ReducedField:
    images = (operator @ space for operator in matrices.operators)
    both = np.stack([np.vstack([space.T, probes.T]) @ image for image in images]) @ mix
    size = space.shape[1]
    return ReducedField(
        matrices=matrices,
        medium=medium,
        modes=modes,
        space=space,
        mix=mix,
        probes=probes,
        small=mix.T @ both[:, :size],
        load=mix.T @ (space.T @ matrices.means),
        probe_small=both[:, size:],
        probe_load=probes.T @ matrices.means,
        factorisations=factorisations,
    )


def _enrich(model: ReducedField, omega: float) -> ReducedField:
    """Return the model with its errors at ``omega`` [rad/s] taken into the space."""
    error = model.direct(omega) - model.space @ (model.mix @ model.coordinates(np.array([omega]))[0])
    error = error / np.linalg.norm(error, axis=0)
    count, (rows, columns) = error.shape[1], model.mix.shape
    mix = np.zeros((rows + 2 * count, columns + count), dtype=complex)
    mix[:rows, :columns] = model.mix
    mix[rows : rows + count, columns:] = np.eye(count)
    mix[rows + count :, columns:] = 1j * np.eye(count)
    space = np.hstack([model.space, error.real, error.imag])
    return _project(model.matrices, model.medium, model.modes, model.probes, space, mix, model.factorisations + 1)


def _spot_check(model: ReducedField, sweep: FieldSweep) -> ReducedField:
    """Return the model after a direct solution at its sharpest resonance has stayed within the claim there."""
    size = np.linalg.norm(sweep.impedance, axis=(1, 2))
    place = int(np.argmax(size * sweep.frequency))
    omega = 2.0 * np.pi * sweep.frequency[place]
    direct = 1j * omega * model.medium.air.density * (model.matrices.means.T @ model.direct(omega))
    true = float(np.linalg.norm(direct - sweep.impedance[place]) / size[place])
    if true > sweep.claimed_error[place] + _ROUNDING:
        raise AccuracyError(
            f"field sweep: error {true:.1e} at the resonance near {sweep.frequency[place]:.5g} Hz, "
            f"claimed {sweep.claimed_error[place]:.1e}"
        )
    return model
